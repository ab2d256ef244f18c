//! The minimum weight: from which load on a scale is accurate enough.
//!
//! EURAMET cg-18 version 4.0, appendix on the minimum weight (from memory).

use super::line::Bound;
use super::refusal::{BudgetRefusal, not_negative, positive};

/// What is asked of a weighing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Requirement {
    /// Largest relative uncertainty: 0.001 is a thousandth of the load.
    pub relative: f64,
    /// Safety factor, one or more: how many times better the scale must be.
    pub safety: f64,
}

impl Requirement {
    /// The largest relative uncertainty with the safety factor taken off.
    fn wanted(&self) -> Result<f64, BudgetRefusal> {
        let relative = positive("the accuracy asked for", self.relative)?;
        if !(self.safety.is_finite() && self.safety >= 1.0) {
            let what = "the safety factor";
            return Err(BudgetRefusal::number(what, self.safety, "one or more"));
        }
        // A quotient that vanishes could never be reached.
        positive("the accuracy asked for", relative / self.safety)
    }
}

/// The smallest load, in g, from which on U(W) <= W relative/safety, where
/// `expanded_g` is U(W) in g and U(W)/W falls with the load, as it does when
/// every share is constant or proportional.
///
/// # Errors
/// A requirement or largest load that can't be, an uncertainty that can't be
/// told, or an accuracy that is not reached at the largest load.
///
/// ```
/// use scalewright_metrology::budget::{Requirement, minimum_weight_g};
/// let asked = Requirement { relative: 0.001, safety: 2.0 };
/// // 0.1 g at every load: 200 g.
/// let found = minimum_weight_g(asked, 3000.0, |_| Ok(0.1))?;
/// assert!((found - 200.0).abs() < 1e-6);
/// assert!(minimum_weight_g(asked, 100.0, |_| Ok(0.1)).is_err());
/// # Ok::<(), scalewright_metrology::budget::BudgetRefusal>(())
/// ```
pub fn minimum_weight_g(
    asked: Requirement,
    largest_g: f64,
    mut expanded_g: impl FnMut(f64) -> Result<f64, BudgetRefusal>,
) -> Result<f64, BudgetRefusal> {
    let wanted = asked.wanted()?;
    positive("the largest load", largest_g)?;
    let mut enough = |load_g: f64| -> Result<(bool, f64), BudgetRefusal> {
        let u = not_negative("the expanded uncertainty", expanded_g(load_g)?)?;
        Ok((u <= load_g * wanted, u))
    };
    let (reached, u) = enough(largest_g)?;
    if !reached {
        return Err(BudgetRefusal::Unreachable {
            largest_g,
            wanted,
            reached: u / largest_g,
        });
    }
    let (mut low, mut high) = (0.0, largest_g);
    // Sixty-four halvings leave nothing of an f64.
    for _ in 0..64 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if enough(middle)?.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

/// The same in closed form for a straight bound.
///
/// ```text
/// W = base / (relative/safety - rise)
/// ```
///
/// # Errors
/// A requirement or bound that can't be, or an accuracy that is not reached
/// at the largest load.
pub fn minimum_weight_of_bound_g(
    asked: Requirement,
    largest_g: f64,
    bound: Bound,
) -> Result<f64, BudgetRefusal> {
    let wanted = asked.wanted()?;
    positive("the largest load", largest_g)?;
    not_negative("the base of the bound", bound.base_g)?;
    not_negative("the rise of the bound", bound.rise)?;
    let load_g = bound.base_g / (wanted - bound.rise);
    if bound.rise < wanted && load_g <= largest_g {
        Ok(load_g)
    } else {
        Err(BudgetRefusal::Unreachable {
            largest_g,
            wanted,
            reached: bound.at_g(largest_g) / largest_g,
        })
    }
}
