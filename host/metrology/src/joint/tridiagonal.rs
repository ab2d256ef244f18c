//! A symmetric matrix as `Q T Q'` with T of three diagonals, so that
//! `(matrix + c 1)^-1` costs next to nothing for any number of c.
//!
//! By reflections (A. S. Householder, J. ACM 5 (1958), 339).

use super::rows::{Rows, add, combine, dot};

/// The three diagonals, and the reflections that make them.
#[derive(Debug, Clone)]
pub(super) struct Tridiagonal {
    diagonal: Vec<f64>,
    beside: Vec<f64>,
    /// Reflection `i` is `1 - factor v v'`; v is nought up to place `i`.
    factors: Vec<f64>,
    reflections: Rows,
}

/// T + c 1 as `L D L'`.
pub(super) struct Shifted {
    pivots: Vec<f64>,
    /// Below the diagonal of L.
    below: Vec<f64>,
}

impl Tridiagonal {
    /// Of a matrix of this size with both triangles.
    pub(super) fn new(mut full: Rows, n: usize) -> Self {
        let mut reflections = Rows::new(n.saturating_sub(2), n);
        let mut factors = Vec::with_capacity(n);
        let mut beside = Vec::with_capacity(n);
        let mut image = Rows::new(1, n);
        for k in 0..n.saturating_sub(2) {
            let first = k + 1;
            let v = reflections.row_mut(k);
            v[first..n].copy_from_slice(&full.row(k)[first..n]);
            let tail = dot(&v[first + 1..], &v[first + 1..]);
            if tail <= 0.0 {
                beside.push(v[first]);
                factors.push(0.0);
                continue;
            }
            let length = (tail + v[first] * v[first]).sqrt();
            let side = if v[first] < 0.0 { -length } else { length };
            beside.push(-side);
            v[first] += side;
            let factor = 2.0 / (tail + v[first] * v[first]);
            factors.push(factor);
            // A - v w' - w v', w = factor A v less its part along v.
            image.row_mut(0).fill(0.0);
            let below = &full.blocks[first * full.stride..];
            combine(&mut image.blocks, first, below, &v[first..n]);
            let image = image.row_mut(0);
            image.iter_mut().for_each(|one| *one *= factor);
            let along = 0.5 * factor * dot(&image[first..], &v[first..]);
            add(image, -along, v);
            let from = first / super::rows::BLOCK * super::rows::BLOCK;
            for i in first..n {
                let row = full.row_mut(i)[from..].iter_mut();
                let (vi, wi) = (v[i], image[i]);
                for (a, (w, v)) in row.zip(image[from..].iter().zip(&v[from..])) {
                    *a -= vi * w + wi * v;
                }
            }
        }
        if n >= 2 {
            beside.push(full.row(n - 2)[n - 1]);
        }
        Self {
            diagonal: (0..n).map(|i| full.row(i)[i]).collect(),
            beside,
            factors,
            reflections,
        }
    }

    /// Q' x.
    pub(super) fn turn(&self, x: &mut [f64]) {
        for (k, factor) in self.factors.iter().enumerate() {
            self.reflect(k, *factor, x);
        }
    }

    /// Q x.
    pub(super) fn turn_back(&self, x: &mut [f64]) {
        for (k, factor) in self.factors.iter().enumerate().rev() {
            self.reflect(k, *factor, x);
        }
    }

    fn reflect(&self, k: usize, factor: f64, x: &mut [f64]) {
        let v = &self.reflections.row(k)[..x.len()];
        add(x, -factor * dot(v, x), v);
    }

    /// Q m Q' of a symmetric matrix in full.
    pub(super) fn square_turned_back(&self, m: &Rows) -> Rows {
        let n = self.diagonal.len();
        let q = self.basis();
        // Turned over at once, so that the second product runs along rows too.
        let mut turned = Rows::new(n, n);
        let mut half = Rows::new(1, n);
        let mut out = Rows::new(n, n);
        let stride = turned.stride * super::rows::BLOCK;
        for i in 0..n {
            half.row_mut(0).fill(0.0);
            combine(&mut half.blocks, 0, &m.blocks, &q.row(i)[..n]);
            let column = turned.blocks.as_flattened_mut();
            for (k, number) in half.row(0)[..n].iter().enumerate() {
                column[k * stride + i] = *number;
            }
        }
        for i in 0..n {
            let (_, row) = out.with_those_before(i);
            combine(row, i, &turned.blocks, &q.row(i)[..n]);
        }
        out.mirror(n);
        out
    }

