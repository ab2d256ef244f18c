//! What error a scale may have: the tolerances of the trade, and those a user
//! sets himself.
//!
//! Owns OIML R 76-1:2006 and Directive 2014/31/EU Annex I (classes, maximum
//! permissible errors, class limits, the form of a scale interval, the error
//! before rounding), NIST Handbook 44, and the [`Scheme`] that a scale is judged
//! by. Guarantees exact steps: a load on a step belongs to the lower error.
//! Refuses nothing silently: limits answer with the clause that is broken.

mod class_limits;
mod handbook44;
mod interval;
mod notation;
mod r76;
mod rounding;
mod scheme;
mod steps;
mod title;

pub use class_limits::{ClassLimits, ClassRefusal, check_class};
pub use handbook44::{Application, tolerance_divisions, tolerance_steps_divisions};
pub use interval::{interval_at_least, is_scale_interval, may_indicate};
pub use notation::{NotationFault, UnreadableScheme};
pub use r76::{AccuracyClass, Stage, UnknownClass, mpe_e, mpe_steps_e};
pub use rounding::{BeforeRounding, before_rounding};
pub use scheme::{IntervalRefusal, Intervals, LoadShare, NoPermittedError, Scheme, ShareRefusal};
pub use steps::{OwnTable, Permitted, Step, StepsRefusal};
pub use title::{Title, TitleRefusal};

/// A load this close above a step (relative) is still on it: the quotient of
/// two decimal numbers is off by rounding, and a step is meant inclusively.
const STEP_ROUNDING: f64 = 1e-9;

/// Whether a load, zero or above, is on a step or below it.
fn at_or_below(load: f64, step: f64) -> bool {
    load <= step * (1.0 + STEP_ROUNDING)
}
