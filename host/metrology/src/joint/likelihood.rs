//! How well a scatter explains the captures, and the unknowns under it.
//!
//! The scatter's three sizes (hyper-parameters) have a restricted likelihood:
//! the unknowns of which nothing is known beforehand are integrated out with
//! all others. With H = S G S + P, G the weighted Gram matrix, S the prior
//! deviations, P one for each known and nought for each unknown prior:
//!
//! ```text
//! log L = -1/2 [ sum log v_i + log |H| + y' V^-1 y - b' H^-1 b ],   b = S D' V^-1 y
//! v_i = converter^2 + own^2 + (share * load_i)^2
//! ```
//!
//! Source: H. D. Patterson, R. Thompson, "Recovery of inter-block information
//! when block sizes are unequal", Biometrika 58 (1971); the form for mixed
//! models from memory.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::design::Design;

/// What scatters how much, in parts of Max.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Intensity of the curve's third derivative over the range of loads.
    pub tau: f64,
    /// Deviation of a capture beside the converter's noise, whatever the load.
    pub own: f64,
    /// Deviation of a capture as a share of its load.
    pub share: f64,
}

/// The logarithms in which scatters are searched.
pub(super) type Logs = [f64; 3];

impl Scatter {
    pub(super) fn of(logs: Logs) -> Self {
        let [tau, own, share] = logs.map(f64::exp);
        Self { tau, own, share }
    }

    pub(super) fn logs(&self) -> Logs {
        [self.tau, self.own, self.share].map(f64::ln)
    }
}

/// What is thought of the scatter before the captures speak: log-normal, each
/// wide enough that a handful of captures outweighs it (own choice, sized by
/// the orders of magnitude of strain-gauge cells).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Belief {
    pub(super) centre: Logs,
    pub(super) spread: Logs,
}

impl Belief {
    /// For a scale of interval `e` in parts of Max, whose converter's noise
    /// per capture has this variance.
    pub(super) fn new(e: f64, converter_var: f64) -> Self {
        let own = converter_var.sqrt().max(0.01 * e);
        Self {
            // The third derivative of a cell with a cubic bend of 0.03 % of
            // Max; a load that comes back to 7e-5 of itself.
            centre: [0.03f64.ln(), own.ln(), 7e-5f64.ln()],
            spread: [2.0, 1.0, 1.2],
        }
    }

    fn log(&self, logs: Logs) -> f64 {
        let each = logs.iter().zip(self.centre).zip(self.spread);
        each.map(|((at, centre), spread)| -0.5 * ((at - centre) / spread).powi(2))
            .sum()
    }
}

/// One thing that may be otherwise than stated, and by which deviation, in
/// parts of Max.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Doubt {
    /// A body's mass.
    Body(usize, f64),
    /// What lay on the pan in a capture.
    Capture(usize, f64),
}

/// The unknowns under one scatter.
pub(super) struct Solved {
    /// Log of restricted likelihood times belief.
    pub(super) log: f64,
    /// Deviations the unknowns are counted in.
    pub(super) scale: DVector<f64>,
    pub(super) factor: Cholesky<f64, Dyn>,
    /// Unknowns in those deviations, less the design's start.
    pub(super) scaled: DVector<f64>,
}

impl Solved {
    /// The unknowns.
    pub(super) fn values(&self, design: &Design) -> DVector<f64> {
        &design.start + self.scaled.component_mul(&self.scale)
    }

    /// Their covariance.
    pub(super) fn covariance(&self) -> DMatrix<f64> {
        let mut inverse = self.factor.inverse();
        for j in 0..inverse.ncols() {
            for i in 0..inverse.nrows() {
                inverse[(i, j)] *= self.scale[i] * self.scale[j];
            }
        }
        inverse
    }
}

impl Design {
    /// Variance of a capture of this load.
    pub(super) fn variance(&self, scatter: &Scatter, load: f64) -> f64 {
        self.converter_var + scatter.own.powi(2) + (scatter.share * load).powi(2)
    }

    /// Solves for the unknowns under a scatter; `None` when the arithmetic
    /// gives out.
    pub(super) fn solve(&self, belief: &Belief, logs: Logs, doubts: &[Doubt]) -> Option<Solved> {
        let scatter = Scatter::of(logs);
        let p = self.layout.len();
        let mut gram = vec![0.0; p * (p + 1) / 2];
        let mut right = DVector::zeros(p);
        let (mut square, mut log_v) = (0.0, 0.0);
        for group in &self.groups {
            let v = self.variance(&scatter, group.load);
            let weight = 1.0 / v;
            log_v += group.captures as f64 * v.ln();
            square += group.square * weight;
            right.axpy(weight, &group.right, 1.0);
            for (sum, one) in gram.iter_mut().zip(&group.gram) {
                *sum += weight * one;
            }
        }
        let mut scale = self.scale(&scatter);
        for doubt in doubts {
            match *doubt {
                Doubt::Body(body, sd) => scale[self.layout.body(body)] = sd,
                Doubt::Capture(index, sd) => {
                    let load = self.stated[index];
                    let v = self.variance(&scatter, load);
                    let wide = v + sd * sd;
                    let less = 1.0 / wide - 1.0 / v;
                    let row = self.rows.row(index).transpose();
                    let left = load - row.dot(&self.start);
                    log_v += wide.ln() - v.ln();
                    square += less * left * left;
                    right.axpy(less * left, &row, 1.0);
                    let mut place = 0;
                    for j in 0..p {
                        for i in j..p {
                            gram[place] += less * row[i] * row[j];
                            place += 1;
                        }
                    }
                }
            }
        }
        let mut h = DMatrix::zeros(p, p);
        let mut place = 0;
        for j in 0..p {
            for i in j..p {
                h[(i, j)] = gram[place] * scale[i] * scale[j];
                place += 1;
            }
            if self.prior[j].is_some() {
                h[(j, j)] += 1.0;
            }
        }
        let factor = Cholesky::new(h)?;
        let log_h: f64 = 2.0
            * factor
                .l_dirty()
                .diagonal()
                .iter()
                .map(|d| d.ln())
                .sum::<f64>();
        let right = right.component_mul(&scale);
        let scaled = factor.solve(&right);
        let explained = right.dot(&scaled);
        let likelihood = -0.5 * (log_v + log_h + square - explained);
        let log = likelihood + belief.log(logs);
        log.is_finite().then_some(Solved {
            log,
            scale,
            factor,
            scaled,
        })
    }

    /// The deviation each unknown is counted in.
    fn scale(&self, scatter: &Scatter) -> DVector<f64> {
        let supports = self.layout.supports;
        let own = self.prior.iter().enumerate().map(|(index, prior)| {
            let tau = if index < supports { scatter.tau } else { 1.0 };
            prior.unwrap_or(1.0) * tau
        });
        DVector::from_iterator(self.prior.len(), own)
    }
}
