//! Preset tare: a container's mass entered as a number.
//!
//! OIML R 76-1:2006 clause 4.7 (FROM MEMORY): a preset tare is rounded to the
//! scale interval of the instrument, lies within its range, is shown as what it
//! is, and stays until it is cleared or replaced. Which tare is in use and where
//! it came from is the caller's to know.

use super::unit::Interval;

/// The preset tare, quanta, that a number of last digits asks for: rounded to the
/// interval it is entered in. None below zero and above Max (`max`, quanta).
#[must_use]
#[inline(never)]
pub fn preset_tare(digits: i64, interval: &Interval, quantum_ug: u32, max: i32) -> Option<i32> {
    let quanta = interval.quanta(interval.rounded(digits), quantum_ug);
    (0..=max).contains(&quanta).then_some(quanta)
}

/// The largest number of last digits that may be entered: the last whole step
/// that is not above `max`, quanta.
#[must_use]
#[inline(never)]
pub fn most(interval: &Interval, quantum_ug: u32, max: i32) -> i64 {
    let digits = interval.digits(max, quantum_ug);
    let below = digits.saturating_sub(i64::try_from(interval.step).unwrap_or(i64::MAX));
    if interval.quanta(digits, quantum_ug) <= max {
        digits
    } else {
        below.max(0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::functions::unit::Unit;

    /// R 76-1 clause 4.7, FROM MEMORY: rounded to the scale interval.
    #[test]
    fn it_is_rounded_to_the_interval_and_lies_within_max() {
        // Max 6000 g, d = 2 g, quanta of 2 mg.
        let grams = Interval::new(Unit::Gram, 1000, 2000);
        let tare = |digits| preset_tare(digits, &grams, 2000, 3_000_000);
        assert_eq!(tare(251), Some(126_000), "252 g: ties away from zero");
        assert_eq!(tare(250), Some(125_000));
        assert_eq!(tare(0), Some(0));
        assert_eq!(tare(6000), Some(3_000_000));
        assert_eq!(tare(6001), None);
        assert_eq!(tare(-2), None);
        assert_eq!(most(&grams, 2000, 3_000_000), 6000);
    }

    #[test]
    fn in_pounds_the_most_is_not_above_max() {
        // 6 kg = 13.2277 lb: 13.230 would be above, 13.225 is not.
        let pounds = Interval::new(Unit::Pound, 1000, 2000);
        assert_eq!(most(&pounds, 2000, 3_000_000), 13_225);
        assert!(preset_tare(13_225, &pounds, 2000, 3_000_000).is_some());
        assert_eq!(preset_tare(13_230, &pounds, 2000, 3_000_000), None);
    }

    proptest! {
        #[test]
        fn the_most_may_be_entered_and_one_more_may_not(
            max in 100_000i32..1 << 27, d in 1i32..1000, quantum_ug in 1u32..1_000_000,
        ) {
            for unit in Unit::ALL {
                let interval = Interval::new(unit, d, quantum_ug);
                let most = most(&interval, quantum_ug, max);
                prop_assert!(preset_tare(most, &interval, quantum_ug, max).is_some());
                let more = most + interval.step as i64;
                prop_assert_eq!(preset_tare(more, &interval, quantum_ug, max), None);
            }
        }
    }
}
