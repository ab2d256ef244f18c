//! What a plan will be worth, before anything is put on the pan.

use scalewright_metrology::joint::{Forecast, Grade, Planned, RIVAL_E};
use scalewright_metrology::planning;
use scalewright_metrology::tolerance::{Stage, check_class, interval_at_least, mpe_e};

use super::plan::{Filling, Known, Load, Plan, PlanFault, PlannedWeight, ScaleSpec};
use super::together;
use crate::record::foreseen::{
    Checked, Foreseen, ForeseenRow, ForeseenStep, Improvement, MAY_TAKE, StepPurpose,
};
use crate::record::weights::{class_u_g, name};

/// Coverage factor of an expanded uncertainty.
const K: f64 = 2.0;

/// Places at which a plan is judged, as shares of Max.
const PLACES: [f64; 12] = [0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0];

/// Time that a load of the proof takes, s (from sessions on the bench).
const PROOF_LOAD_S: f64 = 20.0;

/// A table gets no better by what is less than this.
const WORTH_NAMING: f64 = 0.9;

/// What `plan` will be worth on its cell, read with this noise of one sample,
/// g; `smoothing` is the depth n of the mean over 2^n samples that is shown.
///
/// # Errors
/// When the plan's loads leave something open.
pub fn foresee(plan: &Plan, noise_g: f64, smoothing: u8) -> Result<Foreseen, PlanFault> {
    let scale = &plan.scale;
    let grade = plan.cell.expected(scale, noise_g, plan.samples);
    let timed = timed(plan);
    let forecast = forecast(plan, &timed, grade)?;
    let rows = rows(plan, &forecast);
    let (worst_share, worst_at_g) = worst(&rows);
    let min_e = check_class(plan.class(), scale.e_g, scale.max_g);
    let checked = plan.weights.iter().enumerate();
    let checked = checked.filter(|(_, weight)| weight.known != Known::Not);
    let samples = f64::from(1u32 << smoothing.min(6));
    Ok(Foreseen {
        max_g: scale.max_g,
        e_g: scale.e_g,
        class: scale.class.clone(),
        cell: plan.cell.to_string(),
        noise_g,
        supports_d_g: interval_at_least(6.6 * noise_g / samples.sqrt()),
        seconds: timed.last().map_or(0.0, |last| last.at_s),
        steps: steps(plan, &timed),
        proof_loads: plan.proof().count(),
        proof_s: PROOF_LOAD_S * plan.proof().count() as f64,
        worst_share,
        worst_at_g,
        unsupported_g: unsupported(plan, &forecast),
        lightest_g: (plan.weights.iter())
            .filter(|weight| weight.known != Known::Not)
            .map(|weight| weight.mass_g)
            .fold(f64::INFINITY, f64::min),
        min_g: min_e.map_or(0.0, |limits| limits.min_capacity_e * scale.e_g),
        checked: checked
            .map(|(body, weight)| Checked {
                id: weight.id.clone(),
                alone_u_g: forecast.body_u_g(body),
                matters: weight.mass_g >= RIVAL_E * scale.e_g,
            })
            .collect(),
        improvements: improvements(plan, noise_g, worst_share),
        rows,
    })
}

fn timed(plan: &Plan) -> Vec<Planned> {
    let problem = together::skeleton(&plan.scale, &plan.weights);
    let loads = plan.course.iter();
    let loads = loads.filter_map(|load| together::positions(load, &plan.weights));
    planning::Course {
        loads: loads.collect(),
        additivity: Vec::new(),
    }
    .planned(&problem)
}

fn forecast(plan: &Plan, timed: &[Planned], grade: Grade) -> Result<Forecast, PlanFault> {
    let problem = together::skeleton(&plan.scale, &plan.weights);
    Forecast::new(&problem, timed, grade).map_err(|refusal| PlanFault::Open {
        cause: refusal.to_string(),
    })
}

fn rows(plan: &Plan, forecast: &Forecast) -> Vec<ForeseenRow> {
    let loads_g = PLACES.iter().map(|share| share * plan.scale.max_g);
    loads_g.map(|load_g| row(plan, forecast, load_g)).collect()
}

fn row(plan: &Plan, forecast: &Forecast, load_g: f64) -> ForeseenRow {
    let e_g = plan.scale.e_g;
    ForeseenRow {
        load_g,
        table_u_g: K * forecast.u_g(load_g),
        error_g: K * forecast.error_sd_g(load_g),
        permitted_g: e_g * mpe_e(plan.class(), Stage::Initial, load_g / e_g),
    }
}

fn worst(rows: &[ForeseenRow]) -> (f64, f64) {
    let share = |row: &ForeseenRow| row.table_u_g / row.permitted_g;
    let worst = rows.iter().max_by(|a, b| share(a).total_cmp(&share(b)));
    worst.map_or((f64::INFINITY, 0.0), |row| (share(row), row.load_g))
}

/// Where the table is not known to a third of what is permitted.
fn unsupported(plan: &Plan, forecast: &Forecast) -> Vec<(f64, f64)> {
    let max_g = plan.scale.max_g;
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    let mut before_g = 0.0;
    for step in 1..=100 {
        let load_g = max_g * f64::from(step) / 100.0;
        let row = row(plan, forecast, load_g);
        if row.table_u_g > MAY_TAKE * row.permitted_g {
            match stretches.last_mut() {
                Some((_, to_g)) if *to_g == before_g => *to_g = load_g,
                _ => stretches.push((before_g, load_g)),
            }
        }
        before_g = load_g;
    }
    stretches
}

