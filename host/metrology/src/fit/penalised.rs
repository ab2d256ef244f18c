//! The linear algebra of the smooth curve: a parabola plus a penalised rest.
//!
//! Owns the covariance of the rest, the likelihood of the smoothing ratio and
//! its choice, the solution and its variance; the model and its reasons are in
//! [`super::smooth`]. One decomposition serves every ratio.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// Half the 0.90 quantile of chi-square with one degree of freedom (2.7055):
/// the fall of log likelihood at a one-sided 95 % limit of one parameter.
const LIKELIHOOD_FALL: f64 = 1.352_77;

/// Points of the search over theta, evenly spaced in its logarithm.
const GRID: usize = 64;

/// The problem rotated so that parabolas and the rest separate, then the rest
/// diagonalised: every theta costs only sums afterwards.
#[derive(Debug, Clone)]
pub(super) struct Solver {
    /// Scaled counts of the loads.
    pub(super) at: Vec<f64>,
    /// Square roots of the weights.
    root: Vec<f64>,
    /// Orthogonal factor of the weighted parabola columns.
    q: DMatrix<f64>,
    r: [f64; 3],
    /// Rotated kernel.
    kernel: DMatrix<f64>,
    rotated: DVector<f64>,
    vectors: DMatrix<f64>,
    pub(super) values: Vec<f64>,
    /// Components of the loads in the directions of `vectors`.
    seen: Vec<f64>,
    pub(super) prior_dof: f64,
    pub(super) least_factor: f64,
    least_squares: f64,
}

/// Covariance of g at two scaled counts, for tau = 1.
///
/// ```text
/// k(s, t) = integral from 0 to min(s, t) of (s - u)^2 (t - u)^2 / 4 du
/// ```
pub(crate) fn covariance(s: f64, t: f64) -> f64 {
    let a = s.min(t).max(0.0);
    let d = (s - t).abs();
    a * a * a * (a * a / 5.0 + d * a / 2.0 + d * d / 3.0) / 4.0
}

impl Solver {
    pub(super) fn new(at: Vec<f64>, mass: &[f64], variances: &[f64]) -> Option<Self> {
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
    pub(super) fn likelihood(&self, theta: f64) -> (f64, f64) {
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
    pub(super) fn choose(&self) -> f64 {
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
    pub(super) fn solve(&self, theta: f64) -> ([f64; 2], DVector<f64>) {
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
    pub(super) fn variance(&self, t: f64, chosen: f64) -> f64 {
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
