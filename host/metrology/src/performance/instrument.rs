//! The scale a test speaks of, and its readings freed of rounding.

use super::{Judgement, Shortfall, Unusable};
use crate::tolerance::{Intervals, Scheme, before_rounding, may_indicate};

/// A reading at rest, in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// What the scale indicated.
    pub indication_g: f64,
    /// Small weights put on, in tenths of an interval, until the indication
    /// stepped to the next (R 76-1, A.4.4.3); `None` when that was not done.
    pub added_g: Option<f64>,
}

impl Reading {
    /// A reading as shown, in g.
    pub fn shown(indication_g: f64) -> Self {
        Self {
            indication_g,
            added_g: None,
        }
    }

    /// A reading, in g, with the small weights that made it step, in g.
    pub fn stepped_by(indication_g: f64, added_g: f64) -> Self {
        Self {
            indication_g,
            added_g: Some(added_g),
        }
    }
}

/// A reading and when it was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedReading {
    /// Seconds since the event the test begins with.
    pub at_s: f64,
    /// The reading.
    pub reading: Reading,
}

/// A reading freed of its rounding, in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Freed {
    pub(super) p_g: f64,
    /// How far p may be off by rounding, either way.
    pub(super) slack_g: f64,
}

/// The scale under test: what it is judged by, and how finely it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    scheme: Scheme,
    intervals: Intervals,
    max_g: f64,
    min_g: f64,
    reads_to_g: f64,
}

/// Readings in steps of at most this share of e need no small weights
/// (R 76-1, A.4.1.6, from memory).
const FINE_SHARE_OF_E: f64 = 0.2;

/// Small weights may pass an interval by one more tenth: they come in tenths.
const ADDED_AT_MOST: f64 = 1.1;

/// How far below an asked load, as a share of it, is still near. R 60-1, 5.5.1
/// takes 90 % of the capacity for "near" it; here that holds for all loads.
const NEAR: f64 = 0.1;

/// Forgives the rounding of products of decimal numbers.
const ROUNDING: f64 = 1e-9;

impl Instrument {
    /// A scale judged by `scheme`, with its intervals, Max and Min in g, read in
    /// steps of d.
    ///
    /// # Errors
    /// A Max not above zero or beyond the scheme's table, a Min outside 0 to Max.
    pub fn new(
        scheme: Scheme,
        intervals: Intervals,
        max_g: f64,
        min_g: f64,
    ) -> Result<Self, Unusable> {
        let usable = max_g.is_finite() && max_g > 0.0 && (0.0..max_g).contains(&min_g);
        if !usable {
            return Err(Unusable::Capacity { max_g, min_g });
        }
        scheme.permitted_g(max_g, &intervals)?;
        let reads_to_g = intervals.d_g();
        Ok(Self {
            scheme,
            intervals,
            max_g,
            min_g,
            reads_to_g,
        })
    }

    /// The same scale, read in finer steps of `reads_to_g` during its tests.
    ///
    /// # Errors
    /// A step that is not above zero, or above d.
    pub fn read_in_steps_of(mut self, reads_to_g: f64) -> Result<Self, Unusable> {
        let d_g = self.intervals.d_g();
        if !(reads_to_g > 0.0 && reads_to_g <= d_g * (1.0 + ROUNDING)) {
            return Err(Unusable::ReadingInterval { reads_to_g, d_g });
        }
        self.reads_to_g = reads_to_g;
        Ok(self)
    }

    /// What it is judged by.
    pub fn scheme(&self) -> &Scheme {
        &self.scheme
    }

    /// Verification interval, in g.
    pub fn e_g(&self) -> f64 {
        self.intervals.e_g()
    }

    /// Scale interval, in g.
    pub fn d_g(&self) -> f64 {
        self.intervals.d_g()
    }

    /// Max, in g.
    pub fn max_g(&self) -> f64 {
        self.max_g
    }

    /// Min, in g.
    pub fn min_g(&self) -> f64 {
        self.min_g
    }

    /// The step of the readings, in g.
    pub fn reads_to_g(&self) -> f64 {
        self.reads_to_g
    }

    /// The permitted error at a load, in g.
    ///
    /// # Errors
    /// A load the scheme has no permitted error for.
    pub fn permitted_g(&self, load_g: f64) -> Result<f64, Unusable> {
        Ok(self.scheme.permitted_g(load_g, &self.intervals)?)
    }

