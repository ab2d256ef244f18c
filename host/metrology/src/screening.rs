//! What keeps observations from being fitted at all.
//!
//! Owns the limits below and the order of the checks: most basic first, so
//! that the reason given is the one to mend first. Every refusal is a
//! [`FitRefusal`].

use crate::candidates::TableSpace;
use crate::observation::{Gathered, Observation};
use crate::refusal::FitRefusal;

/// Loads needed to judge a curve: two inside, and the end.
pub const LEAST_LOADS: usize = 3;

/// Share of Max the largest load must reach: a table continued more than
/// fivefold is a guess (common practice).
pub const LEAST_SHARE_OF_MAX: f64 = 0.2;

/// Captures of one load and direction may lie this far apart, in e: twice the
/// largest mpe of first verification, 1.5 e (R 76-1 3.5.1, 3.6.1).
pub const CAPTURES_APART_E: f64 = 3.0;

/// The same, in parts of Max, for scales with so many intervals that e says
/// little about the cell (common practice).
pub const CAPTURES_APART_OF_MAX: f64 = 1e-3;

/// Loading and unloading may lie this many times further apart: hysteresis is
/// no contradiction (common practice).
pub const BOTH_WAYS_FACTOR: f64 = 3.0;

/// The observations gathered, once nothing speaks against fitting them.
///
/// # Errors
/// The first thing that is wrong, most basic first.
pub fn check(observations: &[Observation], space: &TableSpace) -> Result<Gathered, FitRefusal> {
    let positive = [space.max_g, space.e_g, space.reach_g, space.quantum_g];
    if !positive.iter().all(|v| v.is_finite() && *v > 0.0) {
        return Err(FitRefusal::TableSpace(
            "Max, e, reach and resolution must be numbers above zero",
        ));
    }
    if space.max_knots < 2 {
        return Err(FitRefusal::TableSpace(
            "it has room for fewer than two points",
        ));
    }
    // Loads closer than half an interval say the same thing about the curve.
    let gathered = Gathered::new(observations, 0.5 * space.e_g)?;
    let Some(last) = gathered.points.last().copied() else {
        return Err(FitRefusal::TooFewLoads {
            given: 0,
            needed: LEAST_LOADS,
        });
    };
    agreement(observations, last.mass_g / last.counts, space)?;
    if gathered.points.len() < LEAST_LOADS {
        return Err(FitRefusal::TooFewLoads {
            given: gathered.points.len(),
            needed: LEAST_LOADS,
        });
    }
    let needed_g = LEAST_SHARE_OF_MAX * space.max_g;
    if last.mass_g < needed_g {
        return Err(FitRefusal::SpanTooSmall {
            largest_g: last.mass_g,
            needed_g,
        });
    }
    let counts_per_e = last.counts / last.mass_g * space.e_g;
    if counts_per_e < 1.0 {
        return Err(FitRefusal::TooFewCounts { counts_per_e });
    }
    Ok(gathered)
}

/// Refuses captures of one load that lie too far apart.
fn agreement(
    observations: &[Observation],
    grams_per_count: f64,
    space: &TableSpace,
) -> Result<(), FitRefusal> {
    let same_way = (CAPTURES_APART_E * space.e_g).max(CAPTURES_APART_OF_MAX * space.max_g);
    let mut sorted: Vec<&Observation> = observations.iter().collect();
    sorted.sort_by(|a, b| a.load.cmp(&b.load).then(a.counts.total_cmp(&b.counts)));
    for group in sorted.chunk_by(|a, b| a.load == b.load) {
        let up: Vec<&Observation> = group.iter().copied().filter(|o| o.rising).collect();
        let down: Vec<&Observation> = group.iter().copied().filter(|o| !o.rising).collect();
        let limits = [
            (up.as_slice(), same_way),
            (down.as_slice(), same_way),
            (group, BOTH_WAYS_FACTOR * same_way),
        ];
        for (captures, tolerance_g) in limits {
            let (Some(low), Some(high)) = (captures.first(), captures.last()) else {
                continue;
            };
            let apart_g = (high.counts - low.counts) * grams_per_count;
            if apart_g > tolerance_g {
                return Err(FitRefusal::Contradictory {
                    mass_g: low.mass_g,
                    low_counts: low.counts,
                    high_counts: high.counts,
                    apart_g,
                    tolerance_g,
                });
            }
        }
    }
    Ok(())
}
