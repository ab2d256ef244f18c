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
//! interpolation 1.13, 1.19, 1.22, 1.25, 1.29. `tests/smoothing_rule.rs`
//! repeats the heart of it.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::{Fitted, ShapeRefusal, require};
use crate::curve::Curve;
use crate::observation::Gathered;

/// Half the 0.90 quantile of chi-square with one degree of freedom (2.7055):
/// the fall of log likelihood at a one-sided 95 % limit of one parameter.
const LIKELIHOOD_FALL: f64 = 1.352_77;

/// Points of the search over theta, evenly spaced in its logarithm.
const GRID: usize = 64;

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

/// The problem rotated so that parabolas and the rest separate, then the rest
/// diagonalised: every theta costs only sums afterwards.
#[derive(Debug, Clone)]
struct Solver {
    /// Scaled counts of the loads.
    at: Vec<f64>,
    /// Square roots of the weights.
    root: Vec<f64>,
    /// Orthogonal factor of the weighted parabola columns.
    q: DMatrix<f64>,
    r: [f64; 3],
    /// Rotated kernel.
    kernel: DMatrix<f64>,
    rotated: DVector<f64>,
    vectors: DMatrix<f64>,
    values: Vec<f64>,
    /// Components of the loads in the directions of `vectors`.
    seen: Vec<f64>,
    prior_dof: f64,
    least_factor: f64,
    least_squares: f64,
}

/// Covariance of g at two scaled counts, for tau = 1.
///
/// ```text
/// k(s, t) = integral from 0 to min(s, t) of (s - u)^2 (t - u)^2 / 4 du
/// ```
fn covariance(s: f64, t: f64) -> f64 {
    let a = s.min(t).max(0.0);
    let d = (s - t).abs();
    a * a * a * (a * a / 5.0 + d * a / 2.0 + d * d / 3.0) / 4.0
}

impl Solver {
    fn new(at: Vec<f64>, mass: &[f64], variances: &[f64]) -> Option<Self> {
        let n = at.len();
        let root: Vec<f64> = variances.iter().map(|v| 1.0 / v.sqrt()).collect();
        let parabola = DMatrix::from_fn(n, 2, |i, j| root[i] * at[i].powi(j as i32 + 1));
        let weighted = DVector::from_fn(n, |i, _| root[i] * mass[i]);
        let raw = DMatrix::from_fn(n, n, |i, j| root[i] * root[j] * covariance(at[i], at[j]));

        // The full orthogonal factor, from the identity carried along.
        let wide = DMatrix::from_fn(n, n, |i, j| if j < 2 { parabola[(i, j)] } else { 0.0 });
        let qr = wide.qr();
        let triangle = qr.r();
        let mut q = DMatrix::identity(n, n);
        qr.q_tr_mul(&mut q);
        let q = q.transpose();
        let r = [triangle[(0, 0)], triangle[(0, 1)], triangle[(1, 1)]];
        if r[0].abs() <= 0.0 || r[2].abs() <= 1e-13 * r[1].abs() {
            return None;
        }
        let kernel = q.tr_mul(&raw) * &q;
        let rotated = q.tr_mul(&weighted);
        let p = n - 2;
        let (vectors, values) = if p == 0 {
            (DMatrix::zeros(0, 0), Vec::new())
        } else {
            let block = kernel.view((2, 2), (p, p)).into_owned();
            let eigen = SymmetricEigen::try_new(block, f64::EPSILON, 100_000)?;
            let largest = eigen.eigenvalues.amax();
            // Rounding can push the least ones below zero.
            let raised = eigen.eigenvalues.map(|v| v.max(f64::EPSILON * largest));
            (eigen.eigenvectors, raised.iter().copied().collect())
        };
        let seen = vectors.tr_mul(&rotated.rows(2, p).into_owned());
        Some(Self {
            at,
            root,
            q,
            r,
            kernel,
            least_squares: 1e-29 * weighted.norm_squared(),
            rotated,
            vectors,
            values,
            seen: seen.iter().copied().collect(),
            prior_dof: 0.0,
            least_factor: 0.0,
        })
    }

    /// Restricted log likelihood at theta, and the estimate of sigma^2.
    ///
    /// ```text
    /// -1/2 sum log(1 + theta lambda) - (p + nu)/2 log s2 - (S + nu) / (2 s2),  S = sum z^2 / (1 + theta lambda)
    /// ```
    /// with nu degrees of freedom from repeated captures (whose estimate is 1
    /// in these units) and s2 not below what a capture's own scatter allows.
    fn likelihood(&self, theta: f64) -> (f64, f64) {
        let mut squares = self.least_squares + self.prior_dof;
        let mut logs = 0.0;
        for (lambda, z) in self.values.iter().zip(&self.seen) {
            let v = 1.0 + theta * lambda;
            squares += z * z / v;
            logs += v.ln();
        }
        let dof = self.values.len() as f64 + self.prior_dof;
        let s2 = (squares / dof)
            .max(self.least_factor)
            .max(f64::MIN_POSITIVE);
        (-0.5 * (logs + dof * s2.ln() + squares / s2), s2)
    }

