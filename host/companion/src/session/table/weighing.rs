//! One load weighed with the guide and the capture of a verification: zero set on
//! the empty pan, the load put on, captured.

use super::adjusting::Shown;
use crate::record::surroundings::Surroundings;
use crate::session::plan::{Load, PlannedWeight, ScaleSpec};
use crate::session::proof::entry::ProofEntry;
use crate::session::proof::plan::{Doing, PlannedTest, ProofPlan, ProofStep};
use crate::session::proof::{Spot, Test};

/// What the load is called.
const LOAD: &str = "the load";

/// Samples: four times those of a calibration's capture, since one load decides.
const SAMPLES: u16 = 64;

/// The plan for one load of a scale.
#[must_use]
pub fn plan(scale: ScaleSpec, load_g: f64) -> ProofPlan {
    let load = Load {
        weights: vec![LOAD.into()],
        mass_g: load_g,
        u_g: 0.0,
    };
    let step = |load: Load, doing: Doing| ProofStep {
        load,
        spot: Spot::Middle,
        doing,
    };
    ProofPlan {
        weights: vec![PlannedWeight::new(LOAD, load_g, 0.0)],
        tests: vec![PlannedTest {
            test: Test::Errors,
            steps: vec![
                step(Load::empty(), Doing::SetZero),
                step(load, Doing::Capture),
            ],
        }],
        impossible: Vec::new(),
        short: true,
        samples: SAMPLES,
        // Nothing is judged.
        scheme: format!("R76 {} initial", scale.class),
        guarded: false,
        surroundings: Surroundings::default(),
        scale,
    }
}

/// What was captured of the load; `None` when nothing was.
#[must_use]
pub fn captured(kept: &[ProofEntry]) -> Option<Shown> {
    kept.iter().rev().find_map(|entry| match entry {
        ProofEntry::Captured(capture) => Some(Shown::Captured {
            net_counts: capture.mean_counts - f64::from(capture.zero_counts),
            correction: capture.correction,
        }),
        _ => None,
    })
}
