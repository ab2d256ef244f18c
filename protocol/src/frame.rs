//! Frames on a serial line: `0x00 COBS(payload ‖ CRC-32 LE) 0x00`.
//!
//! COBS (Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
//! Transactions on Networking 7(2), 1999) removes every zero from the content,
//! so a zero always and only separates frames. The leading zero ends whatever
//! garbage came before; empty frames are ignored. A frame shorter than its CRC,
//! longer than the receiver's buffer, wrongly stuffed or with a wrong CRC is
//! dropped and counted, and the next zero starts afresh: no garbage can keep
//! the decoder from the frame after it.

use heapless::Vec;

use crate::checksum::{Running, crc32};

/// The output buffer is too short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FrameFull;

/// Writes the frame of `payload` to `out` and returns its length.
///
/// # Errors
/// [`FrameFull`] when it does not fit.
pub fn encode(payload: &[u8], out: &mut [u8]) -> Result<usize, FrameFull> {
    let mut writer = Writer { out, at: 0 };
    writer.put(0)?;
    let crc = crc32(payload).to_le_bytes();
    let mut code_at = writer.at;
    writer.put(1)?;
    let mut code = 1u8;
    for byte in payload.iter().chain(crc.iter()) {
        if *byte != 0 {
            writer.put(*byte)?;
            code = code.wrapping_add(1);
        }
        if *byte == 0 || code == 0xFF {
            writer.set(code_at, code)?;
            code_at = writer.at;
            writer.put(1)?;
            code = 1;
        }
    }
    writer.set(code_at, code)?;
    writer.put(0)?;
    Ok(writer.at)
}

struct Writer<'a> {
    out: &'a mut [u8],
    at: usize,
}

impl Writer<'_> {
    fn put(&mut self, byte: u8) -> Result<(), FrameFull> {
        self.set(self.at, byte)?;
        self.at = self.at.wrapping_add(1);
        Ok(())
    }

    fn set(&mut self, at: usize, byte: u8) -> Result<(), FrameFull> {
        match self.out.get_mut(at) {
            Some(place) => {
                *place = byte;
                Ok(())
            }
            None => Err(FrameFull),
        }
    }
}

/// Why a frame was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameFault {
    /// Longer than the buffer.
    TooLong,
    /// Ended inside a COBS block, or too short for a CRC.
    Cut,
    /// The CRC-32 does not fit the content.
    Checksum,
}

/// What one byte completed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// A sound frame with this payload.
    Payload(&'a [u8]),
    /// A broken frame was dropped.
    Broken(FrameFault),
}

/// Finds frames in a stream of bytes, fed one at a time. `N` is the longest
/// payload plus the CRC's 4 bytes.
#[derive(Clone, Debug, Default)]
pub struct Decoder<const N: usize> {
    content: Vec<u8, N>,
    /// Bytes left in the COBS block; 0 = a code byte comes next.
    left: u8,
    /// Whether a zero belongs between the block at hand and the next.
    zero_due: bool,
    too_long: bool,
    started: bool,
}

impl<const N: usize> Decoder<N> {
    /// A decoder that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            content: Vec::new(),
            left: 0,
            zero_due: false,
            too_long: false,
            started: false,
        }
    }

    /// Takes one byte; a zero may complete a frame. The payload is lent until
    /// the next byte.
    pub fn push(&mut self, byte: u8) -> Option<Event<'_>> {
        if byte == 0 {
            return self.finish();
        }
        if !self.started {
            self.content.clear();
            self.left = 0;
            self.zero_due = false;
            self.too_long = false;
            self.started = true;
        }
        if self.left == 0 {
            if self.zero_due {
                self.store(0);
            }
            self.left = byte.wrapping_sub(1);
            self.zero_due = byte != 0xFF;
        } else {
            self.left = self.left.wrapping_sub(1);
            self.store(byte);
        }
        None
    }

    fn store(&mut self, byte: u8) {
        if self.content.push(byte).is_err() {
            self.too_long = true;
        }
    }

    fn finish(&mut self) -> Option<Event<'_>> {
        if !self.started {
            return None;
        }
        self.started = false;
        if self.too_long {
            return Some(Event::Broken(FrameFault::TooLong));
        }
        if self.left != 0 {
            return Some(Event::Broken(FrameFault::Cut));
        }
        let Some((payload, crc)) = self.content.split_last_chunk::<4>() else {
            return Some(Event::Broken(FrameFault::Cut));
        };
        let mut running = Running::new();
        running.update(payload);
        if running.finish() == u32::from_le_bytes(*crc) {
            Some(Event::Payload(payload))
        } else {
            Some(Event::Broken(FrameFault::Checksum))
        }
    }
}
