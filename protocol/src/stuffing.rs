//! Consistent Overhead Byte Stuffing: content without zeros, so that a zero can
//! separate frames.
//!
//! After Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
//! Transactions on Networking 7(2), 1999. The content is cut into blocks; each
//! block is sent as a code byte and the non-zero bytes of the block. Code `n`
//! below 255 stands for `n − 1` bytes and a zero after them, code 255 for 254
//! bytes and no zero; the zero after the last block is not part of the content.
//!
//! This module owns the stuffing alone; delimiters, checksum and length limits
//! belong to [`crate::frame`].

use crate::frame::FrameFull;

/// Code of a block of 254 bytes that no zero follows.
const FULL: u8 = 0xFF;

/// Writes `content` stuffed to the front of `out` and returns its length, bytes.
/// The shortest form is written: content that ends with a full block gets no
/// empty block behind it.
///
/// ```
/// use scalewright_protocol::stuffing::stuff;
/// let mut out = [0; 8];
/// let used = stuff([0x11, 0x22, 0x00, 0x33], &mut out)?;
/// assert_eq!(out.get(..used), Some(&[3, 0x11, 0x22, 2, 0x33][..]));
/// assert!(stuff([0x11, 0x22], &mut out[..2]).is_err());
/// # Ok::<(), scalewright_protocol::frame::FrameFull>(())
/// ```
///
/// # Errors
/// [`FrameFull`] when `out` is too short; its content is then of no use.
pub fn stuff(content: impl IntoIterator<Item = u8>, out: &mut [u8]) -> Result<usize, FrameFull> {
    let mut stuffer = Stuffer::new(out);
    for byte in content {
        stuffer.push(byte);
    }
    stuffer.finish()
}

/// Stuffs content that comes a byte at a time, so that it never has to stand
/// in memory unstuffed. That it found no room is said at the end.
#[derive(Debug)]
pub struct Stuffer<'a> {
    out: &'a mut [u8],
    code_at: usize,
    at: usize,
    code: u8,
    full: bool,
}

impl<'a> Stuffer<'a> {
    /// Writes to the front of `out`.
    #[must_use]
    pub const fn new(out: &'a mut [u8]) -> Self {
        Self {
            out,
            code_at: 0,
            at: 1,
            code: 1,
            full: false,
        }
    }

    /// Takes the next byte of content.
    pub fn push(&mut self, byte: u8) {
        if byte == 0 || self.code == FULL {
            self.end_of_block(byte);
        } else {
            self.append(byte);
        }
    }

    /// Takes a byte that ends the block at hand, or finds it full. Apart, so that most
    /// bytes pass without it.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn end_of_block(&mut self, byte: u8) {
        if self.code == FULL {
            self.close();
        }
        if byte == 0 {
            self.close();
        } else {
            self.append(byte);
        }
    }

    fn append(&mut self, byte: u8) {
        self.set(self.at, byte);
        self.at = self.at.wrapping_add(1);
        self.code = self.code.wrapping_add(1);
    }

    /// Makes [`Self::finish`] fail.
    pub const fn spoil(&mut self) {
        self.full = true;
    }

    /// Ends the block at hand and leaves room for the code of the next.
    fn close(&mut self) {
        self.set(self.code_at, self.code);
        self.code_at = self.at;
        self.at = self.at.wrapping_add(1);
        self.code = 1;
    }

    fn set(&mut self, at: usize, byte: u8) {
        match self.out.get_mut(at) {
            Some(place) => *place = byte,
            None => self.full = true,
        }
    }

    /// Ends the content; returns the stuffed length, bytes.
    ///
    /// # Errors
    /// [`FrameFull`] when it found no room; what was written is of no use then.
    pub fn finish(mut self) -> Result<usize, FrameFull> {
        self.set(self.code_at, self.code);
        if self.full {
            return Err(FrameFull);
        }
        Ok(self.at)
    }

    /// As [`Self::finish`], with a delimiter behind; the length holds it.
    ///
    /// # Errors
    /// [`FrameFull`] as above.
    pub fn finish_with(mut self, delimiter: u8) -> Result<usize, FrameFull> {
        self.set(self.at, delimiter);
        Ok(self.finish()?.wrapping_add(1))
    }
}

/// Takes stuffed bytes one at a time and gives the content back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unstuffer {
    /// Bytes left in the block at hand; 0 = a code byte comes next.
    left: u8,
    /// Whether a zero belongs between the block at hand and the next.
    zero_due: bool,
}

impl Unstuffer {
    /// Stands before the first code byte.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            left: 0,
            zero_due: false,
        }
    }

    /// The content byte that `byte` brings, if any. `byte` is not zero: a zero
    /// is a delimiter and never gets here.
    pub fn push(&mut self, byte: u8) -> Option<u8> {
        if self.left > 0 {
            self.left = self.left.wrapping_sub(1);
            return Some(byte);
        }
        let zero = self.zero_due.then_some(0);
        self.left = byte.saturating_sub(1);
        self.zero_due = byte != FULL;
        zero
    }

    /// Whether the content may end here: no block is cut.
    #[must_use]
    pub const fn at_end(&self) -> bool {
        self.left == 0
    }
}
