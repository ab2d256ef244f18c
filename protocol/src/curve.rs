//! From a few loads to the knots of a table: the curve a scale makes by itself.
//!
//! The laptop has better ways (it weighs all captures against each other); this one
//! is exact in integers and the same on both sides, so that a calibration at the
//! scale and one at the laptop make the same table of the same captures.
//!
//! **Through the loads.** Every load is a knot. Between two of them the curve may
//! bend: a cell's error is a smooth curve and not a chain of straight pieces. With
//! h the width of an interval, D the mass over it and D', h' those of a neighbour,
//! the second divided difference gives the neighbour's opinion of the bend,
//!
//! ```text
//! B = h² · (D'/h' − D/h) / (h + h')        (sign by side)
//! ```
//!
//! and of two opinions the smaller one counts, or none where they contradict: a
//! noisy pair of close loads cannot bend a wide interval. At a share t of the way the
//! curve lies t · (1 − t) · B below the chord. A parabola is met exactly, whatever
//! the loads; for a cubic see the tests.

use heapless::Vec;

use crate::table::{Knot, MASS_LIMIT, NET_COUNTS_LIMIT, TableFault, check};
use crate::units::{divide_to_nearest, saturate_i32};

/// Pieces an interval between two loads is cut into, where there is room.
const PIECES: usize = 8;

/// Most loads that make one table.
pub const MOST_LOADS: usize = 24;

/// Net counts of a load whose conversions have the mean `mean_q8`, above a zero of
/// the mean `zero_q8`, both q8 counts: the nearest whole count, ties away from zero.
#[must_use]
pub fn net_counts(mean_q8: i32, zero_q8: i32) -> i32 {
    let net_q8 = i64::from(mean_q8) - i64::from(zero_q8);
    saturate_i32(divide_to_nearest(net_q8, 256))
}

/// As [`through`], of loads in whatever order they were captured; loads of the same
/// mass count as one, at the mean of their counts.
///
/// # Errors
/// As [`through`]; [`TableFault::TooMany`] for more than [`MOST_LOADS`].
pub fn of_captures<const N: usize>(
    loads: impl Iterator<Item = Knot> + Clone,
    reach: i32,
) -> Result<Vec<Knot, N>, TableFault> {
    let mut sorted: Vec<Knot, MOST_LOADS> = Vec::new();
    for load in loads.clone() {
        if sorted.iter().any(|other| other.mass == load.mass) {
            continue;
        }
        let equal = loads.clone().filter(|other| other.mass == load.mass);
        let (sum, count) = equal.fold((0i64, 0i64), |(sum, count), other| {
            (sum.saturating_add(i64::from(other.counts)), count + 1)
        });
        let counts = saturate_i32(divide_to_nearest(sum, count));
        let mass = load.mass;
        sorted
            .push(Knot { counts, mass })
            .map_err(|_| TableFault::TooMany {
                knots: MOST_LOADS as u8 + 1,
                fit: MOST_LOADS as u8,
            })?;
    }
    sorted.sort_unstable_by_key(|knot| knot.mass);
    through(&sorted, reach)
}

/// Knots of a table through `loads`: net counts and mass of each, rising, without
/// zero, which is added. Above the last load the curve goes straight on to `reach`
/// quanta.
///
/// # Errors
/// [`TableFault`] when the loads make no table; positions count from zero's on,
/// before pieces are added.
///
/// ```
/// use scalewright_protocol::curve::through;
/// use scalewright_protocol::table::Knot;
/// let load = |counts, mass| Knot { counts, mass };
/// let knots = through::<8>(&[load(1000, 2000)], 2200)?;
/// assert_eq!(knots, [load(0, 0), load(1000, 2000), load(1100, 2200)]);
/// assert!(through::<8>(&[load(1000, 2000), load(900, 3000)], 3000).is_err());
/// # Ok::<(), scalewright_protocol::table::TableFault>(())
/// ```
pub fn through<const N: usize>(loads: &[Knot], reach: i32) -> Result<Vec<Knot, N>, TableFault> {
    let straight = chain::<N>(loads, 1)?;
    check(&straight, N)?;
    let intervals = straight.len().saturating_sub(1);
    // One more for what lies beyond the last load.
    let room = N.saturating_sub(2);
    let mut pieces = room.checked_div(intervals).unwrap_or(1).clamp(1, PIECES);
    while pieces > 1 {
        if let Ok(mut knots) = chain::<N>(loads, pieces) {
            reach_to(&mut knots, reach);
            if check(&knots, N).is_ok() {
                return Ok(knots);
            }
        }
        pieces = pieces.saturating_sub(1);
    }
    let mut knots = straight;
    reach_to(&mut knots, reach);
    check(&knots, N)?;
    Ok(knots)
}

