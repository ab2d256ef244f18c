//! A short line of text, put together without a formatting library.

use heapless::Vec;

use super::words::{Phrase, letter};

/// At most `N` characters; what does not fit is cut.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line<const N: usize>(pub Vec<u8, N>);

impl<const N: usize> Line<N> {
    /// Appends a character.
    pub fn put(&mut self, character: u8) {
        let _ = self.0.push(character);
    }

    /// Appends a phrase.
    pub fn say(&mut self, rom: &impl Fn(usize) -> u8, phrase: Phrase) {
        for at in 0.. {
            match letter(rom, phrase, at) {
                0 => break,
                character => self.put(character),
            }
        }
    }

    /// Appends `value` / 10^`decimals`, with a point when there are decimals.
    pub fn number(&mut self, value: i64, decimals: u8) {
        // 64 bits have 20 digits at most, decimals are few.
        let mut digits: Vec<u8, 20> = Vec::new();
        let mut left = value.unsigned_abs();
        while left > 0 || digits.len() <= usize::from(decimals) {
            if digits.push(b'0' | (left % 10) as u8).is_err() {
                break;
            }
            left /= 10;
        }
        if value < 0 {
            self.put(b'-');
        }
        let mut behind = digits.len();
        while let Some(digit) = digits.pop() {
            if decimals > 0 && behind == usize::from(decimals) {
                self.put(b'.');
            }
            self.put(digit);
            behind = behind.saturating_sub(1);
        }
    }

    /// Appends the eight digits of a device number, base 16.
    pub fn hex(&mut self, value: u32) {
        for shift in (0..8).rev() {
            let digit = (value >> (shift * 4)) as u8 & 0xF;
            self.put(if digit < 10 {
                b'0' + digit
            } else {
                b'A' - 10 + digit
            });
        }
    }

    /// Moves the text to the right end.
    pub fn right(&mut self) {
        while self.0.len() < N && self.0.insert(0, b' ').is_ok() {}
    }

    /// The character at a place; blank past the end.
    pub fn at(&self, place: usize) -> u8 {
        self.0.get(place).copied().unwrap_or(b' ')
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(value: i64, decimals: u8) -> std::string::String {
        let mut line: Line<21> = Line::default();
        line.number(value, decimals);
        line.0.iter().map(|c| char::from(*c)).collect()
    }

    #[test]
    fn numbers_are_as_the_standard_library_writes_them() {
        for value in [0, 7, -7, 10, 99, -100, 123_456, i64::from(i32::MIN)] {
            assert_eq!(number(value, 0), std::format!("{value}"));
            let tenths = std::format!("{:.1}", value as f64 / 10.0);
            assert_eq!(number(value, 1), tenths);
        }
        assert_eq!(number(5, 3), "0.005");
        assert_eq!(number(-5, 3), "-0.005");
        assert_eq!(number(59_805, 1), "5980.5");
        assert_eq!(number(i64::MIN, 0).len(), 20);
    }

    #[test]
    fn what_does_not_fit_is_cut() {
        let mut line: Line<4> = Line::default();
        line.number(123_456, 0);
        assert_eq!(line.0, b"1234");
        let mut line: Line<4> = Line::default();
        line.put(b'g');
        line.right();
        assert_eq!(line.0, b"   g");
    }
}
