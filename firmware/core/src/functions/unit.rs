//! Units of indication, and the scale interval that suits each.
//!
//! A scale keeps mass in quanta and has one scale interval d. In another unit
//! the same d is no round number, so the indication there has the smallest
//! interval of the form 1, 2 or 5 times 10^k (OIML R 76-1:2006 clause 4.2.2.1)
//! that is not finer than d: no digit is shown that the scale does not have.
//!
//! **Rounded once.** An indication is made from the unrounded mass in one
//! division of 128 bits, ties away from zero; never from a rounded one.

use scalewright_protocol::wide::to_nearest;

/// Micrograms of an avoirdupois pound: 0.45359237 kg exactly (international
/// yard and pound agreement of 1959; NIST SP 811 appendix B. FROM MEMORY).
const POUND_UG: u64 = 453_592_370;
/// Ounces of a pound (same).
const OUNCES: u64 = 16;
/// Most decimals an interval has; an extended indication may have one more.
const DECIMALS: u8 = 9;

/// A unit of mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Gram.
    Gram,
    /// Kilogram.
    Kilogram,
    /// Avoirdupois pound.
    Pound,
    /// Avoirdupois ounce.
    Ounce,
}

impl Unit {
    /// All, in the order they are offered.
    pub const ALL: [Self; 4] = [Self::Gram, Self::Kilogram, Self::Pound, Self::Ounce];

    /// How it is written behind a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Pound => "lb",
            Self::Ounce => "oz",
        }
    }

    /// Its mass as a fraction: micrograms, and what they are divided by.
    #[must_use]
    #[inline(never)]
    pub const fn micrograms(self) -> (u64, u64) {
        match self {
            Self::Gram => (1_000_000, 1),
            Self::Kilogram => (1_000_000_000, 1),
            Self::Pound => (POUND_UG, 1),
            Self::Ounce => (POUND_UG, OUNCES),
        }
    }

    /// What a scale of this capacity, quanta, is read in unless somebody chose:
    /// kg from Max 100 kg on, else g (common practice).
    #[must_use]
    pub const fn usual(max: i32, quantum_ug: u32) -> Self {
        let max_ug = (max.unsigned_abs() as u64).saturating_mul(quantum_ug as u64);
        if max_ug < 100_000_000_000 {
            Self::Gram
        } else {
            Self::Kilogram
        }
    }
}

/// How a mass is written: a unit, and in which steps.
///
/// The last digit stands for 10^-decimals units, and numbers are whole multiples
/// of `step` last digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// The unit.
    pub unit: Unit,
    /// Digits behind the point.
    pub decimals: u8,
    /// Scale interval, last digits; at least 1.
    pub step: u64,
}

impl Interval {
    /// The interval in `unit` for a scale interval of `d` quanta.
    ///
    /// In g and kg it is d itself, whatever its form: what a display shows and
    /// what is sent never differ. In lb and oz it is the smallest 1, 2 or 5 times
    /// 10^k that is not finer than d.
    #[must_use]
    #[inline(never)]
    pub fn new(unit: Unit, d: i32, quantum_ug: u32) -> Self {
        let d_ug = u64::from(d.max(1).unsigned_abs()).saturating_mul(u64::from(quantum_ug.max(1)));
        match unit {
            Unit::Gram => Self::metric(unit, d_ug, 6),
            Unit::Kilogram => Self::metric(unit, d_ug, 9),
            Unit::Pound | Unit::Ounce => Self::chosen(unit, d_ug),
        }
    }

    /// d as it is; a microgram is the last of `decimals` digits.
    #[inline(never)]
    fn metric(unit: Unit, d_ug: u64, decimals: u8) -> Self {
        let (mut step, mut decimals) = (d_ug, decimals);
        while decimals > 0 && step % 10 == 0 {
            step /= 10;
            decimals = decimals.wrapping_sub(1);
        }
        Self {
            unit,
            decimals,
            step,
        }
    }

