//! A line of text, written from its right end, without a formatting library.
//!
//! Numbers come digit by digit from the right, so a line that is written that
//! way needs no room to turn them round and is flush right by itself.

use scalewright_protocol::message::Flags;
use scalewright_protocol::units::{divide_to_nearest, saturate_i32};

use super::words::{BLANK, MINUS, POINT, Phrase, ZERO, say, told};

/// Characters of a line of small letters.
pub const LINE: usize = 21;

/// At most [`LINE`] letters; what does not fit is cut on the left. One length
/// serves all lines, so that there is one of each function.
pub struct Line<R> {
    rom: R,
    /// The number at hand, of which digits are put. Here, not in a local: what
    /// stands in a structure needs no room of its own on an 8-bit chip's stack.
    pub left: u32,
    negative: bool,
    text: [u8; LINE],
    /// Where the text begins.
    pub begin: u8,
    /// Row of eight dots where the line stands, 0 on top.
    pub page: u8,
}

impl<R: Fn(usize) -> u8 + Copy> Line<R> {
    /// An empty line; `rom` reads a byte of [`super::ROM`].
    pub const fn new(rom: R) -> Self {
        Self {
            rom,
            left: 0,
            negative: false,
            text: [BLANK; LINE],
            begin: LINE as u8,
            page: 0,
        }
    }

    /// Puts a letter before what is there.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn put(&mut self, letter: u8) {
        let before = self.begin.wrapping_sub(1);
        if let Some(place) = self.text.get_mut(usize::from(before)) {
            *place = letter;
            self.begin = before;
        }
    }

    /// The phrase for the first condition that is met, from `first` on.
    pub fn told(&self, flags: Flags, first: Phrase) -> Phrase {
        told(self.rom, flags, first)
    }

    /// Puts a phrase before what is there.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn say(&mut self, phrase: Phrase) {
        say(self.rom, phrase, |letter| self.put(letter));
    }

    /// Takes the last digit off the number at hand.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn digit(&mut self, base: u8) -> u8 {
        let last = self.left as u8;
        let Some(left) = self.left.checked_div(u32::from(base)) else {
            return 0;
        };
        self.left = left;
        // The remainder, of which only the lowest byte is wanted.
        last.wrapping_sub((left as u8).wrapping_mul(base))
    }

    /// Takes a number at hand.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn take(&mut self, value: i32) {
        self.negative = value < 0;
        self.left = value.unsigned_abs();
    }

    /// The number at hand times `by` / `per`, to the nearest, ties away from
    /// zero; held at 2^31 − 1. 0 when `per` is 0.
    #[inline(always)]
    pub const fn convert(&mut self, by: u32, per: u32) {
        // 2^31 · (2^32 − 1) at most: inside an i64.
        let product = (self.left as u64).wrapping_mul(by as u64);
        self.left = saturate_i32(divide_to_nearest(product as i64, per as i64)) as u32;
        // Nobody is shown a negative zero.
        self.negative &= self.left != 0;
    }

    /// Takes the last digit off the number at hand and puts it.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn put_digit(&mut self, base: u8) {
        let digit = self.digit(base);
        self.put(digit.wrapping_add(ZERO));
    }

    /// Puts the number at hand / 10^`decimals`, with a point when there are
    /// decimals.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn number(&mut self, decimals: u8) {
        let mut behind = decimals;
        loop {
            self.put_digit(10);
            if behind > 0 {
                behind = behind.wrapping_sub(1);
                if behind == 0 {
                    self.put(POINT);
                }
            } else if self.left == 0 {
                break;
            }
        }
        if self.negative {
            self.put(MINUS);
        }
    }

    /// Puts the number at hand in base 16, with eight digits.
    pub fn hex(&mut self) {
        for _ in 0..8u8 {
            self.put_digit(16);
        }
    }

    /// The letter at a place; blank past the end.
    pub fn at(&self, place: u8) -> u8 {
        self.text.get(usize::from(place)).copied().unwrap_or(BLANK)
    }
}

#[cfg(test)]
mod tests {
    use super::super::words::ROM;
    use super::super::words::tests::read;
    use super::*;

    fn written(write: impl FnOnce(&mut Line<fn(usize) -> u8>)) -> std::string::String {
        let mut line = Line::<fn(usize) -> u8>::new(|at| ROM[at]);
        write(&mut line);
        read((line.begin..LINE as u8).map(|at| line.at(at)))
    }

    fn number(value: i32, decimals: u8) -> std::string::String {
        written(|line| {
            line.take(value);
            line.number(decimals);
        })
    }

    #[test]
    fn numbers_are_as_the_standard_library_writes_them() {
        for value in [0, 7, -7, 10, 99, -100, 123_456, i32::MIN, i32::MAX] {
            assert_eq!(number(value, 0), std::format!("{value}"));
            let tenths = std::format!("{:.1}", f64::from(value) / 10.0);
            assert_eq!(number(value, 1), tenths);
        }
        assert_eq!(number(5, 3), "0.005");
        assert_eq!(number(-5, 3), "-0.005");
        assert_eq!(number(59_805, 1), "5980.5");
        assert_eq!(number(i32::MAX, 6), "2147.483647");
    }

    #[test]
    fn what_does_not_fit_is_cut() {
        let cut = written(|line| {
            line.take(123_456_789);
            line.number(0);
            line.say(Phrase::ZERO_RANGE);
        });
        assert_eq!(cut, "e zero range123456789");
    }

    #[test]
    fn a_number_is_converted_to_the_nearest() {
        let converted = |value, by, per| {
            written(|line| {
                line.take(value);
                line.convert(by, per);
                line.number(0);
            })
        };
        assert_eq!(converted(-5, 1, 2), "-3");
        assert_eq!(converted(-1, 1, 3), "0");
        assert_eq!(converted(600_000, 10_000, 1_000_000), "6000");
        assert_eq!(converted(1, u32::MAX, 1), "2147483647", "held");
        assert_eq!(
            converted(i32::MIN, u32::MAX, u32::MAX),
            "-2147483647",
            "held"
        );
        assert_eq!(converted(1, 1, 0), "0", "nothing to divide by");
    }

    #[test]
    fn a_device_number_has_eight_digits() {
        for (number, text) in [(0x5C00_4F2A, "5C004F2A"), (0xB3D, "00000B3D")] {
            let hex = written(|line| {
                line.left = number;
                line.hex();
            });
            assert_eq!(hex, text);
        }
    }
}
