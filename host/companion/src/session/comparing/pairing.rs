//! Which of their readings belongs to which of our loads.

use std::collections::BTreeSet;

use super::{ComparingFault, fault};
use crate::record::comparison::Unpaired;
use crate::record::proof::{LoadBudget, Proof};
use crate::record::readings::{ReadingRow, Readings};
use crate::record::weights::{name, pick};
use crate::session::proof::Test;
use crate::session::proof::plan::ProofPlan;

/// Loads further apart than this are no longer the same, e.
const SAME_E: f64 = 0.5;

/// From here on two statements of one load are worth a remark, e.
const REMARKED_E: f64 = 0.05;

/// Our scale at a load.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct OursAtLoad {
    pub(super) load_g: f64,
    pub(super) weights: Vec<String>,
    /// Mean error before rounding, g.
    pub(super) error_g: f64,
    pub(super) readings: usize,
    /// Standard uncertainty of the scale alone, g.
    pub(super) own_u_g: f64,
    /// Standard uncertainty of the load: weights and air, g.
    pub(super) weights_u_g: f64,
}

/// A load that both had.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PairedLoad {
    pub(super) ours: OursAtLoad,
    /// What the other showed, g.
    pub(super) readings_g: Vec<f64>,
    /// Lines of its file.
    pub(super) lines: Vec<usize>,
}

impl PairedLoad {
    /// Mean of what the other showed, g.
    pub(super) fn mean_g(&self) -> f64 {
        self.readings_g.iter().sum::<f64>() / self.readings_g.len().max(1) as f64
    }

    /// Largest less smallest, g.
    pub(super) fn range_g(&self) -> f64 {
        let high = self
            .readings_g
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let low = self
            .readings_g
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        (high - low).max(0.0)
    }
}

/// All loads.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Paired {
    /// Those that both had, rising.
    pub(super) loads: Vec<PairedLoad>,
    pub(super) unpaired: Vec<Unpaired>,
    pub(super) remarks: Vec<String>,
}

/// Pairs by the weights where the file names them, else by the nearest load
/// within half an e.
pub(super) fn pair(
    plan: &ProofPlan,
    proof: &Proof,
    theirs: &Readings,
) -> Result<Paired, ComparingFault> {
    let ours = ours(proof)?;
    let e_g = plan.scale.e_g;
    let mut loads: Vec<PairedLoad> = (ours.into_iter())
        .map(|ours| PairedLoad {
            ours,
            readings_g: Vec::new(),
            lines: Vec::new(),
        })
        .collect();
    let mut remarks: Vec<String> = theirs.flags.iter().map(ToString::to_string).collect();
    let mut unpaired = Vec::new();
    for row in &theirs.rows {
        if row.load_g == Some(0.0) && row.weights.is_empty() {
            if row.reading_g.abs() > theirs.step_g {
                remarks.push(format!(
                    "line {}: the other scale showed {} g with nothing on it, which is not taken off its readings",
                    row.line, row.reading_g
                ));
            }
            continue;
        }
        match place(plan, &loads, row, e_g) {
            Ok(place) => {
                let Some(load) = loads.get_mut(place) else {
                    continue;
                };
                let stated_g = row.load_g.unwrap_or(load.ours.load_g);
                if (stated_g - load.ours.load_g).abs() > REMARKED_E * e_g {
                    remarks.push(format!(
                        "line {}: a load of {} there is {} here; taken as the same weights",
                        row.line,
                        name(stated_g),
                        name(load.ours.load_g)
                    ));
                }
                load.readings_g.push(row.reading_g);
                load.lines.push(row.line);
            }
            Err(what) => unpaired.push(Unpaired {
                ours: false,
                what,
                line: Some(row.line),
            }),
        }
    }
    let without = loads.iter().filter(|load| load.readings_g.is_empty());
    unpaired.extend(without.map(|load| Unpaired {
        ours: true,
        what: called(load.ours.load_g, &load.ours.weights),
        line: None,
    }));
    loads.retain(|load| !load.readings_g.is_empty());
    loads.sort_by(|a, b| a.ours.load_g.total_cmp(&b.ours.load_g));
    if loads.is_empty() {
        let what = "no load of the other scale is one of ours within half an e";
        let all: Vec<String> = unpaired
            .iter()
            .filter(|one| one.ours)
            .map(|one| one.what.clone())
            .collect();
        return Err(fault(
            what,
            format!("weigh the same loads on it: {}", all.join(", ")),
        ));
    }
    Ok(Paired {
        loads,
        unpaired,
        remarks,
    })
}

