//! Two instruments on the same loads: whether they agree, how they differ, and
//! which of them is off.
//!
//! Owns the differences and errors with their uncertainties ([`mod@differences`]),
//! E_n numbers ([`mod@normalised`]), limits of agreement ([`mod@agreement`]), lines
//! through the differences ([`mod@lines`]) and the verdict in plain words
//! ([`mod@pattern`], [`mod@blame`], [`mod@importance`]). What both instruments share, the
//! weights, cancels in a difference but not in an error: that is kept apart
//! throughout; errors that both show alike may name a weight
//! ([`mod@shared_weight`]). Refuses readings without an uncertainty: nothing reads exactly.

pub mod agreement;
pub mod blame;
pub mod differences;
pub mod importance;
pub mod lines;
pub mod normalised;
pub mod pattern;
pub mod shared_weight;

use std::fmt;

pub use agreement::{Agreement, agreement};
pub use blame::{Blame, blame};
pub use differences::{AtLoad, ErrorOfOne, at_loads};
pub use importance::{Importance, importance};
pub use lines::{Lines, lines};
pub use normalised::{NormalisedError, normalised_error};
pub use pattern::{Pattern, pattern};
pub use shared_weight::{SharedLoad, SharedWeight, shared_weight};

/// Coverage factor of every expanded uncertainty here: 2, as calibration
/// certificates and ISO 13528:2015, 9.7 have it (from memory).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// What one instrument said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Indication, g.
    pub indication_g: f64,
    /// Standard uncertainty of it from the instrument alone (repeatability,
    /// rounding, eccentricity ...), without the weights, g.
    pub u_g: f64,
}

/// What lay on the two instruments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Weights {
    /// The same body on both; nobody knows its mass well.
    Unknown,
    /// The same weights on both.
    Shared {
        /// Their mass, g.
        mass_g: f64,
        /// Its standard uncertainty, g.
        u_g: f64,
    },
    /// Weights of its own on each, independently known.
    Separate {
        /// Mass on the first, g, and its standard uncertainty, g.
        first_g: (f64, f64),
        /// The same on the second.
        second_g: (f64, f64),
    },
}

/// One load on both instruments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairAtLoad {
    /// The load, g: its nominal value is enough.
    pub load_g: f64,
    /// What the first said.
    pub first: Reading,
    /// What the second said.
    pub second: Reading,
    /// What lay on them.
    pub weights: Weights,
}

/// Why two instruments can't be compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ComparisonError {
    /// There are no loads.
    NoLoads,
    /// A number of the pair that isn't finite, or too large to reckon with.
    NotUsable {
        /// Position of the pair, from 0.
        at: usize,
    },
    /// A reading's uncertainty that is not above zero, or a weight's below zero.
    Uncertainty {
        /// Position of the pair, from 0.
        at: usize,
        /// The uncertainty, g.
        u_g: f64,
    },
    /// Fewer loads than the quantity needs.
    TooFew {
        /// Loads given.
        given: usize,
        /// Loads needed.
        needed: usize,
    },
    /// The loads don't differ enough to tell a slope.
    OneLoad,
    /// A correlation outside -1 to 1.
    Correlation(f64),
    /// Uncertainties of two values that leave nothing for their difference.
    NoUncertainty,
    /// A permitted error that is not a number above zero.
    Permitted {
        /// The load, g.
        load_g: f64,
        /// The permitted error there, g.
        permitted_g: f64,
    },
}

impl fmt::Display for ComparisonError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLoads => write!(f, "there is no load to compare: give at least one"),
            Self::NotUsable { at } => write!(
                f,
                "load {} has a number that can't be reckoned with: give plain grams",
                at + 1
            ),
            Self::Uncertainty { at, u_g } => write!(
                f,
                "load {} has a standard uncertainty of {u_g} g: a reading needs one above zero (rounding alone gives d/3.46), a weight zero or more",
                at + 1
            ),
            Self::TooFew { given, needed } => {
                write!(f, "{given} loads are given, {needed} are needed: add loads")
            }
            Self::OneLoad => write!(
                f,
                "the loads are all alike, so that no slope shows: add a load far from them"
            ),
            Self::Correlation(v) => {
                write!(f, "a correlation must lie between -1 and 1, got {v}")
            }
            Self::NoUncertainty => write!(
                f,
                "no uncertainty is left for the difference: give each value the uncertainty of its own"
            ),
            Self::Permitted {
                load_g,
                permitted_g,
            } => write!(
                f,
                "the permitted error at {load_g} g is {permitted_g} g: it must be a number above zero"
            ),
        }
    }
}

impl std::error::Error for ComparisonError {}

/// Everything the comparison tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Differences and errors load by load, in the order given.
    pub loads: Vec<AtLoad>,
    /// Mean difference and limits of agreement; absent below three loads.
    pub agreement: Option<Agreement>,
    /// Lines through the differences; absent where the loads don't determine them.
    pub lines: Option<Lines>,
    /// How the two differ.
    pub pattern: Pattern,
    /// Which of them is off.
    pub blame: Blame,
    /// Whether the difference matters against the permitted error.
    pub importance: Importance,
}

/// Compares two instruments; `permitted_g` is the permitted error, in g, of one
/// instrument at a load in g.
///
/// # Errors
/// Numbers that can't be reckoned with, uncertainties or permitted errors that
/// are not above zero. Too few loads are no error: what they can't tell is absent.
pub fn compare(
    pairs: &[PairAtLoad],
    permitted_g: impl Fn(f64) -> f64,
) -> Result<Comparison, ComparisonError> {
    let loads = at_loads(pairs)?;
    let differences: Vec<f64> = loads.iter().map(|l| l.difference_g).collect();
    let pattern = pattern(&loads)?;
    Ok(Comparison {
        agreement: agreement(&differences).ok(),
        lines: lines(&loads).ok(),
        blame: blame(&loads, &pattern),
        importance: importance(&loads, permitted_g)?,
        pattern,
        loads,
    })
}

impl Comparison {
    /// The verdict in plain words, one sentence each: how the two differ, who is
    /// off, whether it matters. `first` and `second` are their names.
    #[must_use]
    pub fn in_words(&self, first: &str, second: &str) -> [String; 3] {
        [
            self.pattern.in_words(first, second),
            self.blame.in_words(first, second),
            self.importance.in_words(),
        ]
    }
}
