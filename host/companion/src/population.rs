//! Many scales calibrated one after another, to see how often each way of
//! setting a scale passes.

use serde::{Deserialize, Serialize};

use crate::session::procedure::Procedure;

/// How one scale fared: whether each way passed, and its largest error in e.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fared {
    /// One span, set at full load.
    pub single_span: (bool, f64),
    /// Two spans, switched at half load.
    pub two_spans: (bool, f64),
    /// Our table.
    pub table: (bool, f64),
}

impl Fared {
    /// From a finished session; `None` when it did not come to an end.
    #[must_use]
    pub fn of(procedure: &Procedure) -> Option<Self> {
        let outcome = procedure.outcome()?;
        let common = procedure.common_settings()?;
        let said = |verification: &crate::record::outcome::Verification| {
            (verification.verdict == "pass", verification.largest_error_e)
        };
        Some(Self {
            single_span: said(&common.single_span),
            two_spans: said(&common.two_spans),
            table: said(&outcome.after),
        })
    }
}

/// One way of setting a scale, over the population.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// The way, in words.
    pub name: String,
    /// Scales that pass.
    pub passed: usize,
    /// Their share.
    pub share: f64,
    /// Median of the largest error, in e.
    pub median_largest_error_e: f64,
    /// Nine in ten scales have a largest error below this, in e.
    pub ninth_decile_largest_error_e: f64,
}

/// A population's result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Population {
    /// Scales calibrated.
    pub population: usize,
    /// Scales whose session ended early; they count as failed in every way.
    pub ended_early: usize,
    /// Seed of the first.
    pub seed: u64,
    /// The scale in words.
    pub scale: String,
    /// Each way.
    pub ways: Vec<Share>,
    /// Wall-clock time, s.
    pub wall_s: f64,
}

impl Population {
    /// The shares of `fared`, where `None` stands for a session that ended
    /// early.
    #[must_use]
    pub fn of(fared: &[Option<Fared>], seed: u64, scale: &str, wall_s: f64) -> Self {
        type Way = fn(&Fared) -> (bool, f64);
        let ways: [(&str, Way); 3] = [
            ("single span at full load", |one| one.single_span),
            ("two spans switched at half load", |one| one.two_spans),
            ("our table", |one| one.table),
        ];
        let ways = ways
            .iter()
            .map(|(name, way)| {
                let told: Vec<(bool, f64)> = fared.iter().flatten().map(way).collect();
                let passed = told.iter().filter(|(passed, _)| *passed).count();
                let mut errors: Vec<f64> = told.iter().map(|(_, error)| *error).collect();
                errors.sort_by(f64::total_cmp);
                let at = |share: f64| {
                    let index = (share * errors.len() as f64) as usize;
                    errors.get(index).copied().unwrap_or(f64::NAN)
                };
                Share {
                    name: (*name).into(),
                    passed,
                    share: passed as f64 / fared.len().max(1) as f64,
                    median_largest_error_e: at(0.5),
                    ninth_decile_largest_error_e: at(0.9),
                }
            })
            .collect();
        Self {
            population: fared.len(),
            ended_early: fared.iter().filter(|one| one.is_none()).count(),
            seed,
            scale: scale.into(),
            ways,
            wall_s,
        }
    }
}