/// The place among ours of what a row was read of, or what it is.
fn place(
    plan: &ProofPlan,
    loads: &[PairedLoad],
    row: &ReadingRow,
    e_g: f64,
) -> Result<usize, String> {
    if !row.weights.is_empty() {
        let ids = pick(&row.weights.join("+"), &plan.weights)
            .map_err(|text| format!("\"{text}\", which is no (other) weight of ours"))?;
        let wanted: BTreeSet<&String> = ids.iter().collect();
        let same = |load: &PairedLoad| load.ours.weights.iter().collect::<BTreeSet<_>>() == wanted;
        return loads.iter().position(same).ok_or_else(|| ids.join("+"));
    }
    let Some(load_g) = row.load_g else {
        return Err("a line without a load".into());
    };
    let apart = |load: &PairedLoad| (load.ours.load_g - load_g).abs();
    let near = (loads.iter().enumerate()).filter(|(_, load)| apart(load) <= SAME_E * e_g);
    let nearest = near.min_by(|a, b| apart(a.1).total_cmp(&apart(b.1)));
    nearest.map(|(at, _)| at).ok_or_else(|| name(load_g))
}

fn called(load_g: f64, weights: &[String]) -> String {
    match weights.join("+") {
        names if names.is_empty() || names == name(load_g) => name(load_g),
        names => format!("{} ({names})", name(load_g)),
    }
}

/// Our errors load by load: what was reached from below and from above is
/// averaged, and half of how far they are apart joins the uncertainty, since the
/// other scale's way is not known.
fn ours(proof: &Proof) -> Result<Vec<OursAtLoad>, ComparingFault> {
    let errors = proof
        .tests
        .iter()
        .find(|test| test.test == Test::Errors.name());
    let rows = errors.map(|test| test.rows.as_slice()).unwrap_or_default();
    let mut out: Vec<(OursAtLoad, Vec<f64>)> = Vec::new();
    for row in rows {
        let capture = row.captures.first().and_then(|at| proof.captures.get(*at));
        let budget = proof.budgets.iter().find(|one| one.load_g == row.load_g);
        let (Some(capture), Some(budget)) = (capture, budget) else {
            continue;
        };
        let same = |one: &&mut (OursAtLoad, Vec<f64>)| {
            one.0.load_g == row.load_g && one.0.weights == capture.weights
        };
        if let Some((_, errors_g)) = out.iter_mut().find(same) {
            errors_g.push(row.value_g);
            continue;
        }
        let (own_u_g, weights_u_g) = parted(budget);
        let ours = OursAtLoad {
            load_g: row.load_g,
            weights: capture.weights.clone(),
            error_g: row.value_g,
            readings: 1,
            own_u_g,
            weights_u_g,
        };
        out.push((ours, vec![row.value_g]));
    }
    if out.is_empty() {
        return Err(fault(
            "our verification has no errors of indication",
            "make that test: `scalewright verify --weights weights.toml errors`",
        ));
    }
    Ok(out
        .into_iter()
        .map(|(ours, errors_g)| averaged(ours, &errors_g))
        .collect())
}

fn averaged(mut ours: OursAtLoad, errors_g: &[f64]) -> OursAtLoad {
    let high = errors_g.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = errors_g.iter().copied().fold(f64::INFINITY, f64::min);
    ours.readings = errors_g.len();
    ours.error_g = errors_g.iter().sum::<f64>() / errors_g.len().max(1) as f64;
    // Half the way between them as the half width of a rectangle.
    ours.own_u_g = ours.own_u_g.hypot(0.5 * (high - low) / 3f64.sqrt());
    ours
}

/// A budget's standard uncertainty parted into the scale's own and that of what
/// lay on both scales, weights and the air they displace, g.
fn parted(budget: &LoadBudget) -> (f64, f64) {
    let shared = |name: &str| name.starts_with("weights") || name.starts_with("air");
    let of = |shares: bool| {
        let parts = budget
            .contributions
            .iter()
            .filter(|one| shared(&one.name) == shares);
        parts
            .map(|one| one.standard_u_g.powi(2))
            .sum::<f64>()
            .sqrt()
    };
    (of(false), of(true))
}
