//! Letters in three sizes, and a short text with numbers in it.
//!
//! All sizes are the five columns of [`crate::font`]: small as drawn, tall with
//! each row twice, medium twice as wide as well, its slopes smoothed. Letters
//! are as wide as they are drawn; digits and signs all have five columns, so
//! that numbers do not jump when they change. Letters with a tail hang a row
//! below the line, where the font has no row for it.

use crate::font::{GLYPHS, position};

/// Columns of a letter at most.
const COLUMNS: usize = 5;
/// Columns of a blank.
const BLANK: u8 = 3;

/// A size of letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Seven rows and one for tails.
    Small,
    /// Fourteen rows and two for tails, as wide as small ones.
    Tall,
    /// Fourteen rows and two for tails, twice as wide.
    Medium,
}

impl Size {
    /// Rows of a letter with its tail.
    #[must_use]
    pub const fn height(self) -> u8 {
        match self {
            Self::Small => 8,
            Self::Tall | Self::Medium => 16,
        }
    }

    /// Columns that so many drawn columns become.
    pub(super) const fn columns(self, drawn: u8) -> u8 {
        match self {
            Self::Small | Self::Tall => drawn,
            Self::Medium => drawn.wrapping_mul(2),
        }
    }

    /// Columns of a text.
    #[must_use]
    #[inline(never)]
    pub fn width(self, text: &str) -> u8 {
        let mut columns = 0u8;
        for letter in text.bytes() {
            let (_, _, width) = glyph(letter);
            columns = columns.saturating_add(self.columns(width.wrapping_add(1)));
        }
        columns.saturating_sub(self.columns(1))
    }
}

/// The columns of a letter, the first that is drawn, and how many are.
#[inline(never)]
pub(super) fn glyph(letter: u8) -> (&'static [u8; COLUMNS], u8, u8) {
    let columns = GLYPHS.get(position(letter)).unwrap_or(&[0; COLUMNS]);
    let drawn = |column: &u8| *column != 0;
    let first = columns.iter().position(drawn);
    let last = columns.iter().rposition(drawn);
    match (letter, first, last) {
        (b'0'..=b'9' | b'-' | b'+', _, _) => (columns, 0, COLUMNS as u8),
        (_, Some(first), Some(last)) => (
            columns,
            first as u8,
            (last as u8).wrapping_sub(first as u8).wrapping_add(1),
        ),
        _ => (columns, 0, BLANK),
    }
}

/// Rows that a letter hangs below the line.
pub(super) const fn hangs(letter: u8) -> u8 {
    matches!(letter, b'g' | b'j' | b'p' | b'q' | b'y' | b',') as u8
}

/// Column `at` of a letter in this size, hung so many rows low.
#[inline(never)]
pub(super) fn spread(columns: &[u8; COLUMNS], first: u8, at: u8, size: Size, hung: u8) -> u16 {
    let column = |at: u8| {
        let dots = columns.get(usize::from(at)).copied().unwrap_or(0);
        if hung == 0 { dots } else { dots << 1 }
    };
    match size {
        Size::Small => u16::from(column(first.wrapping_add(at))),
        Size::Tall => {
            let dots = column(first.wrapping_add(at));
            woven(dots, dots)
        }
        Size::Medium => {
            let middle = first.wrapping_add(at / 2);
            let dots = column(middle);
            let (up, down) = (dots << 1, dots >> 1);
            let beside = if at & 1 == 0 {
                (
                    column(middle.wrapping_sub(1)),
                    column(middle.wrapping_add(1)),
                )
            } else {
                (
                    column(middle.wrapping_add(1)),
                    column(middle.wrapping_sub(1)),
                )
            };
            woven(
                corner(dots, up, down, beside),
                corner(dots, down, up, beside),
            )
        }
    }
}

/// A quarter of each dot: where two neighbours agree about a corner and the other
/// two do not join them, the corner goes with the neighbours, so that slopes are
/// smooth (a usual way to double a picture).
const fn corner(dots: u8, near: u8, far: u8, (beside, opposite): (u8, u8)) -> u8 {
    let agree = !(beside ^ near);
    let take = agree & (beside ^ far) & (near ^ opposite);
    (dots & !take) | (near & take)
}

/// Rows of two columns in turn: the bits of `even` on even rows.
const fn woven(even: u8, odd: u8) -> u16 {
    let mut rows = 0u16;
    let mut bit = 0u32;
    while bit < 8 {
        rows |= ((even >> bit & 1) as u16) << (2 * bit);
        rows |= ((odd >> bit & 1) as u16) << (2 * bit + 1);
        bit += 1;
    }
    rows
}

/// Letters of a [`Text`] at most.
const LETTERS: usize = 32;

/// A short text of ASCII letters; what does not fit is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Text {
    letters: [u8; LETTERS],
    length: u8,
}

impl Default for Text {
    fn default() -> Self {
        Self::new()
    }
}

