//! Straight segments with a knot at every load.
//!
//! A knot is the mean of loading and unloading, which the gathering has
//! already taken. Follows any shape and every bit of scatter.

use super::{Fitted, ShapeRefusal, require};
use crate::curve::Knots;
use crate::observation::Gathered;

/// The segmented curve through zero and every load.
///
/// # Errors
/// No load above zero.
pub fn fit(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    require(gathered.points.len(), 1)?;
    let mut points = vec![(0.0, 0.0)];
    points.extend(gathered.points.iter().map(|p| (p.counts, p.mass_g)));
    let parameters = gathered.points.len();
    let knots = Knots::new(points).map_err(|_| ShapeRefusal::NotMonotone)?;
    Ok(Fitted {
        curve: Box::new(knots),
        parameters,
    })
}
