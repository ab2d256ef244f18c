//! What the joint solution says of weights, captures and cell, as values to
//! report; and which loads should be captured again.

use scalewright_metrology::joint::{
    self, CREEP_S, Estimate, JointRefusal, Judged, Problem, Suspect,
};
use scalewright_metrology::tolerance::{Stage, mpe_e};

use super::event::Capture;
use super::plan::{Load, Plan, PlannedWeight};
use super::together::load_of;
use super::weight::Known;
use crate::record::together::{
    Beforehand, CreepFound, SmallOnBigRow, Suspected, Together, Uncertain, Verdict, WeightFound,
};

/// Why there is no joint solution, with names of weights instead of numbers.
pub(super) fn refused(refusal: &JointRefusal, weights: &[PlannedWeight]) -> String {
    match refusal {
        JointRefusal::Open {
            capture: Some(bodies),
            ..
        } => {
            let names = load_of(bodies, weights).weights.join(" + ");
            format!("{refusal}; capture {names} as well, that would settle it")
        }
        other => other.to_string(),
    }
}

fn uncertain(estimate: Estimate) -> Uncertain {
    Uncertain {
        value: estimate.value,
        u: estimate.u,
    }
}

/// Everything the solution tells. `reading` is the new table, g at net counts.
pub(super) fn together(
    plan: &Plan,
    captures: &[Capture],
    nets: &[Option<f64>],
    judged: &Judged,
    from: &[usize],
    reading: &dyn Fn(f64) -> f64,
) -> Together {
    let joint = &judged.joint;
    let max_g = plan.scale.max_g;
    let seconds = CREEP_S.into_iter();
    Together {
        weights: weights(plan, captures, judged),
        verdicts: verdicts(plan, captures, nets, judged, from),
        small_on_big: small_on_big(plan, captures, nets, joint, reading),
        loop_width_g: joint.loop_width().map(uncertain),
        creep: joint.creep().map_or_else(Vec::new, |shares| {
            let pairs = seconds.zip(shares);
            let found = pairs.map(|(seconds, share)| CreepFound {
                seconds,
                share: uncertain(share),
            });
            found.collect()
        }),
        capture_sd_g: (joint.capture_sd_g(0.0), joint.capture_sd_g(max_g)),
        repeated: repeated(plan, captures),
    }
}

/// Masses captured more than once, to half an e.
fn repeated(plan: &Plan, captures: &[Capture]) -> usize {
    let loaded = captures.iter().filter(|capture| {
        super::together::is_of_the_fit(capture.part) && !capture.load.weights.is_empty()
    });
    let mut masses: Vec<f64> = loaded.map(|capture| capture.load.mass_g).collect();
    masses.sort_by(f64::total_cmp);
    let near = 0.5 * plan.scale.e_g;
    let groups = masses.chunk_by(|a, b| b - a <= near);
    groups.filter(|group| group.len() > 1).count()
}

fn weights(plan: &Plan, captures: &[Capture], judged: &Judged) -> Vec<WeightFound> {
    let found = plan
        .weights
        .iter()
        .enumerate()
        .filter_map(|(body, weight)| {
            let used = captures
                .iter()
                .filter(|capture| super::together::is_of_the_fit(capture.part))
                .filter(|capture| capture.load.weights.contains(&weight.id))
                .count();
            let mass = judged.joint.mass(body).filter(|_| used > 0)?;
            Some(WeightFound {
                id: weight.id.clone(),
                stated_g: weight.mass_g,
                beforehand: match weight.known {
                    Known::Class => Beforehand::Within,
                    Known::Stated => Beforehand::Stated,
                    Known::Not => Beforehand::Nothing,
                },
                may_be_off_g: weight.may_be_off_g(),
                mass_g: uncertain(mass),
                between_g: (mass.low, mass.high),
                alone_u_g: judged.joint.alone_u_g(body),
                captures: used,
                wrong: judged.wrong.contains(&Suspect::Body(body)),
            })
        });
    found.collect()
}

