//! Low polynomial through zero, degree 2 or 3, by weighted least squares.
//!
//! A quadratic is the shape a strain-gauge cell has first of all; a cubic
//! takes a bend of the other sign as well. Higher degrees swing between loads.

use super::{Fitted, ShapeRefusal, require};
use crate::curve::Curve;
use crate::observation::Gathered;
use crate::regression::{PolynomialFit, PolynomialModel, fit_polynomial};

impl Curve for PolynomialFit {
    fn mass_g(&self, counts: f64) -> f64 {
        self.value(counts)
    }

    fn u_g(&self, counts: f64) -> Option<f64> {
        (self.dof > 0).then(|| self.predict(counts).u)
    }
}

/// The polynomial of `degree` through zero as a regression of mass on counts.
///
/// Counts carry the scatter, masses do not; over the nearly constant slope of
/// a cell the difference is far below the scatter itself.
///
/// # Errors
/// Fewer loads than coefficients, or loads that don't determine them.
pub fn through_zero(gathered: &Gathered, degree: usize) -> Result<PolynomialFit, ShapeRefusal> {
    require(gathered.points.len(), degree)?;
    let counts: Vec<f64> = gathered.points.iter().map(|p| p.counts).collect();
    let masses: Vec<f64> = gathered.points.iter().map(|p| p.mass_g).collect();
    let variances = gathered.scatter().variances;
    // Relative to the least, so that no reciprocal leaves the range of f64.
    let least = variances.iter().copied().fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = variances.iter().map(|v| least / v).collect();
    let model = PolynomialModel {
        degree,
        through_origin: true,
    };
    fit_polynomial(&counts, &masses, Some(&weights), model).map_err(|_| ShapeRefusal::Undetermined)
}

/// The parabola through zero.
///
/// # Errors
/// Fewer than two loads, or loads that don't determine it.
pub fn fit_quadratic(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    boxed(gathered, 2)
}

/// The cubic through zero.
///
/// # Errors
/// Fewer than three loads, or loads that don't determine it.
pub fn fit_cubic(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    boxed(gathered, 3)
}

fn boxed(gathered: &Gathered, degree: usize) -> Result<Fitted, ShapeRefusal> {
    Ok(Fitted {
        curve: Box::new(through_zero(gathered, degree)?),
        parameters: degree,
    })
}
