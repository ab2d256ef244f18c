//! Which curve a calibration should be: every candidate judged alike.
//!
//! Owns the list of candidates, the judgement and
//! the choice. Guarantees that what is judged is the table the device will
//! use, through [`Realise`].
//!
//! # The judgement
//! Each load in turn is left out, all its captures together; the shape is
//! fitted to the rest, laid, realised, and asked for the mass at the counts the
//! load really gave. A capture left out alone would be judged by its own twin.
//!
//! The largest load is left out only when the table is to be used far beyond
//! it: leaving it out asks for extrapolation, and it would be unfair to judge
//! by that where the table never extrapolates. So: loads up to Max - 9 e or
//! more, judged inside only; loads that end lower, judged at the end too.
//!
//! # The choice
//! The lowest rms of these errors sets the mark. A shape with fewer parameters
//! is taken instead when its rms lies within a quarter of a standard error of
//! that mark, `rms / (4 sqrt(2 n))` for n errors, or within the table's own
//! resolution: a smaller difference says nothing. (The known rule allows a
//! whole standard error: Breiman et al., Classification and Regression Trees,
//! 1984, 3.4.3, from memory. All candidates share the same captures, so their
//! difference is known better than either.)
//!
//! With fewer than five loads nothing is chosen by these errors: leaving one of
//! four out leaves three, and three tell little of what four would do. The
//! smooth curve is taken, which holds the parabola within it and bends further
//! only as the loads ask. The errors are shown all the same.
//!
//! Set by simulation, not on measured cells: 12 kinds of simulated cell (six
//! shapes, little and much scatter, 600 cells each), largest error at 20 other
//! loads; the worst ratio of a rule to the best of ten rules for the kind:
//!
//! | rule \ loads | 4 | 5 | 6 | 7 | 8 | 10 | 20 |
//! |---|---|---|---|---|---|---|---|
//! | taken: quarter, smooth below 5 loads | 1.44 | 1.12 | 1.06 | 1.05 | 1.04 | 1.05 | 1.06 |
//! | half a standard error | 8.2 | 1.21 | 1.12 | 1.08 | 1.06 | 1.05 | 1.05 |
//! | a whole standard error | 8.3 | 2.32 | 1.26 | 1.14 | 1.13 | 1.08 | 1.06 |
//! | lowest error alone | 7.9 | 1.07 | 1.06 | 1.06 | 1.05 | 1.05 | 1.07 |
//! | always the smooth curve | 1.44 | 1.14 | 1.13 | 1.14 | 1.15 | 1.14 | 1.09 |

use crate::curve::{Curve, Knots, counts_at};
use crate::fit::{self, Fitted, ShapeRefusal};
use crate::laying::lay;
use crate::observation::{Gathered, Observation};
use crate::refusal::FitRefusal;
use crate::screening::check;

/// Loads needed to choose by the errors at loads left out.
pub const LEAST_TO_CHOOSE: usize = 5;

/// A curve is laid to this many e: no error anybody sees, and within the room
/// of a large device.
const LAID_TO_E: f64 = 0.003;

/// Share of a standard error that a simpler shape may be worse by.
const SIMPLER_MARGIN: f64 = 0.25;

/// Turns knots into what the device will really compute.
pub trait Realise {
    /// The device's mass in g over net counts, or why it takes no such table.
    ///
    /// # Errors
    /// Whatever the device's table refuses, in plain words.
    #[allow(clippy::type_complexity)]
    fn realise(&self, knots: &Knots) -> Result<Box<dyn Fn(f64) -> f64>, String>;
}

/// What the device's table can hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TableSpace {
    /// Room for this many knots, the one at zero included.
    pub max_knots: usize,
    /// Maximum capacity in g.
    pub max_g: f64,
    /// Verification interval in g.
    pub e_g: f64,
    /// Mass in g the table has to reach: Max + 9 e.
    pub reach_g: f64,
    /// The table's mass resolution in g.
    pub quantum_g: f64,
}

/// One shape and what it is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Short name for machines.
    pub name: &'static str,
    /// Name for people.
    pub title: String,
    /// Rms of the errors at loads left out, in g.
    pub loo_rms_g: Option<f64>,
    /// Largest error at a load left out, in g.
    pub loo_max_g: Option<f64>,
    /// Mass of each load left out and the error there, both in g.
    pub loo_errors_g: Vec<(f64, f64)>,
    /// Rms of the residuals at all loads, in g.
    pub residual_rms_g: Option<f64>,
    /// The knots from all loads.
    pub knots: Option<Knots>,
    /// Parameters taken from the loads.
    pub parameters: usize,
    /// Why it can't be chosen, if so.
    pub note: Option<String>,
}