fn steps(plan: &Plan, timed: &[Planned]) -> Vec<ForeseenStep> {
    let purpose = |index: usize| purpose(plan, index);
    let steps = plan.course.iter().zip(timed).enumerate();
    steps
        .map(|(index, (load, planned))| ForeseenStep {
            number: index + 1,
            weights: load.weights.clone(),
            mass_g: load.mass_g,
            at_s: planned.at_s,
            purpose: purpose(index),
        })
        .collect()
}

fn purpose(plan: &Plan, index: usize) -> StepPurpose {
    let course = &plan.course;
    let empty = |at: usize| course.get(at).is_some_and(|load| load.weights.is_empty());
    let Some(load) = course.get(index) else {
        return StepPurpose::Curve;
    };
    let earlier = course.get(..index).unwrap_or_default();
    let near = |other: &&Load| (other.mass_g - load.mass_g).abs() < 1e-3 * plan.scale.e_g;
    let unknown = |id: &String| {
        let weight = plan.weights.iter().find(|weight| weight.id == *id);
        weight.is_some_and(|weight| weight.known == Known::Not)
    };
    if load.weights.is_empty() {
        StepPurpose::Zero
    } else if index == 1 && empty(2) {
        StepPurpose::Preload
    } else if load.weights.iter().any(unknown) {
        StepPurpose::Substitution
    } else if plan.small_on_big.iter().any(|pair| pair.both == index) {
        StepPurpose::SmallOnBig
    } else if earlier.last().is_some_and(|last| last.mass_g > load.mass_g) {
        StepPurpose::WayDown
    } else if earlier.iter().skip(2).any(|other| other == load) {
        StepPurpose::Repeat
    } else if earlier.iter().skip(2).any(|other| near(&other)) {
        StepPurpose::Exchange
    } else {
        StepPurpose::Curve
    }
}

/// What one more weight, or a jug of water, would do.
fn improvements(plan: &Plan, noise_g: f64, now: f64) -> Vec<Improvement> {
    let scale = &plan.scale;
    let known: Vec<&PlannedWeight> = (plan.weights.iter())
        .filter(|weight| weight.known != Known::Not)
        .collect();
    let mut offers: Vec<(String, Vec<PlannedWeight>)> = series(scale)
        .into_iter()
        .filter_map(|mass_g| {
            let weight = PlannedWeight::new("one more", mass_g, class_u_g("M1", mass_g).ok()?);
            Some((
                format!("another {} of class M1", name(mass_g)),
                vec![weight],
            ))
        })
        .collect();
    let sum_g: f64 = known.iter().map(|weight| weight.mass_g).sum();
    let has_jug = known.len() < plan.weights.len();
    if !has_jug && sum_g < 0.95 * scale.max_g && sum_g > 0.0 {
        offers.push(jug(scale, sum_g));
    }
    let mut found: Vec<Improvement> = offers
        .into_iter()
        .filter_map(|(what, more)| {
            let mut weights = plan.weights.clone();
            weights.extend(more);
            let with = Plan::on_cell(scale.clone(), weights, plan.cell).ok()?;
            let grade = with.cell.expected(scale, noise_g, with.samples);
            let forecast = forecast(&with, &timed(&with), grade).ok()?;
            Some(Improvement {
                what,
                worst_share: worst(&rows(&with, &forecast)).0,
                table_u_at_max_g: K * forecast.u_g(scale.max_g),
            })
        })
        .filter(|one| one.worst_share < WORTH_NAMING * now)
        .collect();
    found.sort_by(|a, b| a.worst_share.total_cmp(&b.worst_share));
    found.truncate(3);
    found
}

/// Nominal values of weights worth borrowing for a scale, g.
fn series(scale: &ScaleSpec) -> Vec<f64> {
    let decades = (-1..=4).map(|power| 10f64.powi(power));
    let all = decades.flat_map(|ten| [1.0, 2.0, 5.0].map(|one| one * ten));
    let useful = |mass_g: &f64| *mass_g <= scale.max_g && *mass_g >= 5.0 * scale.e_g;
    let mut all: Vec<f64> = all.filter(useful).collect();
    // The heaviest few do most, and one small one for the beginning.
    let from = all.len().saturating_sub(5);
    let heavy = all.split_off(from);
    all.into_iter().take(1).chain(heavy).collect()
}

/// A jug filled in steps as heavy as all weights together, up to Max.
fn jug(scale: &ScaleSpec, sum_g: f64) -> (String, Vec<PlannedWeight>) {
    let count = ((scale.max_g / sum_g).ceil() as usize)
        .saturating_sub(1)
        .clamp(1, 4);
    let fillings: Vec<PlannedWeight> = (0..count)
        .map(|turn| {
            let mass_g = (sum_g * (turn + 1) as f64).min(scale.max_g);
            let mut filling = PlannedWeight::new(format!("jug {turn}"), mass_g, 0.1 * mass_g);
            filling.known = Known::Not;
            filling.filling = Some(Filling {
                vessel: "jug".into(),
                turn,
            });
            filling
        })
        .collect();
    let masses: Vec<String> = fillings.iter().map(|one| name(one.mass_g)).collect();
    (
        format!("a jug of water, filled to about {}", masses.join(", then ")),
        fillings,
    )
}
