//! Entering a number with three keys.
//!
//! One digit after the other: the left key counts it up, held it goes on by
//! itself; the middle key goes to the next digit and from the last one on; the
//! right key goes back a digit, and from the first one leaves. A digit goes round
//! by itself and leaves those before it alone. What would pass the most takes zeros
//! behind it, or leaves the digit out: no number can be entered that is not allowed.

use super::acts::Role;
use super::leaf;
use super::strip::{Strip, WIDTH};
use super::text::{Size, Text};
use crate::functions::unit::{Interval, power_of_ten};

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// The mass of a container.
    PresetTare,
    /// The lower limit.
    LowLimit,
    /// The upper limit.
    HighLimit,
    /// Pieces of a sample.
    Pieces,
    /// The mass of a load, for a guest.
    Load,
}

impl Question {
    const fn words(self) -> &'static str {
        match self {
            Self::PresetTare => "preset tare",
            Self::LowLimit => "lower limit",
            Self::HighLimit => "upper limit",
            Self::Pieces => "pieces of the sample",
            Self::Load => "mass of the load",
        }
    }
}

/// A number being entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    question: Question,
    /// What it is in; a number of pieces has no use for the unit.
    interval: Interval,
    digits: i64,
    most: i64,
    /// The digit at hand, and the last and first ones: powers of ten.
    place: u8,
    lowest: u8,
    highest: u8,
}

impl Entry {
    /// Asks for a number from 0 to `most`, both in last digits of `interval`.
    #[must_use]
    #[inline(never)]
    pub fn new(question: Question, interval: Interval, begin: i64, most: i64) -> Self {
        let most = most.max(0);
        let lowest = last_place(interval.step);
        // The digits before the point are there even when all are 0.
        let highest = last_place(most.unsigned_abs())
            .max(interval.decimals)
            .max(lowest);
        Self {
            question,
            interval,
            digits: interval.rounded(begin).clamp(0, most),
            most,
            place: highest,
            lowest,
            highest,
        }
    }

    /// What is asked.
    #[must_use]
    pub const fn question(&self) -> Question {
        self.question
    }

    /// The interval the number is in.
    #[must_use]
    pub const fn interval(&self) -> &Interval {
        &self.interval
    }

    /// The number, last digits: a whole number of steps.
    #[must_use]
    #[inline(never)]
    pub fn number(&self) -> i64 {
        self.interval.rounded(self.digits).min(self.most)
    }

    /// Counts the digit at hand up, from the last one it can be round to 0.
    #[inline(never)]
    pub fn up(&mut self) {
        let digit = i64::try_from(power_of_ten(self.place)).unwrap_or(i64::MAX);
        let step = if self.is_last() {
            i64::try_from(self.interval.step).unwrap_or(i64::MAX)
        } else {
            digit
        };
        let decade = digit.saturating_mul(10);
        let part = self.digits.checked_rem(decade).unwrap_or(0);
        let before = self.digits.saturating_sub(part);
        let behind = match part.checked_rem(digit) {
            Some(behind) if !self.is_last() => behind,
            _ => 0,
        };
        let more = part.saturating_add(step);
        let bare = more.saturating_sub(behind);
        let turned = [more, bare]
            .into_iter()
            .find(|part| *part < decade && before.saturating_add(*part) <= self.most);
        self.digits = before.saturating_add(turned.unwrap_or(behind));
    }

    /// Whether the last digit is at hand.
    #[must_use]
    pub const fn is_last(&self) -> bool {
        self.place <= self.lowest
    }

    /// Whether the first digit is at hand.
    #[must_use]
    pub const fn is_first(&self) -> bool {
        self.place >= self.highest
    }

    /// What the keys do, from the left.
    #[must_use]
    pub fn roles(&self) -> [Role; 3] {
        let middle = if self.is_last() {
            Role::Done
        } else {
            Role::Onward
        };
        [Role::Up, middle, Role::Back]
    }

    /// Goes to the next digit.
    pub fn onward(&mut self) {
        self.place = self.place.saturating_sub(1).max(self.lowest);
    }

    /// Goes a digit back.
    pub fn back(&mut self) {
        self.place = self.place.saturating_add(1).min(self.highest);
    }

    /// Goes to the first digit.
    pub const fn begin(&mut self) {
        self.place = self.highest;
    }

    /// Draws all but the keys.
    #[inline(never)]
    pub fn draw(&self, strip: &mut Strip) {
        leaf::title(strip, self.question.words(), "");
        let number = self.number();
        let mut all = Text::new();
        // Zeros in front, so that each digit has its place.
        let mut place = self.highest;
        while place > last_place(number.unsigned_abs()).max(self.interval.decimals) {
            all.letter(b'0');
            place = place.wrapping_sub(1);
        }
        all.number(number, self.interval.decimals);
        let counted = self.question == Question::Pieces;
        let unit = if counted {
            ""
        } else {
            self.interval.unit.symbol()
        };
        let mut whole = all;
        whole.letter(b' ').say(unit);
        let size = if Size::Medium.width(whole.as_str()) <= WIDTH {
            Size::Medium
        } else {
            Size::Tall
        };
        self.draw_digits(strip, size, &all, unit);
        let mut most = Text::of("at most ");
        most.number(self.most, self.interval.decimals);
        if !counted {
            most.letter(b' ').say(unit);
        }
        strip.put(0, 36, Size::Small, &most);
        let mut steps = Text::of("in steps of ");
        steps.number(
            i64::try_from(self.interval.step).unwrap_or(i64::MAX),
            self.interval.decimals,
        );
        if !counted && self.interval.step != 1 {
            strip.put(0, 45, Size::Small, &steps);
        }
    }