/// All candidates and the one proposed.
pub struct Proposal {
    /// Every candidate, simplest first.
    pub candidates: Vec<Candidate>,
    /// Index of the one proposed.
    pub chosen: usize,
    /// Why, in one sentence.
    pub reason: String,
    /// The proposed knots.
    pub knots: Knots,
    /// How many loads the errors come from.
    pub judged_loads: usize,
    curve: Box<dyn Curve>,
}

impl Proposal {
    /// The standard uncertainty of the chosen curve in g at `counts`, where
    /// its fit can tell: fit only, weights and reading not included.
    pub fn u_g(&self, counts: f64) -> Option<f64> {
        self.curve.u_g(counts)
    }

    /// The candidate proposed.
    pub fn candidate(&self) -> Option<&Candidate> {
        self.candidates.get(self.chosen)
    }
}

type FitShape = fn(&Gathered) -> Result<Fitted, ShapeRefusal>;

/// Name of the candidate taken when the loads are too few to choose by.
const SMOOTH: &str = "smooth";

/// Name, title and fit of every candidate, simplest first.
const SHAPES: [(&str, &str, FitShape); 7] = [
    (
        "single_span",
        "single span set at the largest load",
        fit::span::fit,
    ),
    ("line", "straight line through all loads", fit::line::fit),
    (
        "two_spans",
        "pair of spans switched at half load",
        fit::two_spans::fit,
    ),
    ("quadratic", "parabola", fit::polynomial::fit_quadratic),
    ("cubic", "cubic", fit::polynomial::fit_cubic),
    (SMOOTH, "smooth curve", fit::smooth::fit),
    (
        "segmented",
        "segmented line with a knot at each load",
        fit::segmented::fit,
    ),
];

/// The candidates for these observations, judged, and the one to take.
///
/// # Errors
/// Data no curve should be built on, each with what to do; see [`FitRefusal`].
pub fn propose(
    observations: &[Observation],
    space: &TableSpace,
    realise: &dyn Realise,
) -> Result<Proposal, FitRefusal> {
    let gathered = check(observations, space)?;
    let judged = judged(&gathered, space);
    let mut candidates = Vec::with_capacity(SHAPES.len());
    let mut curves = Vec::with_capacity(SHAPES.len());
    for (name, title, shape) in SHAPES {
        let mut candidate = Candidate {
            name,
            title: title.to_owned(),
            loo_rms_g: None,
            loo_max_g: None,
            loo_errors_g: Vec::new(),
            residual_rms_g: None,
            knots: None,
            parameters: 0,
            note: None,
        };
        let curve = evaluate(&mut candidate, &gathered, &judged, space, realise, shape);
        curves.push(curve.map_err(|why| candidate.note = Some(why)).ok());
        candidates.push(candidate);
    }
    let (chosen, reason) = choose(&candidates, gathered.points.len(), judged.len(), space)?;
    let taken = curves.get_mut(chosen).and_then(Option::take);
    let knots = candidates.get(chosen).and_then(|c| c.knots.clone());
    match (taken, knots) {
        (Some(curve), Some(knots)) => Ok(Proposal {
            candidates,
            chosen,
            reason,
            knots,
            judged_loads: judged.len(),
            curve,
        }),
        _ => Err(FitRefusal::NoCandidate(
            "the chosen curve is missing".into(),
        )),
    }
}

/// Indices of the loads that are left out in turn.
fn judged(gathered: &Gathered, space: &TableSpace) -> Vec<usize> {
    let count = gathered.points.len();
    let largest = gathered.points.last().map_or(0.0, |p| p.mass_g);
    let extrapolates = largest < space.max_g - 9.0 * space.e_g;
    let end = if extrapolates {
        count
    } else {
        count.saturating_sub(1)
    };
    (0..end).collect()
}

/// A curve as knots for the device, up to its reach; `from_counts` is where the
/// search for the reach begins, the heaviest load's net counts.
///
/// # Errors
/// In plain words: the curve does not rise, or there is no room for it.
pub fn knots_of(curve: &dyn Curve, from_counts: f64, space: &TableSpace) -> Result<Knots, String> {
    let reach = counts_at(curve, space.reach_g, from_counts)
        .ok_or_else(|| ShapeRefusal::NotMonotone.to_string())?;
    // Finer knots than the table's resolution are none.
    let tolerance = space.quantum_g.max(LAID_TO_E * space.e_g);
    let laid = lay(curve, reach, space.max_knots, tolerance).map_err(|e| e.to_string())?;
    Ok(laid.knots)
}

