//! Bytes on their way out: one reply, kept for a repeat, and one event.
//!
//! A frame once begun is finished before another starts. A reply goes before an
//! event; an event that finds no room is dropped.

use scalewright_protocol::codec::MAX_FRAME;
use scalewright_protocol::pen::Pen;

/// A sample at its widest: 30 bytes of payload, 8 around it (tested); a piece of
/// the log is shorter.
const EVENT_FRAME: usize = 40;

#[derive(Clone, Debug)]
struct Lane<const N: usize> {
    bytes: [u8; N],
    length: usize,
    sent: usize,
}

impl<const N: usize> Lane<N> {
    const fn empty() -> Self {
        Self {
            bytes: [0; N],
            length: 0,
            sent: 0,
        }
    }

    fn rest(&self) -> &[u8] {
        self.bytes.get(self.sent..self.length).unwrap_or(&[])
    }

    fn is_begun(&self) -> bool {
        self.sent > 0 && self.sent < self.length
    }

    /// A frame from the front; what its end says is its length.
    fn pen(&mut self) -> Option<Pen<'_>> {
        self.sent = 0;
        self.length = 0;
        Pen::new(&mut self.bytes).ok()
    }

    fn advance(&mut self, bytes: usize) {
        self.sent = self.sent.saturating_add(bytes).min(self.length);
    }
}

/// What is to be sent.
#[derive(Clone, Debug)]
pub struct Outbox {
    reply: Lane<MAX_FRAME>,
    event: Lane<EVENT_FRAME>,
}

impl Outbox {
    pub const fn new() -> Self {
        Self {
            reply: Lane::empty(),
            event: Lane::empty(),
        }
    }

    /// Puts a reply in; there must be none on its way. Every reply fits (the
    /// tests of the contract say so).
    pub fn reply(&mut self, write: impl FnOnce(&mut Pen<'_>)) {
        if let Some(mut pen) = self.reply.pen() {
            write(&mut pen);
            self.reply.length = length_of(pen);
        }
    }

    /// Sends the same reply once more.
    pub fn repeat(&mut self) {
        self.reply.sent = 0;
    }

    /// Whether a reply is still on its way.
    pub fn is_replying(&self) -> bool {
        !self.reply.rest().is_empty()
    }

    /// Puts an unasked report in if there is room; says whether there was.
    pub fn event(&mut self, write: impl FnOnce(&mut Pen<'_>)) -> bool {
        if !self.event.rest().is_empty() {
            return false;
        }
        if let Some(mut pen) = self.event.pen() {
            write(&mut pen);
            self.event.length = length_of(pen);
        }
        self.event.length > 0
    }

    /// The bytes to send next.
    pub fn output(&self) -> &[u8] {
        if self.is_replying() && !self.event.is_begun() {
            self.reply.rest()
        } else {
            self.event.rest()
        }
    }

    /// The first `bytes` of [`Self::output`] are gone.
    pub fn sent(&mut self, bytes: usize) {
        if self.is_replying() && !self.event.is_begun() {
            self.reply.advance(bytes);
        } else {
            self.event.advance(bytes);
        }
    }
}

/// Ends a frame; its length, 0 when it did not fit.
#[cfg_attr(target_arch = "avr", inline(never))]
fn length_of(pen: Pen<'_>) -> usize {
    pen.finish().unwrap_or(0)
}
