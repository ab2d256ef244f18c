//! Which of the two instruments is off, where the loads' masses are known.

use super::importance::loads_in_words;
use super::{AtLoad, ErrorOfOne, Pattern};
use crate::distribution::student_t_two_sided;

/// Who is off. Loads are in g.
#[derive(Debug, Clone, PartialEq)]
pub enum Blame {
    /// No mass is known, so nobody can tell.
    MassesUnknown,
    /// Neither: both agree with the weights within their uncertainties.
    Neither,
    /// The first, at these loads.
    First {
        /// The loads.
        at_g: Vec<f64>,
    },
    /// The second, at these loads.
    Second {
        /// The loads.
        at_g: Vec<f64>,
    },
    /// Both.
    Both {
        /// Loads at which the first is off.
        first_g: Vec<f64>,
        /// Loads at which the second is off.
        second_g: Vec<f64>,
    },
    /// They differ, but the weights are known too poorly to say from whom it comes.
    Open,
}

/// Chance of calling an instrument off that is not, over all loads together.
const FALSE_ALARM: f64 = 0.01;

/// Judges each one's errors against the weights.
///
/// An error counts when it is beyond what normal errors reach with a chance of
/// 1 % over all loads: the chance is divided by their number, which holds
/// however the weights' errors hang together (Bonferroni's inequality).
#[must_use]
pub fn blame(loads: &[AtLoad], pattern: &Pattern) -> Blame {
    let known: Vec<(f64, ErrorOfOne, ErrorOfOne)> = (loads.iter())
        .filter_map(|l| l.errors.map(|(first, second)| (l.load_g, first, second)))
        .collect();
    if known.is_empty() {
        return Blame::MassesUnknown;
    }
    let each = (FALSE_ALARM / known.len() as f64).max(1e-11);
    let limit = student_t_two_sided(1.0 - each, f64::INFINITY).unwrap_or(f64::INFINITY);
    let off = |error: &ErrorOfOne| error.error_g.abs() > limit * error.u_g;
    let first_g: Vec<f64> = (known.iter().filter(|k| off(&k.1))).map(|k| k.0).collect();
    let second_g: Vec<f64> = (known.iter().filter(|k| off(&k.2))).map(|k| k.0).collect();
    match (first_g.is_empty(), second_g.is_empty()) {
        (false, false) => Blame::Both { first_g, second_g },
        (false, true) => Blame::First { at_g: first_g },
        (true, false) => Blame::Second { at_g: second_g },
        (true, true) => match pattern {
            Pattern::Agree => Blame::Neither,
            _ => Blame::Open,
        },
    }
}

impl Blame {
    /// One sentence; `first` and `second` are the names of the instruments.
    #[must_use]
    pub fn in_words(&self, first: &str, second: &str) -> String {
        let off = |who: &str, at_g: &[f64], other: &str| {
            format!(
                "{who} is off: it disagrees with the weights at {}. {other} does not, as far as the uncertainties show.",
                loads_in_words(at_g)
            )
        };
        match self {
            Self::MassesUnknown => {
                "Who is off can't be told: no load's mass is known. Use weights of known mass.".into()
            }
            Self::Neither => "Neither disagrees with the weights beyond the uncertainties.".into(),
            Self::First { at_g } => off(first, at_g, second),
            Self::Second { at_g } => off(second, at_g, first),
            Self::Both { first_g, second_g } => format!(
                "Both are off: {first} disagrees with the weights at {}, {second} at {}.",
                loads_in_words(first_g),
                loads_in_words(second_g)
            ),
            Self::Open => "Who is off can't be told: the weights are not known well enough. Use better weights.".into(),
        }
    }
}
