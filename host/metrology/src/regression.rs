//! Polynomial least squares with covariance, prediction and inverse use.
//!
//! Guarantees digits: x is divided by its largest magnitude before an
//! orthogonal factorisation, since raw loads near 3e6 leave a quadratic only
//! six digits (StRD Pontius). Refuses data that don't determine the curve.

use std::fmt;

use nalgebra::{DMatrix, DVector};

/// What is fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PolynomialModel {
    /// Highest power of x.
    pub degree: usize,
    /// Whether the curve is forced through (0, 0).
    pub through_origin: bool,
}

/// Why a polynomial can't be fitted or inverted.
#[derive(Debug, Clone, PartialEq)]
pub enum RegressionError {
    /// x, y and weights differ in length.
    Lengths {
        /// Number of x values.
        x: usize,
        /// Number of y values, or of weights.
        other: usize,
    },
    /// A value that is not finite, or a weight that is not above zero.
    NotUsable {
        /// Its position in the input, from 0.
        at: usize,
    },
    /// Fewer observations than coefficients.
    TooFew {
        /// Observations given.
        given: usize,
        /// Observations needed.
        needed: usize,
    },
    /// The x values don't determine every coefficient.
    Undetermined,
    /// The curve does not take the value in the range asked for.
    NoSolution {
        /// The value looked for.
        y: f64,
    },
    /// The curve turns inside the range, so that a value has two origins.
    TwoSolutions,
}

impl fmt::Display for RegressionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lengths { x, other } => {
                write!(f, "{x} x values need as many partners, got {other}")
            }
            Self::NotUsable { at } => write!(
                f,
                "observation {} is not finite, or its weight is not above zero",
                at + 1
            ),
            Self::TooFew { given, needed } => {
                write!(
                    f,
                    "{given} observations cannot determine {needed} coefficients"
                )
            }
            Self::Undetermined => write!(
                f,
                "the x values repeat too much to determine every coefficient"
            ),
            Self::NoSolution { y } => {
                write!(f, "the curve does not reach {y} in the range asked for")
            }
            Self::TwoSolutions => {
                write!(
                    f,
                    "the curve turns inside the range: a value has two origins"
                )
            }
        }
    }
}

impl std::error::Error for RegressionError {}

/// A fitted polynomial, its uncertainty included.
#[derive(Debug, Clone)]
pub struct PolynomialFit {
    /// Coefficients in raw x, lowest power first.
    pub coefficients: Vec<f64>,
    /// Standard deviations of the coefficients, in their order.
    pub standard_deviations: Vec<f64>,
    /// Covariance of the coefficients, row by row, in their order.
    pub covariance: Vec<Vec<f64>>,
    /// Residual standard deviation, in y; 0 without degrees of freedom.
    pub residual_sd: f64,
    /// Degrees of freedom of the residuals.
    pub dof: usize,
    model: PolynomialModel,
    scale: f64,
    scaled: DVector<f64>,
    /// Inverse of R: the root of the covariance in scaled x, without residual sd.
    root: DMatrix<f64>,
}

/// A predicted value and the standard uncertainty of the curve there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// The value of the curve, in y.
    pub y: f64,
    /// Its standard uncertainty from the fit alone, in y.
    pub u: f64,
}

/// Value of the curve read backwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inverse {
    /// The x whose curve value is the y asked for.
    pub x: f64,
    /// Standard uncertainty of x: one new reading's scatter and the fit, divided by the slope.
    pub u: f64,
    /// Where y lies just inside the band of predictions: lower and upper x.
    pub interval: (f64, f64),
}

