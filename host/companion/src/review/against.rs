//! A set of weights against a scale: how far they reach, whether the loads of a
//! calibration are known well enough, what is missing below.
//!
//! Owns what is said of a plan before it is carried out. Guarantees to judge
//! the very loads that the plan would ask for.

use scalewright_metrology::tolerance::{AccuracyClass, Stage, check_class, mpe_e};
use serde::Serialize;

use super::sums::sums;
use super::{Level, Remark, Review, SubstitutionRow, Topic, listing};
use crate::record::weights::name;
use crate::report::number;
use crate::session::plan::{Known, Load, Plan, ScaleSpec};

/// Loads that a full set gives the fit and the proof. OIML R 76-1 A.4.4.1 asks
/// for ten in the proof (clause from memory).
const FIT_LOADS: usize = 8;
const VERIFY_LOADS: usize = 10;

/// Weights that reach this share of Max are said to reach it, as `calibrate`
/// has it.
const REACHES: f64 = 0.9;

/// Share of the permissible error that the error of a load may have (OIML
/// R 76-1:2006, 3.7.1).
const SHARE_OF_MPE: f64 = 1.0 / 3.0;

/// Share of Max that known weights must make where substitution loads do the
/// rest, however the scale repeats (OIML R 76-1:2006, 3.7.3, from memory).
const KNOWN_SHARE: f64 = 0.5;

/// Where the smallest loads should lie, e: with zero tracking the error at zero
/// is found there (OIML R 76-1:2006, A.4.2.3.2).
const SMALL_E: f64 = 10.0;

/// The set against a scale.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Against {
    /// Max, g.
    pub max_g: f64,
    /// e, g.
    pub e_g: f64,
    /// Accuracy class.
    pub class: String,
    /// The heaviest load up to Max that the weights make without substitution
    /// loads, g.
    pub reach_g: f64,
    /// The same as a share of Max.
    pub reach_share: f64,
    /// The lightest load, g.
    pub lightest_g: f64,
    /// The same in e.
    pub lightest_e: f64,
    /// Loads for the fit.
    pub fit_loads: usize,
    /// Loads for the proof.
    pub verify_loads: usize,
    /// How many of them may be off by more than a third of the permissible
    /// error.
    pub loads_beyond_a_third: usize,
    /// The one that is known worst, by that measure.
    pub worst_load: Option<WorstLoad>,
}

/// The load whose error is largest against the permissible error.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorstLoad {
    /// The weights of it.
    pub weights: Vec<String>,
    /// Their mass together, g.
    pub mass_g: f64,
    /// How far it may be off: limits and expanded uncertainties added up, g.
    pub may_be_off_g: f64,
    /// A third of the permissible error there, g.
    pub third_of_mpe_g: f64,
    /// The weight that contributes most to it.
    pub mostly: String,
}

impl Review {
    /// The same review, with what is to be said for the scale of `plan`, which
    /// was made of the same weights.
    #[must_use]
    pub fn against(mut self, plan: &Plan) -> Self {
        let scale = &plan.scale;
        let reach = sums(self.weights.iter().map(|one| one.nominal_g), scale.max_g);
        let reach_g = reach.loads_g.last().copied().unwrap_or(0.0);
        let nominals_g = self.weights.iter().map(|one| one.nominal_g);
        let lightest_g = nominals_g.reduce(f64::min).unwrap_or(0.0);
        let class = plan.class();
        let judged: Vec<WorstLoad> = plan
            .fit
            .iter()
            .chain(&plan.verify)
            .filter(|load| is_known(load, plan))
            .filter_map(|load| judge(load, plan, class))
            .collect();
        let ratio = |load: &WorstLoad| load.may_be_off_g / load.third_of_mpe_g;
        let against = Against {
            max_g: scale.max_g,
            e_g: scale.e_g,
            class: class.to_string(),
            reach_g,
            reach_share: reach_g / scale.max_g,
            lightest_g,
            lightest_e: lightest_g / scale.e_g,
            fit_loads: plan.fit.len(),
            verify_loads: plan.proof().count(),
            // A hair beyond is the rounding of decimal numbers.
            loads_beyond_a_third: judged.iter().filter(|load| ratio(load) > 1.000_001).count(),
            worst_load: judged
                .into_iter()
                .max_by(|a, b| ratio(a).total_cmp(&ratio(b))),
        };
        self.remarks.push(far(&against, &self.substitutions));
        self.remarks.extend(thirds(&against));
        self.remarks.extend(loads(&against));
        self.remarks.extend(small(&against, scale, class));
        self.scale = Some(against);
        self
    }
}

impl Against {
    /// A load in as many digits as matter to this scale.
    fn mass(&self, mass_g: f64) -> String {
        number::mass(mass_g, number::resolution_g(self.e_g))
    }
}

/// How far a load may be off, against what it may. Weights of one set err
/// alike, so their errors add up.
fn judge(load: &Load, plan: &Plan, class: AccuracyClass) -> Option<WorstLoad> {
    let members = || {
        plan.weights
            .iter()
            .filter(|weight| load.weights.contains(&weight.id))
    };
    let mostly = members().max_by(|a, b| a.may_be_off_g().total_cmp(&b.may_be_off_g()))?;
    let e_g = plan.scale.e_g;
    let mpe_g = mpe_e(class, Stage::Initial, load.mass_g / e_g) * e_g;
    Some(WorstLoad {
        weights: load.weights.clone(),
        mass_g: load.mass_g,
        may_be_off_g: members().map(|weight| weight.may_be_off_g()).sum(),
        third_of_mpe_g: SHARE_OF_MPE * mpe_g,
        mostly: mostly.id.clone(),
    })
}

