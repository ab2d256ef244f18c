//! Whether a weight, rather than either instrument, explains errors that both
//! instruments show alike.
//!
//! Own method, no published one: each instrument's errors are described by a
//! smooth curve of its own over the load; then one weight at a time may be off
//! by an amount that both instruments see at every load it lies in. A weight is
//! named only when each instrument alone points to it, by amounts that agree.
//!
//! Limits: a deviation that all weights share in proportion looks like a slope
//! of both instruments and stays unseen; so does one weight that lies in every
//! load. Two wrong weights are told only if each stands out alone. Weights that
//! always lie together are named together.

use crate::distribution::student_t_two_sided;
use crate::least_squares::{Solution, Statement, System};

/// Both errors at a load, and what lay on the pan.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedLoad {
    /// The load, g.
    pub load_g: f64,
    /// Error of the first against the weights as stated, g, and its standard
    /// uncertainty without the weights, g.
    pub first_g: (f64, f64),
    /// The same of the second.
    pub second_g: (f64, f64),
    /// The weights of the load, as positions in the set.
    pub weights: Vec<usize>,
}

/// A weight that explains what both instruments show.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedWeight {
    /// Its position in the set.
    pub weight: usize,
    /// True mass less stated mass as both instruments see it, g.
    pub off_g: f64,
    /// Standard uncertainty of that, g.
    pub u_g: f64,
    /// The same by the first alone and by the second alone, g.
    pub each_g: (f64, f64),
    /// Other weights that explain it about as well.
    pub rivals: Vec<usize>,
}

/// Loads needed: below, a curve and a weight explain anything.
const LEAST_LOADS: usize = 5;

/// From so many loads on an instrument's own errors may be bent.
const BENT_FROM: usize = 8;

/// Chance of naming a weight that is right, over all weights together.
const FALSE_ALARM: f64 = 0.01;

/// Standard uncertainties by which each instrument alone must see it.
const EACH: f64 = 2.0;

/// Standard uncertainties by which the two may differ about it.
const APART: f64 = 3.0;

/// Chi-squared with one degree of freedom at 1 %: an explanation that is worse
/// by less stays in question (printed tables have 6.635).
const RIVAL: f64 = 6.635;

/// Beyond these, in g, no scale weighs, and squares leave the digits of f64.
const LARGEST_G: f64 = 1e9;
const SMALLEST_G: f64 = 1e-9;

/// Whether an uncertainty can be reckoned with.
fn usable(u_g: f64) -> bool {
    (SMALLEST_G..=LARGEST_G).contains(&u_g)
}

/// The weight that explains best what both instruments show, or `None` where
/// nothing needs one or nothing can be told. `may_be_off_g` says for each weight
/// of the set how far it may be off by what is stated of it, g; less than that
/// is no news.
///
/// ```text
/// E1(L) = p1(L) + sum of deviations of the weights in L,  E2(L) = p2(L) + the same
/// p: offset and slope, and a square from eight loads on
/// ```
#[must_use]
pub fn shared_weight(loads: &[SharedLoad], may_be_off_g: &[f64]) -> Option<SharedWeight> {
    let sound = |(error, u): (f64, f64)| error.abs() <= LARGEST_G && usable(u);
    let loads: Vec<&SharedLoad> = (loads.iter())
        .filter(|l| l.load_g.abs() <= LARGEST_G && sound(l.first_g) && sound(l.second_g))
        .collect();
    if loads.len() < LEAST_LOADS {
        return None;
    }
    let (_, without) = solved(&system(&loads, None, Of::Both))?;
    let each = (FALSE_ALARM / may_be_off_g.len().max(1) as f64).max(1e-11);
    let needed = student_t_two_sided(1.0 - each, f64::INFINITY).ok()?.powi(2);
    let mut found: Vec<(f64, SharedWeight)> = (0..may_be_off_g.len())
        .filter_map(|weight| tried(&loads, weight, without))
        .filter(|(gained, _)| *gained > needed)
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (best, mut named) = found.first().cloned()?;
    // Asked of the best only: otherwise a right one would be named in its place.
    if named.off_g.abs() <= *may_be_off_g.get(named.weight)? {
        return None;
    }
    named.rivals = (found.iter().skip(1))
        .filter(|(gained, _)| best - gained < RIVAL)
        .map(|(_, other)| other.weight)
        .collect();
    Some(named)
}

/// What a weight explains: how much chi-squared falls, and by how much it is off.
fn tried(loads: &[&SharedLoad], weight: usize, without: f64) -> Option<(f64, SharedWeight)> {
    let deviation = |of: Of| {
        let (solution, chi_squared) = solved(&system(loads, Some(weight), of))?;
        let at = solution.values.len().checked_sub(1)?;
        let value = *solution.values.get(at)?;
        Some((value, solution.sd(at)?, chi_squared))
    };
    let (off_g, u_g, with) = deviation(Of::Both)?;
    let (first, u_first, _) = deviation(Of::First)?;
    let (second, u_second, _) = deviation(Of::Second)?;
    let seen = |off: f64, u: f64| off * off_g > 0.0 && off.abs() > EACH * u;
    let agree = (first - second).abs() <= APART * u_first.hypot(u_second);
    (seen(first, u_first) && seen(second, u_second) && agree).then(|| {
        let named = SharedWeight {
            weight,
            off_g,
            u_g,
            each_g: (first, second),
            rivals: Vec::new(),
        };
        (without - with, named)
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Of {
    First,
    Second,
    Both,
}

/// The errors as statements on curves, and on a weight's deviation (last unknown).
fn system(loads: &[&SharedLoad], weight: Option<usize>, of: Of) -> System {
    let top_g = loads.iter().fold(1e-300f64, |m, l| m.max(l.load_g.abs()));
    let powers = if loads.len() < BENT_FROM { 2 } else { 3 };
    let sides: &[usize] = match of {
        Of::First => &[0],
        Of::Second => &[1],
        Of::Both => &[0, 1],
    };
    let mut unknowns: Vec<String> = (0..powers * sides.len())
        .map(|at| format!("curve {at}"))
        .collect();
    if weight.is_some() {
        unknowns.push("weight".into());
    }
    let last = unknowns.len().saturating_sub(1);
    let mut statements = Vec::new();
    for load in loads {
        for (place, side) in sides.iter().enumerate() {
            let (value, sd) = if *side == 0 {
                load.first_g
            } else {
                load.second_g
            };
            let x = load.load_g / top_g;
            let mut terms: Vec<(usize, f64)> = (0..powers)
                .map(|power| (place * powers + power, x.powi(power as i32)))
                .collect();
            if weight.is_some_and(|weight| load.weights.contains(&weight)) {
                terms.push((last, 1.0));
            }
            statements.push(Statement { terms, value, sd });
        }
    }
    System {
        unknowns,
        statements,
    }
}

/// The solution, and the sum of squared residuals over their variances.
fn solved(system: &System) -> Option<(Solution, f64)> {
    let solution = system.solve().ok()?;
    let both = system.statements.iter().zip(&solution.residuals);
    let chi_squared = both.map(|(said, left)| (left / said.sd).powi(2)).sum();
    Some((solution, chi_squared))
}