fn verdicts(
    plan: &Plan,
    captures: &[Capture],
    nets: &[Option<f64>],
    judged: &Judged,
    from: &[usize],
) -> Vec<Verdict> {
    let named = |suspect: Suspect| match suspect {
        Suspect::Body(body) => plan.weights.get(body).map(|weight| Suspected::Weight {
            id: weight.id.clone(),
        }),
        Suspect::Capture(weighing) => {
            let index = *from.get(weighing)?;
            let load = &captures.get(index)?.load;
            Some(Suspected::Capture {
                index,
                weights: load.weights.clone(),
                mass_g: load.mass_g,
            })
        }
        Suspect::Nothing => Some(Suspected::Scale),
    };
    // The table's uncertainty where the suspect lay on the pan.
    let table_u_g = |suspect: Suspect| {
        let counts = match suspect {
            Suspect::Body(body) => {
                let weight = plan.weights.get(body)?;
                let with = captures
                    .iter()
                    .zip(nets)
                    .filter(|(capture, _)| capture.load.weights.contains(&weight.id));
                with.min_by(|a, b| a.0.load.mass_g.total_cmp(&b.0.load.mass_g))
                    .and_then(|(_, net)| *net)
            }
            Suspect::Capture(weighing) => nets.get(*from.get(weighing)?).copied().flatten(),
            Suspect::Nothing => None,
        };
        Some(judged.joint.curve(counts?).u)
    };
    let mut verdicts: Vec<Verdict> = judged
        .wrong
        .iter()
        .filter_map(|suspect| {
            Some(Verdict::Off {
                suspected: named(*suspect)?,
                by_g: uncertain(judged.off(*suspect)?),
                table_u_g: table_u_g(*suspect).unwrap_or(0.0),
            })
        })
        .collect();
    if !judged.open.is_empty() {
        let between = judged.open.iter().filter_map(|one| named(one.suspect));
        verdicts.push(Verdict::Undecided {
            between: between.collect(),
            settling: (judged.settling.as_ref())
                .map(|bodies| load_of(bodies, &plan.weights).weights),
        });
    }
    verdicts
}

/// Small weights on big loads, as the plan had them captured.
fn small_on_big(
    plan: &Plan,
    captures: &[Capture],
    nets: &[Option<f64>],
    joint: &joint::Joint,
    reading: &dyn Fn(f64) -> f64,
) -> Vec<SmallOnBigRow> {
    let scale = &plan.scale;
    let made_of = |load: &Load, capture: &Capture| {
        let (a, b) = (&load.weights, &capture.load.weights);
        a.len() == b.len() && a.iter().all(|id| b.contains(id))
    };
    let mut rows: Vec<SmallOnBigRow> = Vec::new();
    for pair in &plan.small_on_big {
        let found = || {
            let (base, both) = (plan.course.get(pair.base)?, plan.course.get(pair.both)?);
            let of = |load: &Load| -> Vec<usize> {
                let fits = |index: &usize| {
                    captures.get(*index).is_some_and(|one| made_of(load, one))
                        && nets.get(*index).copied().flatten().is_some()
                };
                (0..captures.len()).filter(fits).collect()
            };
            // The two captures nearest in time: least drift between them.
            let pairs = of(base)
                .into_iter()
                .flat_map(|a| of(both).into_iter().map(move |b| (a, b)));
            let (a, b) = pairs.min_by_key(|(a, b)| a.abs_diff(*b))?;
            let net = |index: usize| nets.get(index).copied().flatten();
            let body = plan
                .weights
                .iter()
                .position(|weight| weight.id == pair.small)?;
            let small_g = joint.mass(body)?.value;
            let one_g = joint.capture_sd_g(base.mass_g);
            Some(SmallOnBigRow {
                small: pair.small.clone(),
                small_g,
                base_g: base.mass_g,
                read_g: reading(net(b)?) - reading(net(a)?),
                u_g: 2f64.sqrt() * one_g,
                permitted_g: scale.e_g * mpe_e(plan.class(), Stage::Initial, small_g / scale.e_g),
            })
        };
        rows.extend(found());
    }
    rows.sort_by(|a, b| a.base_g.total_cmp(&b.base_g));
    // A pair that comes twice in the course is found at the same captures.
    rows.dedup();
    rows
}

/// Loads to capture before the table is believed: those of wrong captures, and
/// the one that settles what is undecided.
pub(super) fn again(
    judged: &Judged,
    problem: &Problem,
    weights: &[PlannedWeight],
) -> Vec<Vec<String>> {
    let mut loads: Vec<Vec<String>> = Vec::new();
    for suspect in &judged.wrong {
        if let Suspect::Capture(index) = suspect
            && let Some(weighing) = problem.weighings.get(*index)
        {
            loads.push(load_of(&weighing.bodies, weights).weights);
        }
    }
    let settling = judged.settling.as_ref().filter(|_| !judged.open.is_empty());
    loads.extend(settling.map(|bodies| load_of(bodies, weights).weights));
    loads
}
