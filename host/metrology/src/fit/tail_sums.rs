//! Sums over the tail of sorted data, and the small algebra on them.
//!
//! Owns what makes a trial breakpoint cheap: every column of the segmented
//! design is `constant + linear x` from some index on, so products of columns
//! are read off tail sums instead of being summed anew. Internal to
//! [`super::free_knots`]; indices are its own and in range.

/// Sums of 1, x, x^2 over all data from an index on.
#[derive(Clone, Copy, Default)]
pub(super) struct Tail {
    pub(super) one: f64,
    pub(super) x: f64,
    pub(super) xx: f64,
}

/// The tail sums of a row of x: entry i sums from index i on.
pub(super) fn tails(x: &[f64]) -> Vec<Tail> {
    let mut tails = vec![Tail::default(); x.len() + 1];
    for i in (0..x.len()).rev() {
        tails[i] = Tail {
            one: tails[i + 1].one + 1.0,
            x: tails[i + 1].x + x[i],
            xx: tails[i + 1].xx + x[i] * x[i],
        };
    }
    tails
}

/// The scalar product of two columns over all data.
pub(super) fn product(tails: &[Tail], a: Column, b: Column) -> f64 {
    let t = tails[a.from.max(b.from)];
    a.constant * b.constant * t.one
        + (a.constant * b.linear + a.linear * b.constant) * t.x
        + a.linear * b.linear * t.xx
}

/// Tail sums `(sum r, sum r x)` of a row of values.
pub(super) fn value_tails(x: &[f64], r: &[f64]) -> Vec<(f64, f64)> {
    let mut tails = vec![(0.0, 0.0); x.len() + 1];
    for i in (0..x.len()).rev() {
        tails[i] = (tails[i + 1].0 + r[i], tails[i + 1].1 + r[i] * x[i]);
    }
    tails
}

/// Cholesky factor of a symmetric matrix in place, lower part, row by row;
/// false when it is not safely positive.
pub(super) fn factor(a: &mut [f64], n: usize) -> bool {
    for j in 0..n {
        let before = a[j * n + j];
        for k in 0..j {
            a[j * n + j] -= a[j * n + k] * a[j * n + k];
        }
        if a[j * n + j].is_nan() || a[j * n + j] <= 1e-12 * before {
            return false;
        }
        a[j * n + j] = a[j * n + j].sqrt();
        for i in j + 1..n {
            for k in 0..j {
                a[i * n + j] -= a[i * n + k] * a[j * n + k];
            }
            a[i * n + j] /= a[j * n + j];
        }
    }
    true
}

/// Solves L v = b in place.
pub(super) fn forward(l: &[f64], n: usize, b: &mut [f64]) {
    for i in 0..n {
        for k in 0..i {
            b[i] -= l[i * n + k] * b[k];
        }
        b[i] /= l[i * n + i];
    }
}

/// Solves L' v = b in place.
pub(super) fn backward(l: &[f64], n: usize, b: &mut [f64]) {
    for i in (0..n).rev() {
        for k in i + 1..n {
            b[i] -= l[k * n + i] * b[k];
        }
        b[i] /= l[i * n + i];
    }
}

/// A column of the design: constant or slope change from a breakpoint on
/// (`bend`), or a step there.
#[derive(Clone, Copy)]
pub(super) struct Column {
    /// First index it touches.
    pub(super) from: usize,
    /// Its value is `constant + linear * x` from there on.
    pub(super) constant: f64,
    pub(super) linear: f64,
}
