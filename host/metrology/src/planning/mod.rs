//! Which loads, made of which weights, tell most.
//!
//! Owns the choice of a course of loads for a calibration. Guarantees: every
//! load keeps to Max, and the course begins and ends with the empty pan.
//! Refuses by [`PlanningRefusal`].
//!
//! Loads are taken one by one, each time the one that lowers the uncertainty
//! of the curve most in proportion to the maximum permissible error (greedy
//! design; V. V. Fedorov, "Theory of Optimal Experiments", 1972, from memory).
//! Then loads that tell weights apart, a small weight on top of big ones, and
//! a way down for hysteresis are added.

mod choices;
mod knowledge;
mod order;

use std::fmt;

use crate::joint::{Grade, Planned, Problem, Worth};
use crate::tolerance::{AccuracyClass, Stage, mpe_e};

use choices::{Choice, choices};
use knowledge::Knowledge;

pub use order::{Additivity, Course};

/// Loads that serve the curve, going up.
const FOR_THE_CURVE: usize = 10;

/// Loads added to tell weights apart, at most.
const FOR_THE_WEIGHTS: usize = 5;

/// A weight counts as told apart when the captures alone know it to this many e.
const TOLD_APART_E: f64 = 0.4;

/// A weight lighter than this many e can't be wrong by what matters.
const TOO_LIGHT_E: f64 = 4.0;

/// Another load for the curve must lower the worst ratio by this share.
const WORTH_A_LOAD: f64 = 0.01;

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
    let all = choices(problem);
    let known = |choice: &&Choice| {
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
    let mut taken: Vec<Vec<usize>> = Vec::new();
    let mut worst = f64::INFINITY;
    for _ in 0..FOR_THE_CURVE {
        let best = all
            .iter()
            .map(|choice| (knowledge.gain_for_the_curve(choice), choice))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, choice)) = best else { break };
        knowledge.learn(choice);
        let now = knowledge.worst_ratio();
        if now > worst * (1.0 - WORTH_A_LOAD) && taken.len() >= 6 {
            break;
        }
        worst = now;
        taken.push(choice.bodies.clone());
    }
    let least = TOLD_APART_E * problem.e_g;
    let heavy_g = TOO_LIGHT_E * problem.e_g;
    for _ in 0..FOR_THE_WEIGHTS {
        if knowledge.unclear_weights(heavy_g, least) <= 0.0 {
            break;
        }
        let best = all
            .iter()
            .map(|choice| (knowledge.gain_for_weights(choice, heavy_g, least), choice))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((gain, choice)) if gain > 0.0 => {
                knowledge.learn(choice);
                taken.push(choice.bodies.clone());
            }
            _ => break,
        }
    }
    Ok(order::order(problem, taken))
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
