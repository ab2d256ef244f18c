//! The curve as unknowns: a parabola through zero and masses at fixed counts.
//!
//! The departure g of the curve from its parabola has a third derivative of
//! white noise (the prior on the change of curvature; [`crate::fit::smooth`]
//! says why the third). Its values at the support counts are the unknowns, in
//! the whitened form `g = tau L u` with `L L' = k(support, support)`; between
//! supports g is what the prior makes of them, and what it leaves open there is
//! added to the variance.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::fit::penalised::covariance;

/// Supports closer than this share of the range are one: below it the prior
/// ties them together to far less than a scale can show.
const APART: f64 = 0.01;

/// Most supports; the closest are joined first.
const MOST: usize = 32;

/// The supports, in shares of the highest counts.
#[derive(Debug, Clone)]
pub(crate) struct Basis {
    pub(crate) at: Vec<f64>,
    factor: Cholesky<f64, Dyn>,
    /// Net counts that stand for 1.
    pub(crate) unit_counts: f64,
}

/// The curve at one place as a sum over its unknowns.
#[derive(Debug, Clone)]
pub(crate) struct Place {
    /// Factors of the two coefficients of the parabola.
    pub(crate) parabola: [f64; 2],
    /// Factors of u, for tau = 1.
    pub(crate) smooth: DVector<f64>,
    /// Variance of g that the supports leave open here, for tau = 1.
    pub(crate) left: f64,
}

impl Basis {
    /// Supports for curves seen at these net counts; `None` without counts
    /// above zero.
    pub(crate) fn new(counts: &[f64]) -> Option<Self> {
        let unit_counts = highest(counts)?;
        let mut at: Vec<f64> = counts
            .iter()
            .map(|counts| counts / unit_counts)
            .filter(|at| *at > APART)
            .collect();
        at.sort_by(f64::total_cmp);
        let mut joined: Vec<(f64, usize)> = Vec::new();
        for place in at {
            match joined.last_mut() {
                Some((mean, count)) if place - *mean <= APART => {
                    *mean += (place - *mean) / (*count + 1) as f64;
                    *count += 1;
                }
                _ => joined.push((place, 1)),
            }
        }
        let mut at: Vec<f64> = joined.into_iter().map(|one| one.0).collect();
        while at.len() > MOST {
            let gap = |i: &usize| at[*i + 1] - at[*i];
            let closest = (0..at.len() - 1).min_by(|a, b| gap(a).total_cmp(&gap(b)))?;
            at[closest] = 0.5 * (at[closest] + at[closest + 1]);
            at.remove(closest + 1);
        }
        Self::at(at, unit_counts)
    }

    /// No supports: a curve that is nothing but a parabola.
    pub(crate) fn without_supports(counts: &[f64]) -> Option<Self> {
        Self::at(Vec::new(), highest(counts)?)
    }

    /// So many supports spaced evenly, counts being shares.
    pub(crate) fn even(supports: usize) -> Option<Self> {
        let at = (1..=supports).map(|i| i as f64 / supports as f64);
        Self::at(at.collect(), 1.0)
    }

    fn at(at: Vec<f64>, unit_counts: f64) -> Option<Self> {
        let n = at.len();
        let kernel = DMatrix::from_fn(n, n, |i, j| covariance(at[i], at[j]));
        let factor = Cholesky::new(kernel)?;
        Some(Self {
            at,
            factor,
            unit_counts,
        })
    }

    /// The curve at these net counts.
    pub(crate) fn place(&self, net_counts: f64) -> Place {
        let t = net_counts / self.unit_counts;
        let mut smooth = DVector::from_iterator(
            self.at.len(),
            self.at.iter().map(|support| covariance(*support, t)),
        );
        self.factor
            .l_dirty()
            .solve_lower_triangular_mut(&mut smooth);
        let left = (covariance(t, t) - smooth.norm_squared()).max(0.0);
        Place {
            parabola: [t, t * t],
            smooth,
            left,
        }
    }
}

/// The highest counts, if above zero.
fn highest(counts: &[f64]) -> Option<f64> {
    let highest = counts.iter().copied().fold(0.0, f64::max);
    (highest.is_finite() && highest > 0.0).then_some(highest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_a_support_nothing_is_left_open_and_between_them_little() {
        let counts: Vec<f64> = (1..=8).map(|i| f64::from(i) * 1e5).collect();
        let basis = Basis::new(&counts).expect("counts above zero");
        assert!(basis.place(3e5).left < 1e-15);
        let between = basis.place(3.5e5).left.sqrt();
        let whole = covariance(0.5, 0.5).sqrt();
        assert!(between > 0.0 && between < 0.01 * whole, "{between} {whole}");
    }

    #[test]
    fn many_loads_are_joined_to_as_many_supports_as_there_is_room_for() {
        let counts: Vec<f64> = (1..=90).map(|i| f64::from(i) * 1e4).collect();
        let basis = Basis::new(&counts).expect("counts above zero");
        assert_eq!(basis.at.len(), MOST);
        assert!(basis.at.windows(2).all(|pair| pair[1] > pair[0]));
        assert!(Basis::new(&[0.0, -3.0]).is_none());
        assert!(Basis::new(&[f64::NAN]).is_none());
    }
}
