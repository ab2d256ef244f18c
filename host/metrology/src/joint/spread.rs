//! Covariances of all unknowns from what was reduced to the supports.
//!
//! With C the supports' covariance, F = A^-1 B', the others' is
//! `A^-1 + F C F'` and that between them `-F C`. A sum over several C of one
//! reduction is therefore as cheap as one.

use nalgebra::DMatrix;

use super::gram::{Folded, Shape};
use super::reduction::{Reduced, Smooth};
use super::rows::{Rows, add, combine, dot, scale};

/// A covariance of all unknowns.
#[derive(Debug, Clone)]
pub(super) struct Spread {
    /// Without the zeros' own part; with both triangles of the others'.
    folded: Folded,
    /// The zeros' own part, from the diagonal on.
    zeros: Rows,
}

/// What several roughnesses make of the unknowns under one reduction.
pub(super) struct Mixed {
    /// Sum of the weights.
    pub(super) weight: f64,
    /// Weighted mean of the unknowns.
    pub(super) mean: Vec<f64>,
    /// Their covariance times the sum of the weights.
    pub(super) spread: Spread,
}

impl Mixed {
    pub(super) fn new(reduced: &Reduced, votes: &[(f64, &Smooth)]) -> Self {
        Self::reaching(reduced, votes, reduced.factor.shape.zeros)
    }

    /// With the covariances of zeros that are no further apart than `reach`.
    pub(super) fn reaching(reduced: &Reduced, votes: &[(f64, &Smooth)], reach: usize) -> Self {
        let n = reduced.factor.shape.supports;
        let weight: f64 = votes.iter().map(|vote| vote.0).sum();
        let mut turned = vec![0.0; n];
        for (share, smooth) in votes {
            add(&mut turned, share / weight, &smooth.turned);
        }
        // Upper triangles first, of the inverses and of what the means spread.
        let mut all = Rows::new(n, n);
        for (weight, smooth) in votes {
            smooth.shifted.add_inverse(&mut all, *weight);
        }
        if votes.len() > 1 {
            for (weight, smooth) in votes {
                let off = smooth.turned.iter().zip(&turned);
                let off: Vec<f64> = off.map(|(one, mean)| one - mean).collect();
                for i in 0..n {
                    add(&mut all.row_mut(i)[i..n], weight * off[i], &off[i..]);
                }
            }
        }
        all.mirror(n);
        let of_supports = reduced.supports.square_turned_back(&all);
        Self {
            weight,
            mean: reduced.unknowns(&turned),
            spread: Spread::new(&reduced.factor, &of_supports, weight, reach),
        }
    }
}

impl Spread {
    /// From the supports' part and the weight of A^-1.
    fn new(factor: &Folded, of_supports: &Rows, weight: f64, reach: usize) -> Self {
        let shape = factor.shape;
        let (rest, n, others) = (shape.rest, shape.supports, shape.others());
        let mut folded = Folded::new(shape);
        // A row of the inverse of the factor's triangle and one of F for each
        // of the rest: both solve the same equations, from below.
        let mut solved = Rows::new(rest, others);
        let mut factors = Vec::with_capacity(others);
        for i in (0..rest).rev() {
            let row = &factor.others.row(i)[..others];
            let (here, after) = solved.with_those_after(i);
            here.as_flattened_mut()[i] = 1.0;
            here.as_flattened_mut()[rest..others].copy_from_slice(&row[rest..]);
            factors.clear();
            factors.extend(row[i + 1..rest].iter().map(|one| -one));
            combine(here, i, after, &factors);
            scale(&mut here.as_flattened_mut()[i..], 1.0 / row[i]);
        }
        for i in 0..n {
            let place = &mut folded.others.row_mut(rest + i)[rest..others];
            place.copy_from_slice(&of_supports.row(i)[..n]);
        }
        let mut between = Rows::new(1, n);
        let mut left = vec![0.0; others];
        for i in 0..rest {
            let (inverse, f) = solved.row(i)[..others].split_at(rest);
            factors.clear();
            factors.extend(f.iter().map(|one| -one));
            between.row_mut(0).fill(0.0);
            combine(&mut between.blocks, 0, &of_supports.blocks, &factors);
            let between = &between.row(0)[..n];
            // A^-1 and F C F' in one product.
            let left_inverse = left.iter_mut().zip(inverse);
            left_inverse.for_each(|(left, one)| *left = weight * one);
            left[rest..].copy_from_slice(between);
            left[rest..].iter_mut().for_each(|one| *one = -*one);
            let row = folded.others.row_mut(i);
            for (j, place) in row[..rest].iter_mut().enumerate().skip(i) {
                *place = dot(&left[j..], &solved.row(j)[j..others]);
            }
            row[rest..others].copy_from_slice(between);
        }
        folded.others.mirror(others);
        let mut out = Self {
            folded,
            zeros: Rows::new(shape.zeros, shape.zeros),
        };
        out.fill_zeros(factor, weight, reach);
        out
    }