    #[inline(never)]
    fn chosen(unit: Unit, d_ug: u64) -> Self {
        let (micrograms, per) = unit.micrograms();
        let wanted = u128::from(d_ug).wrapping_mul(u128::from(per));
        let mut interval = Self {
            unit,
            decimals: DECIMALS,
            step: 1,
        };
        // 2^64 micrograms are 4 · 10^10 lb: the loop ends long before its end.
        for _ in 0..30u8 {
            for mantissa in [1u64, 2, 5] {
                let step = interval.step.saturating_mul(mantissa);
                let mass = u128::from(step).wrapping_mul(u128::from(micrograms));
                // 10^9 · 2^68 at most.
                if mass >= wanted.wrapping_mul(u128::from(power_of_ten(interval.decimals))) {
                    interval.step = step;
                    return interval;
                }
            }
            match interval.decimals.checked_sub(1) {
                Some(fewer) => interval.decimals = fewer,
                None => interval.step = interval.step.saturating_mul(10),
            }
        }
        interval
    }

    /// A tenth of it.
    #[must_use]
    #[inline(never)]
    pub const fn tenth(self) -> Self {
        if self.decimals == 0 && self.step.is_multiple_of(10) {
            Self {
                step: self.step / 10,
                ..self
            }
        } else {
            Self {
                decimals: self.decimals.saturating_add(1),
                ..self
            }
        }
    }

    /// A mass in quanta as a number of last digits: a whole multiple of the step,
    /// the nearest, ties away from zero. Held at the end of 64 bits, which 2^28
    /// quanta of a kilogram do not reach.
    #[must_use]
    #[inline(never)]
    pub fn digits(&self, quanta: i32, quantum_ug: u32) -> i64 {
        let (micrograms, per) = self.unit.micrograms();
        // 2^31 · 2^32 · 2^4 · 2^34 (ten decimals) = 2^101 at most.
        let mass = u128::from(quanta.unsigned_abs())
            .wrapping_mul(u128::from(quantum_ug))
            .wrapping_mul(u128::from(per))
            .wrapping_mul(u128::from(power_of_ten(self.decimals)));
        let step = u128::from(self.step).wrapping_mul(u128::from(micrograms));
        let steps = to_nearest(mass, step);
        signed(steps.saturating_mul(u128::from(self.step)), quanta < 0)
    }

    /// What a number of last digits stands for, to the nearest quantum, ties away
    /// from zero; held at the ends of 32 bits. 0 when a quantum is 0.
    #[must_use]
    #[inline(never)]
    pub fn quanta(&self, digits: i64, quantum_ug: u32) -> i32 {
        let (micrograms, per) = self.unit.micrograms();
        let mass = u128::from(digits.unsigned_abs()).wrapping_mul(u128::from(micrograms));
        let quantum = u128::from(quantum_ug)
            .wrapping_mul(u128::from(per))
            .wrapping_mul(u128::from(power_of_ten(self.decimals)));
        let quanta = signed(to_nearest(mass, quantum), digits < 0);
        i32::try_from(quanta).unwrap_or(if quanta < 0 { i32::MIN } else { i32::MAX })
    }

    /// The nearest whole multiple of the step, last digits, ties away from zero.
    #[must_use]
    #[inline(never)]
    pub fn rounded(&self, digits: i64) -> i64 {
        let steps = to_nearest(u128::from(digits.unsigned_abs()), u128::from(self.step));
        signed(steps.saturating_mul(u128::from(self.step)), digits < 0)
    }
}

/// 10^`exponent`, of at most 19.
#[must_use]
#[inline(never)]
pub const fn power_of_ten(exponent: u8) -> u64 {
    let mut power = 1u64;
    let mut left = exponent;
    while left > 0 {
        power = power.saturating_mul(10);
        left = left.wrapping_sub(1);
    }
    power
}

