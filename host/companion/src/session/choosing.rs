//! From captures to the table proposed.
//!
//! All captures are solved together ([`scalewright_metrology::joint`]); the
//! curve of that solution is laid into the device's points. The shapes people
//! know are fitted beside it to the masses as found, for comparison, and stand
//! in when the joint curve can't be laid.

use scalewright_metrology::candidates::{Candidate, TableSpace, knots_of, propose};
use scalewright_metrology::curve::{Curve, Knots};
use scalewright_metrology::joint::{self, Joint, Judged, Suspect};
use scalewright_metrology::observation::Observation;
use scalewright_metrology::screening;
use scalewright_metrology::uncertainty::net_counts;

use super::event::{Capture, Part};
use super::plan::Plan;
use super::through;
use super::together;
use super::verdict;
use crate::quantise::{self, DeviceTables, HostTable};
use crate::record::outcome::CandidateLine;
use crate::record::together::Together;

/// The table proposed, and how it was chosen.
pub struct Choice {
    /// The integer table, as the device will hold it.
    pub table: HostTable,
    /// Mass quantum, micrograms.
    pub quantum_ug: u32,
    /// Zero reference to store with it, counts.
    pub zero_counts: i32,
    /// All candidates.
    pub lines: Vec<CandidateLine>,
    /// Why this one.
    pub reason: String,
    /// What the captures tell of weights, scale and cell.
    pub together: Together,
    /// Loads to capture once more, or anew, before the table is believed; by
    /// the names of their weights.
    pub again: Vec<Vec<String>>,
    /// Net counts of each fit capture, in the order of the captures.
    pub(super) nets: Vec<Option<f64>>,
    /// Standard uncertainty of the curve over the range: (load g, u g).
    pub(super) band_g: Vec<(f64, f64)>,
}

/// Name of the joint solution among the candidates.
const JOINT: &str = "joint";

/// Why a table goes through the loads.
const AS_ASKED: &str = "it goes through the loads, as was asked with --through";

/// The same for people.
const JOINT_TITLE: &str = "all captures together";

/// The table to propose, from the captures of the fit.
///
/// # Errors
/// Why the captures make none, in plain words.
pub fn choose(plan: &Plan, captures: &[Capture], max_knots: usize) -> Result<Choice, String> {
    let quantum_ug = quantise::quantum_ug(plan.scale.e_g);
    let space = TableSpace {
        max_knots: max_knots.min(quantise::MOST_KNOTS),
        max_g: plan.scale.max_g,
        e_g: plan.scale.e_g,
        reach_g: plan.scale.max_g + 9.0 * plan.scale.e_g,
        quantum_g: quantise::quantum_g(quantum_ug),
    };
    let (problem, from) = together::problem(&plan.scale, &plan.weights, captures);
    let judged =
        joint::judge(&problem).map_err(|refusal| verdict::refused(&refusal, &plan.weights))?;
    let nets = nets(captures);
    let observations = observations(plan, captures, &nets, &judged, &from);
    screening::check(&observations, &space).map_err(|refusal| refusal.to_string())?;
    let tables = DeviceTables {
        quantum_ug,
        max_knots: space.max_knots,
    };
    let proposal = propose(&observations, &space, &tables);
    let from_counts = observations
        .iter()
        .map(|one| one.counts)
        .fold(0.0, f64::max);
    let laid = knots_of(&judged.joint, from_counts, &space).and_then(|knots| {
        let table = quantise::table(&knots, quantum_ug, space.max_knots);
        table.map_err(|fault| fault.to_string())
    });
    let mut lines: Vec<CandidateLine> = match &proposal {
        Ok(proposal) => proposal
            .candidates
            .iter()
            .map(|one| line(plan, one))
            .collect(),
        Err(_) => Vec::new(),
    };
    let mut joint_line = joint_line(plan, &judged.joint, &problem, &judged.wrong);
    let own_loads = through::loads(plan, captures);
    let mut own_line = through::candidate(plan, &own_loads, space.max_knots);
    let own = through::table(plan, &own_loads, space.max_knots);
    if plan.through
        && let Err(fault) = &own
    {
        return Err(format!("no table goes through these loads: {fault}"));
    }
    let own = own.ok().filter(|_| plan.through);
    let (table, reason, curve): (_, _, &dyn Fn(f64) -> Option<f64>) = match (&own, &laid, &proposal)
    {
        (Some(table), ..) => {
            own_line.chosen = true;
            (table.clone(), AS_ASKED.into(), &|counts| {
                judged.joint.u_g(counts)
            })
        }
        (None, Ok(table), _) => {
            joint_line.chosen = true;
            joint_line.points = table.knots().len();
            let reason = reason(plan, &joint_line, &lines);
            (table.clone(), reason, &|counts| judged.joint.u_g(counts))
        }
        (None, Err(why), Ok(proposal)) => {
            joint_line.note = Some(why.clone());
            if let Some(line) = lines.get_mut(proposal.chosen) {
                line.chosen = true;
            }
            let table = quantise::table(&proposal.knots, quantum_ug, space.max_knots)
                .map_err(|fault| fault.to_string())?;
            (table, proposal.reason.clone(), &|counts| {
                proposal.u_g(counts)
            })
        }
        (None, Err(why), Err(_)) => return Err(why.clone()),
    };
    lines.push(own_line);
    lines.push(joint_line);
    let band_g = grid(plan.scale.max_g)
        .filter_map(|load_g| Some((load_g, curve(counts_at(&table, quantum_ug, load_g)?)?)))
        .collect();
    let reading = |net: f64| quantise::mass_g(&table, net, quantum_ug);
    Ok(Choice {
        together: verdict::together(plan, captures, &nets, &judged, &from, &reading),
        again: verdict::again(&judged, &problem, &plan.weights),
        quantum_ug,
        zero_counts: zero_counts(captures),
        lines,
        reason,
        nets,
        band_g,
        table,
    })
}

