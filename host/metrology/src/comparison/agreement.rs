//! Mean difference and limits of agreement, from the differences alone.
//!
//! Guarantees nothing about loads: the limits hold for differences that don't
//! depend on the load. Where [`mod@super::pattern`] finds a factor, they are wide
//! because of it and say only what a load picked at random may show.

use super::ComparisonError;
use crate::distribution::student_t_two_sided;
use crate::statistics::{mean, sample_sd};

/// A value with a 95 % confidence interval, in the unit of the differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WithInterval {
    /// The estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// How far apart two instruments read, as a population of differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Mean difference (bias).
    pub bias: WithInterval,
    /// Standard deviation of the differences, n - 1.
    pub sd: f64,
    /// Lower limit: mean - 1.96 s.
    pub lower: WithInterval,
    /// Upper limit: mean + 1.96 s.
    pub upper: WithInterval,
    /// Differences used.
    pub n: usize,
}

/// Quantile of the normal distribution that leaves 2.5 % beyond.
const Z: f64 = 1.96;

/// Fewest differences taken: of two, the interval of a limit is ten times the
/// limit (common practice).
const LEAST: usize = 3;

/// Mean difference and limits of agreement, in the unit of the differences.
///
/// ```text
/// d +- t s / sqrt(n)                                       95 % interval of the mean
/// d +- 1.96 s                                              limits of agreement
/// limit +- t s sqrt(1/n + 1.96^2 / (2 (n - 1)))            their approximate intervals
/// ```
/// with t for n - 1 degrees of freedom. J. M. Bland, D. G. Altman, Lancet 1986,
/// 307-310, where the last root is rounded to sqrt(3/n); Statistical Methods in
/// Medical Research 1999, 135-160, has it in full (both from memory).
///
/// # Errors
/// Below three differences, or differences that can't be reckoned with.
///
/// ```
/// use scalewright_metrology::comparison::agreement;
/// let one = agreement(&[1.0, 2.0, 3.0])?;
/// assert_eq!((one.bias.value, one.sd), (2.0, 1.0));
/// assert!((one.upper.value - 3.96).abs() < 1e-12);
/// assert!(agreement(&[1.0, 2.0]).is_err());
/// # Ok::<(), scalewright_metrology::comparison::ComparisonError>(())
/// ```
pub fn agreement(differences: &[f64]) -> Result<Agreement, ComparisonError> {
    let n = differences.len();
    let too_few = ComparisonError::TooFew {
        given: n,
        needed: LEAST,
    };
    if n < LEAST {
        return Err(too_few);
    }
    if let Some(at) = differences.iter().position(|d| !d.is_finite()) {
        return Err(ComparisonError::NotUsable { at });
    }
    let centre = mean(differences).ok_or(too_few)?;
    let sd = sample_sd(differences).ok_or(too_few)?;
    let t = student_t_two_sided(0.95, (n - 1) as f64).map_err(|_| too_few)?;
    let around = |value: f64, u: f64| WithInterval {
        value,
        low: value - t * u,
        high: value + t * u,
    };
    let count = n as f64;
    let u_limit = sd * (1.0 / count + Z * Z / (2.0 * (count - 1.0))).sqrt();
    let found = Agreement {
        bias: around(centre, sd / count.sqrt()),
        sd,
        lower: around(centre - Z * sd, u_limit),
        upper: around(centre + Z * sd, u_limit),
        n,
    };
    let ends = [found.lower.low, found.upper.high];
    if ends.iter().all(|v| v.is_finite()) {
        Ok(found)
    } else {
        Err(ComparisonError::NotUsable { at: 0 })
    }
}
