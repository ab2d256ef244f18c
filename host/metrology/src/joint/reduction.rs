//! The normal equations brought down to the supports of the curve.
//!
//! Only the supports' prior depends on the roughness tau. All else is
//! eliminated once for a scatter of the captures; what is left, brought to
//! three diagonals, gives likelihood and unknowns for any tau at once. With
//! the matrix of all unknowns, priors included,
//!
//! ```text
//! [ A  B' ]                                              K = K0 - B A^-1 B'
//! [ B  K0 + 1 / tau^2 ]      log |.| = log |A| + log |K + 1 / tau^2|
//! ```

use super::gram::Folded;
use super::rows::{Rows, combine, dot, scale};
use super::tridiagonal::{Shifted, Tridiagonal};

/// What is left, and the way back.
#[derive(Debug, Clone)]
pub(super) struct Reduced {
    /// Upper factor of A with its rows over the supports and, in the last
    /// place, the right side taken through it.
    pub(super) factor: Folded,
    /// The zeros' part of that right side.
    forward: Vec<f64>,
    pub(super) supports: Tridiagonal,
    /// The supports' right side, in the basis of the three diagonals.
    right: Vec<f64>,
    log_a: f64,
    explained: f64,
    /// Least share of its own information that an unknown without a prior
    /// keeps beside those eliminated before it.
    pub(super) kept: f64,
}

/// The supports under one roughness.
pub(super) struct Smooth {
    /// 1 / tau squared.
    pub(super) c: f64,
    pub(super) shifted: Shifted,
    /// The supports' unknowns, in the basis of the three diagonals.
    pub(super) turned: Vec<f64>,
    /// Twice the log of likelihood that depends on the unknowns:
    /// `b' H^-1 b - log |H|`, H counted in the supports' prior deviations.
    pub(super) gain: f64,
}

impl Smooth {
    /// Slope of the log of likelihood over the log of tau.
    pub(super) fn slope(&self) -> f64 {
        let square: f64 = self.turned.iter().map(|one| one * one).sum();
        self.c * (square + self.shifted.trace()) - self.turned.len() as f64
    }
}

impl Reduced {
    /// From the matrix without the supports' prior and the right side; `open`
    /// tells which unknowns have no prior. `None` when something is not
    /// determined at all.
    pub(super) fn new(
        mut m: Folded,
        mut right: Vec<f64>,
        open: impl Fn(usize) -> bool,
    ) -> Option<Self> {
        let shape = m.shape;
        let (zeros, rest, others) = (shape.zeros, shape.rest, shape.others());
        for (other, right) in right.split_off(zeros).into_iter().enumerate() {
            m.others.row_mut(other)[others] = right;
        }
        let mut log_a = 0.0;
        let mut explained = 0.0;
        let mut kept: f64 = 1.0;
        let mut pivot = |index: usize, own: f64, left: f64| {
            let root = (left > 0.0 && left.is_finite()).then(|| left.sqrt())?;
            kept = kept.min(if open(index) { left / own } else { 1.0 });
            log_a += left.ln();
            Some(root)
        };
        // The zeros: each is coupled to the next alone.
        let mut before = 0.0;
        for k in 0..zeros {
            let own = m.band.row(0)[k];
            let root = pivot(k, own, own - before * before)?;
            let (above, row) = m.across.with_those_before(k);
            if k > 0 {
                let last = &above[above.len() - row.len()..];
                combine(row, 0, last, &[-before]);
                right[k] -= before * right[k - 1];
            }
            let row = row.as_flattened_mut();
            scale(row, 1.0 / root);
            right[k] /= root;
            row[others] = right[k];
            explained += right[k] * right[k];
            before = m.band.row(1)[k] / root;
            m.band.row_mut(0)[k] = root;
            m.band.row_mut(1)[k] = before;
        }
        let mut factors = Vec::with_capacity(zeros.max(rest));
        for i in 0..others {
            let (above, row) = m.others.with_those_before(i);
            let own = row.as_flattened()[i];
            for (rows, count) in [(&m.across.blocks[..], zeros), (above, i.min(rest))] {
                factors.clear();
                let column = rows.chunks_exact(row.len().max(1)).take(count);
                factors.extend(column.map(|above| -above.as_flattened()[i]));
                combine(row, i, rows, &factors);
            }
            if i < rest {
                let row = row.as_flattened_mut();
                let root = pivot(zeros + i, own, row[i])?;
                scale(&mut row[i..], 1.0 / root);
                row[i] = root;
                explained += row[others] * row[others];
            }
        }
        let mut full = Rows::new(shape.supports, shape.supports);
        let mut k = Vec::with_capacity(shape.supports);
        for i in 0..shape.supports {
            let row = m.others.row(rest + i);
            full.row_mut(i)[i..shape.supports].copy_from_slice(&row[rest + i..others]);
            k.push(row[others]);
        }
        full.mirror(shape.supports);
        let supports = Tridiagonal::new(full, shape.supports);
        supports.turn(&mut k);
        Some(Self {
            factor: m,
            forward: right,
            supports,
            right: k,
            log_a,
            explained,
            kept,
        })
    }

    /// The supports under a roughness.
    pub(super) fn smooth(&self, tau: f64) -> Smooth {
        let c = tau.powi(-2);
        let shifted = self.supports.shifted(c);
        let (turned, product) = shifted.solve(&self.right);
        Smooth {
            c,
            gain: self.explained + product - self.log_a - shifted.log_per(c),
            shifted,
            turned,
        }
    }

    /// All unknowns that go with these of the supports, which are given in the
    /// basis of the three diagonals.
    pub(super) fn unknowns(&self, turned: &[f64]) -> Vec<f64> {
        let shape = self.factor.shape;
        let (zeros, rest, others) = (shape.zeros, shape.rest, shape.others());
        let mut x = self.forward.clone();
        x.resize(zeros + rest, 0.0);
        x.extend_from_slice(turned);
        self.supports.turn_back(&mut x[zeros + rest..]);
        for i in (0..rest).rev() {
            let row = self.factor.others.row(i);
            let after = dot(&row[i + 1..others], &x[zeros + i + 1..]);
            x[zeros + i] = (row[others] - after) / row[i];
        }
        for k in (0..zeros).rev() {
            let mut after = dot(&self.factor.across.row(k)[..others], &x[zeros..]);
            if k + 1 < zeros {
                after += self.factor.band.row(1)[k] * x[k + 1];
            }
            x[k] = (x[k] - after) / self.factor.band.row(0)[k];
        }
        x
    }
}
