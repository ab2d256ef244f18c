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
//! [`Reduced`] solves this for all roughnesses at once. The slope over a size
//! of the variance v, with C the unknowns' covariance and r what they leave of
//! a capture, is
//!
//! ```text
//! d log L = 1/2 sum [ (r_i^2 + d_i' C d_i) / v_i - 1 ] d log v_i
//! ```
//!
//! Source: H. D. Patterson, R. Thompson, "Recovery of inter-block information
//! when block sizes are unequal", Biometrika 58 (1971); the form for mixed
//! models from memory.

use nalgebra::{DMatrix, DVector, Vector3};

use super::design::Design;
use super::reduction::{Reduced, Smooth};
use super::spread::Mixed;

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

    fn slope(&self, k: usize, at: f64) -> f64 {
        (self.centre[k] - at) / self.spread[k].powi(2)
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

/// The problem under what the captures scatter, for any roughness.
pub(super) struct Captured {
    pub(super) reduced: Reduced,
    /// What of minus twice the log does not depend on the roughness.
    loss: f64,
    /// Logs of own and share.
    pub(super) logs: [f64; 2],
}

/// The unknowns under one scatter.
pub(super) struct Solved {
    /// Log of restricted likelihood times belief.
    pub(super) log: f64,
    pub(super) reduced: Reduced,
    smooth: Smooth,
}

impl Solved {
    /// The unknowns.
    pub(super) fn values(&self, design: &Design) -> DVector<f64> {
        let from_start = self.reduced.unknowns(&self.smooth.turned);
        &design.start + DVector::from_vec(from_start)
    }

    /// Their covariance.
    pub(super) fn covariance(&self) -> DMatrix<f64> {
        let mixed = Mixed::new(&self.reduced, &[(1.0, &self.smooth)]);
        mixed.spread.matrix()
    }
}

impl Captured {
    /// The supports under this log of tau, and the log of restricted
    /// likelihood times belief; `None` when the arithmetic gives out.
    pub(super) fn at(&self, belief: &Belief, tau: f64) -> Option<(f64, Smooth)> {
        let smooth = self.reduced.smooth(tau.exp());
        let [own, share] = self.logs;
        let log = 0.5 * (smooth.gain - self.loss) + belief.log([tau, own, share]);
        log.is_finite().then_some((log, smooth))
    }
}

impl Design {
    /// Variance of a capture of this load.
    pub(super) fn variance(&self, scatter: &Scatter, load: f64) -> f64 {
        self.converter_var + scatter.own.powi(2) + (scatter.share * load).powi(2)
    }

    /// Solves for all but the supports, under these logs of own and share;
    /// `None` when the arithmetic gives out.
    pub(super) fn captured(&self, logs: [f64; 2], doubts: &[Doubt]) -> Option<Captured> {
        let scatter = Scatter::of([0.0, logs[0], logs[1]]);
        let v = self.groups.iter();
        let v: Vec<f64> = v.map(|group| self.variance(&scatter, group.load)).collect();
        let weights: Vec<f64> = v.iter().map(|v| 1.0 / v).collect();
        let mut matrix = self.grams.weighted(&weights);
        let mut right = vec![0.0; self.layout.len()];
        let mut loss = 0.0;
        for ((group, v), weight) in self.groups.iter().zip(&v).zip(&weights) {
            loss += group.captures as f64 * v.ln() + group.square * weight;
            for (sum, one) in right.iter_mut().zip(&group.right) {
                *sum += weight * one;
            }
        }
        let mut prior = self.prior[..self.layout.first_support()].to_vec();
        for doubt in doubts {
            match *doubt {
                Doubt::Body(body, sd) => prior[self.layout.body(body)] = Some(sd),
                Doubt::Capture(index, sd) => {
                    let v = self.variance(&scatter, self.stated[index]);
                    let wide = v + sd * sd;
                    let less = 1.0 / wide - 1.0 / v;
                    let left = self.left(index);
                    loss += wide.ln() - v.ln() + less * left * left;
                    let row = self.capture(index);
                    for (sum, one) in right.iter_mut().zip(&row) {
                        *sum += less * left * one;
                    }
                    matrix.add_square(less, &row);
                }
            }
        }
        for (index, prior) in prior.iter().enumerate() {
            if let Some(sd) = prior {
                *matrix.diagonal_mut(index) += 1.0 / (sd * sd);
                loss += 2.0 * sd.ln();
            }
        }
        let reduced = Reduced::new(matrix, right, |index| prior[index].is_none())?;
        Some(Captured {
            reduced,
            loss,
            logs,
        })
    }

    /// Solves for the unknowns under a scatter; `None` when the arithmetic
    /// gives out.
    pub(super) fn solve(&self, belief: &Belief, logs: Logs, doubts: &[Doubt]) -> Option<Solved> {
        let captured = self.captured([logs[1], logs[2]], doubts)?;
        let (log, smooth) = captured.at(belief, logs[0])?;
        Some(Solved {
            log,
            reduced: captured.reduced,
            smooth,
        })
    }

    /// Slopes of the log over the logs of the scatter.
    pub(super) fn slopes(
        &self,
        belief: &Belief,
        captured: &Captured,
        (tau, smooth): (f64, &Smooth),
        doubts: &[Doubt],
    ) -> Vector3<f64> {
        // No capture sees more than two zeros next to each other.
        let mut mixed = Mixed::reaching(&captured.reduced, &[(1.0, smooth)], 1);
        mixed.spread.add_square(1.0, &mixed.mean);
        let mean = DVector::from_vec(mixed.mean);
        // Of each capture the square of what is left, and of how well that is known.
        let doubted: Vec<f64> = doubts
            .iter()
            .map(|doubt| match doubt {
                Doubt::Capture(index, _) => mixed.spread.product(self.capture(*index).as_slice()),
                Doubt::Body(..) => 0.0,
            })
            .collect();
        let squares = self.grams.against(mixed.spread.folded());
        let [own, share] = captured.logs;
        let scatter = Scatter::of([tau, own, share]);
        let believed = Vector3::from_fn(|k, _| belief.slope(k, [tau, own, share][k]));
        let mut slopes = Vector3::new(smooth.slope(), 0.0, 0.0) + believed;
        let mut add = |load: f64, per: f64| {
            slopes[1] += scatter.own.powi(2) * per;
            slopes[2] += (scatter.share * load).powi(2) * per;
        };
        for (group, square) in self.groups.iter().zip(&squares) {
            let v = self.variance(&scatter, group.load);
            let square = square - 2.0 * mean.dot(&group.right) + group.square;
            add(group.load, (square / v - group.captures as f64) / v);
        }
        for (doubt, product) in doubts.iter().zip(doubted) {
            if let Doubt::Capture(index, sd) = *doubt {
                let load = self.stated[index];
                let row = self.capture(index);
                let left = self.left(index);
                let square = product - 2.0 * left * row.dot(&mean) + left * left;
                let v = self.variance(&scatter, load);
                let wide = v + sd * sd;
                add(load, (square / wide - 1.0) / wide - (square / v - 1.0) / v);
            }
        }
        slopes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::joint::posterior::prepared;

    #[test]
    fn slopes_are_those_of_the_log() {
        let problem = crate::joint::sample::session();
        let (design, belief) = prepared(&problem).expect("whole");
        let doubts = [Doubt::Capture(4, 3e-4), Doubt::Body(1, 2e-4)];
        for doubts in [&doubts[..0], &doubts[..1], &doubts] {
            let at = [-4.0, -10.5, -9.0];
            let captured = design.captured([at[1], at[2]], doubts).expect("solved");
            let (_, smooth) = captured.at(&belief, at[0]).expect("solved");
            let slopes = design.slopes(&belief, &captured, (at[0], &smooth), doubts);
            for k in 0..3 {
                let log = |step: f64| {
                    let mut moved = at;
                    moved[k] += step;
                    let solved = design.solve(&belief, moved, doubts);
                    solved.expect("solved").log
                };
                let found = (log(1e-4) - log(-1e-4)) / 2e-4;
                let off = (slopes[k] - found).abs();
                assert!(off < 1e-6 * found.abs().max(1.0), "{k}: {slopes} {found}");
            }
        }
    }
}
