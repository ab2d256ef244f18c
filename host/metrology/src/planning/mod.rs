//! Which loads, made of which weights, tell most.
//!
//! Owns the choice of a course of loads for a calibration. Guarantees: every
//! load keeps to Max, and the course begins and ends with the empty pan.
//! Refuses by [`PlanningRefusal`].
//!
//! Loads are taken one by one, each time the one that lowers the uncertainty
//! of the curve most in proportion to the maximum permissible error, then
//! exchanged in turn while that helps (V. V. Fedorov, "Theory of Optimal
//! Experiments", 1972, from memory).
//! Then loads that tell weights apart, a small weight on top of big ones, and
//! a way down for hysteresis are added.

mod knowledge;
mod order;

use std::fmt;

use crate::joint::{Grade, Planned, Problem, Worth};
use crate::tolerance::{AccuracyClass, Stage, mpe_e};

use crate::joint::loads::{Load, loads};
use knowledge::Knowledge;

pub use order::{Additivity, Course};

/// Loads that serve the curve, going up.
const FOR_THE_CURVE: usize = 10;

/// Loads added to tell weights apart, at most.
const FOR_THE_WEIGHTS: usize = 5;

/// A weight counts as told apart when the captures alone know it to this many e.
const TOLD_APART_E: f64 = 0.4;

/// As many of them at least beside those that measure substitution loads.
const LEAST_BESIDE_A_CHAIN: usize = 6;

/// A substitution load is set against known ones that differ from it by no
/// more than this share of Max: over so little the curve's shape says nothing.
const AS_HEAVY: f64 = 0.06;

/// How often each side of such a comparison is captured, and any load at most.
const COMPARED: usize = 2;

/// Rounds in which each load may be exchanged for a better one.
const EXCHANGES: usize = 4;

/// Why there is no course.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanningRefusal {
    /// No weight of known mass at or below Max.
    NothingKnown,
    /// Max and e must be numbers above zero, all masses too.
    NotUsable,
}

impl fmt::Display for PlanningRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NothingKnown => write!(
                f,
                "no weight of known mass fits on the scale: at least one is needed"
            ),
            Self::NotUsable => write!(f, "Max, e and all masses must be numbers above zero"),
        }
    }
}

impl std::error::Error for PlanningRefusal {}

/// The course of loads for `problem`'s bodies on its scale; its weighings are
/// not looked at.
///
/// # Errors
/// [`PlanningRefusal`].
pub fn course(
    problem: &Problem,
    class: AccuracyClass,
    grade: Grade,
) -> Result<Course, PlanningRefusal> {
    let usable = |value: f64| value.is_finite() && value > 0.0;
    let masses = problem.bodies.iter().map(|body| body.mass_g);
    if !(usable(problem.max_g) && usable(problem.e_g) && masses.clone().all(usable)) {
        return Err(PlanningRefusal::NotUsable);
    }
    let all = loads(problem);
    let known = |choice: &&Load| {
        let of = choice
            .bodies
            .iter()
            .filter_map(|body| problem.bodies.get(*body));
        of.clone().all(|body| body.worth != Worth::Unknown)
    };
    if !all.iter().any(|choice| known(&choice)) {
        return Err(PlanningRefusal::NothingKnown);
    }
    let mut knowledge = Knowledge::new(problem, grade, |load_g| {
        mpe_e(class, Stage::Initial, load_g / problem.e_g) * problem.e_g
    })
    .ok_or(PlanningRefusal::NotUsable)?;
    let chain = chain(problem, &all);
    let mut chosen: Vec<&Load> = chain.clone();
    for choice in &chain {
        knowledge.learn(choice);
    }
    let count = FOR_THE_CURVE.max(chain.len() + LEAST_BESIDE_A_CHAIN);
    let best = |knowledge: &Knowledge, chosen: &[&Load]| {
        let gain = |choice| knowledge.gain_for_the_curve(choice);
        let often = |choice: &&Load| chosen.iter().filter(|one| one == &choice).count();
        let all = all.iter().filter(|choice| often(choice) < COMPARED);
        let all = all.map(|choice| (gain(choice), choice));
        all.max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, choice)| choice)
    };
    while chosen.len() < count {
        let Some(choice) = best(&knowledge, &chosen) else {
            break;
        };
        knowledge.learn(choice);
        chosen.push(choice);
    }
    // What was best first need not be best beside the others.
    for _ in 0..EXCHANGES {
        let mut changed = false;
        for place in chain.len()..chosen.len() {
            let out = chosen.swap_remove(place);
            knowledge.forget(out);
            let better = best(&knowledge, &chosen).unwrap_or(out);
            knowledge.learn(better);
            changed |= better.bodies != out.bodies;
            chosen.insert(place, better);
        }
        if !changed {
            break;
        }
    }
    let mut taken: Vec<Vec<usize>> = chosen.iter().map(|one| one.bodies.clone()).collect();
    let least = TOLD_APART_E * problem.e_g;
    for _ in 0..FOR_THE_WEIGHTS {
        if knowledge.unclear_weights(least) <= 0.0 {
            break;
        }
        let best = all
            .iter()
            .map(|choice| (knowledge.gain_for_weights(choice, least), choice))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((gain, choice)) if gain > 0.0 => {
                knowledge.learn(choice);
                taken.push(choice.bodies.clone());
            }
            _ => break,
        }
    }
    // In one capture alone a weight can't be told from a slip of the hand.
    for body in problem.rivals(usize::MAX) {
        let with = |load: &&Vec<usize>| load.contains(&body);
        if taken.iter().filter(with).count() >= 2 {
            continue;
        }
        let fresh =
            |choice: &&Load| choice.bodies.contains(&body) && !taken.contains(&choice.bodies);
        let best = all
            .iter()
            .filter(fresh)
            .map(|choice| (knowledge.gain_for_the_curve(choice), choice))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, choice)) = best {
            knowledge.learn(choice);
            taken.push(choice.bodies.clone());
        }
    }
    Ok(order::order(problem, taken))
}

