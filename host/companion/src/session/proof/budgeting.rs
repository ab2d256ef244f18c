//! The uncertainty of the errors that a verification finds: after EURAMET cg-18
//! (from memory) and the GUM, from what the tests themselves showed.

use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
use scalewright_metrology::distribution::student_t_two_sided;
use scalewright_metrology::monte_carlo::{generator, propagate};
use scalewright_metrology::statistics::sample_sd;
use scalewright_metrology::weights::{REFERENCE_AIR_KG_M3, REFERENCE_WEIGHT_KG_M3};

use super::Test;
use super::entry::{Held, ProofCapture};
use super::evaluate::Judge;
use super::plan::ProofPlan;
use crate::quantise;
use crate::record::proof::{ContributionLine, LoadBudget};
use crate::session::plan::{Known, Load};

/// Trials that check a budget by drawing from its distributions.
const TRIALS: usize = 200_000;

/// Standard deviation of one capture near zero and growing with the load, that
/// is believed of a scale whose repeatability was not tried, e and share of the
/// load (own choice: near zero twice what 16 samples leave of the noise a plan
/// counts with, 0.1 e a sample; above it generous against any cell worth
/// calibrating).
const BELIEVED_E: f64 = 0.05;
const BELIEVED_SHARE: f64 = 1e-4;

/// Degrees of freedom of a belief.
const BELIEVED_DOF: f64 = 50.0;

/// Air is taken to be within this share of [`REFERENCE_AIR_KG_M3`] (EURAMET
/// cg-18, 7.1.2.2, from memory).
const AIR_WITHIN: f64 = 0.1;

/// When zero was set before a load.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ZeroSet {
    /// Just before it, or the empty pan was captured beside it.
    JustBefore,
    /// At the beginning of its test: it may have moved since.
    AtTheBeginning,
}

/// What a budget states, g.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stated {
    pub(super) standard_g: f64,
    pub(super) expanded_g: f64,
    pub(super) k: f64,
}

impl Stated {
    /// Nothing can be stated.
    pub(super) const UNKNOWN: Self = Self {
        standard_g: f64::NAN,
        expanded_g: f64::NAN,
        k: f64::NAN,
    };

    fn of(budget: &Budget) -> Self {
        match budget.statement() {
            Ok(stated) => Self {
                standard_g: stated.u_g,
                expanded_g: stated.expanded_g,
                k: stated.k,
            },
            Err(_) => Self::UNKNOWN,
        }
    }
}

/// What is known of the scale's uncertainty.
pub(super) struct Budgeting {
    e_g: f64,
    quantum_g: f64,
    /// Scatter of one loading, g, at this load, with its degrees of freedom.
    repeatability: Option<(f64, f64, f64)>,
    /// Largest difference from the middle of the pan, g, at this load.
    eccentricity: Option<(f64, f64)>,
    /// How far the empty pan read off zero at the end of the errors test, g.
    zero_moved_g: f64,
    /// Half width of what the air does to a load, as a share of it.
    air_share: f64,
    /// Half width of what warm or cold weights may do, g.
    convection_g: f64,
    /// Weights as known.
    weights: Vec<(String, Known, f64, f64)>,
    /// Loads of the errors test.
    loads: Vec<Load>,
}

impl Budgeting {
    pub(super) fn of(
        plan: &ProofPlan,
        held: &Held,
        captures: &[ProofCapture],
        gross_g: &[f64],
    ) -> Self {
        let of = |test: Test| {
            let all = captures.iter().zip(gross_g);
            all.filter(move |(capture, _)| capture.test == test && capture.load.mass_g > 0.0)
        };
        let repeated: Vec<f64> = of(Test::Repeatability).map(|(_, gross)| *gross).collect();
        let at_g = of(Test::Repeatability)
            .map(|(capture, _)| capture.load.mass_g)
            .next();
        let repeatability = sample_sd(&repeated).zip(at_g);
        let middle: Vec<f64> = of(Test::Eccentricity)
            .filter(|(capture, _)| capture.spot == super::Spot::Middle)
            .map(|(_, gross)| *gross)
            .collect();
        let centre = scalewright_metrology::statistics::mean(&middle);
        let eccentricity = centre.and_then(|centre| {
            let off = of(Test::Eccentricity)
                .filter(|(capture, _)| capture.spot != super::Spot::Middle)
                .map(|(capture, gross)| ((gross - centre).abs(), capture.load.mass_g));
            off.max_by(|a, b| a.0.total_cmp(&b.0))
        });
        let empty = captures.iter().zip(gross_g);
        let empty = empty
            .filter(|(capture, _)| capture.test == Test::Errors && capture.load.weights.is_empty());
        Self {
            zero_moved_g: empty.map(|(_, gross_g)| gross_g.abs()).fold(0.0, f64::max),
            air_share: air_share(plan.surroundings.air().map(|air| air.kg_m3)),
            convection_g: plan.surroundings.convection_g,
            e_g: plan.scale.e_g,
            quantum_g: quantise::quantum_g(held.settings.quantum_ug),
            repeatability: repeatability
                .map(|(sd, at_g)| (sd, at_g, repeated.len().saturating_sub(1) as f64)),
            eccentricity,
            weights: plan
                .weights
                .iter()
                .map(|weight| {
                    let may_be_off_g = weight.may_be_off_g();
                    (weight.id.clone(), weight.known, weight.u_g, may_be_off_g)
                })
                .collect(),
            loads: plan
                .tests
                .iter()
                .filter(|planned| planned.test == Test::Errors)
                .flat_map(|planned| planned.steps.iter().map(|step| step.load.clone()))
                .collect(),
        }
    }

