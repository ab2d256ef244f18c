//! Coverage factors and effective degrees of freedom.
//!
//! Owns the two formulas an uncertainty statement needs at its end. Refuses
//! numbers outside their domain instead of answering NaN.

use std::fmt;

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

/// What was wrong with the request for a coverage factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DistributionError {
    /// The coverage was not strictly between 0 and 1.
    Coverage(f64),
    /// Degrees of freedom were too few, or not a number.
    DegreesOfFreedom(f64),
    /// A standard uncertainty was negative or not a number.
    Uncertainty(f64),
    /// Every standard uncertainty was zero, so there is nothing to combine.
    NothingToCombine,
}

impl fmt::Display for DistributionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Coverage(v) => write!(
                f,
                "coverage must lie between 0 and 1, got {v}: write 95.45 % as 0.9545"
            ),
            Self::DegreesOfFreedom(v) => {
                write!(
                    f,
                    "degrees of freedom must be at least {LEAST_DOF}, got {v}"
                )
            }
            Self::Uncertainty(v) => {
                write!(
                    f,
                    "a standard uncertainty must be zero or positive, got {v}"
                )
            }
            Self::NothingToCombine => {
                write!(f, "no uncertainty above zero was given to combine")
            }
        }
    }
}

impl std::error::Error for DistributionError {}

/// Fewest degrees of freedom taken: an estimate has one or more, and a combined
/// one hardly less. Far below, the distribution can't be inverted in f64.
pub const LEAST_DOF: f64 = 0.1;

/// The coverage factor t (no unit) such that a fraction `coverage` of
/// Student's distribution with `nu` degrees of freedom lies within -t..t.
///
/// An infinite `nu` gives the normal distribution. Checked against NIST
/// TN 1297 table B.1.
///
/// # Errors
/// `coverage` outside 0..1 or too near an end for f64; `nu` below [`LEAST_DOF`].
///
/// ```
/// use scalewright_metrology::distribution::student_t_two_sided;
/// let t = student_t_two_sided(0.95, 10.0)?;
/// assert!((t - 2.228139).abs() < 1e-6);
/// assert!(student_t_two_sided(95.0, 10.0).is_err());
/// # Ok::<(), scalewright_metrology::distribution::DistributionError>(())
/// ```
pub fn student_t_two_sided(coverage: f64, nu: f64) -> Result<f64, DistributionError> {
    // Nearer the ends one minus the coverage has no digits left.
    if !(1e-12..=1.0 - 1e-12).contains(&coverage) {
        return Err(DistributionError::Coverage(coverage));
    }
    if nu.is_nan() || nu < LEAST_DOF {
        return Err(DistributionError::DegreesOfFreedom(nu));
    }
    if nu > MANY_DOF {
        let normal = Normal::new(0.0, 1.0).map_err(|_| DistributionError::DegreesOfFreedom(nu))?;
        return Ok(near_normal(normal.inverse_cdf(0.5 + coverage / 2.0), nu));
    }
    let student =
        StudentsT::new(0.0, 1.0, nu).map_err(|_| DistributionError::DegreesOfFreedom(nu))?;
    Ok(invert(&student, coverage))
}

/// Above this the series in 1/nu is exact to ten digits, and the library's
/// continued fraction begins to lose some.
const MANY_DOF: f64 = 1e4;

/// Student's t from the normal deviate z of the same probability.
///
/// ```text
/// t = z + (z^3 + z) / (4 nu) + (5 z^5 + 16 z^3 + 3 z) / (96 nu^2)
/// ```
/// Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 (from memory).
fn near_normal(z: f64, nu: f64) -> f64 {
    let (z3, z5) = (z.powi(3), z.powi(5));
    z + (z3 + z) / (4.0 * nu) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * nu * nu)
}

/// The t whose central coverage is `coverage`.
///
/// The library's own inverse can loop without end far from ordinary values,
/// so its distribution function is inverted here, in a bounded number of steps:
/// Newton where it stays between the bounds, halving where it doesn't.
fn invert(student: &StudentsT, coverage: f64) -> f64 {
    // Compare tails: near full coverage the distribution function is all nines.
    let tail = (1.0 - coverage) / 2.0;
    let excess = |t: f64| student.sf(t) - tail;
    let (mut low, mut high) = (0.0, 1.0);
    // 2^1000 is beyond any t of the domain.
    for _ in 0..1000 {
        if excess(high) <= 0.0 {
            break;
        }
        low = high;
        high *= 2.0;
    }
    let mut t = 0.5 * (low + high);
    for _ in 0..200 {
        let off = excess(t);
        if off > 0.0 {
            low = t;
        } else {
            high = t;
        }
        let step = off / student.pdf(t);
        let newton = t + step;
        let inside = newton > low && newton < high;
        let next = if inside { newton } else { 0.5 * (low + high) };
        if (next - t).abs() <= 1e-15 * t.abs() {
            return next;
        }
        t = next;
    }
    t
}

/// Effective degrees of freedom of a combined standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EffectiveDof {
    /// The value of the formula; infinite when every component is.
    pub exact: f64,
    /// The exact value rounded down, as JCGM 100:2008 G.4.1 asks; at most `u32::MAX`.
    pub floor: u32,
}

/// The effective degrees of freedom (no unit) of `(u, nu)` pairs, where each
/// `u` is a component of the combined standard uncertainty.
///
/// ```text
/// nu_eff = u_c^4 / sum (u_i^4 / nu_i),  u_c^2 = sum u_i^2     (JCGM 100:2008 G.4.1, formula G.2b)
/// ```
///
/// # Errors
/// A negative or non-finite `u`, a `nu` below [`LEAST_DOF`], or nothing above zero.
pub fn welch_satterthwaite(components: &[(f64, f64)]) -> Result<EffectiveDof, DistributionError> {
    let mut largest = 0.0f64;
    for &(u, nu) in components {
        if !u.is_finite() || u < 0.0 {
            return Err(DistributionError::Uncertainty(u));
        }
        if nu.is_nan() || nu < LEAST_DOF {
            return Err(DistributionError::DegreesOfFreedom(nu));
        }
        largest = largest.max(u);
    }
    if largest == 0.0 {
        return Err(DistributionError::NothingToCombine);
    }
    // Relative to the largest, so that a fourth power can't leave the range of f64.
    let combined: f64 = components.iter().map(|(u, _)| (u / largest).powi(2)).sum();
    let shares: f64 = components
        .iter()
        .map(|(u, nu)| (u / largest).powi(4) / nu)
        .sum();
    let exact = combined * combined / shares;
    // A float-to-integer cast saturates, infinity included.
    Ok(EffectiveDof {
        exact,
        floor: exact.floor() as u32,
    })
}
