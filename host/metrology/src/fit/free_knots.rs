//! Continuous straight segments whose breakpoints are fitted too.
//!
//! For any data, not only loads: least squares over the ordinates and over the
//! positions of the inner knots. Guarantees the same answer each time, a local
//! optimum in every breakpoint over the whole range, and none better in tests
//! that enumerate. Refuses data that don't determine the segments.
//!
//! # Method
//! For given breakpoints the ordinates are linear, so only positions are
//! searched (variable projection; G. Golub, V. Pereyra, SIAM J. Numer. Anal.
//! 10 (1973) 413, from memory). Between two neighbouring data points the best
//! position has a closed form: fit slope change *and* step, put the breakpoint
//! where both lines meet (D. Hudson, J. Am. Stat. Assoc. 61 (1966) 1097, from
//! memory). One breakpoint is therefore moved to its best place in the whole
//! range exactly, each in turn; a joint step of the same kind ends the
//! zigzag. Sums over the tail of the data make each trial cost a few dozen
//! operations, so many starts are affordable.

use nalgebra::{DMatrix, DVector};

use super::tail_sums::{Column, Tail, backward, factor, forward, product, tails, value_tails};
use crate::regression::RegressionError;

/// Largest number of segments: beyond it knots at the loads serve better.
pub const MAX_SEGMENTS: usize = 16;

/// Starting sets of breakpoints tried, at most.
const MAX_STARTS: usize = 40;

/// Rounds of improvement, at most.
const ROUNDS: usize = 30;

/// Starts given one round.
const BEGUN: usize = 10;

/// Starts followed to the end.
const FOLLOWED: usize = 3;

/// Starts whose sums of squares differ by less than this share have met.
const SAME_START: f64 = 1e-9;

/// Relative gain below which a round counts as standing still.
const STANDSTILL: f64 = 1e-11;

/// A fitted segmented line.
#[derive(Debug, Clone, PartialEq)]
pub struct PiecewiseLine {
    /// Knots `(x, y)`: the least x, the breakpoints, the greatest x.
    pub knots: Vec<(f64, f64)>,
    /// Residual sum of squares, in y^2.
    pub residual_squares: f64,
}