    /// Standard deviation of one loading, g, and its degrees of freedom.
    pub(super) fn scatter(&self, load_g: f64) -> (f64, f64) {
        match self.repeatability {
            // What was seen at one load belongs to that load in part: the rest
            // of the scale repeats no worse near it, and in proportion below.
            Some((sd, at_g, dof)) => {
                let floor = 0.02 * self.e_g;
                (floor.max(sd * (load_g / at_g).clamp(0.25, 1.25)), dof)
            }
            None => {
                let near_zero_g = BELIEVED_E * self.e_g;
                (near_zero_g.hypot(BELIEVED_SHARE * load_g), BELIEVED_DOF)
            }
        }
    }

    /// Largest difference from the middle of the pan and the load of that test,
    /// g; `None` where it was not tried.
    pub(super) fn off_centre(&self) -> Option<(f64, f64)> {
        self.eccentricity
    }

    /// Half width of what the air does to a load, as a share of it.
    pub(super) fn air_share(&self) -> f64 {
        self.air_share
    }

    /// How far the empty pan read off zero after the errors test, g.
    pub(super) fn zero_moved_g(&self) -> f64 {
        self.zero_moved_g
    }

    /// Whether the scatter was seen, not believed.
    pub(super) fn tried_repeatability(&self) -> bool {
        self.repeatability.is_some()
    }

    /// The budget of the error found at a load.
    pub(super) fn budget(&self, load: &Load, zero: ZeroSet) -> Budget {
        let load_g = load.mass_g;
        let rounding = Knowledge::Rectangular {
            half: 0.5 * self.quantum_g,
        };
        let (sd, dof) = self.scatter(load_g);
        let mut all = vec![
            ("rounding of the table", rounding, 1.0),
            ("rounding of zero", rounding, 1.0),
            ("repeatability", Knowledge::Estimated { sd, dof }, 1.0),
        ];
        if zero == ZeroSet::AtTheBeginning && self.zero_moved_g > 0.0 {
            let half = self.zero_moved_g;
            all.push(("drift of zero", Knowledge::Rectangular { half }, 1.0));
        }
        if let Some((off_g, at_g)) = self.eccentricity {
            let half = 0.5 * off_g / at_g;
            all.push(("eccentricity", Knowledge::Rectangular { half }, load_g));
        }
        let (mut stated_g, mut within_g) = (0.0, 0.0);
        for id in &load.weights {
            let Some((_, known, u_g, may_be_off_g)) = self.weights.iter().find(|one| one.0 == *id)
            else {
                continue;
            };
            match known {
                Known::Class => within_g += may_be_off_g,
                Known::Stated | Known::Not => stated_g += u_g,
            }
        }
        if within_g > 0.0 {
            let half = within_g;
            all.push((
                "weights, within their class",
                Knowledge::Rectangular { half },
                1.0,
            ));
        }
        if stated_g > 0.0 {
            let sd = stated_g;
            all.push(("weights, as stated", Knowledge::Normal { sd }, 1.0));
        }
        if load_g > 0.0 {
            let half = self.air_share;
            all.push(("air buoyancy", Knowledge::Rectangular { half }, load_g));
        }
        if load_g > 0.0 && self.convection_g > 0.0 {
            let half = self.convection_g;
            all.push(("convection", Knowledge::Rectangular { half }, 1.0));
        }
        let made = all
            .into_iter()
            .filter_map(|(name, knowledge, sensitivity)| {
                Contribution::with_sensitivity(name, knowledge, sensitivity).ok()
            });
        Budget::new(made.collect())
    }

