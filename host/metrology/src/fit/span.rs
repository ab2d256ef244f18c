//! Single span: one line through zero, set at one load.
//!
//! What a scale is worth when a single weight sets it; the yardstick for the
//! other shapes.

use super::{Fitted, ShapeRefusal, require};
use crate::curve::Curve;
use crate::observation::Gathered;

/// A line through (0, 0).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proportional {
    /// Slope in g per count.
    pub grams_per_count: f64,
    /// Standard uncertainty of the slope in g per count, if the fit knows it.
    pub u_grams_per_count: Option<f64>,
}

impl Curve for Proportional {
    fn mass_g(&self, counts: f64) -> f64 {
        self.grams_per_count * counts
    }

    fn u_g(&self, counts: f64) -> Option<f64> {
        self.u_grams_per_count.map(|u| u * counts.abs())
    }
}

/// The line through zero and the largest load.
///
/// # Errors
/// No load above zero.
pub fn fit(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    require(gathered.points.len(), 1)?;
    fit_at(gathered, gathered.points.len() - 1)
}

/// The line through zero and the load at `index`, in the order of the loads.
///
/// # Errors
/// No such load.
pub fn fit_at(gathered: &Gathered, index: usize) -> Result<Fitted, ShapeRefusal> {
    let point = gathered
        .points
        .get(index)
        .ok_or(ShapeRefusal::TooFewLoads {
            given: gathered.points.len(),
            needed: index.saturating_add(1),
        })?;
    Ok(Fitted {
        curve: Box::new(Proportional {
            grams_per_count: point.mass_g / point.counts,
            u_grams_per_count: None,
        }),
        parameters: 1,
    })
}