/// The least-squares segmented line of `segments` pieces through the data.
///
/// Two breakpoints may fall between the same two data points, where they make
/// a steep step; the least sum of squares may ask for it.
///
/// # Errors
/// Lengths that differ, values that aren't finite, more coefficients than
/// data, or fewer distinct x than knots; more than [`MAX_SEGMENTS`].
///
/// ```
/// use scalewright_metrology::fit::free_knots::fit;
/// let x: Vec<f64> = (0..11).map(f64::from).collect();
/// let y: Vec<f64> = x.iter().map(|x| (x - 4.3).max(0.0)).collect();
/// let line = fit(&x, &y, 2)?;
/// assert!((line.knots[1].0 - 4.3).abs() < 1e-6);
/// assert!(fit(&x, &y, 99).is_err());
/// # Ok::<(), scalewright_metrology::regression::RegressionError>(())
/// ```
pub fn fit(x: &[f64], y: &[f64], segments: usize) -> Result<PiecewiseLine, RegressionError> {
    let n = x.len();
    if y.len() != n {
        let other = y.len();
        return Err(RegressionError::Lengths { x: n, other });
    }
    let usable = |v: &f64| v.is_finite() && v.abs() < 1e60;
    if let Some(at) = (0..n).find(|i| !(usable(&x[*i]) && usable(&y[*i]))) {
        return Err(RegressionError::NotUsable { at });
    }
    let needed = segments + 1;
    if segments == 0 || segments > MAX_SEGMENTS || n < needed {
        return Err(RegressionError::TooFew { given: n, needed });
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
    let (low, high) = (x[order[0]], x[order[n - 1]]);
    let span = high - low;
    let sorted: Vec<(f64, f64)> = (order.iter())
        .map(|i| ((x[*i] - low) / span, y[*i]))
        .collect();
    // The search sees residuals of a straight line: the sums keep their digits.
    let (_, straight) = solve(&sorted, &[]).ok_or(RegressionError::Undetermined)?;
    let search = Search::new(&sorted, straight[0], straight[1]);
    if search.gaps.len() < segments {
        return Err(RegressionError::Undetermined);
    }
    // Where a start begins tells something, one round tells more; only the best
    // are followed to the end.
    let mut begun: Vec<(f64, Vec<f64>)> = (search.starts(segments - 1).into_iter())
        .filter_map(|breaks| Some((search.squares(&breaks)?, breaks)))
        .collect();
    begun.sort_by(|a, b| a.0.total_cmp(&b.0));
    begun.truncate(BEGUN);
    for (squares, breaks) in &mut begun {
        *squares = search.improve(breaks, 1).unwrap_or(f64::INFINITY);
    }
    begun.sort_by(|a, b| a.0.total_cmp(&b.0));
    begun.dedup_by(|a, b| a.0 <= b.0 * (1.0 + SAME_START));
    let mut best: Option<(f64, Vec<f64>)> = None;
    for (_, mut breaks) in begun.into_iter().take(FOLLOWED) {
        if let Some(squares) = search.improve(&mut breaks, ROUNDS)
            && best.as_ref().is_none_or(|b| squares < b.0)
        {
            best = Some((squares, breaks));
        }
    }
    let (_, breaks) = best.ok_or(RegressionError::Undetermined)?;
    let (residual_squares, c) = solve(&sorted, &breaks).ok_or(RegressionError::Undetermined)?;
    let value = |t: f64| {
        let bends = breaks.iter().zip(c.iter().skip(2));
        c[0] + c[1] * t + bends.map(|(b, c)| c * (t - b).max(0.0)).sum::<f64>()
    };
    let inner = breaks.iter().map(|b| (low + span * b, value(*b)));
    let mut knots = vec![(low, value(0.0))];
    knots.extend(inner);
    knots.push((high, value(1.0)));
    Ok(PiecewiseLine {
        knots,
        residual_squares,
    })
}

/// Ordinates for given breakpoints by an orthogonal factorisation, to full
/// digits: sum of squares, then constant, slope and slope changes.
fn solve(data: &[(f64, f64)], breaks: &[f64]) -> Option<(f64, DVector<f64>)> {
    let p = breaks.len() + 2;
    let design = DMatrix::from_fn(data.len(), p, |i, j| match j {
        0 => 1.0,
        1 => data[i].0,
        _ => (data[i].0 - breaks[j - 2]).max(0.0),
    });
    let y = DVector::from_fn(data.len(), |i, _| data[i].1);
    let qr = design.clone().qr();
    let mut rotated = y.clone();
    qr.q_tr_mul(&mut rotated);
    let c = qr
        .r()
        .solve_upper_triangular(&rotated.rows(0, p).into_owned())?;
    let squares = (y - design * &c).norm_squared();
    (squares.is_finite() && c.iter().all(|c| c.is_finite())).then_some((squares, c))
}

struct Search {
    x: Vec<f64>,
    y: Vec<f64>,
    tails: Vec<Tail>,
    /// Sums of y and x y from an index on.
    y_tails: Vec<(f64, f64)>,
    /// Indices whose x is above that of the index before.
    gaps: Vec<usize>,
}

impl Search {
    fn new(data: &[(f64, f64)], constant: f64, slope: f64) -> Self {
        let x: Vec<f64> = data.iter().map(|d| d.0).collect();
        let y: Vec<f64> = (data.iter())
            .map(|d| d.1 - constant - slope * d.0)
            .collect();
        let gaps = (1..x.len()).filter(|i| x[*i] > x[*i - 1]).collect();
        Self {
            y_tails: value_tails(&x, &y),
            tails: tails(&x),
            x,
            y,
            gaps,
        }
    }

    fn bend(&self, at: f64) -> Column {
        Column {
            from: self.x.partition_point(|x| *x <= at),
            constant: -at,
            linear: 1.0,
        }
    }

    fn product(&self, a: Column, b: Column) -> f64 {
        product(&self.tails, a, b)
    }

    fn with_y(&self, a: Column) -> f64 {
        let (y, xy) = self.y_tails[a.from];
        a.constant * y + a.linear * xy
    }

    /// The factor of the columns' products and their products with y.
    fn normal(&self, columns: &[Column]) -> Option<(Vec<f64>, Vec<f64>)> {
        let n = columns.len();
        let mut a = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                a[i * n + j] = self.product(columns[i], columns[j]);
            }
        }
        let rhs = columns.iter().map(|c| self.with_y(*c)).collect();
        factor(&mut a, n).then_some((a, rhs))
    }

    fn columns(&self, breaks: impl Iterator<Item = f64>) -> Vec<Column> {
        let whole = |constant, linear| Column {
            from: 0,
            constant,
            linear,
        };
        let mut columns = vec![whole(1.0, 0.0), whole(0.0, 1.0)];
        columns.extend(breaks.map(|b| self.bend(b)));
        columns
    }

    /// Residual sum of squares for breakpoints.
    fn squares(&self, breaks: &[f64]) -> Option<f64> {
        let columns = self.columns(breaks.iter().copied());
        let (l, mut c) = self.normal(&columns)?;
        forward(&l, columns.len(), &mut c);
        backward(&l, columns.len(), &mut c);
        Some(self.residuals(&columns, &c).iter().map(|r| r * r).sum())
    }

    fn residuals(&self, columns: &[Column], c: &[f64]) -> Vec<f64> {
        let mut r = self.y.clone();
        for (column, c) in columns.iter().zip(c) {
            for (r, x) in r.iter_mut().zip(&self.x).skip(column.from) {
                *r -= c * (column.constant + column.linear * x);
            }
        }
        r
    }

    /// Improves breakpoints until nothing moves; the sum of squares reached.
    fn improve(&self, breaks: &mut Vec<f64>, rounds: usize) -> Option<f64> {
        let mut squares = self.squares(breaks)?;
        for _ in 0..rounds {
            let before = squares;
            for j in 0..breaks.len() {
                self.relocate(breaks, j, &mut squares);
            }
            for _ in 0..4 {
                if !self.joint_step(breaks, &mut squares) {
                    break;
                }
            }
            if before - squares <= STANDSTILL * before {
                break;
            }
        }
        breaks.sort_by(f64::total_cmp);
        Some(squares)
    }

    /// Moves breakpoint `j` to its best place in the whole range, the others
    /// held.
    fn relocate(&self, breaks: &mut [f64], j: usize, squares: &mut f64) {
        let others: Vec<f64> = (breaks.iter().enumerate())
            .filter(|(i, _)| *i != j)
            .map(|(_, b)| *b)
            .collect();
        let columns = self.columns(others.iter().copied());
        let n = columns.len();
        let Some((l, mut c)) = self.normal(&columns) else {
            return;
        };
        forward(&l, n, &mut c);
        backward(&l, n, &mut c);
        let r = self.residuals(&columns, &c);
        let held: f64 = r.iter().map(|r| r * r).sum();
        let r_tails = value_tails(&self.x, &r);
        let (mut u, mut v) = (vec![0.0; n], vec![0.0; n]);
        let mut best: Option<(f64, f64)> = None;
        for &from in &self.gaps {
            let (low, high) = (self.x[from - 1], self.x[from]);
            let column = |constant, linear| Column {
                from,
                constant,
                linear,
            };
            for (i, z) in columns.iter().enumerate() {
                u[i] = self.product(*z, column(0.0, 1.0));
                v[i] = self.product(*z, column(1.0, 0.0));
            }
            forward(&l, n, &mut u);
            forward(&l, n, &mut v);
            let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
            let t = self.tails[from];
            let (uu, uv, vv) = (t.xx - dot(&u, &u), t.x - dot(&u, &v), t.one - dot(&v, &v));
            let (rv, ru) = r_tails[from];
            let gain = |b: f64| {
                let size = uu - 2.0 * b * uv + b * b * vv;
                let whole = t.xx - 2.0 * b * t.x + b * b * t.one;
                (size > 1e-10 * whole).then(|| (ru - b * rv).powi(2) / size)
            };
            let meeting = (uv * ru - uu * rv) / (vv * ru - uv * rv);
            let inside = |b: &f64| *b > low && *b < high;
            let halves = (others.iter().filter(|b| inside(b)))
                .flat_map(|b| [0.5 * (low + b), 0.5 * (b + high)]);
            let trials = [low, high]
                .into_iter()
                .chain(Some(meeting).filter(inside))
                .chain(halves);
            for b in trials {
                // A breakpoint on either end bends nothing.
                if b <= 0.0 || b >= 1.0 {
                    continue;
                }
                if let Some(g) = gain(b).filter(|g| best.is_none_or(|w| *g > w.0)) {
                    best = Some((g, b));
                }
            }
        }
        if let Some((gain, at)) = best
            && held - gain < *squares
        {
            let old = breaks[j];
            breaks[j] = at;
            match self.squares(breaks).filter(|s| s < squares) {
                Some(s) => *squares = s,
                None => breaks[j] = old,
            }
        }
    }

    /// One step of all breakpoints together, shortened until it helps; whether
    /// it did.
    fn joint_step(&self, breaks: &mut Vec<f64>, squares: &mut f64) -> bool {
        let m = breaks.len();
        let mut columns = self.columns(breaks.iter().copied());
        for k in 0..m {
            columns.push(Column {
                from: columns[k + 2].from,
                constant: 1.0,
                linear: 0.0,
            });
        }
        let n = columns.len();
        let Some((l, mut c)) = self.normal(&columns) else {
            return false;
        };
        forward(&l, n, &mut c);
        backward(&l, n, &mut c);
        for halving in 0..4 {
            let share = 0.5f64.powi(halving);
            let moved: Vec<f64> = (0..m)
                .map(|k| breaks[k] - share * c[2 + m + k] / c[2 + k])
                .collect();
            if moved.iter().any(|b| !(*b > 0.0 && *b < 1.0)) {
                continue;
            }
            if let Some(s) = self.squares(&moved).filter(|s| s < squares) {
                let helped = *squares - s > STANDSTILL * *squares;
                *breaks = moved;
                *squares = s;
                return helped;
            }
        }
        false
    }

    /// Sets of `m` starting breakpoints: all choices of m out of m + 3 even
    /// places among the gaps, thinned to a bounded number.
    fn starts(&self, m: usize) -> Vec<Vec<f64>> {
        if m == 0 {
            return vec![Vec::new()];
        }
        let gaps = self.gaps.len();
        let places = (m + 3).min(gaps);
        let place = |k: usize| {
            let gap = self.gaps[(k * gaps / places + gaps / (2 * places)).min(gaps - 1)];
            0.5 * (self.x[gap - 1] + self.x[gap])
        };
        let mut sets = Vec::new();
        let mut chosen: Vec<usize> = (0..m).collect();
        loop {
            sets.push(chosen.iter().map(|k| place(*k)).collect::<Vec<f64>>());
            // The next choice in lexical order.
            let Some(i) = (0..m).rev().find(|i| chosen[*i] < places - m + i) else {
                break;
            };
            chosen[i] += 1;
            for k in i + 1..m {
                chosen[k] = chosen[k - 1] + 1;
            }
        }
        let keep = sets.len().div_ceil(MAX_STARTS);
        sets.into_iter().step_by(keep.max(1)).collect()
    }
}