/// The least-squares polynomial of `y` on `x`; `weights` are proportional to
/// 1/u^2 of each y and equal when absent.
///
/// ```text
/// minimise sum w (y - p(x))^2;  s^2 = that sum / dof;  cov = s^2 (X' W X)^-1
/// ```
///
/// # Errors
/// Lengths that differ, values that aren't finite, too few observations, or x
/// values that don't determine the curve.
///
/// ```
/// use scalewright_metrology::regression::{PolynomialModel, fit_polynomial};
/// let line = PolynomialModel { degree: 1, through_origin: false };
/// let fit = fit_polynomial(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0], None, line)?;
/// assert!((fit.coefficients[1] - 2.0).abs() < 1e-14);
/// assert!(fit_polynomial(&[1.0, 1.0], &[1.0, 3.0], None, line).is_err());
/// # Ok::<(), scalewright_metrology::regression::RegressionError>(())
/// ```
pub fn fit_polynomial(
    x: &[f64],
    y: &[f64],
    weights: Option<&[f64]>,
    model: PolynomialModel,
) -> Result<PolynomialFit, RegressionError> {
    let n = x.len();
    let others = [y.len(), weights.map_or(n, <[f64]>::len)];
    if let Some(&other) = others.iter().find(|&&len| len != n) {
        return Err(RegressionError::Lengths { x: n, other });
    }
    let weight = |i: usize| weights.and_then(|w| w.get(i)).copied().unwrap_or(1.0);
    let usable = |i: &usize| {
        let value = |list: &[f64]| list.get(*i).is_some_and(|v| v.is_finite());
        value(x) && value(y) && weight(*i).is_finite() && weight(*i) > 0.0
    };
    if let Some(at) = (0..n).find(|i| !usable(i)) {
        return Err(RegressionError::NotUsable { at });
    }
    let lowest = usize::from(model.through_origin);
    let p = (model.degree + 1).saturating_sub(lowest);
    if n < p || p == 0 {
        return Err(RegressionError::TooFew {
            given: n,
            needed: p.max(1),
        });
    }
    let scale = x.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let scale = if scale > 0.0 { scale } else { 1.0 };
    let heaviest = (0..n).map(weight).fold(0.0f64, f64::max);
    let root_weight = |i: usize| (weight(i) / heaviest).sqrt();
    let design = DMatrix::from_fn(n, p, |i, j| {
        root_weight(i) * (x[i] / scale).powi((j + lowest) as i32)
    });
    let target = DVector::from_fn(n, |i, _| root_weight(i) * y[i]);

    let qr = design.clone().qr();
    let r = qr.r();
    // A column that all but lies in the others leaves a diagonal at rounding level.
    let largest = r.diagonal().amax();
    if r.diagonal().iter().any(|d| d.abs() <= 1e-13 * largest) {
        return Err(RegressionError::Undetermined);
    }
    let mut rotated = target.clone();
    qr.q_tr_mul(&mut rotated);
    let scaled = r
        .solve_upper_triangular(&rotated.rows(0, p).into_owned())
        .ok_or(RegressionError::Undetermined)?;
    let root = r
        .solve_upper_triangular(&DMatrix::identity(p, p))
        .ok_or(RegressionError::Undetermined)?;
    let dof = n - p;
    let squares = (&target - &design * &scaled).norm_squared() * heaviest;
    let residual_sd = if dof > 0 {
        (squares / dof as f64).sqrt()
    } else {
        0.0
    };

    // `root` belongs to weights relative to the heaviest.
    let root = root / heaviest.sqrt();
    let power = |j: usize| scale.powi((j + lowest) as i32);
    let product = &root * root.transpose();
    let mut covariance = vec![vec![0.0; p + lowest]; p + lowest];
    for i in 0..p {
        for j in 0..p {
            covariance[i + lowest][j + lowest] =
                residual_sd * residual_sd * product[(i, j)] / (power(i) * power(j));
        }
    }
    let mut coefficients = vec![0.0; lowest];
    coefficients.extend(scaled.iter().enumerate().map(|(j, c)| c / power(j)));
    let standard_deviations = (0..p + lowest).map(|i| covariance[i][i].sqrt()).collect();
    Ok(PolynomialFit {
        coefficients,
        standard_deviations,
        covariance,
        residual_sd,
        dof,
        model,
        scale,
        scaled,
        root,
    })
}

impl PolynomialFit {
    /// The value of the curve at `x`, in y.
    pub fn value(&self, x: f64) -> f64 {
        let z = x / self.scale;
        let sum = self.scaled.iter().rev().fold(0.0, |sum, c| sum * z + c);
        if self.model.through_origin {
            sum * z
        } else {
            sum
        }
    }

    /// The slope of the curve at `x`, in y per x.
    pub fn slope(&self, x: f64) -> f64 {
        let lowest = usize::from(self.model.through_origin);
        let z = x / self.scale;
        let terms = self.scaled.iter().enumerate().map(|(j, c)| {
            let power = j + lowest;
            if power == 0 {
                0.0
            } else {
                c * power as f64 * z.powi(power as i32 - 1)
            }
        });
        terms.sum::<f64>() / self.scale
    }

    /// The value at `x` and its standard uncertainty from the fit, covariance
    /// of the coefficients kept, both in y.
    ///
    /// ```text
    /// u^2 = v' cov v,  v = (1, x, x^2, ...)      (JCGM 100:2008 H.3.4, with r kept)
    /// ```
    pub fn predict(&self, x: f64) -> Predicted {
        let lowest = usize::from(self.model.through_origin);
        let z = x / self.scale;
        let powers = DVector::from_fn(self.scaled.len(), |j, _| z.powi((j + lowest) as i32));
        Predicted {
            y: self.value(x),
            u: self.residual_sd * self.root.tr_mul(&powers).norm(),
        }
    }

    /// The x between `low` and `high` at which the curve is `y`, with its
    /// uncertainty; `t` is the coverage factor of the interval.
    ///
    /// Roots outside the range are rejected by construction.
    ///
    /// ```text
    /// u(x) = sqrt(s^2 + u_fit^2) / |slope|        (delta method)
    /// interval: p(x) +- t sqrt(s^2 + u_fit^2) = y  (NIST e-Handbook 4.6.1)
    /// ```
    ///
    /// # Errors
    /// `NoSolution` when y is not reached, `TwoSolutions` when the curve turns
    /// inside the range.
    pub fn invert(&self, y: f64, t: f64, low: f64, high: f64) -> Result<Inverse, RegressionError> {
        let rising = self.value(high) > self.value(low);
        let steps = 256;
        let turns = (0..=steps).any(|i| {
            let slope = self.slope(low + (high - low) * i as f64 / steps as f64);
            (slope > 0.0) != rising
        });
        if turns {
            return Err(RegressionError::TwoSolutions);
        }
        let sign = if rising { 1.0 } else { -1.0 };
        let spread = |x: f64| self.residual_sd.hypot(self.predict(x).u);
        let x = crossing(|x| sign * (self.value(x) - y), low, high)
            .ok_or(RegressionError::NoSolution { y })?;
        // The band may cross y a little outside the range of the loads.
        let margin = 0.1 * (high - low);
        let edge = |side: f64| {
            crossing(
                |x| sign * (self.value(x) - y) + side * t * spread(x),
                low - margin,
                high + margin,
            )
            .ok_or(RegressionError::NoSolution { y })
        };
        Ok(Inverse {
            x,
            u: spread(x) / self.slope(x).abs(),
            interval: (edge(1.0)?, edge(-1.0)?),
        })
    }
}

/// Where a function that rises from `low` to `high` crosses zero, by halving.
fn crossing(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> Option<f64> {
    if !(f(low) <= 0.0 && f(high) >= 0.0) {
        return None;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle == low || middle == high {
            break;
        }
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}
