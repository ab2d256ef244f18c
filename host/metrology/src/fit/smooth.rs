//! Smooth curve through zero: the change of curvature is penalised.
//!
//! Guarantees: a cell that is exactly quadratic is kept exactly; the curve is
//! quadratic beyond the last load. Refuses fewer than two loads. Whether the
//! curve rises all the way is checked where its reach is known, by
//! [`crate::curve::counts_at`].
//!
//! # The model
//! ```text
//! m(c) = b1 c + b2 c^2 + g(c),   g''' = tau * white noise,   g(0) = g'(0) = g''(0) = 0
//! observed m_i = m(c_i) + e_i,   var e_i = sigma^2 v_i
//! ```
//! The best m minimises `sum e_i^2 / v_i + (sigma/tau)^2 integral (m''')^2`,
//! the smoothing spline of degree 5 (G. Wahba, Spline Models for Observational
//! Data, SIAM 1990, chapter 1; from memory). Third, not second, derivative:
//! a penalty on curvature itself would flatten the one shape every cell has.
//!
//! # How much smoothing
//! The ratio theta = (tau/sigma)^2 has a restricted likelihood, sharp with
//! many loads and all but flat with four. Its peak is not taken. Smoothing too
//! little costs at most the scatter of the captures; smoothing too much costs
//! the cell's true shape, which knows no bound. So the *least* smoothing is
//! taken that the loads do not contradict: the largest theta whose likelihood
//! ratio stays inside the one-sided 95 % limit. With four single captures this
//! is close to interpolation, with twenty or with repeated captures it is
//! close to the peak.
//!
//! Chosen by simulation, not on measured cells: over 10 kinds of simulated
//! cell (quadratic, cubic, quartic, waved, soft start, each with little and
//! much scatter) the worst ratio to the best of all rules tried was, for 4, 5,
//! 7, 10 and 20 loads: this rule 1.12, 1.17, 1.10, 1.07, 1.04; likelihood peak
//! 5.4, 6.4, 1.09, 1.04, 1.02; cross-validation 5.4, 1.17, 1.09, 1.08, 1.07;
//! interpolation 1.13, 1.19, 1.22, 1.25, 1.29. `tests/smooth_curve.rs`
//! repeats the heart of it.

use nalgebra::DVector;

use super::penalised::Solver;
use super::{Fitted, ShapeRefusal, require};
use crate::curve::Curve;
use crate::observation::Gathered;

/// A smooth calibration curve.
#[derive(Debug, Clone)]
pub struct Smooth {
    /// Local quintic from each start, in scaled units, powers 0 to 5.
    pieces: Vec<(f64, [f64; 6])>,
    solver: Solver,
    scales: Scales,
    /// Parameters the curve is worth: 2 for a parabola, one per load at most.
    pub effective_parameters: f64,
    /// Standard deviation of a single capture's point, in g, as estimated.
    pub scatter_g: f64,
    theta: f64,
}

/// Units of the scaled problem: counts and g that stand for 1.
#[derive(Debug, Clone, Copy)]
struct Scales {
    counts: f64,
    mass_g: f64,
}

impl Smooth {
    /// The smooth curve of the gathered loads.
    ///
    /// # Errors
    /// Fewer than two loads, or loads that don't determine a parabola.
    pub fn fit(gathered: &Gathered) -> Result<Self, ShapeRefusal> {
        let n = gathered.points.len();
        require(n, 2)?;
        let last = gathered.points.last().ok_or(ShapeRefusal::Undetermined)?;
        let scales = Scales {
            counts: last.counts,
            mass_g: last.mass_g,
        };
        let at: Vec<f64> = (gathered.points.iter())
            .map(|p| p.counts / scales.counts)
            .collect();
        let mass: Vec<f64> = (gathered.points.iter())
            .map(|p| p.mass_g / scales.mass_g)
            .collect();
        let scatter = gathered.scatter();
        // Near enough the slope is 1 in scaled units, so variances carry over.
        let variances: Vec<f64> = (scatter.variances.iter())
            .map(|v| v / scales.counts / scales.counts)
            .collect();
        if variances.iter().any(|v| !(v.is_normal() && *v > 0.0)) {
            return Err(ShapeRefusal::Undetermined);
        }
        let mut solver = Solver::new(at, &mass, &variances).ok_or(ShapeRefusal::Undetermined)?;
        solver.prior_dof = scatter.dof;
        solver.least_factor = scatter.least_factor;
        let theta = solver.choose();
        let (parabola, weights) = solver.solve(theta);
        let pieces = pieces(&solver.at, parabola, &weights);
        if pieces.iter().flat_map(|p| p.1).any(|c| !c.is_finite()) {
            return Err(ShapeRefusal::Undetermined);
        }
        let effective: f64 = (solver.values.iter())
            .map(|l| theta * l / (1.0 + theta * l))
            .sum();
        let worth = gathered.points.iter().map(|p| p.worth).sum::<f64>() / n as f64;
        let typical = variances.iter().sum::<f64>() / n as f64;
        let scatter_g = (solver.likelihood(theta).1 * typical * worth).sqrt() * scales.mass_g;
        Ok(Self {
            pieces,
            solver,
            scales,
            effective_parameters: 2.0 + effective,
            scatter_g,
            theta,
        })
    }

