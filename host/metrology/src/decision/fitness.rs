//! Whether a test is fine enough for the limit it judges by.

use std::fmt;

use super::{DecisionRefusal, LIMIT_ROUNDING, limit, uncertainty};

/// The largest share of the permitted error that the uncertainty of a test may
/// take. R 76-1, 3.7.1 asks it of the test weights; asking it of the whole U is
/// common practice.
pub const FIT_SHARE: f64 = 1.0 / 3.0;

/// Whether a test is fine enough for the limit it judges by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitness {
    /// Expanded uncertainty over the permitted error, without unit.
    pub share: f64,
    /// Whether that is at most [`FIT_SHARE`].
    pub fit: bool,
}

impl fmt::Display for Fitness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = 100.0 * self.share;
        if self.fit {
            write!(
                f,
                "the uncertainty takes {percent:.0} % of the permitted error, a third is allowed: fine enough"
            )
        } else {
            write!(
                f,
                "the uncertainty takes {percent:.0} % of the permitted error, a third is allowed: use better weights, more weighings or finer readings"
            )
        }
    }
}

/// How much of a permitted error the expanded uncertainty of a test takes.
///
/// # Errors
/// An uncertainty below zero, a limit not above zero, or either no number.
///
/// ```
/// use scalewright_metrology::decision::fitness;
/// assert!(fitness(0.3, 1.0)?.fit);
/// assert!(!fitness(0.4, 1.0)?.fit);
/// # Ok::<(), scalewright_metrology::decision::DecisionRefusal>(())
/// ```
pub fn fitness(expanded_g: f64, limit_g: f64) -> Result<Fitness, DecisionRefusal> {
    let share = uncertainty(expanded_g)? / limit(limit_g)?;
    let fit = share <= FIT_SHARE * (1.0 + LIMIT_ROUNDING);
    Ok(Fitness { share, fit })
}