    /// The zeros' part, from the others'.
    fn fill_zeros(&mut self, factor: &Folded, weight: f64, reach: usize) {
        let (zeros, others) = (factor.shape.zeros, factor.shape.others());
        let (roots, beside) = (factor.band.row(0), factor.band.row(1));
        // E: what the zeros make of the others; the band solved from below.
        let mut e = factor.across.clone();
        let mut alone = vec![0.0; zeros];
        let mut factors = Vec::with_capacity(others);
        for k in (0..zeros).rev() {
            let (row, after) = e.with_those_after(k);
            if k + 1 < zeros {
                combine(row, 0, &after[..row.len()], &[-beside[k]]);
            }
            let row = row.as_flattened_mut();
            scale(row, 1.0 / roots[k]);
            factors.clear();
            factors.extend(row[..others].iter().map(|one| -one));
            let (_, across) = self.folded.across.with_those_before(k);
            combine(across, 0, &self.folded.others.blocks, &factors);
        }
        for k in (0..zeros).rev() {
            let below = beside[k] / roots[k];
            let after = alone.get(k + 1).copied().unwrap_or(0.0);
            alone[k + 1..].iter_mut().for_each(|one| *one *= -below);
            alone[k] = weight / (roots[k] * roots[k]) + below * below * after;
            let across = &self.folded.across.row(k)[..others];
            let near = alone.iter().enumerate().skip(k).take(reach + 1);
            for (j, alone) in near {
                self.zeros.row_mut(k)[j] = alone - dot(across, &e.row(j)[..others]);
            }
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        let parts = [
            (&mut self.folded.across, &other.folded.across),
            (&mut self.folded.others, &other.folded.others),
            (&mut self.zeros, &other.zeros),
        ];
        for (sum, one) in parts {
            let numbers = one.blocks.as_flattened();
            add(sum.blocks.as_flattened_mut(), 1.0, numbers);
        }
    }

    /// Adds `weight` times the square of `x`.
    pub(super) fn add_square(&mut self, weight: f64, x: &[f64]) {
        let (of_zeros, of_others) = x.split_at(self.folded.shape.zeros);
        for (k, x) in of_zeros.iter().enumerate() {
            add(self.zeros.row_mut(k), weight * x, of_zeros);
            add(self.folded.across.row_mut(k), weight * x, of_others);
        }
        for (i, x) in of_others.iter().enumerate() {
            add(self.folded.others.row_mut(i), weight * x, of_others);
        }
    }

    /// x' times the matrix times x.
    pub(super) fn product(&self, x: &[f64]) -> f64 {
        let (of_zeros, of_others) = x.split_at(self.folded.shape.zeros);
        let mut sum = 0.0;
        for (k, factor) in of_zeros.iter().enumerate() {
            let row = &self.zeros.row(k)[..of_zeros.len()];
            let beside = dot(&row[k + 1..], &of_zeros[k + 1..]);
            let others = &self.folded.across.row(k)[..of_others.len()];
            sum += factor * (row[k] * factor + 2.0 * (beside + dot(others, of_others)));
        }
        for (i, factor) in of_others.iter().enumerate() {
            let row = &self.folded.others.row(i)[..of_others.len()];
            sum += factor * dot(row, of_others);
        }
        sum
    }

    /// What captures can ask for: without zeros that no capture sees at once.
    pub(super) fn folded(mut self) -> Folded {
        for k in 0..self.folded.shape.zeros {
            let row = self.zeros.row(k);
            let next = row.get(k + 1).copied().unwrap_or(0.0);
            self.folded.band.row_mut(0)[k] = row[k];
            self.folded.band.row_mut(1)[k] = next;
        }
        self.folded
    }

    /// The whole matrix.
    pub(super) fn matrix(&self) -> DMatrix<f64> {
        let Shape { zeros, .. } = self.folded.shape;
        let p = self.folded.shape.len();
        DMatrix::from_fn(p, p, |i, j| {
            let (i, j) = (i.min(j), i.max(j));
            match (i.checked_sub(zeros), j.checked_sub(zeros)) {
                (Some(i), Some(j)) => self.folded.others.row(i)[j],
                (None, Some(j)) => self.folded.across.row(i)[j],
                _ => self.zeros.row(i)[j],
            }
        })
    }
}
