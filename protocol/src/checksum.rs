//! CRC-32 as used on frames, tables and stored records.
//!
//! The parameters are those of "CRC-32/ISO-HDLC" in the catalogue of
//! parametrised CRC algorithms (polynomial 0x04C11DB7 reflected, initial value
//! and final XOR all ones); its check value over the ASCII digits 1 to 9 is
//! 0xCBF43926. The table-free form is used: a lookup table of 1 KiB does not
//! fit beside a stack in 2 KiB of RAM.

/// The polynomial 0x04C11DB7, its bits in reverse.
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// CRC-32 of `bytes`.
///
/// ```
/// assert_eq!(scalewright_protocol::checksum::crc32(b"123456789"), 0xCBF4_3926);
/// ```
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    let mut running = Running::new();
    running.update(bytes);
    running.finish()
}

/// A CRC-32 fed in pieces, for data that never stands in memory as a whole.
pub struct Running(u32);

impl Running {
    /// Starts over no bytes.
    #[must_use]
    pub const fn new() -> Self {
        Self(u32::MAX)
    }

    /// Appends `bytes`.
    #[inline(never)]
    pub fn update(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.push(*byte);
        }
    }

    /// Appends one byte.
    #[inline(never)]
    pub fn push(&mut self, byte: u8) {
        self.0 ^= byte as u32;
        for _ in 0..8u8 {
            // All ones when a one is shifted out: a small chip does this sooner
            // than it decides.
            let mask = (self.0 as u8 & 1).wrapping_neg() as i8 as u32;
            self.0 = (self.0 >> 1) ^ (POLYNOMIAL & mask);
        }
    }

    /// Appends four bytes, lowest first.
    #[inline(never)]
    pub fn word(&mut self, word: u32) {
        for byte in word.to_le_bytes() {
            self.push(byte);
        }
    }

    /// The CRC-32 of everything appended.
    #[must_use]
    pub const fn finish(self) -> u32 {
        !self.0
    }
}

impl Default for Running {
    fn default() -> Self {
        Self::new()
    }
}
