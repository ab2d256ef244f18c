//! Is it a weight, a capture or the scale?
//!
//! Each weight and each capture is doubted in turn: its deviation is set wide,
//! and the evidence for the captures under that doubt is compared with the
//! evidence without any (Bayes' rule; the evidence by Laplace's method, the
//! scatter found anew each time, since one gross error makes all else look
//! scattered). A doubt is believed when it has nearly all the probability, and
//! the search goes on for the next. What stays undecided is said to be so.

use super::design::Design;
use super::history::Past;
use super::likelihood::{Doubt, Logs, Scatter, Solved};
use super::loads::loads;
use super::posterior::prepared;
use super::search::mode;
use super::{Estimate, Joint, JointRefusal, Problem, Worth};

/// Probability beforehand that one weight is outside what is stated of it, and
/// that one capture was not the load named (own choice: one weight in a
/// hundred, one capture in two hundred).
const ODDS: [f64; 2] = [0.01, 0.005];

/// How far a doubted weight may be off, in e and in its own uncertainty.
const BODY_SD: (f64, f64) = (4.0, 20.0);

/// How far a doubted capture may be off, in e: more is noticed when the load
/// comes.
const CAPTURE_SD_E: f64 = 6.0;

/// Probability at which a doubt is believed.
const BELIEVED: f64 = 0.95;

/// Probability below which a possibility is not worth naming.
const NAMED: f64 = 0.05;

/// Gross errors looked for: with more, nothing in a session can be trusted.
const MOST: usize = 3;

/// Doubts looked at closely; the rest have no evidence to speak of.
const CLOSELY: usize = 12;

/// Deviations between two explanations' readings of one load beyond which more
/// is of no use, and below which its capture would not decide.
const CLEAR: f64 = 6.0;
const TELLING: f64 = 3.0;

/// What may be wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suspect {
    /// A weight, by its position among the bodies.
    Body(usize),
    /// A capture, by its position among the weighings.
    Capture(usize),
    /// Nothing: all captures are explained by the scale itself.
    Nothing,
}

/// A suspect and what speaks for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspicion {
    /// Who.
    pub suspect: Suspect,
    /// Probability, 0 to 1, among all that was considered.
    pub probability: f64,
}

/// A joint solution with what is wrong taken into account.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The solution; what is believed to be wrong has lost its say in it.
    pub joint: Joint,
    /// What is believed to be wrong, the surest first.
    pub wrong: Vec<Suspect>,
    /// Possibilities between which the captures can't decide, the likeliest
    /// first; empty when they can.
    pub open: Vec<Suspicion>,
    /// Bodies of the load whose capture would decide between the first two of
    /// them, if one load can.
    pub settling: Option<Vec<usize>>,
}

impl Judged {
    /// How far a believed suspect is off, g: a weight's deviation from its
    /// stated mass, or what a capture read too much.
    #[must_use]
    pub fn off(&self, suspect: Suspect) -> Option<Estimate> {
        match suspect {
            Suspect::Body(body) => self.joint.deviation(body),
            Suspect::Capture(capture) => {
                let value = self.joint.residual_g(capture)?;
                let load_g = self.joint.design.stated[capture] * self.joint.problem.max_g;
                let u = self.joint.capture_sd_g(load_g);
                Some(self.joint.limited(value, u))
            }
            Suspect::Nothing => None,
        }
    }
}