    /// What the budget of a load states.
    pub(super) fn stated(&self, load: &Load, zero: ZeroSet) -> Stated {
        Stated::of(&self.budget(load, zero))
    }

    /// The same of a difference of readings that only noise and rounding part:
    /// standard deviations of their means, g, with their degrees of freedom.
    pub(super) fn of_noise(&self, means: &[(f64, f64)]) -> Stated {
        let half = 0.5 * self.quantum_g;
        let all = means.iter().flat_map(|(sd, dof)| {
            let noise = Knowledge::Estimated { sd: *sd, dof: *dof };
            [
                Contribution::new("noise", noise),
                Contribution::new("rounding", Knowledge::Rectangular { half }),
            ]
        });
        Stated::of(&Budget::new(all.filter_map(Result::ok).collect()))
    }

    /// The same of a difference of two readings of nearly one load, as of places
    /// on the pan or times: only scatter and rounding stay.
    pub(super) fn of_difference(&self, load: &Load) -> Stated {
        let (sd, dof) = self.scatter(load.mass_g);
        let standard_g = (2.0 * (sd.powi(2) + self.quantum_g.powi(2) / 12.0)).sqrt();
        let k = student_t_two_sided(0.9545, dof).unwrap_or(2.0);
        Stated {
            standard_g,
            expanded_g: k * standard_g,
            k,
        }
    }

    /// Budgets of the loads of the errors test, or of a few over the range.
    pub(super) fn lines(&self, judge: &Judge<'_>) -> Vec<LoadBudget> {
        let captured = |load: &&Load| {
            (judge.captures.iter()).any(|one| one.test == Test::Errors && one.load == **load)
        };
        let loaded = self.loads.iter().filter(|load| load.mass_g > 0.0);
        let mut loads: Vec<&Load> = loaded.filter(captured).collect();
        loads.sort_by(|a, b| a.mass_g.total_cmp(&b.mass_g));
        loads.dedup_by(|a, b| a.mass_g == b.mass_g);
        let seed = u64::from(judge.captures.len() as u32);
        loads
            .iter()
            .filter_map(|load| self.line(load, seed))
            .collect()
    }

    fn line(&self, load: &Load, seed: u64) -> Option<LoadBudget> {
        let budget = self.budget(load, ZeroSet::AtTheBeginning);
        let stated = budget.statement().ok()?;
        let drawn = propagate(&budget, 0.0, TRIALS, &mut generator(seed)).ok();
        let shares = budget.shares();
        let dof = stated.dof.exact;
        Some(LoadBudget {
            load_g: load.mass_g,
            standard_u_g: stated.u_g,
            effective_dof: dof.is_finite().then_some(dof),
            k: stated.k,
            expanded_u_g: stated.expanded_g,
            drawn_expanded_u_g: drawn.map(|drawn| drawn.symmetric.half_width_g()),
            contributions: budget
                .contributions()
                .iter()
                .zip(shares)
                .map(|(one, share)| {
                    let (value, distribution) = said(one.knowledge());
                    ContributionLine {
                        name: one.name().into(),
                        value_g: value * one.sensitivity().abs(),
                        distribution: distribution.into(),
                        standard_u_g: one.u_g(),
                        share,
                    }
                })
                .collect(),
        })
    }
}

/// Half width of what air of this density, or any within [`AIR_WITHIN`] of the
/// reference, does to weights of 8000 kg/m3, as a share of the load: the scale may
/// have been adjusted in other air (EURAMET cg-18, 7.1.2.2, from memory).
fn air_share(kg_m3: Option<f64>) -> f64 {
    let off = kg_m3.map_or(0.0, |kg_m3| (kg_m3 / REFERENCE_AIR_KG_M3 - 1.0).abs());
    AIR_WITHIN.max(off) * REFERENCE_AIR_KG_M3 / REFERENCE_WEIGHT_KG_M3
}

/// Size and distribution of what is known.
fn said(knowledge: Knowledge) -> (f64, &'static str) {
    match knowledge {
        Knowledge::Rectangular { half } => (half, "rectangular, half width"),
        Knowledge::Normal { sd } => (sd, "normal"),
        Knowledge::Estimated { sd, .. } => (sd, "normal, estimated"),
        other => (other.standard_uncertainty(), "other"),
    }
}
