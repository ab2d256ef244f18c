//! Frames on a serial line: `0x00 COBS(payload ‖ CRC-32 LE) 0x00`.
//!
//! COBS ([`crate::stuffing`]) removes every zero from the content, so a zero
//! always and only separates frames. The leading zero ends whatever garbage came
//! before; empty frames are ignored. A frame without a payload, longer than the
//! receiver's buffer, cut inside a block or with a wrong CRC is dropped and
//! reported, and the next zero starts afresh: no garbage can keep the decoder
//! from the frame after it.

use heapless::Vec;

use crate::checksum::{Running, crc32};
use crate::stuffing::{Stuffer, Unstuffer};

/// Stands before and after every frame, and nowhere else.
const DELIMITER: u8 = 0;

/// The output buffer is too short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FrameFull;

/// Writes the frame of `payload` to `out` and returns its length, bytes. The
/// frame of an empty payload is dropped by every receiver.
///
/// # Errors
/// [`FrameFull`] when it does not fit.
pub fn encode(payload: &[u8], out: &mut [u8]) -> Result<usize, FrameFull> {
    let mut writer = Writer::new(out)?;
    for byte in payload {
        writer.push(*byte);
    }
    writer.finish()
}

/// Writes a frame whose payload comes a byte at a time: a message goes from its
/// fields to the line's bytes without standing anywhere in between.
pub struct Writer<'a> {
    stuffer: Stuffer<'a>,
    crc: Running,
}

impl<'a> Writer<'a> {
    /// A frame at the front of `out`.
    ///
    /// # Errors
    /// [`FrameFull`] when not even a delimiter fits.
    pub fn new(out: &'a mut [u8]) -> Result<Self, FrameFull> {
        let (first, rest) = out.split_first_mut().ok_or(FrameFull)?;
        *first = DELIMITER;
        Ok(Self {
            stuffer: Stuffer::new(rest),
            crc: Running::new(),
        })
    }

    /// Takes the next byte of the payload.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn push(&mut self, byte: u8) {
        self.crc.push(byte);
        self.stuffer.push(byte);
    }

    /// No frame shall come of this: what was to be written cannot be.
    pub fn spoil(&mut self) {
        self.stuffer.spoil();
    }

    /// Ends the frame; returns its length, bytes.
    ///
    /// # Errors
    /// [`FrameFull`] when checksum or delimiter have no room.
    pub fn finish(self) -> Result<usize, FrameFull> {
        let Self { mut stuffer, crc } = self;
        for byte in crc.finish().to_le_bytes() {
            stuffer.push(byte);
        }
        Ok(stuffer.finish_with(DELIMITER)?.saturating_add(1))
    }
}

/// Why a frame was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameFault {
    /// Longer than the buffer.
    TooLong,
    /// Ended inside a COBS block, or too short for a payload and its CRC.
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
    unstuffer: Unstuffer,
    too_long: bool,
    /// Whether a byte came since the last delimiter.
    started: bool,
    /// Whether the last frame was sound.
    sound: bool,
}

impl<const N: usize> Decoder<N> {
    /// A decoder that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            content: Vec::new(),
            unstuffer: Unstuffer::new(),
            too_long: false,
            started: false,
            sound: false,
        }
    }

    /// Takes one byte; a zero may complete a frame. The payload is lent until
    /// the next byte.
    pub fn push(&mut self, byte: u8) -> Option<Event<'_>> {
        if byte == DELIMITER {
            return self.finish();
        }
        if !self.started {
            self.content.clear();
            self.unstuffer = Unstuffer::new();
            self.too_long = false;
            self.started = true;
        }
        if let Some(content) = self.unstuffer.push(byte) {
            self.store(content);
        }
        None
    }

    /// The payload of the frame that ended with the byte pushed last, if it is
    /// sound; nothing once another byte has begun the next.
    #[must_use]
    pub fn payload(&self) -> Option<&[u8]> {
        if self.started || !self.sound {
            return None;
        }
        self.content
            .split_last_chunk::<4>()
            .map(|(payload, _)| payload)
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
        let fault = self.fault();
        self.sound = fault.is_none();
        match fault {
            Some(fault) => Some(Event::Broken(fault)),
            None => self.payload().map(Event::Payload),
        }
    }

    /// What is wrong with the frame that just ended.
    fn fault(&self) -> Option<FrameFault> {
        if self.too_long {
            return Some(FrameFault::TooLong);
        }
        match self.content.split_last_chunk::<4>() {
            _ if !self.unstuffer.at_end() => Some(FrameFault::Cut),
            // Five bytes 0x01 would be a sound frame of nothing: its CRC-32 is 0.
            // No message is empty, noise on a line often looks like this.
            None | Some(([], _)) => Some(FrameFault::Cut),
            Some((payload, crc)) => {
                (crc32(payload) != u32::from_le_bytes(*crc)).then_some(FrameFault::Checksum)
            }
        }
    }
}
