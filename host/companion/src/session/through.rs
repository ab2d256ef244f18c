//! The table that a scale makes by itself, of the captures of a session.
//!
//! Its own calibration, at its own keys, lays the table through the loads
//! ([`scalewright_protocol::curve`]). Made here of the same captures it is the same to
//! the last point; beside the joint solution it is one more candidate.

use scalewright_protocol::curve::{self, net_counts};
use scalewright_protocol::table::{Knot, TableFault};

use super::event::Capture;
use super::plan::Plan;
use super::together;
use crate::quantise::{self, HostTable, MOST_KNOTS};
use crate::record::outcome::CandidateLine;

/// Its name among the candidates, and the same for people.
const NAME: &str = "through";
const TITLE: &str = "through the loads, as the scale makes it";

/// Every capture of the fit under a load: net counts above the zero before it, and
/// the mass stated, quanta.
#[must_use]
pub fn loads(plan: &Plan, captures: &[Capture]) -> Vec<Knot> {
    let quantum_g = quantise::quantum_g(quantise::quantum_ug(plan.scale.e_g));
    let mut zero_q8 = None;
    let mut loads = Vec::new();
    for capture in captures {
        if !together::is_of_the_fit(capture.part) || capture.saturated {
            continue;
        }
        // A mean comes over the line in 1/256 counts: nothing is lost.
        let mean_q8 = (capture.mean_counts * 256.0).round() as i32;
        if capture.load.weights.is_empty() {
            zero_q8 = Some(mean_q8);
        } else if let Some(zero_q8) = zero_q8 {
            loads.push(Knot {
                counts: net_counts(mean_q8, zero_q8),
                mass: (capture.load.mass_g / quantum_g).round() as i32,
            });
        }
    }
    loads
}

/// The table through these loads.
///
/// # Errors
/// [`TableFault`].
pub fn table(plan: &Plan, loads: &[Knot], max_knots: usize) -> Result<HostTable, TableFault> {
    let reach_g = plan.scale.max_g + 9.0 * plan.scale.e_g;
    let quantum_g = quantise::quantum_g(quantise::quantum_ug(plan.scale.e_g));
    let reach = (reach_g / quantum_g).round() as i32;
    let each = loads.iter().copied();
    // How finely the curve is laid depends on a device's room.
    let knots = if max_knots >= MOST_KNOTS {
        curve::of_captures::<MOST_KNOTS>(each, reach)?
    } else {
        let small = curve::of_captures::<16>(each, reach)?;
        if small.len() > max_knots {
            return Err(TableFault::TooMany {
                knots: u8::try_from(small.len()).unwrap_or(u8::MAX),
                fit: u8::try_from(max_knots).unwrap_or(u8::MAX),
            });
        }
        small.into_iter().collect()
    };
    HostTable::new(&knots)
}

/// It as a candidate: each load in turn left out with all its captures, the heaviest
/// never, as with the others.
#[must_use]
pub fn candidate(plan: &Plan, loads: &[Knot], max_knots: usize) -> CandidateLine {
    let unit_g = quantise::quantum_g(quantise::quantum_ug(plan.scale.e_g));
    let made = table(plan, loads, max_knots);
    let mut masses: Vec<i32> = loads.iter().map(|load| load.mass).collect();
    masses.sort_unstable();
    masses.dedup();
    masses.pop();
    let mut errors_g = Vec::new();
    for mass in masses {
        let (out, kept): (Vec<Knot>, Vec<Knot>) = loads.iter().partition(|load| load.mass == mass);
        if let Ok(table) = table(plan, &kept, max_knots) {
            let off = |load: &Knot| f64::from(table.lookup(load.counts).mass - load.mass);
            errors_g.push(out.iter().map(off).sum::<f64>() / out.len() as f64 * unit_g);
        }
    }
    let squares: f64 = errors_g.iter().map(|error| error * error).sum();
    let rms_g = (!errors_g.is_empty()).then(|| (squares / errors_g.len() as f64).sqrt());
    let e_g = plan.scale.e_g;
    CandidateLine {
        name: NAME.into(),
        title: TITLE.into(),
        leave_one_out_error: rms_g,
        leave_one_out_error_e: rms_g.map(|error| error / e_g),
        leave_one_out_largest_e: errors_g
            .iter()
            .map(|error| error.abs() / e_g)
            .reduce(f64::max),
        residual_e: None,
        points: made.as_ref().map_or(0, |table| table.knots().len()),
        chosen: false,
        note: made.err().map(|fault| fault.to_string()),
    }
}
