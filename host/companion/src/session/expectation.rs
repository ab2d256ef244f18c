//! What the next load should read, from what was read before, and how far off
//! it may be.

use super::plan::ScaleSpec;

/// How far a load may lie off the continuation of a line through two loads, as
/// a share of its distance from the nearer. Wide enough for the worst cells of
/// the bench's population (non-linearity 0.3 % of Max).
const LINE_TRUST: f64 = 0.008;

/// The same for a line between two loads that enclose it, and for the
/// continuation of a parabola through three.
const NEAR_TRUST: f64 = 0.003;

/// Share of what two visits of one load may differ by that is noise.
const NOISE_OF_A_VISIT: f64 = 0.25;

/// How far a table of unknown worth may be off, as a share of the load.
const OLD_TABLE_TRUST: f64 = 0.03;

/// Where a load is expected, ADC counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Code, not net of zero.
    pub counts: f64,
    /// Half width of the interval that counts as the load asked for.
    pub tolerance_counts: f64,
}

/// Loads seen so far.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// (mass in g, code in counts), in order of time.
    points: Vec<(f64, f64)>,
    /// Counts per g by a table found in the device.
    old_slope: Option<f64>,
}

impl Seen {
    /// Takes the steepness of a table found in the device, counts per g.
    pub fn trust_old(&mut self, counts_per_g: Option<f64>) {
        self.old_slope = counts_per_g.filter(|slope| slope.is_finite() && *slope > 0.0);
    }

    /// Adds a capture.
    pub fn add(&mut self, mass_g: f64, counts: f64) {
        self.points.push((mass_g, counts));
    }

    /// Forgets the latest capture.
    pub fn undo(&mut self) {
        self.points.pop();
    }

    /// Forgets the codes but keeps the steepness: after a resumption zero may
    /// lie elsewhere.
    pub fn new_sitting(&mut self) {
        self.old_slope = self.slope().or(self.old_slope);
        self.points.clear();
    }

    /// Counts per g as far as known.
    #[must_use]
    pub fn slope(&self) -> Option<f64> {
        self.measured_slope().or(self.old_slope)
    }

    /// The latest code of the empty pan, counts.
    #[must_use]
    pub fn zero(&self) -> Option<f64> {
        self.points
            .iter()
            .rev()
            .find(|(mass, _)| *mass == 0.0)
            .map(|(_, counts)| *counts)
    }

    /// The load that `counts` stand for, g.
    #[must_use]
    pub fn load_g(&self, counts: f64) -> Option<f64> {
        let points: Vec<(f64, f64)> = self.known().iter().map(|(m, c)| (*c, *m)).collect();
        match neighbours(&points, counts) {
            Some((left, right)) => along(left, right, counts),
            None => {
                let (at, mass) = points.first()?;
                Some(mass + (counts - at) / self.slope()?)
            }
        }
    }

    /// The captures by mass, rising; of one load the latest.
    fn known(&self) -> Vec<(f64, f64)> {
        let mut known: Vec<(f64, f64)> = Vec::new();
        for point in self.points.iter().rev() {
            if known.iter().all(|other| (other.0 - point.0).abs() > 1e-6) {
                known.push(*point);
            }
        }
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        known
    }

    /// Where `mass_g` is expected; `None` while nothing is known.
    #[must_use]
    pub fn expected(&self, mass_g: f64, scale: &ScaleSpec) -> Option<Expected> {
        // Zero drift, hysteresis and creep between two visits of one load.
        let visit_g = (1.5 * scale.e_g).max(0.0008 * scale.max_g);
        let known = self.known();
        let (near_g, near_counts) = *known
            .iter()
            .min_by(|a, b| (a.0 - mass_g).abs().total_cmp(&(b.0 - mass_g).abs()))?;
        let step_g = (mass_g - near_g).abs();
        if step_g == 0.0 && known.len() < 2 {
            return Some(Expected {
                counts: near_counts,
                tolerance_counts: self.old_slope.unwrap_or(0.0).abs() * visit_g,
            });
        }
        let mut guesses: Vec<(f64, f64)> = Vec::new();
        let mut guess = |through: &[(f64, f64)], trust: f64| {
            let Some((counts, amplified)) = continued(through, mass_g) else {
                return;
            };
            // What visits differ by is partly noise, which grows with the way
            // from the loads that were seen.
            let visits_g = visit_g * (1.0 + NOISE_OF_A_VISIT * (amplified - 1.0));
            guesses.push((counts, visits_g + trust * step_g));
        };
        if let Some((left, right)) = neighbours(&known, mass_g) {
            let enclosed = left.0 <= mass_g && mass_g <= right.0;
            // Through the nearest loads: a curved cell departs from that far
            // less than from a line through its ends.
            guess(
                &[left, right],
                if enclosed { NEAR_TRUST } else { LINE_TRUST },
            );
            if let Some(other) = third(&known, left, right, mass_g).filter(|_| !enclosed) {
                guess(&[left, right, other], NEAR_TRUST);
            }
            if let (Some(first), Some(last)) = (known.first(), known.last()) {
                guess(&[*first, *last], LINE_TRUST);
            }
        }
        if let Some(slope) = self.old_slope {
            let counts = near_counts + slope * (mass_g - near_g);
            guesses.push((counts, visit_g + OLD_TABLE_TRUST * step_g));
        }
        let (counts, tolerance_g) = guesses.into_iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Expected {
            counts,
            tolerance_counts: self.slope()?.abs() * tolerance_g,
        })
    }

    /// Counts per g by the captures: from the lightest to the heaviest.
    fn measured_slope(&self) -> Option<f64> {
        let low = self.points.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
        let high = self.points.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        let slope = (high.1 - low.1) / (high.0 - low.0);
        (slope.is_finite() && slope > 0.0).then_some(slope)
    }
}

/// The two points that enclose `at`, or the two nearest beyond an end; `points`
/// rise in their first coordinate.
fn neighbours(points: &[(f64, f64)], at: f64) -> Option<((f64, f64), (f64, f64))> {
    if points.len() < 2 {
        return None;
    }
    let upper = points
        .partition_point(|point| point.0 < at)
        .clamp(1, points.len() - 1);
    Some((*points.get(upper - 1)?, *points.get(upper)?))
}

/// The straight line through two points, at `at`.
fn along(left: (f64, f64), right: (f64, f64), at: f64) -> Option<f64> {
    let slope = (right.1 - left.1) / (right.0 - left.0);
    let value = left.1 + slope * (at - left.0);
    value.is_finite().then_some(value)
}

/// The point nearest to `at` besides the two given.
fn third(
    points: &[(f64, f64)],
    left: (f64, f64),
    right: (f64, f64),
    at: f64,
) -> Option<(f64, f64)> {
    points
        .iter()
        .filter(|point| **point != left && **point != right)
        .min_by(|a, b| (a.0 - at).abs().total_cmp(&(b.0 - at).abs()))
        .copied()
}

/// The straight line or parabola through two or three points, at `at`, and how
/// much of the points' own errors arrives there (Lagrange's form); `None` when
/// two of them share their place.
fn continued(points: &[(f64, f64)], at: f64) -> Option<(f64, f64)> {
    let (mut value, mut amplified) = (0.0, 0.0);
    for (i, (own, counts)) in points.iter().enumerate() {
        let others = points.iter().enumerate().filter(|(j, _)| *j != i);
        let weight: f64 = others
            .map(|(_, (other, _))| (at - other) / (own - other))
            .product();
        value += weight * counts;
        amplified += weight.abs();
    }
    (value.is_finite() && amplified.is_finite()).then_some((value, amplified))
}
