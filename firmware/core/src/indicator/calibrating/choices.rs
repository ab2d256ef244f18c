//! What is offered to choose from: capacities, scale intervals, loads.

use scalewright_protocol::settings::Settings;

use super::Calibrating;
use crate::functions::unit::{Interval, Unit};
use crate::indicator::text::Text;
use crate::walk::MOST_LOADS;

/// Capacities offered, g: the trade's usual ones for small scales (common practice).
pub(super) const CAPACITIES_G: [u32; 22] = [
    100, 200, 300, 500, 600, 1000, 1500, 2000, 3000, 5000, 6000, 10_000, 12_000, 15_000, 20_000,
    30_000, 50_000, 60_000, 100_000, 150_000, 200_000, 300_000,
];
/// Fewest and most scale intervals offered (OIML R 76-1:2006 table 3: class III has
/// 500 to 10 000, IIII 100 to 1000).
pub(super) const INTERVALS: core::ops::RangeInclusive<u64> = 100..=10_000;
/// Intervals offered first: 3000, as most scales for trade have.
pub(super) const USUAL_INTERVALS: u64 = 3000;

impl Calibrating {
    pub(super) fn capacity_ug(&self) -> u64 {
        let g = CAPACITIES_G
            .get(usize::from(self.capacity))
            .copied()
            .unwrap_or(6000);
        u64::from(g).saturating_mul(1_000_000)
    }

    /// Whether an interval suits the capacity.
    pub(super) fn suits(&self, d_ug: u64) -> bool {
        let intervals = self.capacity_ug().checked_div(d_ug).unwrap_or(0);
        let rest = self.capacity_ug().checked_rem(d_ug).unwrap_or(1);
        rest == 0 && INTERVALS.contains(&intervals)
    }

    /// The next finer interval; after the finest the coarsest.
    pub(super) fn finer(&self, d_ug: u32) -> u32 {
        let finer = intervals_ug()
            .rev()
            .find(|other| *other < u64::from(d_ug) && self.suits(*other));
        let coarsest = intervals_ug().rev().find(|other| self.suits(*other));
        let chosen = finer.or(coarsest).unwrap_or(u64::from(d_ug));
        u32::try_from(chosen).unwrap_or(d_ug)
    }

    /// The step in which loads are offered: the largest 1, 2 or 5 times 10^k that
    /// goes five times or more into Max.
    pub(super) fn step(&self) -> i32 {
        let settings = self.walk.settings();
        let fifth = settings.max / 5;
        let mut step = settings.d.max(1);
        for _ in 0..12u8 {
            let tens = [step, step.saturating_mul(2), step.saturating_mul(5)];
            if let Some(largest) = tens.into_iter().rev().find(|one| *one <= fifth)
                && step.saturating_mul(10) > fifth
            {
                return largest;
            }
            step = step.saturating_mul(10);
        }
        settings.d.max(1)
    }

    pub(super) fn offer_first(&mut self) {
        self.offered = self.step().saturating_mul(2).min(self.walk.settings().max);
    }

    /// After a load the next multiple of the step, up to Max, that was not taken.
    pub(super) fn offer_next(&mut self) {
        let (step, max) = (self.step(), self.walk.settings().max);
        let last = self.walk.loads().last().map_or(0, |taken| taken.mass);
        let mut next = last.saturating_sub(last.checked_rem(step).unwrap_or(0));
        for _ in 0..MOST_LOADS {
            next = next.saturating_add(step);
            if next > max {
                next = step;
            }
            if self.walk.loads().iter().all(|taken| taken.mass != next) {
                break;
            }
        }
        self.offered = next;
    }

    /// The next load to offer: multiples of the step up to Max, then halves, fifths
    /// and tenths of it.
    pub(super) fn offer_other(&mut self) {
        let (step, max) = (self.step(), self.walk.settings().max);
        self.offered = if self.offered >= step {
            let next = self.offered.saturating_add(step);
            if next <= max { next } else { step / 2 }
        } else if self.offered > step / 5 {
            step / 5
        } else if self.offered > step / 10 {
            step / 10
        } else {
            step
        };
    }
}

pub(super) fn interval_of(settings: &Settings) -> Interval {
    let unit = Unit::usual(settings.max, settings.quantum_ug);
    Interval::new(unit, settings.d, settings.quantum_ug)
}

/// Mass in micrograms, held at 2^64.
pub(super) fn quanta_ug(quanta: i32, quantum_ug: u32) -> u64 {
    u64::from(quanta.unsigned_abs()).saturating_mul(u64::from(quantum_ug))
}

/// 1, 2 and 5 times powers of ten, ug, rising, from 1 mg to 1 kg.
pub(super) fn intervals_ug() -> impl DoubleEndedIterator<Item = u64> {
    (3..9u32).flat_map(|exponent| {
        let ten = 10u64.pow(exponent);
        [ten, 2 * ten, 5 * ten].into_iter()
    })
}

/// A mass in g, or from 1 kg on in kg, with as many digits as it has.
pub(super) fn mass_g(ug: u64) -> Text {
    let (unit, mut decimals) = if ug < 1_000_000_000 {
        ("g", 6)
    } else {
        ("kg", 9)
    };
    let mut digits = ug;
    while decimals > 0 && digits.is_multiple_of(10) {
        digits /= 10;
        decimals -= 1;
    }
    let mut text = Text::new();
    text.number(i64::try_from(digits).unwrap_or(i64::MAX), decimals)
        .letter(b' ')
        .say(unit);
    text
}
