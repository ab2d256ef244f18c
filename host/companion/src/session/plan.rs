//! Which loads go on the pan, in which order, for the fit and for the proof.
//!
//! The course of the fit is [`planning`]'s: the loads that tell most of curve
//! and weights. Loads for the verification are chosen apart from them, near the
//! places where a standard asks for them: Min, the steps of the maximum
//! permissible error, Max.

use std::collections::BTreeSet;

use scalewright_metrology::planning;
use scalewright_metrology::tolerance::{AccuracyClass, Stage, check_class, mpe_e};
use serde::{Deserialize, Serialize};

use super::cell::CellGrade;
use super::together;
pub use super::weight::{Filling, Known, PlannedWeight};
use crate::record::outcome::ScaleLine;
use crate::record::weights::name;

/// Capacity and intervals of the scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScaleSpec {
    /// Maximum capacity Max, g.
    pub max_g: f64,
    /// Verification scale interval e, g.
    pub e_g: f64,
    /// Scale interval d, g.
    pub d_g: f64,
    /// Accuracy class as "I" to "IIII".
    pub class: String,
}

impl ScaleSpec {
    /// How far off the load asked for may read and still be taken for it on
    /// somebody's word, g: a quarter, or 10 e of a light one (own choice).
    #[must_use]
    pub(super) fn room_on_word_g(&self, asked_g: f64) -> f64 {
        (0.25 * asked_g).max(10.0 * self.e_g)
    }
}

impl From<&ScaleSpec> for ScaleLine {
    fn from(scale: &ScaleSpec) -> Self {
        Self {
            max: scale.max_g,
            e: scale.e_g,
            d: scale.d_g,
            unit: "g".into(),
            class: scale.class.clone(),
        }
    }
}

/// One load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// Names of the weights that go on together; none is the empty pan.
    pub weights: Vec<String>,
    /// Their mass together, g.
    pub mass_g: f64,
    /// Standard uncertainty of that, g; weights of one set err alike, so their
    /// uncertainties add up.
    pub u_g: f64,
}

impl Load {
    /// Whether this is what stays when something is taken off `before`: reached
    /// from above.
    #[must_use]
    pub fn is_left_of(&self, before: &Self) -> bool {
        self.weights.len() < before.weights.len()
            && self.weights.iter().all(|id| before.weights.contains(id))
    }

    /// The empty pan.
    #[must_use]
    pub fn empty() -> Self {
        Self {
            weights: Vec::new(),
            mass_g: 0.0,
            u_g: 0.0,
        }
    }
}

/// The whole session, decided beforehand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// The scale.
    pub scale: ScaleSpec,
    /// The weights.
    pub weights: Vec<PlannedWeight>,
    /// Different loads of the fit, rising.
    pub fit: Vec<Load>,
    /// Everything captured for the fit in its order, empty pans included; the
    /// first and the last are empty. Without it (journals of old) the loads of
    /// `fit` go up and, if `both_ways`, down.
    #[serde(default)]
    pub course: Vec<Load>,
    /// Where in the course a small weight goes on top of a big load.
    #[serde(default)]
    pub small_on_big: Vec<SmallOnBig>,
    /// What is expected of the cell.
    #[serde(default)]
    pub cell: CellGrade,
    /// Loads of the verification, rising.
    pub verify: Vec<Load>,
    /// Its loads on the way down, each left over of the one before: a scale is
    /// used both ways (OIML R 76-1 A.4.4.1, from memory).
    #[serde(default)]
    pub verify_falling: Vec<Load>,
    /// Whether the scale may be told to take hysteresis off.
    #[serde(default = "corrects")]
    pub correct_hysteresis: bool,
    /// Whether the table goes through the loads, as one made at the scale's own keys
    /// does, instead of what all captures say together.
    #[serde(default)]
    pub through: bool,
    /// Whether the fit loads are taken on the way down as well.
    pub both_ways: bool,
    /// Samples per capture.
    pub samples: u16,
    /// Heaviest single weight at or below a sixth of Max: what a scale is
    /// usually set with; g.
    pub single_span_g: f64,
}

