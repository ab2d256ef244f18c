//! Two scales on the same loads: ours from a verification, the other as read
//! from a file, typed, or heard on its line.
//!
//! | Module | Owns |
//! |---|---|
//! | `pairing` | which of their readings belongs to which of our loads |
//! | `their_u` | the uncertainty of what the other scale showed |
//! | `judging` | verdicts against the tolerance, the permitted band |
//! | `gathered` | readings of the other scale as a session collects them |
//! | `typed` | readings from a keyboard, byte by byte |
//! | `heard`, `pattern` | readings from a serial line, byte by byte |
//!
//! Both scales are judged by one tolerance, the other with an e of its own if one
//! is named. Their shared weights cancel in a difference and stay in an error.
//!
//! Whether a weight explains what both show alike is
//! [`shared_weight()`]'s: errors of both, a smooth error of each scale of its own,
//! and one weight at a time (its limits stand there). The joint solution of a
//! calibration is not used: it knows one scale's counts, and of the other there
//! are rounded readings only.

pub mod gathered;
pub mod heard;
mod judging;
mod pairing;
pub mod pattern;
mod their_u;
pub mod typed;

use std::fmt;

use scalewright_metrology::comparison::{
    AtLoad, Comparison, PairAtLoad, Reading, SharedLoad, Weights, compare, shared_weight,
};
use scalewright_metrology::decision::Rule;
use scalewright_metrology::tolerance::{Intervals, Scheme};

use super::deciding;
use super::proof::entry::ProofEntry;
use super::proof::evaluate::{evaluate, scheme};
use super::proof::plan::ProofPlan;
use crate::record::comparison::{
    AgreementLine, ComparedLoad, ComparisonRecord, ErrorLine, SideLine, WrongWeight,
};
use crate::record::proof::Proof;
use crate::record::readings::Readings;
use crate::record::tolerance::Tolerance;
use crate::record::weights::name;
use judging::Judging;
use pairing::{Paired, pair};
use their_u::TheirUncertainty;

/// How to compare.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choices {
    /// What to judge by; absent: as the verification.
    pub tolerance: Option<Tolerance>,
    /// Verification scale interval of the other scale, g; absent: that of ours.
    pub their_e_g: Option<f64>,
    /// Scale interval of the other scale, g; absent: as its digits show.
    pub their_d_g: Option<f64>,
    /// Expanded uncertainty (k = 2) of the other scale's readings, g; absent:
    /// from its interval and its repeats.
    pub their_expanded_g: Option<f64>,
    /// What the other scale is called.
    pub their_name: String,
}

/// Why two scales can't be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparingFault {
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub try_this: String,
}

impl fmt::Display for ComparingFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for ComparingFault {}

fn fault(what: impl Into<String>, try_this: impl Into<String>) -> ComparingFault {
    ComparingFault {
        what: what.into(),
        try_this: try_this.into(),
    }
}

