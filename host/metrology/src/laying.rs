//! Laying a curve into the device's few points.
//!
//! Owns where knots go: close where the curve bends, far where it is straight.
//! Guarantees a knot at exactly (0, 0), the last at the reach, strictly rising
//! knots, and the largest deviation it reports. Stops early: a table needs no
//! more knots than the tolerance asks for.
//!
//! Method: the widest segments whose chord stays within a tolerance are the
//! fewest that keep it; halving the tolerance's range finds the least one that
//! fits the room. Chords of a bent curve lie on one side of it, so the inner
//! knots are then moved off the curve by half, which splits the deviation.

use std::fmt;

use crate::curve::{Curve, Knots};

/// Points at which the curve is compared with its chords. Between two of them
/// a bend is off by 1/640^2, against 1/31^2 between the knots of a full table.
const SAMPLES: usize = 640;

/// The first segment's bow may be this share of the others': its lower knot
/// can't be moved. With the upper moved by half a bow, `4 a t (1 - t) - t / 2`
/// peaks at one half for a = (3 + 2 sqrt 2) / 8.
const FIRST_SHARE: f64 = 0.728_553;

/// A laid curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// The knots, the first at (0, 0).
    pub knots: Knots,
    /// Largest distance between curve and segments, in g.
    pub deviation_g: f64,
}

/// Why a curve can't be laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayError {
    /// Room for fewer than two knots.
    NoRoom(usize),
    /// The reach is not above zero, or the tolerance is not a number.
    BadRange,
    /// The curve is not at zero at zero, or doesn't rise all the way.
    NotRising,
}

impl fmt::Display for LayError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRoom(n) => write!(f, "a table needs room for two points, it has {n}"),
            Self::BadRange => write!(f, "the range to lay is not a positive number"),
            Self::NotRising => {
                write!(
                    f,
                    "the curve does not rise from zero to the end of its range"
                )
            }
        }
    }
}

impl std::error::Error for LayError {}

/// The curve as a dense row of samples.
struct Row {
    points: Vec<(f64, f64)>,
}

impl Row {
    fn new(curve: &dyn Curve, reach_counts: f64) -> Result<Self, LayError> {
        let even = (0..=SAMPLES).map(|i| reach_counts * (i as f64 / SAMPLES as f64));
        let corners = curve.corners();
        let mut at: Vec<f64> = even
            .chain(
                corners
                    .into_iter()
                    .filter(|c| *c > 0.0 && *c < reach_counts),
            )
            .collect();
        at.sort_by(f64::total_cmp);
        at.dedup();
        let mut points: Vec<(f64, f64)> = at.iter().map(|c| (*c, curve.mass_g(*c))).collect();
        let scale = points.last().map_or(0.0, |p| p.1);
        match points.first_mut() {
            // The knot at zero is exact; a curve that misses it is no calibration.
            Some(first) if first.1.abs() <= 1e-9 * scale => first.1 = 0.0,
            _ => return Err(LayError::NotRising),
        }
        let rises = |w: &[(f64, f64)]| matches!(w, [a, b] if b.1 > a.1 && b.1.is_finite());
        if !points.windows(2).all(rises) {
            return Err(LayError::NotRising);
        }
        Ok(Self { points })
    }

    /// Deviation curve minus chord that is largest in size, from sample `a` to `b`.
    fn bow(&self, a: usize, b: usize) -> f64 {
        let (Some(low), Some(high)) = (self.points.get(a), self.points.get(b)) else {
            return 0.0;
        };
        let slope = (high.1 - low.1) / (high.0 - low.0);
        let inner = self.points.get(a + 1..b).unwrap_or(&[]);
        inner.iter().fold(0.0f64, |worst, p| {
            let off = p.1 - low.1 - slope * (p.0 - low.0);
            if off.abs() > worst.abs() { off } else { worst }
        })
    }

    /// Samples to put knots at so that no chord is off by more than
    /// `tolerance`; `None` when that takes more than `max` knots.
    fn place(&self, tolerance: f64, max: usize) -> Option<Vec<usize>> {
        let end = self.points.len() - 1;
        let mut chosen = vec![0];
        let mut from = 0;
        while from < end {
            if chosen.len() >= max {
                return None;
            }
            let allowed = if from == 0 {
                FIRST_SHARE * tolerance
            } else {
                tolerance
            };
            // Doubling, then halving: the bow grows with the length.
            let fits = |to: usize| self.bow(from, to).abs() <= allowed;
            let mut good = from + 1;
            let mut stride = 2;
            while good < end && fits((from + stride).min(end)) {
                good = (from + stride).min(end);
                stride *= 2;
            }
            let mut bad = (from + stride).min(end + 1);
            while bad > good + 1 {
                let middle = good + (bad - good) / 2;
                if fits(middle) {
                    good = middle;
                } else {
                    bad = middle;
                }
            }
            chosen.push(good);
            from = good;
        }
        Some(chosen)
    }

