//! Lines through the differences over the load, weighted by their stated
//! uncertainties.
//!
//! Guarantees uncertainties from what was stated, not from the scatter found:
//! `chi_squared` tells whether the two fit together.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{AtLoad, ComparisonError};

/// A line `difference = offset + slope * load`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Offset, g; 0 where the line is forced through zero.
    pub offset_g: f64,
    /// Standard uncertainty of the offset, g.
    pub u_offset_g: f64,
    /// Slope, no unit: 1e-3 is a gram in a kilogram; 0 for a constant.
    pub slope: f64,
    /// Standard uncertainty of the slope, no unit.
    pub u_slope: f64,
    /// Covariance of offset and slope, g.
    pub covariance_g: f64,
    /// How well it fits.
    pub fit: Fit,
}

/// What the residuals say of a description of the differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Sum of squared residuals over their variances, no unit.
    pub chi_squared: f64,
    /// Differences less what was fitted.
    pub dof: usize,
}

impl Fit {
    /// The probability of residuals at least as large if the description is
    /// right and the uncertainties are; 1 without degrees of freedom.
    #[must_use]
    pub fn probability(&self) -> f64 {
        // Far out there is nothing but zero, and the library's series runs long.
        let dof = self.dof as f64;
        if self.dof == 0 {
            return 1.0;
        }
        if self.chi_squared.is_nan() || self.chi_squared > 10.0 * dof + 1000.0 {
            return 0.0;
        }
        ChiSquared::new(dof).map_or(0.0, |d| d.sf(self.chi_squared))
    }
}

/// The lines that the differences allow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lines {
    /// The same difference at every load.
    pub constant: Line,
    /// Through zero: the difference is a share of the load.
    pub through_zero: Line,
    /// Free: constant and share together; absent below two differing loads.
    pub free: Option<Line>,
}

/// Lines through the differences at the loads.
///
/// ```text
/// w = 1/u(d)^2, x = load
/// constant:      sum(w d) / sum(w),        u = 1/sqrt(sum(w))
/// through zero:  sum(w x d) / sum(w x^2),  u = 1/sqrt(sum(w x^2))
/// free:          slope = sum(w (x - x0) d) / sum(w (x - x0)^2), x0 = sum(w x)/sum(w)
/// ```
/// Weighted least squares with known variances (common practice). Differences of
/// separate weights are taken as independent from load to load.
///
/// # Errors
/// No loads, or only a load of zero.
pub fn lines(loads: &[AtLoad]) -> Result<Lines, ComparisonError> {
    if loads.is_empty() {
        return Err(ComparisonError::NoLoads);
    }
    // Relative to the largest load and the least uncertainty, so that no square
    // leaves the range of f64.
    let scale = loads.iter().fold(0.0f64, |m, l| m.max(l.load_g.abs()));
    let unit = loads.iter().fold(f64::INFINITY, |m, l| m.min(l.u_g));
    let usable = |l: &AtLoad| l.load_g.is_finite() && l.difference_g.is_finite() && l.u_g > 0.0;
    if let Some(at) = loads.iter().position(|l| !usable(l)) {
        return Err(ComparisonError::NotUsable { at });
    }
    if scale <= 0.0 {
        return Err(ComparisonError::OneLoad);
    }
    let points: Vec<[f64; 3]> = (loads.iter())
        .map(|l| [(unit / l.u_g).powi(2), l.load_g / scale, l.difference_g])
        .collect();
    let sum = |term: &dyn Fn(f64, f64, f64) -> f64| {
        points.iter().map(|[w, x, d]| term(*w, *x, *d)).sum::<f64>()
    };
    let n = loads.len();
    let fit = |offset: f64, slope: f64, fitted: usize| Fit {
        chi_squared: sum(&|w, x, d| w * ((d - offset - slope * x) / unit).powi(2)),
        dof: n.saturating_sub(fitted),
    };
    let weight = sum(&|w, _, _| w);
    let level = sum(&|w, _, d| w * d) / weight;
    let constant = Line {
        offset_g: level,
        u_offset_g: unit / weight.sqrt(),
        slope: 0.0,
        u_slope: 0.0,
        covariance_g: 0.0,
        fit: fit(level, 0.0, 1),
    };
    let about_zero = sum(&|w, x, _| w * x * x);
    let share = sum(&|w, x, d| w * x * d) / about_zero;
    let through_zero = Line {
        offset_g: 0.0,
        u_offset_g: 0.0,
        slope: share / scale,
        u_slope: unit / about_zero.sqrt() / scale,
        covariance_g: 0.0,
        fit: fit(0.0, share, 1),
    };
    let centre = sum(&|w, x, _| w * x) / weight;
    let about_centre = sum(&|w, x, _| w * (x - centre).powi(2));
    // Loads that differ by rounding only determine no slope.
    let free = (n > 1 && about_centre > 1e-18 * about_zero).then(|| {
        let slope = sum(&|w, x, d| w * (x - centre) * (d - level)) / about_centre;
        let offset = level - slope * centre;
        Line {
            offset_g: offset,
            u_offset_g: unit * (1.0 / weight + centre * centre / about_centre).sqrt(),
            slope: slope / scale,
            u_slope: unit / about_centre.sqrt() / scale,
            covariance_g: -unit * unit * centre / about_centre / scale,
            fit: fit(offset, slope, 2),
        }
    });
    Ok(Lines {
        constant,
        through_zero,
        free,
    })
}