/// Compares the scale of a verification with the other one.
///
/// # Errors
/// [`ComparingFault`]: the verification has no errors of indication, no load is
/// common to both, or a number makes no sense.
pub fn compared(
    entries: &[ProofEntry],
    theirs: &Readings,
    choices: &Choices,
) -> Result<ComparisonRecord, ComparingFault> {
    let Some(ProofEntry::ProofBegan { plan, .. }) = entries.first() else {
        let what = "our side is no verification";
        return Err(fault(what, "name the session file of `scalewright verify`"));
    };
    let proof = evaluate(entries).map_err(|what| {
        fault(
            what,
            "make the test of errors: `scalewright verify ... errors`",
        )
    })?;
    let paired = pair(plan, &proof, theirs)?;
    let told = TheirUncertainty::of(&paired, theirs, choices)?;
    let pairs: Vec<PairAtLoad> = (paired.loads.iter())
        .map(|load| PairAtLoad {
            load_g: load.ours.load_g,
            first: Reading {
                indication_g: load.ours.load_g + load.ours.error_g,
                u_g: load.ours.own_u_g,
            },
            second: Reading {
                indication_g: load.mean_g(),
                u_g: told.standard_g(load),
            },
            weights: Weights::Shared {
                mass_g: load.ours.load_g,
                u_g: load.ours.weights_u_g,
            },
        })
        .collect();
    let heaviest_g = pairs.iter().map(|pair| pair.load_g).fold(0.0, f64::max);
    let judging = judging(plan, choices, heaviest_g)?;
    let of_theirs = judging_of_theirs(&judging, choices, told.d_g())?;
    let permitted: Vec<[f64; 2]> = (pairs.iter())
        .map(|pair| {
            let theirs = of_theirs.as_ref().unwrap_or(&judging);
            Ok([
                judging.permitted_g(pair.load_g)?,
                theirs.permitted_g(pair.load_g)?,
            ])
        })
        .collect::<Result<_, _>>()?;
    let at = |load_g: f64| judging.permitted_g(load_g).unwrap_or(f64::NAN);
    let found = compare(&pairs, at)
        .map_err(|cause| fault(cause.to_string(), "correct the readings or the tolerance"))?;
    let weight = wrong_weight(plan, &paired, &found.loads, &pairs);
    let rows = rows(&paired, &found, &permitted, &judging, weight.as_ref());
    Ok(told_as_record(Told {
        plan,
        proof,
        paired,
        told,
        judging,
        of_theirs,
        found,
        weight,
        rows,
        choices,
    }))
}

fn judging(
    plan: &ProofPlan,
    choices: &Choices,
    heaviest_g: f64,
) -> Result<Judging, ComparingFault> {
    let scheme: Scheme = match &choices.tolerance {
        Some(tolerance) => {
            let reached = tolerance.reaches(heaviest_g, "the heaviest load that both had");
            reached.map_err(|cause| fault(cause.to_string(), cause.try_this))?;
            tolerance.scheme().clone()
        }
        None => scheme(&plan.scheme).map_err(|cause| fault(cause, "name another session file"))?,
    };
    let intervals = Intervals::new(plan.scale.e_g, plan.scale.d_g)
        .map_err(|cause| fault(cause.to_string(), "name another session file"))?;
    let rule = match plan.guarded {
        true => Rule::Guarded,
        false => Rule::Simple,
    };
    Ok(Judging {
        scheme,
        intervals,
        rule,
    })
}

/// What the other scale is judged by, where its e is another.
fn judging_of_theirs(
    ours: &Judging,
    choices: &Choices,
    their_d_g: f64,
) -> Result<Option<Judging>, ComparingFault> {
    let Some(e_g) = choices.their_e_g.filter(|e_g| *e_g != ours.intervals.e_g()) else {
        return Ok(None);
    };
    let intervals = Intervals::new(e_g, their_d_g).map_err(|cause| {
        fault(
            format!("the other scale with e = {}: {cause}", name(e_g)),
            "correct --their-e or --their-d",
        )
    })?;
    Ok(Some(Judging {
        scheme: ours.scheme.clone(),
        intervals,
        rule: ours.rule,
    }))
}

fn wrong_weight(
    plan: &ProofPlan,
    paired: &Paired,
    loads: &[AtLoad],
    pairs: &[PairAtLoad],
) -> Option<WrongWeight> {
    let position = |id: &String| plan.weights.iter().position(|weight| weight.id == *id);
    let shared: Vec<SharedLoad> = (paired.loads.iter().zip(loads).zip(pairs))
        .filter_map(|((load, at), pair)| {
            let (first, second) = at.errors?;
            Some(SharedLoad {
                load_g: at.load_g,
                first_g: (first.error_g, pair.first.u_g),
                second_g: (second.error_g, pair.second.u_g),
                weights: load.ours.weights.iter().filter_map(position).collect(),
            })
        })
        .collect();
    let may_be_off: Vec<f64> = plan.weights.iter().map(|one| one.may_be_off_g()).collect();
    let found = shared_weight(&shared, &may_be_off)?;
    let all = std::iter::once(found.weight).chain(found.rivals);
    let names = all.filter_map(|at| plan.weights.get(at).map(|weight| weight.id.clone()));
    Some(WrongWeight {
        names: names.collect(),
        off_g: found.off_g,
        expanded_u_g: 2.0 * found.u_g,
        each_g: [found.each_g.0, found.each_g.1],
    })
}

