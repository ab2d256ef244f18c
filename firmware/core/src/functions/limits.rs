//! Checking a mass against two limits.
//!
//! Judged on what is indicated: the net mass rounded to the interval, against
//! limits rounded the same way. So a verdict never contradicts the number beside
//! it (common practice). Both limits are within.

use scalewright_protocol::wide::quotient;

/// What is said of a mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Below the lower limit, by so many last digits.
    Low(u64),
    /// Neither below nor above.
    Within,
    /// Above the upper limit, by so many last digits.
    High(u64),
}

/// Judges an indication. All are numbers of last digits of one interval; with the
/// limits exchanged they are put in order.
#[must_use]
#[inline(never)]
pub const fn judge(shown: i64, low: i64, high: i64) -> Verdict {
    let (low, high) = ordered(low, high);
    if shown < low {
        Verdict::Low(low.abs_diff(shown))
    } else if shown > high {
        Verdict::High(shown.abs_diff(high))
    } else {
        Verdict::Within
    }
}

/// Where a pointer stands on a bar of 255 parts whose middle third is what is
/// within: each third is as wide as the limits are apart. Beyond its ends it
/// stays at them.
#[must_use]
#[inline(never)]
pub fn pointer(shown: i64, low: i64, high: i64, step: u64) -> u8 {
    let (low, high) = ordered(low, high);
    let third = u128::from(high.abs_diff(low).max(step).max(1));
    let from = i128::from(shown)
        .wrapping_sub(i128::from(low))
        .wrapping_add(third as i128);
    let from = u128::try_from(from).unwrap_or(0);
    let place = quotient(from.wrapping_mul(255), third.wrapping_mul(3));
    u8::try_from(place).unwrap_or(u8::MAX)
}

const fn ordered(low: i64, high: i64) -> (i64, i64) {
    if low <= high {
        (low, high)
    } else {
        (high, low)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::functions::unit::{Interval, Unit};

    #[test]
    fn both_limits_are_within() {
        let verdicts = [94, 95, 100, 105, 106].map(|shown| judge(shown, 95, 105));
        assert_eq!(
            verdicts,
            [
                Verdict::Low(1),
                Verdict::Within,
                Verdict::Within,
                Verdict::Within,
                Verdict::High(1)
            ]
        );
        assert_eq!(judge(100, 105, 95), Verdict::Within, "exchanged");
        assert_eq!(judge(i64::MIN, i64::MAX, i64::MAX), Verdict::Low(u64::MAX));
    }

    /// 94.6 g is shown as 95 g and judged as such.
    #[test]
    fn what_is_shown_is_judged() {
        let grams = Interval::new(Unit::Gram, 100, 10_000);
        let limit = grams.digits(9_500, 10_000);
        assert_eq!(
            judge(grams.digits(9_460, 10_000), limit, 200),
            Verdict::Within
        );
        assert_eq!(
            judge(grams.digits(9_449, 10_000), limit, 200),
            Verdict::Low(1)
        );
    }

    #[test]
    fn the_pointer_is_in_the_third_that_the_word_says() {
        assert_eq!(pointer(85, 95, 105, 1), 0);
        assert_eq!(pointer(95, 95, 105, 1), 85);
        assert_eq!(pointer(100, 95, 105, 1), 127);
        assert_eq!(pointer(105, 95, 105, 1), 170);
        assert_eq!(pointer(115, 95, 105, 1), 255);
        assert_eq!(pointer(5000, 95, 105, 1), 255);
        assert_eq!(pointer(-5000, 95, 105, 1), 0);
        assert_eq!(pointer(7, 7, 7, 2), 85, "limits that agree");
    }

    proptest! {
        #[test]
        fn word_and_pointer_agree(shown: i64, low: i64, high: i64, step in 1u64..1000) {
            let at = pointer(shown, low, high, step);
            match judge(shown, low, high) {
                Verdict::Low(_) => prop_assert!(at <= 85),
                Verdict::Within => prop_assert!((85..=170).contains(&at)),
                Verdict::High(_) => prop_assert!(at >= 85),
            }
        }
    }
}