/// The loads that lead from the known weights to each substitution load and on:
/// the load itself, what stands for it among weights and lighter substitution
/// loads, and the heaviest that it allows. Taking one load at a time never
/// finds them, since each is worth something only beside the others.
fn chain<'a>(problem: &Problem, all: &'a [Load]) -> Vec<&'a Load> {
    let mut unknown: Vec<usize> = (0..problem.bodies.len())
        .filter(|body| problem.bodies[*body].worth == Worth::Unknown)
        .collect();
    let mass = |body: usize| problem.bodies[body].mass_g;
    unknown.sort_by(|a, b| mass(*a).total_cmp(&mass(*b)));
    let mut chain = Vec::new();
    for (place, body) in unknown.iter().enumerate() {
        let earlier = unknown.get(..place).unwrap_or_default();
        let alone = all.iter().find(|choice| choice.bodies == [*body]);
        let stands_for = all
            .iter()
            .filter(|choice| {
                let known = |body: &usize| !unknown.contains(body) || earlier.contains(body);
                choice.bodies.iter().all(known)
            })
            .min_by(|a, b| {
                let off = |choice: &Load| (choice.mass_g - mass(*body)).abs();
                off(a).total_cmp(&off(b))
            })
            .filter(|choice| (choice.mass_g - mass(*body)).abs() <= AS_HEAVY * problem.max_g);
        if let (Some(alone), Some(stands_for)) = (alone, stands_for) {
            for _ in 0..COMPARED {
                chain.extend([stands_for, alone]);
            }
        }
        // The last one carries the heaviest load.
        let heaviest = all.iter().filter(|choice| choice.bodies.contains(body));
        let heaviest = heaviest.max_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        if place + 1 == unknown.len() {
            chain.extend(heaviest.into_iter().cycle().take(COMPARED));
        }
    }
    chain
}

impl Course {
    /// The course with a time for each load.
    #[must_use]
    pub fn planned(&self, problem: &Problem) -> Vec<Planned> {
        let mut at_s = 0.0;
        let mut before: &[usize] = &[];
        let mut out = Vec::with_capacity(self.loads.len());
        for load in &self.loads {
            at_s += order::seconds(problem, before, load);
            before = load;
            out.push(Planned {
                bodies: load.clone(),
                at_s,
            });
        }
        out
    }
}