    /// The loads at which the permitted error grows, up to Max, in g.
    pub(super) fn changes_g(&self) -> Vec<f64> {
        let mut changes = self.scheme.changes_g(&self.intervals);
        changes.retain(|change_g| *change_g < self.max_g);
        changes
    }

    /// Whether plain readings leave a rounding error that matters.
    fn reads_coarsely(&self) -> bool {
        self.reads_to_g > FINE_SHARE_OF_E * self.e_g() * (1.0 + ROUNDING)
    }

    /// A reading freed of rounding; `place` is its number from 1.
    pub(super) fn freed(&self, reading: &Reading, place: usize) -> Result<Freed, Unusable> {
        let i = reading.indication_g;
        if !i.is_finite() {
            let what = "reading";
            return Err(Unusable::NotANumber { what, place });
        }
        let interval_g = self.reads_to_g;
        match reading.added_g {
            Some(added_g) if !(0.0..=ADDED_AT_MOST * interval_g).contains(&added_g) => {
                Err(Unusable::Added {
                    place,
                    added_g,
                    interval_g,
                })
            }
            Some(added_g) => Ok(Freed {
                p_g: before_rounding(i, interval_g, added_g, 0.0, 0.0).p,
                slack_g: 0.0,
            }),
            None if self.reads_coarsely() => Ok(Freed {
                p_g: i,
                slack_g: interval_g / 2.0,
            }),
            None => Ok(Freed {
                p_g: i,
                slack_g: 0.0,
            }),
        }
    }

    /// What left findings open, if it was plain readings in coarse steps. Where
    /// the verdict is sure all the same, rounding is no gap.
    pub(super) fn coarse<'a>(
        &self,
        readings: impl IntoIterator<Item = &'a Reading>,
        findings: impl IntoIterator<Item = Judgement>,
    ) -> Option<Shortfall> {
        let plain = readings.into_iter().any(|r| r.added_g.is_none());
        let open = findings.into_iter().any(|f| f == Judgement::Open);
        (plain && open && self.reads_coarsely()).then(|| Shortfall::RoundingNotRemoved {
            reads_to_g: self.reads_to_g,
            fine_enough_g: FINE_SHARE_OF_E * self.e_g(),
        })
    }

    /// The gap a load well below the asked one leaves.
    pub(super) fn light(&self, load_g: f64, asked_g: f64) -> Option<Shortfall> {
        (load_g < asked_g * (1.0 - NEAR) * (1.0 - ROUNDING))
            .then_some(Shortfall::LoadTooSmall { load_g, asked_g })
    }

    /// Whether a load is near another, in the sense of [`NEAR`].
    pub(super) fn near(load_g: f64, asked_g: f64) -> bool {
        (load_g - asked_g).abs() <= NEAR * asked_g * (1.0 + ROUNDING)
    }

    /// A load that is a number above zero and not beyond the range of indication.
    pub(super) fn load(&self, what: &'static str, load_g: f64) -> Result<f64, Unusable> {
        if !(load_g.is_finite() && load_g > 0.0) {
            let value = load_g;
            return Err(Unusable::NotPositive { what, value });
        }
        if !may_indicate(load_g, self.max_g, self.e_g()) {
            let max_g = self.max_g;
            return Err(Unusable::BeyondMax { load_g, max_g });
        }
        Ok(load_g)
    }
}

/// Timed readings freed of rounding, `(s, reading)`, two at least.
pub(super) struct InOrder {
    pub(super) first: (f64, Freed),
    pub(super) last: (f64, Freed),
    pub(super) all: Vec<(f64, Freed)>,
}

/// Readings freed of rounding, their times checked to rise.
pub(super) fn freed_in_order(
    instrument: &Instrument,
    readings: &[TimedReading],
) -> Result<InOrder, Unusable> {
    let mut before_s: Option<f64> = None;
    let mut all = Vec::with_capacity(readings.len());
    for (index, timed) in readings.iter().enumerate() {
        let (place, at_s) = (index + 1, timed.at_s);
        if !at_s.is_finite() {
            let what = "time";
            return Err(Unusable::NotANumber { what, place });
        }
        if at_s < 0.0 || before_s.is_some_and(|before_s| at_s <= before_s) {
            return Err(Unusable::TimeNotRising { place });
        }
        before_s = Some(at_s);
        all.push((at_s, instrument.freed(&timed.reading, place)?));
    }
    match (all.first(), all.last()) {
        (Some(&first), Some(&last)) if all.len() > 1 => Ok(InOrder { first, last, all }),
        _ => Err(Unusable::TooFew {
            what: "readings",
            given: all.len(),
            needed: 2,
        }),
    }
}
