//! Straight line through zero by least squares over all loads.
//!
//! Forced through zero on purpose: a free intercept would make the scale show
//! something other than zero at its own zero reference, against the 0.25 e
//! that R 76-1 4.5.2 leaves there.

use super::polynomial::through_zero;
use super::span::Proportional;
use super::{Fitted, ShapeRefusal};
use crate::observation::Gathered;

/// The least-squares line through zero, loads weighted by their scatter.
///
/// # Errors
/// No load above zero.
pub fn fit(gathered: &Gathered) -> Result<Fitted, ShapeRefusal> {
    let fit = through_zero(gathered, 1)?;
    let one = fit.predict(1.0);
    Ok(Fitted {
        curve: Box::new(Proportional {
            grams_per_count: one.y,
            u_grams_per_count: (fit.dof > 0).then_some(one.u),
        }),
        parameters: 1,
    })
}
