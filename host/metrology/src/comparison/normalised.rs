//! E_n numbers: a difference over its expanded uncertainty.

use super::ComparisonError;

/// An E_n number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalisedError {
    /// Difference over its expanded uncertainty, no unit.
    pub e_n: f64,
}

impl NormalisedError {
    /// Of a difference and its expanded uncertainty, both in one unit.
    pub(super) fn of(difference: f64, expanded: f64) -> Self {
        Self {
            e_n: difference / expanded,
        }
    }

    /// Whether the two values agree within their uncertainties: |E_n| <= 1.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.e_n.abs() <= 1.0
    }
}

/// The E_n number of two values, each with its expanded uncertainty of the same
/// coverage factor, all in one unit.
///
/// ```text
/// E_n = (x1 - x2) / sqrt(U1^2 + U2^2 - 2 r U1 U2),   |E_n| <= 1 agrees
/// ```
/// ISO 13528:2015, 9.7 and ISO/IEC 17043:2010, annex B.3 (clauses from memory)
/// have r = 0; the term with r is the covariance of JCGM 100:2008, 5.2.2. Two
/// errors found with the same weights have `r = u_m^2 / (u(E1) u(E2))`.
///
/// # Errors
/// Values that aren't finite, negative uncertainties, a correlation outside -1
/// to 1, and nothing left for the difference.
///
/// ```
/// use scalewright_metrology::comparison::normalised_error;
/// let e_n = normalised_error((10.4, 0.3), (10.0, 0.4), 0.0)?;
/// assert!((e_n.e_n - 0.8).abs() < 1e-12 && e_n.agrees());
/// assert!(normalised_error((10.4, 0.0), (10.0, 0.0), 0.0).is_err());
/// # Ok::<(), scalewright_metrology::comparison::ComparisonError>(())
/// ```
pub fn normalised_error(
    first: (f64, f64),
    second: (f64, f64),
    correlation: f64,
) -> Result<NormalisedError, ComparisonError> {
    for (at, (value, expanded)) in [first, second].into_iter().enumerate() {
        if !value.is_finite() || !expanded.is_finite() {
            return Err(ComparisonError::NotUsable { at });
        }
        if expanded < 0.0 {
            let u_g = expanded;
            return Err(ComparisonError::Uncertainty { at, u_g });
        }
    }
    if !(-1.0..=1.0).contains(&correlation) {
        return Err(ComparisonError::Correlation(correlation));
    }
    let (u1, u2) = (first.1, second.1);
    // The sum of two squares that can't be negative: (U1 - U2)^2 + 2 (1 - r) U1 U2.
    let expanded = (u1 - u2).hypot((2.0 * (1.0 - correlation) * u1).sqrt() * u2.sqrt());
    let number = NormalisedError::of(first.0 - second.0, expanded);
    if expanded <= 0.0 || !number.e_n.is_finite() {
        return Err(ComparisonError::NoUncertainty);
    }
    Ok(number)
}