    /// The slope in g per count at `counts`.
    pub fn slope(&self, counts: f64) -> f64 {
        let (x, c) = self.piece(counts / self.scales.counts);
        let powers = c.iter().enumerate().skip(1).rev();
        let slope = powers.fold(0.0, |sum, (k, c)| sum * x + c * k as f64);
        slope * self.scales.mass_g / self.scales.counts
    }

    /// Ratio of the shape's to the scatter's variance that was chosen, in
    /// scaled units; 0 = a parabola.
    pub fn theta(&self) -> f64 {
        self.theta
    }

    fn piece(&self, at: f64) -> (f64, [f64; 6]) {
        let index = self.pieces.partition_point(|p| p.0 <= at).max(1) - 1;
        let (start, c) = self.pieces.get(index).copied().unwrap_or_default();
        (at - start, c)
    }

    fn scaled(&self, at: f64) -> f64 {
        let (x, c) = self.piece(at);
        c.iter().rev().fold(0.0, |sum, c| sum * x + c)
    }
}

impl Curve for Smooth {
    fn mass_g(&self, counts: f64) -> f64 {
        self.scaled(counts / self.scales.counts) * self.scales.mass_g
    }

    fn u_g(&self, counts: f64) -> Option<f64> {
        let at = counts.max(0.0) / self.scales.counts;
        // With two loads the parabola takes both, and nothing is left to judge by.
        if self.solver.values.is_empty() {
            return None;
        }
        let variance = self.solver.variance(at, self.scaled(at));
        Some(variance.sqrt() * self.scales.mass_g).filter(|u| u.is_finite())
    }
}

/// The curve as quintics from zero and from each load on, by integrating the
/// third derivative `sum a_j (x_j - t)^2 / 2 over x_j > t` upward from zero.
fn pieces(at: &[f64], parabola: [f64; 2], weights: &DVector<f64>) -> Vec<(f64, [f64; 6])> {
    let mut value = 0.0;
    let mut slope = parabola[0];
    let mut curvature = 2.0 * parabola[1];
    let mut start = 0.0;
    let mut pieces = Vec::with_capacity(at.len() + 1);
    for i in 0..=at.len() {
        let ahead = at.iter().zip(weights.iter()).skip(i);
        let (mut third, mut fourth, mut fifth) = (0.0, 0.0, 0.0);
        for (x, a) in ahead {
            third += a * (x - start) * (x - start) / 2.0;
            fourth -= a * (x - start);
            fifth += a;
        }
        let c = [
            value,
            slope,
            curvature / 2.0,
            third / 6.0,
            fourth / 24.0,
            fifth / 120.0,
        ];
        pieces.push((start, c));
        let Some(&next) = at.get(i) else { break };
        let h = next - start;
        let at_end = |order: usize| {
            let terms = c.iter().enumerate().skip(order).rev();
            terms.fold(0.0, |sum, (k, c)| {
                let falling: f64 = (0..order).map(|o| (k - o) as f64).product();
                sum * h + c * falling
            })
        };
        (value, slope, curvature) = (at_end(0), at_end(1), at_end(2));
        start = next;
    }
    pieces
}

/// The smooth curve as a candidate.
///
/// # Errors
/// As [`Smooth::fit`].
pub fn fit(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    let smooth = Smooth::fit(gathered)?;
    Ok(Fitted {
        parameters: smooth.effective_parameters.ceil() as usize,
        curve: Box::new(smooth),
    })
}
