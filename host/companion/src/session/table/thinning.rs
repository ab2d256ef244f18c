//! As many points as a board has room for, those that matter.
//!
//! Points are taken out one by one, the one that costs least first. What a point
//! costs is how far, without it, the straight lines leave what is due, as a share
//! of what may be left there.

/// Points that need not be are taken out while they cost less than this share of
/// the bound (own choice).
const FREE: f64 = 0.2;

/// A point of a table in the making.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    /// Net counts.
    pub counts: i32,
    /// Mass, quanta.
    pub mass: i32,
    /// Whether it must stay.
    pub fixed: bool,
    /// Whether it was not there before.
    pub new: bool,
}

/// Where it is looked, what is due there, and how far off it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    /// Net counts.
    pub counts: f64,
    /// Mass that is due, quanta.
    pub due: f64,
    /// How far off it may be, quanta.
    pub bound: f64,
}

/// Takes points out until at most `most` stay, and new ones that nobody would
/// miss.
///
/// # Errors
/// What the cheapest point that would have to go costs, as a share of the bound.
pub(super) fn thin(points: &mut Vec<Point>, spots: &[Spot], most: usize) -> Result<(), f64> {
    loop {
        let over = points.len() > most;
        let limit = if over { 1.0 } else { FREE };
        let loose = |(at, point): (usize, &Point)| {
            let may = !point.fixed && (over || point.new);
            may.then(|| (at, cost(points, spots, at)))
        };
        let cheapest = (points.iter().enumerate())
            .filter_map(loose)
            .min_by(|one, other| one.1.total_cmp(&other.1));
        match cheapest {
            Some((at, cost)) if cost <= limit => {
                points.remove(at);
            }
            _ if !over => return Ok(()),
            cheapest => return Err(cheapest.map_or(f64::INFINITY, |(_, cost)| cost)),
        }
    }
}

/// The furthest that lines through the points leave what is due, quanta.
pub(super) fn furthest(points: &[Point], spots: &[Spot]) -> f64 {
    let pairs = points.windows(2).map(|pair| match pair {
        [left, right] => between(left, right, spots, |_| 1.0),
        _ => 0.0,
    });
    pairs.fold(0.0, f64::max)
}

fn cost(points: &[Point], spots: &[Spot], at: usize) -> f64 {
    let before = at.checked_sub(1).and_then(|before| points.get(before));
    match before.zip(points.get(at + 1)) {
        Some((left, right)) => between(left, right, spots, |spot| spot.bound),
        None => f64::INFINITY,
    }
}

/// The furthest that the line between two points leaves what is due, in units of
/// what `unit` says of a spot.
fn between(left: &Point, right: &Point, spots: &[Spot], unit: impl Fn(&Spot) -> f64) -> f64 {
    let (from, to) = (f64::from(left.counts), f64::from(right.counts));
    let (low, high) = (f64::from(left.mass), f64::from(right.mass));
    (spots.iter())
        .filter(|spot| (from..=to).contains(&spot.counts))
        .map(|spot| {
            let line = low + (spot.counts - from) * (high - low) / (to - from);
            (line - spot.due).abs() / unit(spot)
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(all: &[(i32, i32)]) -> Vec<Point> {
        let point = |(counts, mass): &(i32, i32)| Point {
            counts: *counts,
            mass: *mass,
            fixed: *counts == 0,
            new: false,
        };
        all.iter().map(point).collect()
    }

    fn spots(points: &[Point], bound: f64) -> Vec<Spot> {
        let spot = |point: &Point| Spot {
            counts: point.counts.into(),
            due: point.mass.into(),
            bound,
        };
        points.iter().map(spot).collect()
    }

    #[test]
    fn the_point_that_matters_least_goes() {
        let mut all = points(&[(0, 0), (10, 12), (20, 21), (30, 30)]);
        let due = spots(&all, 3.0);
        assert_eq!(thin(&mut all, &due, 4), Ok(()));
        assert_eq!(all.len(), 4, "none is new");
        assert_eq!(thin(&mut all, &due, 3), Ok(()));
        assert_eq!(all[1].counts, 10, "20 lies straight between 10 and 30");
        assert_eq!(furthest(&all, &due), 0.0);
        assert_eq!(thin(&mut all, &due, 2), Ok(()));
        assert_eq!(furthest(&all, &due), 2.0);
    }

    #[test]
    fn what_would_leave_too_much_is_refused_and_ends_stay() {
        let mut all = points(&[(0, 0), (10, 12), (20, 20)]);
        let due = spots(&all, 1.0);
        assert_eq!(thin(&mut all, &due, 2), Err(2.0));
        assert_eq!(all.len(), 3);
        assert_eq!(thin(&mut all, &due, 1), Err(2.0), "no end goes");
    }
}
