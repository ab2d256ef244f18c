//! A short line of text, put together without a formatting library.

use super::words::{LINE, Phrase, letter};

/// At most so many characters as it has room for; what does not fit is cut.
/// One length serves all lines, so that there is one of each function.
pub struct Line {
    text: [u8; LINE],
    length: u8,
    room: u8,
}

impl Line {
    /// An empty line of at most `room` characters.
    pub const fn new(room: u8) -> Self {
        Self {
            text: [b' '; LINE],
            length: 0,
            room,
        }
    }

    /// Appends a character.
    #[inline(never)]
    pub fn put(&mut self, character: u8) {
        if self.length < self.room
            && let Some(place) = self.text.get_mut(usize::from(self.length))
        {
            *place = character;
            self.length = self.length.wrapping_add(1);
        }
    }

    /// Appends a phrase.
    #[inline(never)]
    pub fn say(&mut self, rom: &dyn Fn(usize) -> u8, phrase: Phrase) {
        for at in 0..LINE {
            match letter(rom, phrase, at) {
                0 => break,
                character => self.put(character),
            }
        }
    }

    /// Appends `value` / 10^`decimals`, with a point when there are decimals.
    #[inline(never)]
    pub fn number(&mut self, value: i32, decimals: u8) {
        if value < 0 {
            self.put(b'-');
        }
        // 32 bits have ten digits at most.
        let mut digits = [0u8; 10];
        let mut left = value.unsigned_abs();
        let mut needed = 0u8;
        for (behind, digit) in (1u8..).zip(&mut digits) {
            *digit = (left % 10) as u8;
            left /= 10;
            if *digit != 0 || behind <= decimals.saturating_add(1) {
                needed = behind;
            }
        }
        for behind in (0..needed).rev() {
            if decimals > 0 && behind.wrapping_add(1) == decimals {
                self.put(b'.');
            }
            let digit = digits.get(usize::from(behind)).copied().unwrap_or(0);
            self.put(b'0'.wrapping_add(digit));
        }
    }

    /// Appends the eight digits of a device number, base 16.
    #[inline(never)]
    pub fn hex(&mut self, value: u32) {
        let mut left = value;
        for _ in 0..8 {
            let digit = (left >> 28) as u8;
            left <<= 4;
            let letters = if digit < 10 { b'0' } else { b'A' - 10 };
            self.put(letters.wrapping_add(digit));
        }
    }

    /// Moves the text to the right end. What is behind it is blank, so the whole
    /// buffer can be turned.
    #[inline(never)]
    pub fn right(&mut self) {
        while self.length < self.room {
            let mut last = b' ';
            for place in &mut self.text {
                core::mem::swap(place, &mut last);
            }
            self.length = self.length.wrapping_add(1);
        }
    }

    /// The character at a place; blank past the end.
    #[inline(never)]
    pub fn at(&self, place: u8) -> u8 {
        self.text.get(usize::from(place)).copied().unwrap_or(b' ')
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(line: &Line) -> std::string::String {
        (0..line.length).map(|at| char::from(line.at(at))).collect()
    }

    fn number(value: i32, decimals: u8) -> std::string::String {
        let mut line = Line::new(21);
        line.number(value, decimals);
        text(&line)
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
        let mut line = Line::new(4);
        line.number(123_456, 0);
        assert_eq!(text(&line), "1234");
        let mut line = Line::new(4);
        line.put(b'g');
        line.right();
        assert_eq!(text(&line), "   g");
    }

    #[test]
    fn a_device_number_has_eight_digits() {
        let mut line = Line::new(21);
        line.hex(0x5C00_4F2A);
        assert_eq!(text(&line), "5C004F2A");
    }
}
