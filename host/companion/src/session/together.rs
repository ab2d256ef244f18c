//! Captures and weights of a session as one joint problem, and back.

use scalewright_metrology::joint::{Body, Filling, Problem, Weighing, Worth};

use super::event::{Capture, Part};
use super::plan::{Load, PlannedWeight, ScaleSpec};
use super::weight::Known;

/// The weights at hand as bodies, in their order.
#[must_use]
pub fn bodies(weights: &[PlannedWeight]) -> Vec<Body> {
    let vessels: Vec<&str> = weights
        .iter()
        .filter_map(|weight| weight.filling.as_ref())
        .map(|filling| filling.vessel.as_str())
        .collect();
    let body = |weight: &PlannedWeight| Body {
        name: weight.id.clone(),
        mass_g: weight.mass_g,
        worth: match weight.known {
            Known::Class => Worth::Within(weight.may_be_off_g()),
            Known::Stated => Worth::Stated(weight.u_g),
            Known::Not => Worth::Unknown,
        },
        filling: weight.filling.as_ref().map(|filling| Filling {
            // The first entry of its name stands for the vessel.
            vessel: vessels
                .iter()
                .position(|vessel| *vessel == filling.vessel)
                .unwrap_or(0),
            turn: filling.turn,
        }),
    };
    weights.iter().map(body).collect()
}

/// A problem without captures, for plans.
#[must_use]
pub fn skeleton(scale: &ScaleSpec, weights: &[PlannedWeight]) -> Problem {
    Problem {
        bodies: bodies(weights),
        weighings: Vec::new(),
        max_g: scale.max_g,
        e_g: scale.e_g,
    }
}

/// Whether a capture belongs to the fit.
#[must_use]
pub fn is_of_the_fit(part: Part) -> bool {
    matches!(
        part,
        Part::Zero | Part::Preload | Part::Rising | Part::Falling | Part::ZeroReturn | Part::Again
    )
}

/// The problem that the captures of the fit pose, and for each of its weighings
/// the position of its capture. Saturated captures and captures of weights that
/// are not at hand are left out.
#[must_use]
pub fn problem(
    scale: &ScaleSpec,
    weights: &[PlannedWeight],
    captures: &[Capture],
) -> (Problem, Vec<usize>) {
    let mut problem = skeleton(scale, weights);
    let mut from = Vec::new();
    for (index, capture) in captures.iter().enumerate() {
        if !is_of_the_fit(capture.part) || capture.saturated {
            continue;
        }
        let Some(bodies) = positions(&capture.load, weights) else {
            continue;
        };
        problem.weighings.push(Weighing {
            bodies,
            counts: capture.mean_counts,
            sd_counts: capture.sd_counts / f64::from(capture.samples.max(1)).sqrt(),
            at_s: capture.at_s,
            rested_s: capture.rested_s,
            sitting: capture.sitting,
        });
        from.push(index);
    }
    (problem, from)
}

/// Positions of a load's weights among those at hand.
#[must_use]
pub fn positions(load: &Load, weights: &[PlannedWeight]) -> Option<Vec<usize>> {
    let position = |id: &String| weights.iter().position(|weight| weight.id == *id);
    load.weights.iter().map(position).collect()
}

/// The load that bodies at these positions make.
#[must_use]
pub fn load_of(bodies: &[usize], weights: &[PlannedWeight]) -> Load {
    let mut picked: Vec<&PlannedWeight> = bodies
        .iter()
        .filter_map(|body| weights.get(*body))
        .collect();
    picked.sort_by(|a, b| b.mass_g.total_cmp(&a.mass_g).then(a.id.cmp(&b.id)));
    let mut load = Load::empty();
    for weight in picked {
        load.weights.push(weight.id.clone());
        load.mass_g += weight.mass_g;
        load.u_g += weight.u_g;
    }
    load
}
