//! Two spans, switched at half load: zero to the load nearest half of the
//! largest, and from there to the largest.
//!
//! The second span starts where the first ends, not at zero: a table has to be
//! continuous, and two lines through zero would jump where they are switched.

use super::{Fitted, ShapeRefusal, require};
use crate::curve::Knots;
use crate::observation::Gathered;

/// The two joined spans.
///
/// # Errors
/// Fewer than two loads above zero.
pub fn fit(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    require(gathered.points.len(), 2)?;
    let (below, last) = match gathered.points.split_last() {
        Some((last, below)) => (below, last),
        None => return Err(ShapeRefusal::Undetermined),
    };
    let off_half = |mass_g: f64| (mass_g - 0.5 * last.mass_g).abs();
    let half = below
        .iter()
        .min_by(|a, b| off_half(a.mass_g).total_cmp(&off_half(b.mass_g)))
        .ok_or(ShapeRefusal::Undetermined)?;
    let points = vec![
        (0.0, 0.0),
        (half.counts, half.mass_g),
        (last.counts, last.mass_g),
    ];
    let knots = Knots::new(points).map_err(|_| ShapeRefusal::NotMonotone)?;
    Ok(Fitted {
        curve: Box::new(knots),
        parameters: 2,
    })
}