    /// The thetas worth looking at: from no third derivative at all to
    /// interpolation, and the largest of them that is not contradicted.
    fn choose(&self) -> f64 {
        let Some((low, high)) = self.range() else {
            return 0.0;
        };
        let step = (high / low).ln() / (GRID - 1) as f64;
        let theta = |i: f64| low * (step * i).exp();
        let heights: Vec<f64> = (0..GRID)
            .map(|i| self.likelihood(theta(i as f64)).0)
            .collect();
        let limit = heights.iter().copied().fold(f64::MIN, f64::max) - LIKELIHOOD_FALL;
        let Some(inside) = heights.iter().rposition(|h| *h >= limit) else {
            return 0.0;
        };
        if inside + 1 == GRID {
            return high;
        }
        let (mut a, mut b) = (inside as f64, inside as f64 + 1.0);
        for _ in 0..12 {
            let middle = 0.5 * (a + b);
            if self.likelihood(theta(middle)).0 >= limit {
                a = middle;
            } else {
                b = middle;
            }
        }
        theta(a)
    }

    fn range(&self) -> Option<(f64, f64)> {
        let largest = self.values.iter().copied().fold(0.0, f64::max);
        let least = self.values.iter().copied().fold(f64::INFINITY, f64::min);
        let usable = largest > 0.0 && largest.is_finite();
        usable.then(|| (1e-3 / largest, (1e4 / least).min(1e14 / largest)))
    }

    /// Coefficients of the parabola and of g at each load, for theta.
    fn solve(&self, theta: f64) -> ([f64; 2], DVector<f64>) {
        let n = self.at.len();
        let shrunk = DVector::from_iterator(
            self.values.len(),
            (self.values.iter().zip(&self.seen)).map(|(l, z)| theta * z / (1.0 + theta * l)),
        );
        let mut full = DVector::zeros(n);
        full.rows_mut(2, n - 2).copy_from(&(&self.vectors * shrunk));
        let rest = [0, 1].map(|i| {
            let taken = self.kernel.row(i).transpose().dot(&full);
            self.rotated[i] - taken
        });
        let b2 = rest[1] / self.r[2];
        let b1 = (rest[0] - self.r[1] * b2) / self.r[0];
        let spread = &self.q * full;
        let a = DVector::from_fn(n, |i, _| self.root[i] * spread[i]);
        ([b1, b2], a)
    }

    /// Squared standard uncertainty of m at scaled counts `t`, in scaled
    /// units, averaged over the thetas the loads allow; `chosen` is the curve.
    fn variance(&self, t: f64, chosen: f64) -> f64 {
        let n = self.at.len();
        let row = DVector::from_fn(n, |i, _| self.root[i] * covariance(t, self.at[i]));
        let k = self.q.tr_mul(&row);
        // Weights that carry the parabola's part of the loads to t.
        let h1 = t / self.r[0];
        let h2 = (t * t - self.r[1] * h1) / self.r[2];
        let corner = |i: usize, j: usize| self.kernel[(i, j)];
        let twice = h1 * h1 * corner(0, 0) + 2.0 * h1 * h2 * corner(0, 1) + h2 * h2 * corner(1, 1);
        let own = covariance(t, t) - 2.0 * (h1 * k[0] + h2 * k[1]) + twice;
        let cross = DVector::from_fn(n - 2, |i, _| {
            k[i + 2] - h1 * corner(i + 2, 0) - h2 * corner(i + 2, 1)
        });
        let cross = self.vectors.tr_mul(&cross);
        let plain = h1 * self.rotated[0] + h2 * self.rotated[1];

        let Some((low, high)) = self.range() else {
            return 0.0;
        };
        let step = (high / low).ln() / (GRID - 1) as f64;
        let thetas: Vec<f64> = (0..GRID).map(|i| low * (step * i as f64).exp()).collect();
        let heights: Vec<(f64, f64)> = thetas.iter().map(|t| self.likelihood(*t)).collect();
        let top = heights.iter().map(|h| h.0).fold(f64::MIN, f64::max);
        let (mut sum, mut total) = (0.0, 0.0);
        for (theta, (height, s2)) in thetas.iter().zip(heights) {
            let mut mean = plain;
            let mut var = h1 * h1 + h2 * h2 + theta * own;
            let mut prior = 0.0;
            for ((lambda, z), c) in self.values.iter().zip(&self.seen).zip(cross.iter()) {
                let v = 1.0 + theta * lambda;
                mean += theta * c * z / v;
                var -= theta * theta * c * c / v;
                prior += theta * lambda / (v * v);
            }
            // Even over the number of effective parameters, before the loads speak.
            let weight = (height - top).exp() * prior;
            sum += weight * (s2 * var.max(0.0) + (mean - chosen).powi(2));
            total += weight;
        }
        if total > 0.0 { sum / total } else { 0.0 }
    }
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
