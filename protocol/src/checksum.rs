//! CRC-32 as used on frames, tables and stored records.
//!
//! The parameters are those of "CRC-32/ISO-HDLC" in the catalogue of
//! parametrised CRC algorithms (polynomial 0x04C11DB7 reflected, initial value
//! and final XOR all ones); its check value over the ASCII digits 1 to 9 is
//! 0xCBF43926. An 8-bit processor goes half a byte at a time: a lookup table for whole
//! ones, 1 KiB, does not fit beside a stack in 2 KiB of RAM. Others have that.

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
        self.0 ^= u32::from(byte);
        if usize::BITS < 32 {
            self.0 = by_halves(self.0);
        } else {
            self.0 = (self.0 >> 8) ^ eight_bits(self.0 as u8);
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

/// One bit further; without a decision, which takes a narrow processor longer.
const fn one_bit(crc: u32) -> u32 {
    (crc >> 1) ^ (POLYNOMIAL & (crc & 1).wrapping_neg())
}

/// Eight bits further in two halves: what the first half changes in the second one goes
/// in before that is looked up, so that the rest is moved once only.
fn by_halves(crc: u32) -> u32 {
    let low = four_bits(crc as u8);
    let high = (crc as u8 >> 4) ^ low as u8;
    (crc >> 8) ^ (low >> 4) ^ four_bits(high)
}

/// What eight bits that leave at the low end change of the others.
fn eight_bits(bits: u8) -> u32 {
    static CHANGES: [u32; 256] = changes(8);
    CHANGES[usize::from(bits)]
}

/// The same for four bits.
fn four_bits(bits: u8) -> u32 {
    static CHANGES: [u32; 16] = changes(4);
    CHANGES
        .get(usize::from(bits & 15))
        .copied()
        .unwrap_or_default()
}

const fn changes<const N: usize>(bits: u8) -> [u32; N] {
    let mut changes = [0; N];
    let mut at = 0;
    while at < N {
        changes[at] = shifted(at as u32, bits);
        at += 1;
    }
    changes
}

/// So many bits further.
const fn shifted(mut crc: u32, bits: u8) -> u32 {
    let mut left = bits;
    while left > 0 {
        crc = one_bit(crc);
        left -= 1;
    }
    crc
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
    fn all_steps_are_the_same() {
        let by_bytes = |crc: u32| (crc >> 8) ^ eight_bits(crc as u8);
        for crc in (0..32).map(|bit| 1 << bit).chain([u32::MAX]) {
            assert_eq!(by_bytes(crc), shifted(crc, 8));
            assert_eq!(by_halves(crc), shifted(crc, 8));
        }
    }
}