/// A small weight on top of a big load.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SmallOnBig {
    /// Name of the small weight.
    pub small: String,
    /// Place of the big load in the course.
    pub base: usize,
    /// Place of both together.
    pub both: usize,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanFault {
    /// No weights.
    NoWeights,
    /// Two weights of one name.
    Duplicate {
        /// The name.
        id: String,
    },
    /// A weight above Max.
    AboveMax {
        /// The weight.
        id: String,
        /// Its mass, g.
        mass_g: f64,
        /// Max, g.
        max_g: f64,
    },
    /// All weights together are too little for Max.
    TooLight {
        /// The heaviest load they make, g.
        top_g: f64,
        /// Max, g.
        max_g: f64,
    },
    /// The weights allow too few loads.
    TooFewLoads {
        /// Loads the weights allow.
        loads: usize,
    },
    /// The loads that the weights make leave something open.
    Open {
        /// What.
        cause: String,
    },
    /// Max, e or d make no sense.
    Scale {
        /// What is wrong.
        cause: String,
    },
}

impl std::fmt::Display for PlanFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoWeights => write!(f, "there are no weights to calibrate with"),
            Self::Duplicate { id } => write!(f, "two weights are called {id}"),
            Self::AboveMax { id, mass_g, max_g } => {
                write!(f, "weight {id} ({mass_g} g) is above Max ({max_g} g)")
            }
            Self::TooLight { top_g, max_g } => write!(
                f,
                "these weights reach only {}, less than a fifth of Max ({})",
                name(*top_g),
                name(*max_g)
            ),
            Self::TooFewLoads { loads } => write!(
                f,
                "the loads that these weights make up to Max are too few ({loads}); three or more different ones are needed"
            ),
            Self::Open { cause } | Self::Scale { cause } => write!(f, "{cause}"),
        }
    }
}

impl std::error::Error for PlanFault {}

/// Noise of one sample that a plan counts with, e (common practice).
const ASSUMED_NOISE_E: f64 = 0.1;

/// Share of Max that the heaviest load must reach: what is fitted on less says
/// nothing of the rest (common practice).
const LEAST_REACH: f64 = scalewright_metrology::screening::LEAST_SHARE_OF_MAX;

/// Samples averaged per capture: at 10 a second 1.6 s, which brings noise down
/// to a quarter.
const SAMPLES: u16 = 16;

impl Plan {
    /// A plan for `scale` with the weights at hand, on a cell of ordinary grade.
    ///
    /// # Errors
    /// [`PlanFault`], when scale or weights make no sense together.
    pub fn new(scale: ScaleSpec, weights: Vec<PlannedWeight>) -> Result<Self, PlanFault> {
        Self::on_cell(scale, weights, CellGrade::default())
    }