/// Zero and the loads, each interval in so many pieces.
fn chain<const N: usize>(loads: &[Knot], pieces: usize) -> Result<Vec<Knot, N>, TableFault> {
    let too_many = || TableFault::TooMany {
        knots: u8::try_from(loads.len().saturating_add(1)).unwrap_or(u8::MAX),
        fit: u8::try_from(N).unwrap_or(u8::MAX),
    };
    let mut knots: Vec<Knot, N> = Vec::new();
    let mut before: Option<Knot> = None;
    let mut from = Knot { counts: 0, mass: 0 };
    knots.push(from).map_err(|_| too_many())?;
    for (at, to) in loads.iter().enumerate() {
        let place = u8::try_from(at.saturating_add(1)).unwrap_or(u8::MAX);
        if !(-NET_COUNTS_LIMIT..=NET_COUNTS_LIMIT).contains(&to.counts) {
            return Err(TableFault::CountsRange { at: place });
        }
        if !(-MASS_LIMIT..=MASS_LIMIT).contains(&to.mass) {
            return Err(TableFault::MassRange { at: place });
        }
        if to.counts <= from.counts {
            return Err(TableFault::CountsOrder { at: place });
        }
        if to.mass <= from.mass {
            return Err(TableFault::MassOrder { at: place });
        }
        let after = loads.get(at.saturating_add(1));
        let bend_q8 = agreed(
            before.map(|before| bend_q8(&from, to, &before, &from)),
            after.map(|after| bend_q8(&from, to, to, after).saturating_neg()),
        );
        // A chord needs no knots.
        let pieces = if bend_q8 == 0 { 1 } else { pieces };
        for piece in 1..pieces {
            if let Some(knot) = between(&from, to, bend_q8, piece, pieces) {
                knots.push(knot).map_err(|_| too_many())?;
            }
        }
        knots.push(*to).map_err(|_| too_many())?;
        before = Some(from);
        from = *to;
    }
    Ok(knots)
}

/// h² · (D'/h' − D/h) / (h + h') of the interval from `a` to `b`, by the neighbour
/// from `c` to `d`, 1/256 quanta. Of a later neighbour with the other sign.
fn bend_q8(a: &Knot, b: &Knot, c: &Knot, d: &Knot) -> i128 {
    let run = |from: &Knot, to: &Knot| i128::from(to.counts) - i128::from(from.counts);
    let rise = |from: &Knot, to: &Knot| i128::from(to.mass) - i128::from(from.mass);
    let (h, other) = (run(a, b), run(c, d));
    // Counts have 25 bits and masses 29: all of it stays far below 127 bits.
    let numerator = 256 * h * (rise(a, b) * other - rise(c, d) * h);
    nearest(numerator, other * (h + other))
}

/// The smaller of two opinions; none where they contradict.
fn agreed(one: Option<i128>, other: Option<i128>) -> i128 {
    match (one, other) {
        (Some(a), Some(b)) if a.signum() != b.signum() => 0,
        (Some(a), Some(b)) if a.unsigned_abs() < b.unsigned_abs() => a,
        (_, Some(b)) => b,
        (Some(a), None) => a,
        (None, None) => 0,
    }
}

/// The knot `piece` of `pieces` on the way; none where counts leave no room for it.
fn between(from: &Knot, to: &Knot, bend_q8: i128, piece: usize, pieces: usize) -> Option<Knot> {
    let h = i128::from(to.counts) - i128::from(from.counts);
    let share = i128::try_from(piece).ok()?;
    let of = i128::try_from(pieces).ok()?;
    let done = (h * share).checked_div(of)?;
    let left = h - done;
    if done <= 0 || left <= 0 {
        return None;
    }
    let chord = 256 * h * (i128::from(to.mass) - i128::from(from.mass)) * done;
    let mass = nearest(chord - bend_q8 * done * left, 256 * h * h);
    Some(Knot {
        counts: from.counts.checked_add(i32::try_from(done).ok()?)?,
        mass: from.mass.checked_add(i32::try_from(mass).ok()?)?,
    })
}

/// A last knot at `reach`, on the line through the last two, if it lies beyond.
fn reach_to<const N: usize>(knots: &mut Vec<Knot, N>, reach: i32) {
    let [.., before, last] = knots.as_slice() else {
        return;
    };
    let run = i128::from(last.counts) - i128::from(before.counts);
    let rise = i128::from(last.mass) - i128::from(before.mass);
    let further = i128::from(reach) - i128::from(last.mass);
    // A step as small as a count is left out: it would be no slope.
    if further * 100 < i128::from(reach) || rise <= 0 {
        return;
    }
    let counts = i128::from(last.counts) + nearest(further * run, rise);
    let held = counts.min(i128::from(NET_COUNTS_LIMIT));
    let mass = i128::from(last.mass) + nearest((held - i128::from(last.counts)) * rise, run);
    if let (Ok(counts), Ok(mass)) = (i32::try_from(held), i32::try_from(mass)) {
        // No room is no harm: a table goes on by a quarter by itself.
        let _ = knots.push(Knot { counts, mass });
    }
}

/// The nearest whole number, ties away from zero; 0 for no positive denominator.
fn nearest(numerator: i128, denominator: i128) -> i128 {
    if denominator <= 0 {
        return 0;
    }
    let half = denominator >> 1;
    let moved = if numerator < 0 {
        numerator - half
    } else {
        numerator + half
    };
    moved.checked_div(denominator).unwrap_or(0)
}
