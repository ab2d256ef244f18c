//! Why readings can't be evaluated.

use std::fmt;

use crate::tolerance::NoPermittedError;

/// Readings, or a description of the scale, that no test can be made of.
/// Places are counted from 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unusable {
    /// Max or Min does not make sense.
    Capacity {
        /// Max, in g.
        max_g: f64,
        /// Min, in g.
        min_g: f64,
    },
    /// The interval readings are taken with is not between 0 and d.
    ReadingInterval {
        /// The interval, in g.
        reads_to_g: f64,
        /// The scale interval d, in g.
        d_g: f64,
    },
    /// A number is not finite.
    NotANumber {
        /// What it should be.
        what: &'static str,
        /// Which one.
        place: usize,
    },
    /// The added small weights are below zero or more than one interval.
    Added {
        /// Which reading.
        place: usize,
        /// What was added, in g.
        added_g: f64,
        /// The interval of the readings, in g.
        interval_g: f64,
    },
    /// Fewer readings than the quantity can be computed from.
    TooFew {
        /// Of what.
        what: &'static str,
        /// How many were given.
        given: usize,
        /// How many are needed at least.
        needed: usize,
    },
    /// A load, time or weight that must be above zero is not.
    NotPositive {
        /// What it should be.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A load is beyond Max by more than the scale may indicate.
    BeyondMax {
        /// The load, in g.
        load_g: f64,
        /// Max, in g.
        max_g: f64,
    },
    /// Times don't rise from zero or later.
    TimeNotRising {
        /// The reading at which they don't.
        place: usize,
    },
    /// The scheme has no permitted error for a load.
    NoLimit(NoPermittedError),
}

impl fmt::Display for Unusable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Capacity { max_g, min_g } => write!(
                f,
                "Max ({max_g} g) must be a number above zero and Min ({min_g} g) between zero and Max"
            ),
            Self::ReadingInterval { reads_to_g, d_g } => write!(
                f,
                "readings can't come in steps of {reads_to_g} g from a scale with d = {d_g} g: give d, or the finer step of a test display"
            ),
            Self::NotANumber { what, place } => write!(
                f,
                "{what} {place} is not a finite number: read it again or leave it out"
            ),
            Self::Added {
                place,
                added_g,
                interval_g,
            } => write!(
                f,
                "reading {place} has {added_g} g of small weights added, but the indication steps within {interval_g} g: give only what was on when it stepped"
            ),
            Self::TooFew {
                what,
                given,
                needed,
            } => write!(
                f,
                "{given} {what} given, at least {needed} are needed: take more"
            ),
            Self::NotPositive { what, value } => {
                write!(f, "{what} is {value}, but must be a number above zero")
            }
            Self::BeyondMax { load_g, max_g } => write!(
                f,
                "{load_g} g is beyond Max = {max_g} g, where nothing is promised: take a lighter load"
            ),
            Self::TimeNotRising { place } => write!(
                f,
                "the time of reading {place} is below zero or not after that of the one before: list the readings in the order they were taken"
            ),
            Self::NoLimit(why) => why.fmt(f),
        }
    }
}

impl std::error::Error for Unusable {}

impl From<NoPermittedError> for Unusable {
    fn from(why: NoPermittedError) -> Self {
        Self::NoLimit(why)
    }
}