    /// A plan for `scale` with the weights at hand, on a cell of this grade.
    ///
    /// # Errors
    /// [`PlanFault`], when scale or weights make no sense together.
    pub fn on_cell(
        scale: ScaleSpec,
        weights: Vec<PlannedWeight>,
        cell: CellGrade,
    ) -> Result<Self, PlanFault> {
        let class = check_scale(&scale)?;
        check_weights(&scale, &weights)?;
        let problem = together::skeleton(&scale, &weights);
        let grade = cell.expected(&scale, ASSUMED_NOISE_E * scale.e_g, SAMPLES);
        let course = planning::course(&problem, class, grade).map_err(|refusal| match refusal {
            planning::PlanningRefusal::NothingKnown => PlanFault::NoWeights,
            other @ planning::PlanningRefusal::NotUsable => PlanFault::Scale {
                cause: other.to_string(),
            },
        })?;
        let small_on_big = course.additivity.iter().filter_map(|pair| {
            Some(SmallOnBig {
                small: weights.get(pair.small)?.id.clone(),
                base: pair.base,
                both: pair.both,
            })
        });
        let small_on_big = small_on_big.collect();
        let course: Vec<Load> = course
            .loads
            .iter()
            .map(|bodies| together::load_of(bodies, &weights))
            .collect();
        let mut fit: Vec<Load> = course
            .iter()
            .filter(|load| !load.weights.is_empty())
            .cloned()
            .collect();
        fit.sort_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        let mut used: BTreeSet<i64> = fit.iter().map(|load| key(load.mass_g)).collect();
        fit.dedup_by_key(|load| key(load.mass_g));
        let top = fit.last().map_or(0.0, |load| load.mass_g);
        if top < LEAST_REACH * scale.max_g {
            return Err(PlanFault::TooLight {
                top_g: top,
                max_g: scale.max_g,
            });
        }
        if fit.len() < 3 {
            return Err(PlanFault::TooFewLoads { loads: fit.len() });
        }
        let reach = Combinations::of(&weights, scale.max_g);
        let top = reach.masses_g.last().map_or(0.0, |(mass, _)| *mass);
        let mut verify = Vec::new();
        for target in verification_targets(&scale, class, top) {
            let slack = (target * 0.25).min(top * 0.06);
            if let Some(load) = reach.nearest(target, slack, &used, &weights) {
                used.insert(key(load.mass_g));
                verify.push(load);
            }
        }
        verify.sort_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        let verify_falling = falling(&reach, verify.last(), &fit, &weights);
        let single_span_g = weights
            .iter()
            .filter(|weight| weight.known != Known::Not)
            .map(|weight| weight.mass_g)
            .filter(|mass| *mass <= scale.max_g / 6.0 * 1.001)
            .fold(0.0, f64::max);
        Ok(Self {
            scale,
            weights,
            fit,
            course,
            small_on_big,
            cell,
            verify,
            verify_falling,
            correct_hysteresis: true,
            through: false,
            both_ways: true,
            samples: SAMPLES,
            single_span_g,
        })
    }

    /// The accuracy class; III where the text is none (a plan from
    /// [`Plan::new`] has been checked).
    #[must_use]
    pub fn class(&self) -> AccuracyClass {
        self.scale.class.parse().unwrap_or(AccuracyClass::III)
    }

    /// Loads of the verification in their order: up, and down again.
    pub fn proof(&self) -> impl Iterator<Item = &Load> {
        self.verify.iter().chain(&self.verify_falling)
    }

    /// One load of each mass that weights of known mass make up to Max, rising;
    /// that of the fewest weights.
    #[must_use]
    pub fn loads(&self) -> Vec<Load> {
        let reach = Combinations::of(&self.weights, self.scale.max_g);
        let made = |(_, members): &(f64, u32)| load(*members, &self.weights);
        reach.masses_g.iter().map(made).collect()
    }

    /// [`looks_like`] of the plan's weights.
    #[must_use]
    pub fn looks_like(&self, mass_g: f64, tolerance_g: f64) -> Vec<Load> {
        looks_like(&self.weights, self.scale.max_g, mass_g, tolerance_g)
    }
}

