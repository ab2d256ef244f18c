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

use core::cell::Cell;

use heapless::Vec;

use crate::table::{Knot, MASS_LIMIT, NET_COUNTS_LIMIT, TableFault, check};
use crate::units::{divide_to_nearest, saturate_i32};
use crate::wide::{product, signed_to_nearest};

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
    sort(&mut sorted);
    through(&sorted, reach)
}

/// By rising mass. Exchanging neighbours is enough for a few loads, and takes a
/// fiftieth of the flash that the library's way takes.
fn sort(loads: &mut [Knot]) {
    let loads = Cell::from_mut(loads).as_slice_of_cells();
    for _ in loads {
        for pair in loads.windows(2) {
            if let [left, right] = pair
                && left.get().mass > right.get().mass
            {
                left.swap(right);
            }
        }
    }
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
#[inline(never)]
fn bend_q8(a: &Knot, b: &Knot, c: &Knot, d: &Knot) -> i64 {
    let run = |from: &Knot, to: &Knot| i64::from(to.counts) - i64::from(from.counts);
    let rise = |from: &Knot, to: &Knot| i64::from(to.mass) - i64::from(from.mass);
    let (h, other) = (run(a, b), run(c, d));
    // From `a` to `b` there are at most 2^24 counts and 2^28 quanta, from `c` to `d`
    // at most 2^32 of either: a later load may be anything and is refused afterwards.
    let cross = rise(a, b) * other - rise(c, d) * h;
    let bend = signed_to_nearest(product(h << 8, cross), product(other, h + other));
    // Of loads that rise it is below h · D' / h', 2^60.
    i64::try_from(bend).unwrap_or(0)
}

/// The smaller of two opinions; none where they contradict.
fn agreed(one: Option<i64>, other: Option<i64>) -> i64 {
    match (one, other) {
        (Some(a), Some(b)) if a.signum() != b.signum() => 0,
        (Some(a), Some(b)) if a.unsigned_abs() < b.unsigned_abs() => a,
        (_, Some(b)) => b,
        (Some(a), None) => a,
        (None, None) => 0,
    }
}

/// The knot `piece` of `pieces` on the way; none where counts leave no room for it.
#[inline(never)]
fn between(from: &Knot, to: &Knot, bend_q8: i64, piece: usize, pieces: usize) -> Option<Knot> {
    let h = to.counts.checked_sub(from.counts)?;
    // Counts are below 2^24, pieces at most eight.
    let share = h.checked_mul(i32::try_from(piece).ok()?)?;
    let done = share.checked_div(i32::try_from(pieces).ok()?)?;
    let left = h.checked_sub(done)?;
    if done <= 0 || left <= 0 {
        return None;
    }
    let rise = i64::from(to.mass) - i64::from(from.mass);
    let (h, done_q8) = (i64::from(h), i64::from(done) << 8);
    // 2^28 · 2^24 and 2^32; h² has 48 bits.
    let chord = product(rise * h, done_q8);
    let below = product(bend_q8, i64::from(done) * i64::from(left));
    let mass = signed_to_nearest(chord - below, i128::from(h * h) << 8);
    Some(Knot {
        counts: from.counts.checked_add(done)?,
        mass: from.mass.checked_add(i32::try_from(mass).ok()?)?,
    })
}

/// A last knot at `reach`, on the line through the last two, if it lies beyond.
fn reach_to<const N: usize>(knots: &mut Vec<Knot, N>, reach: i32) {
    if let [.., before, last] = knots.as_slice()
        && let Some(knot) = reached(before, last, reach)
    {
        // No room is no harm: a table goes on by a quarter by itself.
        let _ = knots.push(knot);
    }
}

/// On the line from `before` to `last`, which is a load and lies above zero; none
/// if `reach` is not beyond.
#[inline(never)]
fn reached(before: &Knot, last: &Knot, reach: i32) -> Option<Knot> {
    let run = i64::from(last.counts) - i64::from(before.counts);
    let rise = i64::from(last.mass) - i64::from(before.mass);
    let further = i64::from(reach) - i64::from(last.mass);
    // A step as small as a count is left out: it would be no slope.
    if further * 100 < i64::from(reach) || rise <= 0 {
        return None;
    }
    // Both products stay below 2^57: counts have 25 bits, masses 32.
    let last_counts = i64::from(last.counts);
    let counts = last_counts + divide_to_nearest(further * run, rise);
    let held = counts.min(i64::from(NET_COUNTS_LIMIT));
    let more = divide_to_nearest((held - last_counts) * rise, run);
    Some(Knot {
        counts: i32::try_from(held).ok()?,
        mass: i32::try_from(i64::from(last.mass) + more).ok()?,
    })
}
