//! Whether a difference matters against a permitted error.

use super::{AtLoad, ComparisonError};

/// Whether the difference matters. Loads are in g.
#[derive(Debug, Clone, PartialEq)]
pub enum Importance {
    /// At every load the difference is below the permitted error, uncertainty
    /// included.
    DoesNotMatter,
    /// At these loads it is above, even in the best case.
    Matters {
        /// The loads.
        at_g: Vec<f64>,
    },
    /// At no load certainly above, at these perhaps.
    Open {
        /// The loads.
        at_g: Vec<f64>,
    },
}

/// Compares every difference with the permitted error of one instrument at that
/// load, both in g, after the pattern of a decision rule with guard bands
/// (JCGM 106:2012, clause 8, from memory):
///
/// ```text
/// |d| + U <= permitted: does not matter;  |d| - U > permitted: matters;  else open
/// ```
///
/// Two instruments that both keep the permitted error may differ by twice as much.
///
/// # Errors
/// A permitted error that is not a number above zero; no loads.
pub fn importance(
    loads: &[AtLoad],
    permitted_g: impl Fn(f64) -> f64,
) -> Result<Importance, ComparisonError> {
    if loads.is_empty() {
        return Err(ComparisonError::NoLoads);
    }
    let (mut above, mut open) = (Vec::new(), Vec::new());
    for load in loads {
        let load_g = load.load_g;
        let permitted_g = permitted_g(load_g);
        if permitted_g.is_nan() || permitted_g <= 0.0 {
            return Err(ComparisonError::Permitted {
                load_g,
                permitted_g,
            });
        }
        let size = load.difference_g.abs();
        if size - load.expanded_g > permitted_g {
            above.push(load_g);
        } else if size + load.expanded_g > permitted_g {
            open.push(load_g);
        }
    }
    Ok(match (above.is_empty(), open.is_empty()) {
        (false, _) => Importance::Matters { at_g: above },
        (true, false) => Importance::Open { at_g: open },
        (true, true) => Importance::DoesNotMatter,
    })
}

impl Importance {
    /// One sentence.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Self::DoesNotMatter => {
                "The difference does not matter: it is within the permitted error of one instrument at every load, uncertainty included.".into()
            }
            Self::Matters { at_g } => format!(
                "The difference matters: it is above the permitted error at {}.",
                loads_in_short(at_g)
            ),
            Self::Open { at_g } => format!(
                "Whether the difference matters can't be told at {}: the uncertainty reaches across the permitted error. Repeat those loads several times.",
                loads_in_short(at_g)
            ),
        }
    }
}

/// Loads that are named one by one in a headline, at most.
const NAMED: usize = 3;

/// As [`loads_in_words`], but of more than three how many they are and between
/// what they lie: the table beside names them all.
fn loads_in_short(loads_g: &[f64]) -> String {
    let heaviest = loads_g.iter().copied().max_by(f64::total_cmp);
    let lightest = loads_g.iter().copied().min_by(f64::total_cmp);
    match (lightest, heaviest) {
        (Some(low_g), Some(high_g)) if loads_g.len() > NAMED => {
            format!("{} loads between {low_g} g and {high_g} g", loads_g.len())
        }
        _ => loads_in_words(loads_g),
    }
}

/// "200 g", "200 g and 500 g", "100 g, 200 g and 500 g".
pub(super) fn loads_in_words(loads_g: &[f64]) -> String {
    let names: Vec<String> = loads_g.iter().map(|g| format!("{g} g")).collect();
    match names.split_last() {
        None => "no load".into(),
        Some((only, [])) => only.clone(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
    }
}
