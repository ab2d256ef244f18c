//! What is known of curve and weights after each load, as a covariance that
//! every load narrows.
//!
//! A capture of variance v with the factors r over the unknowns narrows their
//! covariance C to `C - C r r' C / (v + r' C r)` (the recursive form of least
//! squares; C. F. Gauss, Theoria combinationis, supplement, art. 35, from
//! memory).

use nalgebra::{DMatrix, DVector};

use crate::joint::apart::{Pair, alone, beside};
use crate::joint::basis::Basis;
use crate::joint::{Grade, Problem};

use crate::joint::loads::Load;

/// Supports of the curve in a plan, and places at which it is judged.
const SUPPORTS: usize = 14;
const PLACES: usize = 12;

/// What is thought of a cell and of a substitution load beforehand: wide, yet
/// not open, so that a load that tells of two unknowns at once is worth
/// something before the other has been seen. In parts of Max, the last as a
/// share of the load's rough mass.
const SLOPE: f64 = 0.3;
const BEND: f64 = 0.03;
const ROUGHLY: f64 = 0.1;

/// What another body on the pan costs, as a share of a load's gain.
const HANDLING: f64 = 0.02;

/// The state of knowledge.
pub(super) struct Knowledge {
    basis: Basis,
    covariance: DMatrix<f64>,
    /// Factors of the curve at the places, each divided by the permissible
    /// error there.
    places: DMatrix<f64>,
    /// `places` times covariance.
    seen: DMatrix<f64>,
    grade: Grade,
    max_g: f64,
    masses_g: Vec<f64>,
    /// Bodies that may be wrong.
    rivals: Vec<usize>,
    /// Variance of each body before any capture, in parts of Max; `None` where
    /// nothing is known.
    prior: Vec<Option<f64>>,
}

impl Knowledge {
    /// Before any capture. `permissible_g` is the error the scale may have.
    pub(super) fn new(
        problem: &Problem,
        grade: Grade,
        permissible_g: impl Fn(f64) -> f64,
    ) -> Option<Self> {
        let even = |of: usize| (1..=of).map(move |i| i as f64 / of as f64);
        let basis = Basis::even(SUPPORTS)?;
        let p = SUPPORTS + 2 + problem.bodies.len();
        let prior: Vec<Option<f64>> = problem
            .bodies
            .iter()
            .map(|body| Some((body.worth.u_g()? / problem.max_g).powi(2)))
            .collect();
        let mut variance = DVector::zeros(p);
        let rough = grade.scatter.tau.powi(2);
        variance.rows_mut(0, SUPPORTS).fill(rough);
        variance[SUPPORTS] = SLOPE * SLOPE;
        variance[SUPPORTS + 1] = BEND * BEND;
        for (index, (known, body)) in prior.iter().zip(&problem.bodies).enumerate() {
            let roughly = ROUGHLY * body.mass_g / problem.max_g;
            variance[SUPPORTS + 2 + index] = known.unwrap_or(roughly * roughly);
        }
        let covariance = DMatrix::from_diagonal(&variance);
        let mut places = DMatrix::zeros(PLACES, p);
        for (index, share) in even(PLACES).enumerate() {
            let place = basis.place(share);
            let per = problem.max_g / permissible_g(share * problem.max_g);
            for (column, factor) in place.smooth.iter().chain(&place.parabola).enumerate() {
                places[(index, column)] = factor * per;
            }
        }
        let seen = &places * &covariance;
        Some(Self {
            basis,
            covariance,
            places,
            seen,
            grade,
            max_g: problem.max_g,
            rivals: problem.rivals(usize::MAX).collect(),
            masses_g: problem.bodies.iter().map(|body| body.mass_g).collect(),
            prior,
        })
    }

    fn row(&self, choice: &Load) -> DVector<f64> {
        let mut row = DVector::zeros(self.covariance.nrows());
        let place = self.basis.place(choice.mass_g / self.max_g);
        for (column, factor) in place.smooth.iter().chain(&place.parabola).enumerate() {
            row[column] = *factor;
        }
        for body in &choice.bodies {
            row[SUPPORTS + 2 + body] = -1.0;
        }
        row
    }

    fn variance(&self, choice: &Load) -> f64 {
        let scatter = &self.grade.scatter;
        let share = scatter.share * choice.mass_g / self.max_g;
        let converter = self.grade.converter_g / self.max_g;
        // The zero it is counted from scatters as well.
        2.0 * (scatter.own.powi(2) + converter.powi(2)) + share * share
    }

    /// How much a load would lower the variances of the curve, in permissible
    /// errors squared.
    pub(super) fn gain_for_the_curve(&self, choice: &Load) -> f64 {
        let row = self.row(choice);
        let reaches = &self.seen * &row;
        let spread = (&self.covariance * &row).dot(&row);
        let gain = reaches.norm_squared() / (self.variance(choice) + spread);
        gain * (1.0 - HANDLING * choice.bodies.len() as f64)
    }

    /// Takes a load's capture in.
    pub(super) fn learn(&mut self, choice: &Load) {
        let row = self.row(choice);
        let reach = &self.covariance * &row;
        let all = self.variance(choice) + reach.dot(&row);
        self.covariance.ger(-1.0 / all, &reach, &reach, 1.0);
        self.seen = &self.places * &self.covariance;
    }

    /// Takes a load's capture out again.
    pub(super) fn forget(&mut self, choice: &Load) {
        let row = self.row(choice);
        let reach = &self.covariance * &row;
        let all = self.variance(choice) - reach.dot(&row);
        if all > 0.0 {
            self.covariance.ger(1.0 / all, &reach, &reach, 1.0);
            self.seen = &self.places * &self.covariance;
        }
    }

    /// By how much the weights that may be wrong are less well told apart by the
    /// captures alone than `least_g`, summed up, g.
    pub(super) fn unclear_weights(&self, least_g: f64) -> f64 {
        self.unclear(least_g, &|i, j| self.covariance[(i, j)])
    }

    /// How much a load would lower that, g.
    pub(super) fn gain_for_weights(&self, choice: &Load, least_g: f64) -> f64 {
        let row = self.row(choice);
        let reach = &self.covariance * &row;
        let all = self.variance(choice) + reach.dot(&row);
        let after = self.unclear(least_g, &|i, j| {
            self.covariance[(i, j)] - reach[i] * reach[j] / all
        });
        let gain = self.unclear_weights(least_g) - after;
        gain * (1.0 - HANDLING * choice.bodies.len() as f64)
    }

    fn unclear(&self, least_g: f64, covariance: &dyn Fn(usize, usize) -> f64) -> f64 {
        let at = |body: usize| SUPPORTS + 2 + body;
        let each = self.rivals.iter().map(|body| {
            let own = covariance(at(*body), at(*body));
            let stated = |body: usize| self.prior.get(body).copied().flatten();
            let others = self.rivals.iter().filter(|other| *other != body);
            let worst = others.map(|other| {
                beside(Pair {
                    own,
                    other: covariance(at(*other), at(*other)),
                    both: covariance(at(*body), at(*other)),
                    own_stated: stated(*body),
                    other_stated: stated(*other),
                })
            });
            let variance = worst.fold(alone(own, stated(*body)), f64::max);
            let mass_g = self.masses_g.get(*body).copied().unwrap_or(0.0);
            // What isn't told at all is no worse than the weight itself.
            let alone_g = (variance.sqrt() * self.max_g).min(mass_g);
            (alone_g - least_g).max(0.0)
        });
        each.sum()
    }
}