/// The latest zero of the fit, counts.
fn zero_counts(captures: &[Capture]) -> i32 {
    captures
        .iter()
        .rev()
        .find(|capture| is_zero(capture))
        .map_or(0.0, |capture| capture.mean_counts)
        .round()
        .clamp(-8_388_608.0, 8_388_607.0) as i32
}

fn is_zero(capture: &Capture) -> bool {
    together::is_of_the_fit(capture.part) && capture.load.weights.is_empty()
}

/// Net counts of every capture of the fit, drift of zero removed by the zeros
/// of its sitting; `None` for others.
fn nets(captures: &[Capture]) -> Vec<Option<f64>> {
    let net = |capture: &Capture| {
        if !together::is_of_the_fit(capture.part) {
            return None;
        }
        let zeros: Vec<(f64, f64)> = captures
            .iter()
            .filter(|other| other.sitting == capture.sitting && is_zero(other))
            .map(|other| (other.at_s, other.mean_counts))
            .collect();
        net_counts(capture.mean_counts, capture.at_s, &zeros)
    };
    captures.iter().map(net).collect()
}

/// The captures of the fit as observations of the masses as found, without
/// those that are believed wrong.
fn observations(
    plan: &Plan,
    captures: &[Capture],
    nets: &[Option<f64>],
    judged: &Judged,
    from: &[usize],
) -> Vec<Observation> {
    let wrong = |index: usize| {
        let weighing = from.iter().position(|capture| *capture == index);
        weighing.is_some_and(|at| judged.wrong.contains(&Suspect::Capture(at)))
    };
    let mut masses: Vec<f64> = Vec::new();
    captures
        .iter()
        .zip(nets)
        .enumerate()
        .filter(|(index, _)| !wrong(*index))
        .filter_map(|(_, (capture, net))| {
            let counts = (*net)?;
            let bodies = together::positions(&capture.load, &plan.weights)?;
            let found = bodies.iter().map(|body| judged.joint.mass(*body));
            let mass_g: f64 = found
                .map(|mass| mass.map(|mass| mass.value))
                .sum::<Option<f64>>()?;
            let load = masses
                .iter()
                .position(|other| (other - mass_g).abs() < 1e-6 * mass_g.max(1.0))
                .unwrap_or_else(|| {
                    masses.push(mass_g);
                    masses.len() - 1
                });
            Some(Observation {
                load,
                counts,
                mass_g,
                sd_counts: capture.sd_counts / f64::from(capture.samples.max(1)).sqrt(),
                rising: capture.part != Part::Falling && capture.part != Part::ZeroReturn,
                saturated: capture.saturated,
            })
        })
        .collect()
}

