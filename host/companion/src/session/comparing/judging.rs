//! Verdicts against the tolerance, and the permitted band as a picture needs it.

use scalewright_metrology::comparison::ErrorOfOne;
use scalewright_metrology::decision::{ErrorEstimate, Rule};
use scalewright_metrology::tolerance::{Intervals, Scheme};

use super::{ComparingFault, fault};
use crate::record::comparison::{BandCorner, ComparedLoad, ErrorLine, LargestError};
use crate::record::proof::Verdict;
use crate::session::deciding;

/// What a scale is judged by.
pub(super) struct Judging {
    pub(super) scheme: Scheme,
    pub(super) intervals: Intervals,
    pub(super) rule: Rule,
}

impl Judging {
    /// The permitted error at a load, g.
    pub(super) fn permitted_g(&self, load_g: f64) -> Result<f64, ComparingFault> {
        self.scheme
            .permitted_g(load_g, &self.intervals)
            .map_err(|cause| fault(cause.to_string(), "judge by another tolerance: --judge"))
    }

    /// An error with its verdict.
    pub(super) fn line(&self, readings: usize, error: &ErrorOfOne, permitted_g: f64) -> ErrorLine {
        let found = ErrorEstimate {
            error_g: error.error_g,
            standard_g: error.u_g,
            expanded_g: error.expanded_g,
        };
        let (verdict, _) = deciding::verdict(found, permitted_g, self.rule);
        ErrorLine {
            readings,
            error_g: error.error_g,
            expanded_u_g: error.expanded_g,
            permitted_g,
            verdict,
        }
    }

    /// Corners of the permitted error from zero to `top_g`.
    pub(super) fn band(&self, top_g: f64) -> Vec<BandCorner> {
        deciding::band(&self.scheme, &self.intervals, top_g)
    }
}

/// The worst verdict of a scale over all loads, and over those without the
/// wrong weight, if there is one.
pub(super) fn verdicts(
    rows: &[ComparedLoad],
    of: fn(&ComparedLoad) -> &ErrorLine,
) -> (Verdict, Option<Verdict>) {
    let worst =
        |rows: &mut dyn Iterator<Item = &ComparedLoad>| rows.map(|row| of(row).verdict).max();
    let all = worst(&mut rows.iter()).unwrap_or(Verdict::Open);
    let held = rows.iter().any(|row| row.holds_wrong_weight);
    let others = worst(&mut rows.iter().filter(|row| !row.holds_wrong_weight));
    (all, others.filter(|_| held))
}

/// The error that takes most of what is permitted.
pub(super) fn largest(
    rows: &[ComparedLoad],
    of: fn(&ComparedLoad) -> &ErrorLine,
) -> Option<LargestError> {
    let share = |row: &ComparedLoad| (of(row).error_g / of(row).permitted_g).abs();
    let row = rows.iter().max_by(|a, b| share(a).total_cmp(&share(b)))?;
    Some(LargestError {
        load_g: row.load_g,
        error_g: of(row).error_g,
        permitted_g: of(row).permitted_g,
    })
}
