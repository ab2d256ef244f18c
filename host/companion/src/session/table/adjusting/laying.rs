//! A corrected curve as the points of a table.

use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::bump::Bump;
use super::place::{Place, counts_at, exact};
use super::{AdjustFault, OUTSIDE_E};
use crate::quantise::{HostTable, MOST_KNOTS, QuantiseFault};
use crate::session::table::thinning::{Point, Spot, furthest, thin};

/// Steps of a flank: where points may go.
const FLANK: i32 = 8;

/// Looks between two places where a point may be.
const LOOKS: u32 = 8;

/// Points of a corrected curve.
pub(super) struct Laid {
    pub points: Vec<Point>,
    /// How far lines between them leave it at most, quanta.
    pub off: f64,
    pub added: usize,
    pub taken_out: usize,
}

/// Lays points on the corrected curve, as many as there is room for.
pub(super) fn laid(
    table: &HostTable,
    settings: &Settings,
    place: &Place,
    bump: &Bump,
    most_points: usize,
) -> Result<Laid, AdjustFault> {
    let old = table.knots();
    let due = |counts: f64| {
        let mass = exact(old, counts);
        mass + bump.adds(mass)
    };
    let points = candidates(old, settings, place, bump, &due);
    // Looked at wherever a point is or was, and between.
    let outside = OUTSIDE_E * f64::from(settings.e);
    let mut stops: Vec<f64> = (points.iter().map(|point| point.counts))
        .chain(old.iter().map(|knot| knot.counts))
        .map(f64::from)
        .collect();
    stops.sort_by(f64::total_cmp);
    let mut spots = Vec::with_capacity(stops.len() * LOOKS as usize);
    for pair in stops.windows(2) {
        let &[from, to] = pair else { continue };
        for look in 0..LOOKS {
            let counts = from + (to - from) * f64::from(look) / f64::from(LOOKS);
            let inside = bump.along(exact(old, counts)).abs() < 1.0;
            let bound = if inside {
                bump.missing.abs() / 10.0
            } else {
                0.0
            };
            spots.push(Spot {
                counts,
                due: due(counts),
                bound: bound.max(outside),
            });
        }
    }
    let most = most_points.min(MOST_KNOTS);
    let mut thinned = points;
    thin(&mut thinned, &spots, most).map_err(|_| AdjustFault::NoRoom { points: most })?;
    let off = furthest(&thinned, &spots);
    let stay = thinned.iter().filter(|point| !point.new).count();
    Ok(Laid {
        off,
        added: thinned.len() - stay,
        taken_out: old.len() - stay,
        points: thinned,
    })
}

/// Where points may be: where they are, at the load, at the feet and on the
/// flanks; new ones not beside others.
fn candidates(
    old: &[Knot],
    settings: &Settings,
    place: &Place,
    bump: &Bump,
    due: &impl Fn(f64) -> f64,
) -> Vec<Point> {
    let near = f64::from(settings.e);
    let point = |counts: i32, fixed: bool, new: bool| Point {
        counts,
        mass: due(counts.into()).round() as i32,
        fixed,
        new,
    };
    let last = old.len().saturating_sub(1);
    let is_fixed = |at: usize, knot: &Knot| at == 0 || at == last || knot.counts == 0;
    let beside_load = |knot: &Knot| (f64::from(knot.mass) - place.at).abs() < near;
    let mut points: Vec<Point> = Vec::new();
    let mut held = false;
    for (at, knot) in old.iter().enumerate() {
        let fixed = is_fixed(at, knot);
        if beside_load(knot) && !fixed {
            continue;
        }
        held |= beside_load(knot);
        points.push(point(knot.counts, fixed, false));
    }
    if !held {
        points.push(point(place.counts.round() as i32, true, true));
    }
    let end = f64::from(old.last().map_or(0, |knot| knot.mass)).max(place.at);
    // The feet first, then from the load outwards.
    let steps = [FLANK].into_iter().chain(1..FLANK);
    for along in steps.flat_map(|step| [-step, step]) {
        let mass = bump.mass_at(f64::from(along) / f64::from(FLANK));
        let counts = counts_at(old, mass).round();
        let beside = points.iter().any(|one| {
            let off = (exact(old, one.counts.into()) - mass).abs();
            off < near || f64::from(one.counts) == counts
        });
        if mass > near && mass < end - near && counts.abs() < 3e7 && !beside {
            points.push(point(counts as i32, false, true));
        }
    }
    points.sort_by_key(|point| point.counts);
    points
}

/// The table of these points, the one nearest to the load moved until the
/// device's own lookup meets it.
pub(super) fn meeting(mut points: Vec<Point>, place: &Place) -> Result<HostTable, AdjustFault> {
    let q8 = (place.counts * 256.0).round() as i64;
    let apart = |point: &Point| (f64::from(point.counts) - place.counts).abs();
    let nearest = (points.iter().enumerate())
        .filter(|(_, point)| point.counts != 0)
        .min_by(|one, other| apart(one.1).total_cmp(&apart(other.1)))
        .map(|(at, _)| at);
    let built = |points: &[Point]| {
        let knot = |point: &Point| Knot {
            counts: point.counts,
            mass: point.mass,
        };
        let knots: Vec<Knot> = points.iter().map(knot).collect();
        HostTable::new(&knots).map_err(|fault| AdjustFault::Unfit(QuantiseFault::Table(fault)))
    };
    for _ in 0..4 {
        let off = place.due.wrapping_sub(built(&points)?.lookup_q8(q8).mass);
        match nearest.and_then(|at| points.get_mut(at)) {
            Some(point) if off != 0 => point.mass = point.mass.wrapping_add(off),
            _ => break,
        }
    }
    built(&points)
}