fn line(plan: &Plan, candidate: &Candidate) -> CandidateLine {
    let in_e = |error: Option<f64>| error.map(|error| error / plan.scale.e_g);
    CandidateLine {
        name: candidate.name.to_string(),
        title: candidate.title.clone(),
        leave_one_out_error: candidate.loo_rms_g,
        leave_one_out_error_e: in_e(candidate.loo_rms_g),
        leave_one_out_largest_e: in_e(candidate.loo_max_g),
        residual_e: in_e(candidate.residual_rms_g),
        points: candidate
            .knots
            .as_ref()
            .map_or(0, |knots| knots.points.len()),
        chosen: false,
        note: candidate.note.clone(),
    }
}

/// The joint solution as a candidate: each load in turn left out with all its
/// captures, the heaviest never, as with the others.
fn joint_line(
    plan: &Plan,
    joint: &Joint,
    problem: &joint::Problem,
    wrong: &[Suspect],
) -> CandidateLine {
    let right = |index: &usize| !wrong.contains(&Suspect::Capture(*index));
    let mut loaded: Vec<(usize, f64)> = (0..problem.weighings.len())
        .filter(right)
        .map(|index| (index, problem.stated_g(&problem.weighings[index])))
        .filter(|(_, mass_g)| *mass_g > 0.0)
        .collect();
    loaded.sort_by(|a, b| a.1.total_cmp(&b.1));
    let near = 0.5 * plan.scale.e_g;
    let groups: Vec<Vec<usize>> = loaded
        .chunk_by(|a, b| b.1 - a.1 <= near)
        .map(|group| group.iter().map(|one| one.0).collect())
        .collect();
    let judged = groups.len().saturating_sub(1);
    let mean = |values: Vec<f64>| values.iter().sum::<f64>() / values.len() as f64;
    let errors: Vec<f64> = groups
        .iter()
        .take(judged)
        .filter_map(|group| joint.left_out_g(group).map(mean))
        .collect();
    let residuals: Vec<f64> = groups
        .iter()
        .filter_map(|group| {
            group
                .iter()
                .map(|one| joint.residual_g(*one))
                .collect::<Option<_>>()
        })
        .map(mean)
        .collect();
    let rms = |errors: &[f64]| {
        let squares: f64 = errors.iter().map(|error| error * error).sum();
        (!errors.is_empty()).then(|| (squares / errors.len() as f64).sqrt())
    };
    let e_g = plan.scale.e_g;
    let largest = errors.iter().map(|error| error.abs()).reduce(f64::max);
    CandidateLine {
        name: JOINT.into(),
        title: JOINT_TITLE.into(),
        leave_one_out_error: rms(&errors),
        leave_one_out_error_e: rms(&errors).map(|error| error / e_g),
        leave_one_out_largest_e: largest.map(|error| error / e_g),
        residual_e: rms(&residuals).map(|error| error / e_g),
        points: 0,
        chosen: false,
        note: None,
    }
}

fn reason(plan: &Plan, joint: &CandidateLine, others: &[CandidateLine]) -> String {
    let in_e = |line: &CandidateLine| line.leave_one_out_error.map(|g| g / plan.scale.e_g);
    let best = others
        .iter()
        .filter(|line| line.note.is_none())
        .filter_map(|line| Some((in_e(line)?, line)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    match (in_e(joint), best) {
        (Some(own), Some((other, line))) => format!(
            "curve, weights, zero and hysteresis are solved together; a load left out is predicted to {own:.2} e on average (the best plain shape, the {}, to {other:.2} e)",
            line.title
        ),
        (Some(own), None) => format!(
            "curve, weights, zero and hysteresis are solved together; a load left out is predicted to {own:.2} e on average"
        ),
        (None, _) => "curve, weights, zero and hysteresis are solved together".into(),
    }
}

/// Loads at which a curve is shown, g.
pub(super) fn grid(max_g: f64) -> impl Iterator<Item = f64> {
    (0..=120).map(move |step| max_g * f64::from(step) / 120.0)
}

/// Net counts at which a table says `load_g`.
pub(super) fn counts_at(table: &HostTable, quantum_ug: u32, load_g: f64) -> Option<f64> {
    let unit = quantise::quantum_g(quantum_ug);
    let points = table
        .knots()
        .iter()
        .map(|knot| (f64::from(knot.mass) * unit, f64::from(knot.counts)))
        .collect();
    // The same straight lines, read the other way round.
    Some(Knots::new(points).ok()?.lookup(load_g))
}