fn rows(
    paired: &Paired,
    found: &Comparison,
    permitted: &[[f64; 2]],
    judging: &Judging,
    weight: Option<&WrongWeight>,
) -> Vec<ComparedLoad> {
    let all = paired.loads.iter().zip(&found.loads).zip(permitted);
    all.filter_map(|((load, at), [permitted_g, of_theirs_g])| {
        let (first, second) = at.errors?;
        Some(ComparedLoad {
            load_g: at.load_g,
            weights: load.ours.weights.clone(),
            ours: judging.line(load.ours.readings, &first, *permitted_g),
            theirs: judging.line(load.readings_g.len(), &second, *of_theirs_g),
            difference_g: at.difference_g,
            difference_u_g: at.expanded_g,
            e_n: at.normalised.e_n,
            permitted_g: *permitted_g,
            holds_wrong_weight: weight
                .is_some_and(|one| one.names.iter().any(|id| load.ours.weights.contains(id))),
            lines: load.lines.clone(),
        })
    })
    .collect()
}

/// What was found, before it is put into words.
struct Told<'a> {
    plan: &'a ProofPlan,
    proof: Proof,
    paired: Paired,
    told: TheirUncertainty,
    judging: Judging,
    of_theirs: Option<Judging>,
    found: Comparison,
    weight: Option<WrongWeight>,
    rows: Vec<ComparedLoad>,
    choices: &'a Choices,
}

fn told_as_record(told: Told<'_>) -> ComparisonRecord {
    let our_name = format!("Scale {}", told.proof.device.id);
    let their_name = told.choices.their_name.clone();
    let [pattern, blame, importance] = told.found.in_words(&our_name, &their_name);
    let side = |name: &str, d_g: f64, uncertainty: String, of: fn(&ComparedLoad) -> &ErrorLine| {
        let (verdict, verdict_without) = judging::verdicts(&told.rows, of);
        SideLine {
            name: name.to_owned(),
            d_g,
            uncertainty,
            largest: judging::largest(&told.rows, of),
            verdict,
            verdict_without,
        }
    };
    let top_g = told
        .rows
        .iter()
        .map(|row| row.load_g)
        .fold(told.plan.scale.max_g, f64::max);
    let ours = side(
        &our_name,
        told.plan.scale.d_g,
        "as its verification found it, and zero as it was after the loads".into(),
        |row| &row.ours,
    );
    let theirs = side(&their_name, told.told.d_g(), told.told.words(), |row| {
        &row.theirs
    });
    let ends = |one: &scalewright_metrology::comparison::agreement::WithInterval| {
        [one.value, one.low, one.high]
    };
    ComparisonRecord {
        version: told.proof.version,
        date: told.proof.date,
        ours,
        theirs,
        scale: told.proof.scale,
        scheme: told.judging.scheme.name(),
        scheme_source: told.judging.scheme.source(),
        rule: deciding::in_words(told.judging.rule),
        band: told.judging.band(top_g),
        their_e_g: told.of_theirs.as_ref().map(|one| one.intervals.e_g()),
        their_band: (told.of_theirs.as_ref()).map_or_else(Vec::new, |one| one.band(top_g)),
        agreement: told.found.agreement.as_ref().map(|one| AgreementLine {
            bias_g: ends(&one.bias),
            lower_g: ends(&one.lower),
            upper_g: ends(&one.upper),
        }),
        rows: told.rows,
        pattern,
        blame,
        importance,
        weight: told.weight,
        unpaired: told.paired.unpaired,
        remarks: [told.paired.remarks, told.told.remarks()].concat(),
    }
}
