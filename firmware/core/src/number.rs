//! The number of a device, made at its first start and kept from then on.
//!
//! Chips as cheap as these have no number of their own that can be relied on,
//! and one written into the image would be the same on every board. What differs
//! is noise: the low bits of the first conversions and the moments at which they
//! were ready, by a free-running counter. Owns the mixing and the bytes in
//! storage; a board keeps those in a place of their own, outside the slots.
//!
//! Not a secret and not for security: two scales on one bench shall be told
//! apart. Sixteen conversions of a bridge with a scatter of a few counts hold
//! well over 32 bits.

use scalewright_protocol::checksum::Running;

/// Conversions that make a number.
pub const CONVERSIONS: u8 = 16;
/// The number's bytes in storage.
pub const STORED_BYTES: usize = 8;

/// Mixes a number from noise.
pub struct NumberMaker {
    mixed: Running,
    taken: u8,
}

impl Default for NumberMaker {
    fn default() -> Self {
        Self::new()
    }
}

impl NumberMaker {
    /// Nothing is mixed yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            mixed: Running::new(),
            taken: 0,
        }
    }

    /// Takes a code (ADC counts) and the count of a fast timer when it was ready;
    /// the number, once enough were taken.
    pub fn feed(&mut self, code: i32, ticks: u32) -> Option<u32> {
        self.mixed.word(code as u32);
        self.mixed.word(ticks);
        self.taken = self.taken.wrapping_add(1);
        if self.taken < CONVERSIONS {
            return None;
        }
        let number = core::mem::take(&mut self.mixed).finish();
        self.taken = 0;
        // 0 stands for "no number", and all ones read as erased memory does:
        // their CRC-32 is all ones too.
        Some(number.clamp(1, u32::MAX - 1))
    }
}

/// The bytes to store for `number`: itself and its CRC-32.
#[must_use]
pub fn to_bytes(number: u32) -> [u8; STORED_BYTES] {
    let [a, b, c, d] = number.to_le_bytes();
    let [e, f, g, h] = check_of(number).to_le_bytes();
    [a, b, c, d, e, f, g, h]
}

/// The number in `bytes`, if they hold one.
#[must_use]
pub fn from_bytes(bytes: [u8; STORED_BYTES]) -> Option<u32> {
    let [a, b, c, d, e, f, g, h] = bytes;
    let number = u32::from_le_bytes([a, b, c, d]);
    let sound = u32::from_le_bytes([e, f, g, h]) == check_of(number);
    // Erased storage is eight bytes 0xFF, and the CRC-32 of four such bytes is
    // 0xFFFFFFFF: that is no number, nor is 0.
    (sound && number != 0 && number != u32::MAX).then_some(number)
}

#[cfg_attr(target_arch = "avr", inline(never))]
fn check_of(number: u32) -> u32 {
    let mut crc = Running::new();
    crc.word(number);
    crc.finish()
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use super::*;

    fn made(noise: impl Fn(i32) -> i32) -> u32 {
        let mut maker = NumberMaker::new();
        (0..)
            .find_map(|n| maker.feed(noise(n), n as u32 * 12_500))
            .expect("sixteen are enough")
    }

    #[test]
    fn one_count_of_noise_makes_another_number() {
        let quiet = made(|_| 84_211);
        let numbers: Vec<u32> = (0..16)
            .map(|at| made(|n| 84_211 + i32::from(n == at)))
            .collect();
        for (at, number) in numbers.iter().enumerate() {
            assert_ne!(*number, quiet);
            assert!(!numbers[at + 1..].contains(number));
        }
    }

    #[test]
    fn a_number_comes_back_from_storage_and_nothing_else_does() {
        for number in [1, 0x5C00_4F2A, u32::MAX - 1] {
            assert_eq!(from_bytes(to_bytes(number)), Some(number));
            for bit in 0..64 {
                let mut bytes = to_bytes(number);
                bytes[bit / 8] ^= 1 << (bit % 8);
                assert_eq!(from_bytes(bytes), None);
            }
        }
        assert_eq!(from_bytes([0xFF; 8]), None);
        assert_eq!(from_bytes([0; 8]), None);
    }
}