/// What a mass may be: the empty pan within `tolerance_g` of nothing, else the
/// combinations of `weights`, at most 1.2 Max together, within as much of `mass_g`, the
/// fewest weights first, at most four.
#[must_use]
pub fn looks_like(
    weights: &[PlannedWeight],
    max_g: f64,
    mass_g: f64,
    tolerance_g: f64,
) -> Vec<Load> {
    if mass_g.abs() <= tolerance_g {
        return vec![Load::empty()];
    }
    let reach = Combinations::of(weights, max_g * 1.2);
    let mut near: Vec<_> = reach
        .masses_g
        .iter()
        .filter(|(mass, _)| (mass - mass_g).abs() <= tolerance_g)
        .collect();
    near.sort_by(|a, b| {
        (a.1.count_ones(), (a.0 - mass_g).abs())
            .partial_cmp(&(b.1.count_ones(), (b.0 - mass_g).abs()))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    near.iter()
        .take(4)
        .map(|(_, members)| load(*members, weights))
        .collect()
}

fn key(mass_g: f64) -> i64 {
    (mass_g * 1000.0).round() as i64
}

/// Whether these numbers make a scale of a class of R 76, and which.
pub(super) fn check_scale(scale: &ScaleSpec) -> Result<AccuracyClass, PlanFault> {
    let fault = |cause: String| PlanFault::Scale { cause };
    for (name, value) in [("Max", scale.max_g), ("e", scale.e_g), ("d", scale.d_g)] {
        if !(value.is_finite() && value > 0.0) {
            return Err(fault(format!("{name} must be above zero, not {value}")));
        }
    }
    if scale.d_g > scale.e_g {
        return Err(fault(format!(
            "d ({} g) is larger than e ({} g)",
            scale.d_g, scale.e_g
        )));
    }
    let n = scale.max_g / scale.e_g;
    if !(100.0..=100_000.0).contains(&n) {
        return Err(fault(format!(
            "Max/e is {n:.0}; scales have 100 to 100 000 intervals"
        )));
    }
    let class = scale
        .class
        .parse()
        .map_err(|_| fault(format!("there is no accuracy class {}", scale.class)))?;
    check_class(class, scale.e_g, scale.max_g).map_err(|refusal| fault(refusal.to_string()))?;
    Ok(class)
}

fn check_weights(scale: &ScaleSpec, weights: &[PlannedWeight]) -> Result<(), PlanFault> {
    if weights.is_empty() {
        return Err(PlanFault::NoWeights);
    }
    let mut names = BTreeSet::new();
    for weight in weights {
        if !names.insert(&weight.id) {
            return Err(PlanFault::Duplicate {
                id: weight.id.clone(),
            });
        }
        if weight.mass_g > scale.max_g * 1.000_001 {
            return Err(PlanFault::AboveMax {
                id: weight.id.clone(),
                mass_g: weight.mass_g,
                max_g: scale.max_g,
            });
        }
    }
    Ok(())
}

/// Ten loads apart from those of the fit. OIML R 76-1 A.4.4.1 asks for at least
/// ten, among them Max, Min and points at or near each step of the permissible
/// error (clause from memory).
fn verification_targets(scale: &ScaleSpec, class: AccuracyClass, top_g: f64) -> Vec<f64> {
    let min_e =
        check_class(class, scale.e_g, scale.max_g).map_or(20.0, |limits| limits.min_capacity_e);
    let mut targets = vec![min_e * scale.e_g];
    targets.extend(
        error_steps_e(class)
            .map(|step| step * scale.e_g)
            .filter(|load| *load < top_g * 0.97),
    );
    for part in [
        0.98, 0.05, 0.35, 0.55, 0.82, 0.93, 0.45, 0.27, 0.72, 0.2, 0.6, 0.1,
    ] {
        if targets.len() >= 10 {
            break;
        }
        targets.push(part * top_g);
    }
    targets
}

/// Where on the way down the verification stops, as shares of its heaviest load;
/// the loop of a cell is widest in the middle.
const FALLING_PARTS: [f64; 4] = [0.75, 0.5, 0.3, 0.1];

/// Loads of the way down: each is what stays on the pan of the one before, so
/// that it is reached from above, and none is a load of the fit. Chosen from the
/// lightest up, each around the last, since a heavy load can be built on any
/// light one but not taken down to it.
fn falling(
    reach: &Combinations,
    top: Option<&Load>,
    fit: &[Load],
    weights: &[PlannedWeight],
) -> Vec<Load> {
    let Some(top) = top else { return Vec::new() };
    let used: BTreeSet<i64> = fit.iter().map(|load| key(load.mass_g)).collect();
    let inside = |index: &usize| {
        let weight = weights.get(*index);
        weight.is_some_and(|weight| top.weights.contains(&weight.id))
    };
    let most: u32 = (0..weights.len().min(32))
        .filter(inside)
        .map(|index| 1 << index)
        .sum();
    let mut least = 0u32;
    let mut out = Vec::new();
    for part in FALLING_PARTS.into_iter().rev() {
        let target_g = part * top.mass_g;
        let found = reach.between(target_g, 0.25 * target_g, least, most, &used);
        if let Some(members) = found {
            least = members;
            out.push(load(members, weights));
        }
    }
    out.reverse();
    out
}

const fn corrects() -> bool {
    true
}

/// Loads in e above which the permissible error is larger than at them.
fn error_steps_e(class: AccuracyClass) -> impl Iterator<Item = f64> {
    [50.0, 200.0, 500.0, 2e3, 5e3, 2e4, 5e4, 2e5]
        .into_iter()
        .filter(move |step| {
            mpe_e(class, Stage::Initial, *step) < mpe_e(class, Stage::Initial, step + 1.0)
        })
}

/// All masses that subsets of the weights can make, up to a limit.
struct Combinations {
    /// Mass in g and the members as a bit set; rising, one entry a mass (the
    /// one of the fewest weights).
    masses_g: Vec<(f64, u32)>,
    /// The same with all that make a mass.
    all_g: Vec<(f64, u32)>,
}

/// Weights looked at one by one; of a larger collection the lightest stay out.
const MOST_WEIGHTS: usize = 16;

impl Combinations {
    fn of(weights: &[PlannedWeight], limit_g: f64) -> Self {
        // The mass of a substitution load is not known yet: no load is made of it.
        let known = |index: &usize| weights[*index].known != Known::Not;
        let mut order: Vec<usize> = (0..weights.len().min(32)).filter(known).collect();
        order.sort_by(|a, b| weights[*b].mass_g.total_cmp(&weights[*a].mass_g));
        order.truncate(MOST_WEIGHTS);
        let mut masses_g: Vec<(f64, u32)> = Vec::new();
        for subset in 1u32..(1 << order.len()) {
            let mut mass = 0.0;
            let mut members = 0u32;
            for (bit, index) in order.iter().enumerate() {
                if subset >> bit & 1 == 1 {
                    mass += weights[*index].mass_g;
                    members |= 1 << index;
                }
            }
            if mass <= limit_g * 1.000_001 {
                masses_g.push((mass, members));
            }
        }
        masses_g.sort_by(|a, b| {
            (key(a.0), a.1.count_ones(), a.1).cmp(&(key(b.0), b.1.count_ones(), b.1))
        });
        let all_g = masses_g.clone();
        masses_g.dedup_by_key(|(mass, _)| key(*mass));
        Self { masses_g, all_g }
    }

    /// The members nearest to `target_g` within `slack_g` that have all of `least`
    /// and more, and not all of `most`, and were not used before.
    fn between(
        &self,
        target_g: f64,
        slack_g: f64,
        least: u32,
        most: u32,
        used: &BTreeSet<i64>,
    ) -> Option<u32> {
        let off = |mass: &f64| (mass - target_g).abs();
        let more = |members: u32| members & least == least && members != least;
        let part = |members: u32| members & most == members && members != most;
        self.all_g
            .iter()
            .filter(|(mass, members)| more(*members) && part(*members) && off(mass) <= slack_g)
            .filter(|(mass, _)| !used.contains(&key(*mass)))
            .min_by(|a, b| off(&a.0).total_cmp(&off(&b.0)))
            .map(|(_, members)| *members)
    }

    /// The combination nearest to `target` within `slack`, not used before;
    /// fewer weights count as much as a small part of the slack each, since
    /// each weight is one more thing to lift.
    fn nearest(
        &self,
        target_g: f64,
        slack_g: f64,
        used: &BTreeSet<i64>,
        weights: &[PlannedWeight],
    ) -> Option<Load> {
        self.masses_g
            .iter()
            .filter(|(mass, _)| (mass - target_g).abs() <= slack_g && !used.contains(&key(*mass)))
            .min_by(|a, b| {
                let cost = |(mass, members): &(f64, u32)| {
                    (mass - target_g).abs() + 0.04 * slack_g * f64::from(members.count_ones())
                };
                cost(a).total_cmp(&cost(b))
            })
            .map(|(_, members)| load(*members, weights))
    }
}

fn load(members: u32, weights: &[PlannedWeight]) -> Load {
    let picked: Vec<usize> = (0..32).filter(|index| members >> index & 1 == 1).collect();
    together::load_of(&picked, weights)
}
