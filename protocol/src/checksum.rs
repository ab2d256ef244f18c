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
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn update(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.push(*byte);
        }
    }

    /// Appends one byte.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn push(&mut self, byte: u8) {
        self.0 ^= byte as u32;
        for _ in 0..8u8 {
            // A narrow processor masks sooner than it decides, a wide one the
            // other way round: a sixth of a sample's whole time on either board.
            self.0 = if usize::BITS < 32 {
                masking(self.0)
            } else {
                deciding(self.0)
            };
        }
    }

    /// Appends four bytes, lowest first.
    #[cfg_attr(target_arch = "avr", inline(never))]
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

/// One bit further, without a decision.
const fn masking(crc: u32) -> u32 {
    (crc >> 1) ^ (POLYNOMIAL & (crc & 1).wrapping_neg())
}

/// One bit further, by a decision.
const fn deciding(crc: u32) -> u32 {
    let next = crc >> 1;
    if crc & 1 != 0 {
        next ^ POLYNOMIAL
    } else {
        next
    }
}

impl Default for Running {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both are linear over the bits, so it is enough to look at each bit.
    #[test]
    fn both_steps_are_the_same() {
        for bit in 0..32 {
            assert_eq!(masking(1 << bit), deciding(1 << bit));
        }
        assert_eq!(masking(u32::MAX), deciding(u32::MAX));
    }
}