    /// Q in full, built up from its lower right corner.
    fn basis(&self) -> Rows {
        let n = self.diagonal.len();
        let mut q = Rows::new(n, n);
        (0..n).for_each(|i| q.row_mut(i)[i] = 1.0);
        let mut along = Rows::new(1, n);
        for (k, factor) in self.factors.iter().enumerate().rev() {
            let v = &self.reflections.row(k)[..n];
            along.row_mut(0).fill(0.0);
            let below = &q.blocks[(k + 1) * q.stride..];
            combine(&mut along.blocks, k + 1, below, &v[k + 1..]);
            for (i, v) in v.iter().enumerate().skip(k + 1) {
                add(q.row_mut(i), -factor * v, along.row(0));
            }
        }
        q
    }

    /// T + c 1, taken apart.
    pub(super) fn shifted(&self, c: f64) -> Shifted {
        let n = self.diagonal.len();
        let mut pivots = Vec::with_capacity(n);
        let mut below = Vec::with_capacity(n);
        let mut less = 0.0;
        for (i, diagonal) in self.diagonal.iter().enumerate() {
            let pivot = diagonal + c - less;
            pivots.push(pivot);
            if let Some(beside) = self.beside.get(i) {
                let share = beside / pivot;
                below.push(share);
                less = beside * share;
            }
        }
        Shifted { pivots, below }
    }
}

impl Shifted {
    /// Log of the determinant of the matrix divided by c; not a number when it
    /// is not positive.
    pub(super) fn log_per(&self, c: f64) -> f64 {
        if self.pivots.iter().any(|pivot| *pivot <= 0.0) {
            return f64::NAN;
        }
        // A logarithm costs more than the products it is taken of.
        let few = self.pivots.chunks(4);
        few.map(|few| few.iter().map(|pivot| pivot / c).product::<f64>().ln())
            .sum()
    }

    /// (T + c 1)^-1 right, and the product with `right`.
    pub(super) fn solve(&self, right: &[f64]) -> (Vec<f64>, f64) {
        let mut x = right.to_vec();
        let mut product = 0.0;
        for i in 0..x.len() {
            if i > 0 {
                x[i] -= self.below[i - 1] * x[i - 1];
            }
            product += x[i] * x[i] / self.pivots[i];
        }
        for i in (0..x.len()).rev() {
            x[i] /= self.pivots[i];
            if let Some(after) = x.get(i + 1).copied() {
                x[i] -= self.below[i] * after;
            }
        }
        (x, product)
    }

    /// Sum of the diagonal of the inverse.
    pub(super) fn trace(&self) -> f64 {
        let mut sum = 0.0;
        let mut after = 0.0;
        for i in (0..self.pivots.len()).rev() {
            let below = self.below.get(i).copied().unwrap_or(0.0);
            after = 1.0 / self.pivots[i] + below * below * after;
            sum += after;
        }
        sum
    }

    /// Adds the upper triangle of the inverse, times a weight, to `into`.
    pub(super) fn add_inverse(&self, into: &mut Rows, weight: f64) {
        let n = self.pivots.len();
        let mut row = vec![0.0; n];
        for i in (0..n).rev() {
            let below = self.below.get(i).copied().unwrap_or(0.0);
            let after = row.get(i + 1).copied().unwrap_or(0.0);
            row[i + 1..].iter_mut().for_each(|one| *one *= -below);
            row[i] = weight / self.pivots[i] + below * below * after;
            add(&mut into.row_mut(i)[i..n], 1.0, &row[i..]);
        }
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::DMatrix;

    use super::*;

    /// Sizes below, at and above a block, and a matrix that is tridiagonal
    /// already.
    #[test]
    fn the_inverse_is_that_of_the_whole_matrix() {
        for n in [1, 2, 3, 8, 13] {
            let wave = |i: usize, j: usize| ((i * j) as f64 * 1.7 + (i + j) as f64).sin();
            let some = DMatrix::from_fn(n, n, wave);
            let matrices = [
                &some * some.transpose(),
                DMatrix::from_diagonal_element(n, n, 2.0),
            ];
            for matrix in matrices {
                let mut rows = Rows::new(n, n);
                (0..n).for_each(|i| (0..n).for_each(|j| rows.row_mut(i)[j] = matrix[(i, j)]));
                let tridiagonal = Tridiagonal::new(rows, n);
                let shifted = tridiagonal.shifted(0.5);
                let mut inverse = Rows::new(n, n);
                shifted.add_inverse(&mut inverse, 2.0);
                inverse.mirror(n);
                let found = tridiagonal.square_turned_back(&inverse);
                let shifted_whole = &matrix + DMatrix::identity(n, n) * 0.5;
                let log = (&shifted_whole * 2.0).determinant().ln();
                assert!((shifted.log_per(0.5) - log).abs() < 1e-9, "{n}");
                let whole = shifted_whole.try_inverse().expect("positive") * 2.0;
                assert!((2.0 * shifted.trace() - whole.trace()).abs() < 1e-12, "{n}");
                for i in 0..n {
                    for j in 0..n {
                        assert!(
                            (found.row(i)[j] - whole[(i, j)]).abs() < 1e-12,
                            "{n} {i} {j}"
                        );
                    }
                }
            }
        }
    }
}