    /// Draws the number with the digit at hand inverse.
    #[inline(never)]
    fn draw_digits(&self, strip: &mut Strip, size: Size, all: &Text, unit: &str) {
        const TOP: u8 = 15;
        let gap = size.columns(1);
        let mut x = 2u8;
        // Digits that are still to come, for which the point does not count.
        let digits = all
            .letters()
            .iter()
            .filter(|letter| letter.is_ascii_digit());
        let mut place = digits.count();
        for letter in all.letters() {
            let one = [*letter];
            let one = core::str::from_utf8(&one).unwrap_or("");
            let from = x;
            x = strip.text(x, TOP, size, one);
            if letter.is_ascii_digit() {
                place = place.saturating_sub(1);
                if place == usize::from(self.place) {
                    let width = x.saturating_sub(from).saturating_add(gap);
                    strip.invert(from.saturating_sub(gap), TOP - 2, width, size.height() + 4);
                }
            }
        }
        strip.text(x.saturating_add(4), TOP, size, unit);
    }
}

/// Power of ten of the first digit of a number.
#[inline(never)]
const fn last_place(number: u64) -> u8 {
    let mut place = 0u8;
    let mut left = number / 10;
    while left > 0 {
        left /= 10;
        place = place.wrapping_add(1);
    }
    place
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::functions::unit::Unit;

    fn grams(step: u64, decimals: u8) -> Interval {
        Interval {
            unit: Unit::Gram,
            decimals,
            step,
        }
    }

    #[test]
    fn digit_by_digit_to_250_g() {
        let mut entry = Entry::new(Question::PresetTare, grams(2, 0), 0, 6000);
        assert!(entry.is_first() && !entry.is_last());
        entry.onward();
        entry.up();
        entry.up();
        entry.onward();
        for _ in 0..5 {
            entry.up();
        }
        entry.onward();
        assert!(entry.is_last());
        assert_eq!(entry.number(), 250);
        entry.up();
        assert_eq!(entry.number(), 252, "by steps of d");
    }

    #[test]
    fn a_digit_goes_round_and_leaves_those_before_it_alone() {
        let mut entry = Entry::new(Question::LowLimit, grams(1, 0), 195, 600);
        entry.onward();
        entry.onward();
        for wanted in [196, 197, 198, 199, 190, 191] {
            entry.up();
            assert_eq!(entry.number(), wanted);
        }
        entry.back();
        entry.up();
        assert_eq!(entry.number(), 101);
        let mut entry = Entry::new(Question::LowLimit, grams(5, 0), 190, 600);
        entry.onward();
        entry.onward();
        for wanted in [195, 190] {
            entry.up();
            assert_eq!(entry.number(), wanted, "by steps of d");
        }
    }

    #[test]
    fn what_would_pass_the_most_takes_zeros_behind_it_or_goes_round() {
        let mut entry = Entry::new(Question::PresetTare, grams(1, 0), 5716, 6000);
        for wanted in [6000, 0, 1000] {
            entry.up();
            assert_eq!(entry.number(), wanted);
        }
        let mut entry = Entry::new(Question::PresetTare, grams(1, 0), 6000, 6018);
        entry.onward();
        entry.up();
        assert_eq!(entry.number(), 6000, "no hundred goes there");
        entry.onward();
        for wanted in [6010, 6000] {
            entry.up();
            assert_eq!(entry.number(), wanted);
        }
    }

    #[test]
    fn zeros_before_the_point_have_their_places() {
        let entry = Entry::new(Question::PresetTare, grams(5, 3), 0, 20);
        assert_eq!((entry.highest, entry.lowest), (3, 0));
        let entry = Entry::new(Question::PresetTare, grams(20, 0), 31, 400);
        assert_eq!((entry.number(), entry.lowest), (40, 1));
    }

    proptest! {
        #[test]
        fn no_keys_lead_outside(
            step in 1u64..1_000_000, decimals in 0u8..10, begin: i64, most: i64,
            keys in prop::collection::vec(0u8..3, 0..200),
        ) {
            let interval = grams(step, decimals);
            let most = most.max(0) / step as i64 * step as i64;
            let mut entry = Entry::new(Question::HighLimit, interval, begin, most);
            for key in keys {
                match key {
                    0 => entry.up(),
                    1 => entry.onward(),
                    _ => entry.back(),
                }
                prop_assert!((0..=most).contains(&entry.number()));
                prop_assert_eq!(entry.number(), interval.rounded(entry.number()));
                prop_assert!(entry.place >= entry.lowest && entry.place <= entry.highest);
            }
        }
    }
}