    /// Knots at the samples, moved off the curve where that lessens the
    /// largest deviation; and that deviation.
    fn settle(&self, chosen: &[usize]) -> (Vec<(f64, f64)>, f64) {
        let on: Vec<(f64, f64)> = (chosen.iter())
            .filter_map(|i| self.points.get(*i).copied())
            .collect();
        let bows: Vec<f64> = (chosen.iter().zip(chosen.iter().skip(1)))
            .map(|(a, b)| self.bow(*a, *b))
            .collect();
        let last = on.len().saturating_sub(1);
        let moved: Vec<(f64, f64)> = (on.iter().enumerate())
            .map(|(i, p)| {
                let left = i.checked_sub(1).and_then(|k| bows.get(k));
                let shift = match (left, bows.get(i)) {
                    // Half the larger bow serves both; where the bend turns, the mean.
                    (Some(l), Some(r)) if i < last && l * r < 0.0 => (l + r) / 4.0,
                    (Some(l), Some(r)) if i < last && r.abs() > l.abs() => r / 2.0,
                    (Some(l), _) => l / 2.0,
                    _ => 0.0,
                };
                (p.0, p.1 + shift)
            })
            .collect();
        let (off_on, off_moved) = (self.deviation(&on), self.deviation(&moved));
        if off_moved < off_on && Knots::new(moved.clone()).is_ok() {
            (moved, off_moved)
        } else {
            (on, off_on)
        }
    }

    fn deviation(&self, knots: &[(f64, f64)]) -> f64 {
        let mut worst = 0.0f64;
        let mut segments = knots.windows(2);
        let mut current = segments.next();
        for p in &self.points {
            while let Some([_, b]) = current {
                if p.0 <= b.0 {
                    break;
                }
                current = segments.next();
            }
            if let Some([a, b]) = current {
                let chord = a.1 + (p.0 - a.0) * ((b.1 - a.1) / (b.0 - a.0));
                worst = worst.max((p.1 - chord).abs());
            }
        }
        worst
    }
}

/// The curve from 0 to `reach_counts` in at most `max_knots` knots: the fewest
/// that keep within `tolerance_g`, or the closest the room allows.
///
/// # Errors
/// No room, no range, or a curve that doesn't rise from zero all the way.
///
/// ```
/// use scalewright_metrology::{curve::Curve, laying::lay};
/// struct Bent;
/// impl Curve for Bent {
///     fn mass_g(&self, counts: f64) -> f64 { counts + 0.1 * counts * (1.0 - counts) }
/// }
/// let laid = lay(&Bent, 1.0, 8, 0.0)?;
/// assert!(laid.knots.points.len() <= 8 && laid.deviation_g < 3e-4);
/// assert!(lay(&Bent, 1.0, 1, 0.0).is_err());
/// # Ok::<(), scalewright_metrology::laying::LayError>(())
/// ```
pub fn lay(
    curve: &dyn Curve,
    reach_counts: f64,
    max_knots: usize,
    tolerance_g: f64,
) -> Result<Laid, LayError> {
    if max_knots < 2 {
        return Err(LayError::NoRoom(max_knots));
    }
    if !(reach_counts.is_finite() && reach_counts > 0.0) || tolerance_g.is_nan() {
        return Err(LayError::BadRange);
    }
    let row = Row::new(curve, reach_counts)?;
    let finish = |chosen: &[usize]| {
        let (points, deviation_g) = row.settle(chosen);
        let knots = Knots::new(points).map_err(|_| LayError::NotRising)?;
        Ok(Laid { knots, deviation_g })
    };
    // Twice the tolerance first: moving the knots may halve the deviation.
    for on_curve in [2.0 * tolerance_g, tolerance_g] {
        if let Some(chosen) = row.place(on_curve, max_knots) {
            let laid = finish(&chosen)?;
            if laid.deviation_g <= tolerance_g {
                return Ok(laid);
            }
        }
    }
    // One segment's bow bounds the search from above; a millionth of it is
    // below what any room reaches on a curve that bends all along.
    let mut loose = row.bow(0, row.points.len() - 1).abs() / FIRST_SHARE * 1.000_001;
    let mut tight = 1e-6 * loose;
    let mut best = vec![0, row.points.len() - 1];
    for _ in 0..12 {
        let middle = (loose * tight).sqrt();
        match row.place(middle, max_knots) {
            Some(chosen) => {
                best = chosen;
                loose = middle;
            }
            None => tight = middle,
        }
    }
    finish(&best)
}
