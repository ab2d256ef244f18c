//! The shapes a calibration curve may take, one file each.
//!
//! Every shape passes through (0, 0): the device shows zero at its zero
//! reference, whatever the loads say. Each takes gathered loads and hands back
//! a [`Fitted`] curve, or a [`ShapeRefusal`] when the loads don't determine it.

pub mod free_knots;
pub mod line;
pub(crate) mod penalised;
pub mod polynomial;
pub mod segmented;
pub mod smooth;
pub mod span;
mod tail_sums;
pub mod two_spans;

use std::fmt;

use crate::curve::Curve;

/// A curve and what it cost to determine.
pub struct Fitted {
    /// The curve, mass in g over net counts.
    pub curve: Box<dyn Curve>,
    /// Number of parameters taken from the loads, rounded up.
    pub parameters: usize,
}

/// Why one shape can't be formed from the loads at hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ShapeRefusal {
    /// Fewer loads than the shape needs.
    TooFewLoads {
        /// Distinct loads at hand.
        given: usize,
        /// Distinct loads needed.
        needed: usize,
    },
    /// The loads don't determine the curve: the equations have no solution.
    Undetermined,
    /// The curve falls somewhere between zero and the end of the range.
    NotMonotone,
}

impl fmt::Display for ShapeRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewLoads { given, needed } => {
                write!(f, "needs {needed} loads above zero, there are {given}")
            }
            Self::Undetermined => write!(f, "the loads do not determine this curve"),
            Self::NotMonotone => write!(f, "the curve falls inside the range"),
        }
    }
}

impl std::error::Error for ShapeRefusal {}

/// A list of at least `needed` points, or the refusal that says so.
pub(crate) fn require(given: usize, needed: usize) -> Result<(), ShapeRefusal> {
    if given < needed {
        return Err(ShapeRefusal::TooFewLoads { given, needed });
    }
    Ok(())
}