/// Whether no substitution load is part of it: that is found, not known.
fn is_known(load: &Load, plan: &Plan) -> bool {
    let unknown = plan.weights.iter().filter(|one| one.known == Known::Not);
    let mut unknown = unknown.map(|one| &one.id);
    !unknown.any(|id| load.weights.contains(id))
}

fn percent(share: f64) -> String {
    number::trimmed(share * 100.0, if share < 0.1 { 1 } else { 0 })
}

fn far(against: &Against, substitutions: &[SubstitutionRow]) -> Remark {
    let share = against.reach_share;
    let reach = against.mass(against.reach_g);
    let max = name(against.max_g);
    let remark = |level, means: &str, advice: String| Remark {
        level,
        topic: Topic::Reach,
        seen: match share >= 0.999_999 {
            true => format!("the weights reach Max, {max}"),
            false => format!(
                "the weights reach {reach}, {} % of Max ({max})",
                percent(share)
            ),
        },
        means: means.into(),
        advice,
    };
    if share >= REACHES {
        return remark(Level::Good, "", String::new());
    }
    if substitutions.is_empty() {
        let missing = name(against.max_g - against.reach_g);
        return remark(
            Level::Heed,
            "above that nothing can be proved",
            format!(
                "add {missing} more, or a jug of water as a [[substitution]]: filled in steps as heavy as the weights"
            ),
        );
    }
    let names: Vec<String> = substitutions.iter().map(|one| one.id.clone()).collect();
    let names = listing(&names);
    let more_g = super::most_at_once_g(substitutions);
    let with_g = against.reach_g + more_g;
    let with = match with_g >= against.max_g {
        true => format!("with {names}, once found, they reach Max"),
        false => format!(
            "with {names}, once found, they reach about {}",
            number::mass(with_g, with_g / 50.0)
        ),
    };
    // Below a fifth there is no plan.
    let (level, enough) = if share >= KNOWN_SHARE {
        (Level::Good, "half of Max in known weights is enough")
    } else {
        (
            Level::Note,
            "less than half of Max in known weights is enough only for a scale that \
                repeats well: a third of Max for 0.3 e, a fifth for 0.2 e",
        )
    };
    let means = format!("{with}; {enough} (OIML R 76-1:2006, 3.7.3)");
    remark(level, &means, String::new())
}

fn thirds(against: &Against) -> Option<Remark> {
    let worst = against.worst_load.as_ref()?;
    let all = against.fit_loads + against.verify_loads;
    let at_worst = format!(
        "{}, {}, may be off by {} where {} is a third of the permissible error",
        worst.weights.join("+"),
        against.mass(worst.mass_g),
        number::spread(worst.may_be_off_g, 2),
        number::spread(worst.third_of_mpe_g, 2)
    );
    let remark = |level, seen, means: &str, advice: String| {
        Some(Remark {
            level,
            topic: Topic::Thirds,
            seen,
            means: means.into(),
            advice,
        })
    };
    if against.loads_beyond_a_third == 0 {
        return remark(
            Level::Good,
            format!(
                "the {all} loads of a calibration are known well enough; the worst: {at_worst}"
            ),
            "",
            String::new(),
        );
    }
    remark(
        Level::Heed,
        match against.loads_beyond_a_third {
            beyond if beyond == all => format!(
                "none of the {all} loads of a calibration is known well enough; the worst: {at_worst}"
            ),
            beyond => format!(
                "{beyond} of the {all} loads of a calibration are not known well enough; the \
                    worst: {at_worst}"
            ),
        },
        "weights should err by a third of what the scale may at most (OIML R 76-1:2006, \
            3.7.1); beyond that the proof is about the weights as much as about the scale",
        format!(
            "a finer class, or a certificate with a smaller uncertainty, first for {}",
            worst.mostly
        ),
    )
}

fn loads(against: &Against) -> Option<Remark> {
    let (fit, verify) = (against.fit_loads, against.verify_loads);
    let (level, means) = match verify {
        0 => (
            Level::Heed,
            "the result cannot be proved with loads of its own".into(),
        ),
        _ if fit >= FIT_LOADS && verify >= VERIFY_LOADS => return None,
        _ => (
            Level::Note,
            format!("it works; {FIT_LOADS} and {VERIFY_LOADS} would show more of the curve"),
        ),
    };
    Some(Remark {
        level,
        topic: Topic::Loads,
        seen: format!("they make {fit} loads for the fit and {verify} for the proof"),
        means,
        advice: match level {
            Level::Heed => "add weights of other values".into(),
            _ => String::new(),
        },
    })
}

fn small(against: &Against, scale: &ScaleSpec, class: AccuracyClass) -> Option<Remark> {
    let small_g = SMALL_E * scale.e_g;
    if against.lightest_g <= small_g * 1.000_001 {
        return None;
    }
    let min_g = check_class(class, scale.e_g, scale.max_g)
        .ok()?
        .min_capacity_e
        * scale.e_g;
    let above_min = against.lightest_g > min_g * 1.000_001;
    Some(Remark {
        level: if above_min { Level::Heed } else { Level::Note },
        topic: Topic::Small,
        seen: format!(
            "the lightest load is {}, {} e",
            name(against.lightest_g),
            number::trimmed(against.lightest_e, 1)
        ),
        means: if above_min {
            format!(
                "below that nothing can be proved, not even at Min ({})",
                name(min_g)
            )
        } else {
            "below that nothing can be proved".into()
        },
        advice: format!("add a weight of {}, {SMALL_E} e", name(small_g)),
    })
}

#[cfg(test)]
mod tests;