impl Text {
    /// An empty one.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            letters: [0; LETTERS],
            length: 0,
        }
    }

    /// One that says this.
    #[must_use]
    #[inline(never)]
    pub fn of(said: &str) -> Self {
        let mut text = Self::new();
        text.say(said);
        text
    }

    /// Its letters.
    #[must_use]
    pub fn letters(&self) -> &[u8] {
        self.letters.get(..usize::from(self.length)).unwrap_or(&[])
    }

    /// Its letters as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        core::str::from_utf8(self.letters()).unwrap_or("")
    }

    /// Whether it says nothing.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// Appends a letter; what is not ASCII becomes a question mark.
    #[inline(never)]
    pub fn letter(&mut self, letter: u8) -> &mut Self {
        if let Some(place) = self.letters.get_mut(usize::from(self.length)) {
            *place = if letter.is_ascii() { letter } else { b'?' };
            self.length = self.length.wrapping_add(1);
        }
        self
    }

    /// Appends a text.
    #[inline(never)]
    pub fn say(&mut self, said: &str) -> &mut Self {
        for letter in said.bytes() {
            self.letter(letter);
        }
        self
    }

    /// Appends `value` / 10^`decimals`, with a point when there are decimals, 18
    /// at most.
    #[inline(never)]
    pub fn number(&mut self, value: i64, decimals: u8) -> &mut Self {
        if value < 0 {
            self.letter(b'-');
        }
        let mut left = value.unsigned_abs();
        // 20 digits hold any 64 bits; zeros lead up to the point.
        let mut digits = [b'0'; 20];
        let mut count = 0u8;
        for digit in digits.iter_mut().rev() {
            if left == 0 && count > decimals {
                break;
            }
            *digit = b'0'.wrapping_add((left % 10) as u8);
            left /= 10;
            count = count.wrapping_add(1);
        }
        let first = digits.len().saturating_sub(usize::from(count));
        for (at, digit) in digits.iter().enumerate().skip(first) {
            if at.saturating_add(usize::from(decimals)) == digits.len() && decimals > 0 {
                self.letter(b'.');
            }
            self.letter(*digit);
        }
        self
    }

    /// Appends a number in base 16 with eight digits.
    #[inline(never)]
    pub fn hex(&mut self, number: u32) -> &mut Self {
        for byte in number.to_be_bytes() {
            for digit in [byte >> 4, byte & 0xF] {
                let letter = if digit < 10 { b'0' } else { b'A' - 10 };
                self.letter(letter.wrapping_add(digit));
            }
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_as_the_standard_library_writes_them() {
        for value in [0, 7, -7, 10, 99, -100, 123_456, i64::from(i32::MIN)] {
            assert_eq!(
                Text::new().number(value, 0).as_str(),
                std::format!("{value}")
            );
            let tenths = std::format!("{:.1}", value as f64 / 10.0);
            assert_eq!(Text::new().number(value, 1).as_str(), tenths);
        }
        assert_eq!(Text::new().number(5, 3).as_str(), "0.005");
        assert_eq!(Text::new().number(-5, 3).as_str(), "-0.005");
        assert_eq!(
            Text::new().number(i64::MIN, 0).as_str(),
            "-9223372036854775808"
        );
        assert_eq!(Text::new().number(10, 1).as_str(), "1.0");
        assert_eq!(Text::new().hex(0x5C00_4F2A).as_str(), "5C004F2A");
    }

    #[test]
    fn what_does_not_fit_is_left_out() {
        let mut text = Text::new();
        for _ in 0..5 {
            text.say("ten letter");
        }
        assert_eq!(text.letters().len(), LETTERS);
        assert_eq!(Text::of("caf\u{e9}").as_str(), "caf??");
    }

    #[test]
    fn letters_are_as_wide_as_drawn_and_digits_alike() {
        assert_eq!(Size::Small.width("il"), 3 + 1 + 3);
        assert_eq!(Size::Small.width("11"), 11);
        assert_eq!(Size::Medium.width("11"), 22);
        assert_eq!(Size::Small.width(""), 0);
        assert_eq!(Size::Tall.width("g g"), Size::Small.width("g g"));
    }

    #[test]
    fn a_straight_stroke_is_doubled_as_it_is() {
        // The stem of an l: no slope to smooth.
        let stem = &[0, 0, 0x7F, 0, 0];
        for at in 0..2 {
            assert_eq!(spread(stem, 2, at, Size::Medium, 0), 0x3FFF);
        }
        // A slope gets its inner corners.
        let slope = &[0x01, 0x02, 0x04, 0, 0];
        let doubled: std::vec::Vec<u16> = (0..6)
            .map(|at| spread(slope, 0, at, Size::Medium, 0))
            .collect();
        assert_eq!(doubled[1] & 0b1100, 0b0100, "{doubled:?}");
        assert_eq!(doubled[2] & 0b0011, 0b0010, "{doubled:?}");
    }
}
