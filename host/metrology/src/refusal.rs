//! Why observations can't become a calibration.
//!
//! Owns the reasons and their words: what is wrong, where, what to do.
//! Loads are named by their mass, since that is what lies on the table.

use std::fmt;

/// A set of observations that is refused as a whole.
#[derive(Debug, Clone, PartialEq)]
pub enum FitRefusal {
    /// Fewer distinct loads than a curve can be judged on.
    TooFewLoads {
        /// Distinct loads above zero.
        given: usize,
        /// Distinct loads needed.
        needed: usize,
    },
    /// The heavier of two loads reads no more counts than the lighter.
    NotMonotone {
        /// The lighter load, in g.
        lighter_g: f64,
        /// Its net counts.
        lighter_counts: f64,
        /// The heavier load, in g.
        heavier_g: f64,
        /// Its net counts.
        heavier_counts: f64,
    },
    /// Two captures of one load differ by more than the tolerance.
    Contradictory {
        /// The load, in g.
        mass_g: f64,
        /// Net counts of the lower capture.
        low_counts: f64,
        /// Net counts of the higher capture.
        high_counts: f64,
        /// The difference, in g.
        apart_g: f64,
        /// The permitted difference, in g.
        tolerance_g: f64,
    },
    /// Captures of one load name masses that differ.
    MassesDiffer {
        /// One mass, in g.
        one_g: f64,
        /// The other mass, in g.
        other_g: f64,
    },
    /// A capture was taken with the converter at its end.
    Saturated {
        /// The load, in g.
        mass_g: f64,
    },
    /// A load with a mass below zero.
    NegativeMass {
        /// The load, in g.
        mass_g: f64,
    },
    /// The largest load covers too little of the range.
    SpanTooSmall {
        /// The largest load, in g.
        largest_g: f64,
        /// The least that is needed, in g.
        needed_g: f64,
    },
    /// The cell gives too few counts for the interval.
    TooFewCounts {
        /// Counts for one verification interval.
        counts_per_e: f64,
    },
    /// A number that is not finite, or a scatter below zero.
    NotFinite {
        /// Position of the observation, from 0.
        observation: usize,
    },
    /// The table's description does not make sense.
    TableSpace(&'static str),
    /// No candidate could be formed and judged; the reason of the last.
    NoCandidate(String),
}

impl fmt::Display for FitRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewLoads { given, needed } => write!(
                f,
                "too few loads: {given} different loads above zero, at least {needed} are needed; put on more loads spread over the range"
            ),
            Self::NotMonotone {
                lighter_g,
                lighter_counts,
                heavier_g,
                heavier_counts,
            } => write!(
                f,
                "readings do not rise with load: {heavier_g} g reads {heavier_counts:.0} counts, {lighter_g} g reads {lighter_counts:.0}; check that each load was the one named, and swap the signal wires if all readings fall"
            ),
            Self::Contradictory {
                mass_g,
                low_counts,
                high_counts,
                apart_g,
                tolerance_g,
            } => write!(
                f,
                "captures of {mass_g} g contradict each other: {low_counts:.0} and {high_counts:.0} counts, {apart_g:.3} g apart, {tolerance_g:.3} g permitted; check that nothing touches the pan and capture this load again"
            ),
            Self::MassesDiffer { one_g, other_g } => write!(
                f,
                "captures of one load name two masses, {one_g} g and {other_g} g; correct the list of loads"
            ),
            Self::Saturated { mass_g } => write!(
                f,
                "the converter was at its end with {mass_g} g on; lower the gain or the load and capture again"
            ),
            Self::NegativeMass { mass_g } => write!(
                f,
                "a load of {mass_g} g is below zero; correct the list of loads"
            ),
            Self::SpanTooSmall {
                largest_g,
                needed_g,
            } => write!(
                f,
                "the largest load, {largest_g} g, covers too little of the range; calibrate with at least {needed_g} g"
            ),
            Self::TooFewCounts { counts_per_e } => write!(
                f,
                "the cell moves only {counts_per_e:.2} counts for one interval e; raise the gain or choose a larger e"
            ),
            Self::NotFinite { observation } => write!(
                f,
                "observation {} holds a number that is not finite or a scatter below zero; remove it or capture again",
                observation + 1
            ),
            Self::TableSpace(what) => write!(
                f,
                "the table's description is not usable: {what}; correct the scale's settings"
            ),
            Self::NoCandidate(why) => write!(
                f,
                "no curve could be formed and judged: {why}; put on more loads or check them"
            ),
        }
    }
}

impl std::error::Error for FitRefusal {}