fn signed(value: u128, negative: bool) -> i64 {
    let value = i64::try_from(value).unwrap_or(i64::MAX);
    if negative {
        value.wrapping_neg()
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use scalewright_protocol::settings::Settings;

    use super::*;
    use crate::indication::round_to;

    /// d in micrograms, unit, and the interval as it is written.
    #[test]
    fn each_unit_has_the_interval_that_suits_it() {
        // COMPUTED HERE: d/unit, then the next 1, 2 or 5 times 10^k from there.
        let cases = [
            (2_000_000u64, Unit::Gram, 0, 2),
            (2_000_000, Unit::Kilogram, 3, 2),
            (2_000_000, Unit::Pound, 3, 5),       // 0.004409 lb
            (2_000_000, Unit::Ounce, 1, 1),       // 0.07055 oz
            (1_000_000, Unit::Pound, 3, 5),       // 0.002205 lb
            (5_000_000, Unit::Pound, 2, 2),       // 0.01102 lb
            (20_000_000, Unit::Pound, 2, 5),      // 0.04409 lb
            (500_000, Unit::Ounce, 2, 2),         // 0.01764 oz
            (10_000_000_000, Unit::Pound, 0, 50), // 22.05 lb
            (10_000_000_000, Unit::Kilogram, 0, 10),
            (100_000, Unit::Gram, 1, 1),
            // Of no usual form: kept, in metric units.
            (15_000_000, Unit::Gram, 0, 15),
            (15_000_000, Unit::Pound, 2, 5), // 0.03307 lb
        ];
        for (d_ug, unit, decimals, step) in cases {
            let interval = Interval::new(unit, 1000, (d_ug / 1000) as u32);
            assert_eq!(
                (interval.decimals, interval.step),
                (decimals, step),
                "{d_ug} {unit:?}"
            );
        }
    }

    /// 1 lb = 453.59237 g exactly, and 16 oz.
    #[test]
    fn a_pound_is_what_it_is() {
        let fine = |unit| Interval {
            unit,
            decimals: 9,
            step: 1,
        };
        // Quanta of 10 micrograms: a pound is a whole number of them.
        assert_eq!(fine(Unit::Pound).digits(45_359_237, 10), 1_000_000_000);
        assert_eq!(fine(Unit::Ounce).digits(45_359_237, 10), 16_000_000_000);
        assert_eq!(fine(Unit::Gram).digits(45_359_237, 10), 453_592_370_000);
        assert_eq!(fine(Unit::Pound).quanta(1_000_000_000, 10), 45_359_237);
        // 6 kg = 13.2277 lb = 211.644 oz (COMPUTED HERE).
        let in_lb = Interval::new(Unit::Pound, 1000, 2000);
        assert_eq!(
            in_lb.digits(3_000_000, 2000),
            13_230,
            "13.230 lb in steps of 0.005"
        );
        let in_oz = Interval::new(Unit::Ounce, 1000, 2000);
        assert_eq!(in_oz.digits(3_000_000, 2000), 2116);
    }

    #[test]
    fn ties_go_away_from_zero_and_rounding_is_done_once() {
        let grams = Interval::new(Unit::Gram, 100, 10_000);
        assert_eq!(grams.digits(150, 10_000), 2);
        assert_eq!(grams.digits(-150, 10_000), -2);
        assert_eq!(grams.digits(149, 10_000), 1);
        // Rounded to the gram first, 1.46 kg in steps of 20 g would be 1.460;
        // here 1449.6 g: 1450 g first would be 1460 (tie), at once it is 1440.
        let coarse = Interval {
            unit: Unit::Gram,
            decimals: 0,
            step: 20,
        };
        assert_eq!(coarse.digits(144_960, 10_000), 1440);
    }

    #[test]
    fn a_tenth_of_an_interval_has_one_more_digit_or_zero_less() {
        let tenth = |unit, d, quantum| Interval::new(unit, d, quantum).tenth();
        assert_eq!(tenth(Unit::Gram, 1000, 2000).decimals, 1);
        assert_eq!(tenth(Unit::Gram, 1000, 2000).step, 2);
        let big = tenth(Unit::Gram, 1000, 20_000);
        assert_eq!((big.decimals, big.step), (0, 2));
        assert_eq!(big.digits(1234, 20_000), 24, "24.68 g in steps of 2 g");
    }

    proptest! {
        /// In g and kg the indication is the instrument's own, to the digit.
        #[test]
        fn metric_indications_are_those_of_the_instrument(
            quanta in -(1i32 << 28)..=1 << 28, d in 1i32..100_000, quantum_ug in 1u32..10_000_000,
        ) {
            for unit in [Unit::Gram, Unit::Kilogram] {
                let interval = Interval::new(unit, d, quantum_ug);
                let exact = i128::from(round_to(quanta, d)) * i128::from(quantum_ug);
                let (micrograms, _) = unit.micrograms();
                let shown = i128::from(interval.digits(quanta, quantum_ug));
                let scale = i128::from(power_of_ten(interval.decimals));
                prop_assert_eq!(shown * i128::from(micrograms), exact * scale);
            }
        }

        /// The interval has the form, is not finer than d, and the next smaller
        /// one would be.
        #[test]
        fn the_interval_is_the_smallest_that_is_not_finer(d in 1i32..=1 << 20, quantum_ug in 1u32..) {
            for unit in [Unit::Pound, Unit::Ounce] {
                let interval = Interval::new(unit, d, quantum_ug);
                let mut mantissa = interval.step;
                let mut zeros = 0i32;
                while mantissa.is_multiple_of(10) {
                    mantissa /= 10;
                    zeros += 1;
                }
                prop_assert!([1, 2, 5].contains(&mantissa));
                prop_assert!(zeros == 0 || interval.decimals == 0);
                let (micrograms, per) = unit.micrograms();
                let d_ug = u128::from(d as u32) * u128::from(quantum_ug) * u128::from(per)
                    * u128::from(power_of_ten(interval.decimals));
                let step_ug = u128::from(interval.step) * u128::from(micrograms);
                prop_assert!(step_ug >= d_ug);
                // 5 is 2.5 times the one before, 1 and 2 twice.
                let (by, of) = if mantissa == 5 { (2, 5) } else { (1, 2) };
                if !(interval.decimals == DECIMALS && interval.step == 1) {
                    prop_assert!(step_ug * by < d_ug * of);
                }
            }
        }

        /// 2^28 quanta of up to a kilogram stay inside 64 bits, and the indication
        /// is within half a step of the mass.
        #[test]
        fn nothing_overflows(quanta in -(1i32 << 28)..=1 << 28, e in 100i32..=1 << 21, quantum_ug in 1u32..=1_000_000_000, tenth: bool) {
            for unit in Unit::ALL {
                let mut interval = Interval::new(unit, e, quantum_ug);
                if tenth {
                    interval = interval.tenth();
                }
                let digits = interval.digits(quanta, quantum_ug);
                prop_assert_eq!(digits, interval.rounded(digits));
                let (micrograms, per) = unit.micrograms();
                let scale = f64::from(10.0_f32).powi(i32::from(interval.decimals));
                let exact = f64::from(quanta) * f64::from(quantum_ug) * per as f64 / micrograms as f64 * scale;
                let off = (digits as f64 - exact).abs() / interval.step as f64;
                // f64 holds 53 bits of up to 60.
                prop_assert!(off <= 0.5 + exact.abs() * 1e-15, "{off}");
                prop_assert_eq!(interval.digits(-quanta, quantum_ug), -digits);
            }
        }

        /// What is entered comes back as it was.
        #[test]
        fn a_number_survives_the_way_through_quanta(steps in -50_000i64..50_000, e in 100i32..10_000, quantum_ug in 1u32..100_000) {
            for unit in Unit::ALL {
                let interval = Interval::new(unit, e, quantum_ug);
                let digits = steps * interval.step as i64;
                let quanta = interval.quanta(digits, quantum_ug);
                prop_assume!(quanta.abs() <= Settings::MAX_QUANTA);
                prop_assert_eq!(interval.digits(quanta, quantum_ug), digits);
            }
        }
    }
}