/// Solves the problem and looks for weights and captures that are wrong.
///
/// # Errors
/// [`JointRefusal`].
pub fn judge(problem: &Problem) -> Result<Judged, JointRefusal> {
    let (design, belief) = prepared(problem)?;
    let mut doubts: Vec<Doubt> = Vec::new();
    let mut wrong = Vec::new();
    let mut open = Vec::new();
    let mut settling = None;
    let first = mode(&design, &belief, &doubts, belief.centre).ok_or(JointRefusal::NotSolved)?;
    let mut sound = first.clone();
    while wrong.len() < MOST {
        // A quick look at every doubt where the sound scatter is most likely.
        let mut quick: Vec<(f64, Suspect, Doubt)> = possible(problem, &wrong)
            .into_iter()
            .filter_map(|(suspect, doubt)| {
                let mut with = doubts.clone();
                with.push(doubt);
                let solved = design.solve(&belief, sound.logs, &with)?;
                Some((solved.log - sound.log + odds(suspect).ln(), suspect, doubt))
            })
            .collect();
        quick.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut all: Vec<(f64, Suspect, Option<Doubt>, Logs)> =
            vec![(sound.evidence(), Suspect::Nothing, None, sound.logs)];
        for (_, suspect, doubt) in quick.iter().take(CLOSELY) {
            let mut with = doubts.clone();
            with.push(*doubt);
            if let Some(mode) = mode(&design, &belief, &with, sound.logs) {
                let evidence = mode.evidence() + odds(*suspect).ln();
                all.push((evidence, *suspect, Some(*doubt), mode.logs));
            }
        }
        let top = all.iter().map(|one| one.0).fold(f64::MIN, f64::max);
        let total: f64 = all.iter().map(|one| (one.0 - top).exp()).sum();
        let mut shares: Vec<Suspicion> = all
            .iter()
            .map(|one| Suspicion {
                suspect: one.1,
                probability: (one.0 - top).exp() / total,
            })
            .collect();
        let believed = shares.iter().position(|one| one.probability >= BELIEVED);
        match believed.and_then(|index| all.get(index)) {
            Some((_, suspect, Some(doubt), logs)) => {
                wrong.push(*suspect);
                doubts.push(*doubt);
                sound = mode(&design, &belief, &doubts, *logs).ok_or(JointRefusal::NotSolved)?;
            }
            Some(_) => break,
            None => {
                shares.sort_by(|a, b| b.probability.total_cmp(&a.probability));
                shares.retain(|one| one.probability >= NAMED);
                // Nothing being wrong is no news while it is the likeliest.
                if shares
                    .first()
                    .is_some_and(|one| one.suspect != Suspect::Nothing)
                {
                    let sides = [0, 1].map(|index| {
                        let suspect = shares.get(index)?.suspect;
                        let found = all.iter().find(|one| one.1 == suspect)?;
                        let mut with = doubts.clone();
                        with.extend(found.2);
                        Some((design.solve(&belief, found.3, &with)?, found.3))
                    });
                    if let [Some((one, logs)), Some((other, _))] = &sides {
                        settling = settle(problem, &design, one, other, *logs);
                    }
                    open = shares;
                }
                break;
            }
        }
    }
    let joint = Joint::doubting(problem.clone(), design, belief, doubts, sound.logs)?;
    Ok(Judged {
        joint,
        wrong,
        open,
        settling,
    })
}

/// The load whose reading would differ most, in its own deviations, between
/// two explanations, with a few bodies rather than many; `None` when no load
/// tells them apart.
fn settle(
    problem: &Problem,
    design: &Design,
    one: &Solved,
    other: &Solved,
    logs: Logs,
) -> Option<Vec<usize>> {
    let scatter = Scatter::of(logs);
    let zeros: Vec<(usize, f64)> = (design.zero_times.len().checked_sub(1))
        .map(|last| (last, 1.0))
        .into_iter()
        .collect();
    let values = [one.values(design), other.values(design)];
    let spread = one.covariance() + other.covariance();
    let parted = |bodies: &[usize], share: f64| {
        let row_at = |counts: f64| {
            let place = design.basis.place(counts);
            design.row(&place, bodies, &zeros, &Past::default())
        };
        // Where the load would read if the first explanation were true.
        let per_count = 1.0 / design.counts_of_max();
        let mut counts = share / per_count;
        for _ in 0..3 {
            counts += (share - row_at(counts).dot(&values[0])) / per_count;
        }
        let row = row_at(counts);
        let apart = row.dot(&values[1]) - share;
        let variance = design.variance(&scatter, share) + (&spread * &row).dot(&row);
        apart.abs() / variance.sqrt()
    };
    loads(problem)
        .into_iter()
        .map(|load| {
            let clear = parted(&load.bodies, load.mass_g / problem.max_g);
            // Beyond some clarity only the fewer bodies count.
            (
                clear.min(CLEAR) - 0.1 * load.bodies.len() as f64,
                clear,
                load.bodies,
            )
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(_, clear, _)| *clear >= TELLING)
        .map(|(_, _, bodies)| bodies)
}

fn odds(suspect: Suspect) -> f64 {
    match suspect {
        Suspect::Body(_) => ODDS[0],
        Suspect::Capture(_) => ODDS[1],
        Suspect::Nothing => 1.0,
    }
}

/// Everything that can be doubted: weights that were used, loaded captures.
fn possible(problem: &Problem, wrong: &[Suspect]) -> Vec<(Suspect, Doubt)> {
    let e = problem.e_g / problem.max_g;
    let bodies = problem
        .bodies
        .iter()
        .enumerate()
        .filter_map(|(index, body)| {
            let u = body.worth.u_g()? / problem.max_g;
            let used = problem.weighings.iter().any(|w| w.bodies.contains(&index));
            let sd = (BODY_SD.0 * e).max(BODY_SD.1 * u);
            // A kitchen weight of which little is stated can hardly be wrong.
            let worth_doubting = used && !matches!(body.worth, Worth::Unknown);
            worth_doubting.then_some((Suspect::Body(index), Doubt::Body(index, sd)))
        });
    let captures = problem.weighings.iter().enumerate();
    let captures = captures.filter(|(_, weighing)| !weighing.bodies.is_empty());
    let captures = captures.map(|(index, _)| {
        let sd = CAPTURE_SD_E * e;
        (Suspect::Capture(index), Doubt::Capture(index, sd))
    });
    bodies
        .chain(captures)
        .filter(|(suspect, _)| !wrong.contains(suspect))
        .collect()
}