/// A fitted shape and its knots for the device.
fn laid(
    gathered: &Gathered,
    space: &TableSpace,
    shape: FitShape,
) -> Result<(Fitted, Knots), String> {
    let fitted = shape(gathered).map_err(|e| e.to_string())?;
    let from = gathered.points.last().map_or(0.0, |p| p.counts);
    let knots = knots_of(fitted.curve.as_ref(), from, space)?;
    Ok((fitted, knots))
}

/// Fills in what the candidate is worth; its curve, or why it can't be chosen.
fn evaluate(
    candidate: &mut Candidate,
    gathered: &Gathered,
    judged: &[usize],
    space: &TableSpace,
    realise: &dyn Realise,
    shape: FitShape,
) -> Result<Box<dyn Curve>, String> {
    let (fitted, knots) = laid(gathered, space, shape)?;
    candidate.parameters = fitted.parameters;
    let table = realise.realise(&knots);
    candidate.knots = Some(knots);
    let table = table?;
    let residuals: Vec<f64> = (gathered.points.iter())
        .map(|p| table(p.counts) - p.mass_g)
        .collect();
    candidate.residual_rms_g = rms(&residuals);
    let mut errors = Vec::with_capacity(judged.len());
    for &index in judged {
        let Some(left_out) = gathered.points.get(index) else {
            continue;
        };
        let places = (3.0 - left_out.mass_g.abs().log10().floor()).clamp(0.0, 6.0) as usize;
        let without = |why: String| format!("without {:.places$} g: {why}", left_out.mass_g);
        let (_, knots) = laid(&gathered.without(index), space, shape).map_err(without)?;
        let table = realise.realise(&knots).map_err(without)?;
        errors.push(table(left_out.counts) - left_out.mass_g);
    }
    let rms = rms(&errors).ok_or("the table gives no finite mass at some load")?;
    candidate.loo_errors_g = (judged.iter().zip(&errors))
        .filter_map(|(i, e)| Some((gathered.points.get(*i)?.mass_g, *e)))
        .collect();
    candidate.loo_rms_g = Some(rms);
    candidate.loo_max_g = Some(errors.iter().fold(0.0, |m, e| f64::max(m, e.abs())));
    Ok(fitted.curve)
}

fn rms(errors: &[f64]) -> Option<f64> {
    let squares: f64 = errors.iter().map(|e| e * e).sum();
    let rms = (squares / errors.len() as f64).sqrt();
    rms.is_finite().then_some(rms)
}

/// The candidate to take and the sentence that says why.
fn choose(
    candidates: &[Candidate],
    loads: usize,
    judged: usize,
    space: &TableSpace,
) -> Result<(usize, String), FitRefusal> {
    let eligible: Vec<(usize, &Candidate, f64)> = (candidates.iter().enumerate())
        .filter(|(_, c)| c.note.is_none())
        .filter_map(|(i, c)| Some((i, c, c.loo_rms_g?)))
        .collect();
    let in_e = |g: f64| format!("{:.2} e", g / space.e_g);
    let smooth = eligible.iter().find(|(_, c, _)| c.name == SMOOTH);
    if let (Some((chosen, _, rms)), true) = (smooth, loads < LEAST_TO_CHOOSE) {
        let reason = format!(
            "{loads} loads are too few to choose a shape by, so the smooth curve is taken, which bends only as the loads ask (it predicts a load left out to {})",
            in_e(*rms),
        );
        return Ok((*chosen, reason));
    }
    let best = (eligible.iter().copied()).min_by(|a, b| a.2.total_cmp(&b.2));
    let Some((best, best_one, lowest)) = best else {
        let why = candidates.iter().rev().find_map(|c| c.note.clone());
        return Err(FitRefusal::NoCandidate(why.unwrap_or_default()));
    };
    let standard_error = lowest / (2.0 * judged as f64).sqrt();
    let margin = (SIMPLER_MARGIN * standard_error).max(space.quantum_g);
    // Ties in parameters go to the lower error.
    let simplest = (eligible.iter().copied())
        .filter(|(_, _, rms)| *rms <= lowest + margin)
        .min_by(|a, b| (a.1.parameters.cmp(&b.1.parameters)).then(a.2.total_cmp(&b.2)));
    let Some((chosen, one, rms)) = simplest else {
        return Err(FitRefusal::NoCandidate("no error could be compared".into()));
    };
    let reason = if chosen == best {
        format!(
            "the {} predicts loads it has not seen best, to {} on average (largest error {})",
            one.title,
            in_e(rms),
            in_e(one.loo_max_g.unwrap_or(rms)),
        )
    } else {
        format!(
            "the {} predicts loads it has not seen to {} on average, the {} to {}, a difference {judged} loads cannot tell, and it is the simpler",
            one.title,
            in_e(rms),
            best_one.title,
            in_e(lowest),
        )
    };
    Ok((chosen, reason))
}
