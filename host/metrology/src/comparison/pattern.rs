//! How two instruments differ: not at all, by a constant, by a factor, by both,
//! at some loads only.
//!
//! Guarantees to name one pattern only when no other explains the differences
//! nearly as well, and to say so otherwise.

use std::fmt;

use super::lines::{Fit, Line, Lines, lines};
use super::{AtLoad, COVERAGE_FACTOR, ComparisonError};

/// How the first instrument differs from the second.
#[derive(Debug, Clone, PartialEq)]
pub enum Pattern {
    /// No difference shows beyond the uncertainties.
    Agree,
    /// The same difference at every load.
    Constant(Line),
    /// A difference proportional to the load.
    Factor(Line),
    /// A constant and a factor together.
    ConstantAndFactor(Line),
    /// Different at these loads only, in g.
    SomeLoads {
        /// The loads, in the order given.
        at_g: Vec<f64>,
    },
    /// They differ; two patterns explain it about as well.
    TwoExplanations(Box<(Pattern, Pattern)>),
    /// They differ at too few loads to say how.
    TooFewLoads,
    /// They differ in a way none of the patterns describes: one is bent against
    /// the other, or the uncertainties are stated too small.
    NoPattern,
}

/// A description fits when its residuals are not rarer than this; a difference
/// is taken as real below it.
const SIGNIFICANCE: f64 = 0.01;

/// Chi-squared with one degree of freedom at that significance (printed tables
/// have 6.635; recomputed).
const REAL: f64 = 6.634_897;

/// Two descriptions explain about equally well below this difference of scores:
/// on this scale 2 is "not worth more than a bare mention" (R. E. Kass,
/// A. E. Raftery, JASA 1995, from memory).
const SAME: f64 = 2.0;

/// Share of the loads that may be exceptions, the rest agreeing.
const EXCEPTIONS: f64 = 1.0 / 3.0;

/// How the two differ, judged by the stated uncertainties alone.
///
/// Descriptions are compared by chi-squared + p ln n, where p parameters are
/// fitted to n differences (Schwarz's criterion, from memory). A load taken as
/// an exception counts twice: which one, and by how much.
///
/// # Errors
/// No loads, or loads that can't be reckoned with.
pub fn pattern(loads: &[AtLoad]) -> Result<Pattern, ComparisonError> {
    if loads.is_empty() {
        return Err(ComparisonError::NoLoads);
    }
    let n = loads.len();
    let none = Fit {
        chi_squared: loads.iter().map(|l| (l.difference_g / l.u_g).powi(2)).sum(),
        dof: n,
    };
    // Only zero on the pan: a constant is all there can be, and no slope shows.
    let lines = match lines(loads) {
        Ok(lines) => lines,
        Err(ComparisonError::OneLoad) if fits(&none) => return Ok(Pattern::Agree),
        Err(ComparisonError::OneLoad) => return Ok(Pattern::TooFewLoads),
        Err(error) => return Err(error),
    };
    let gained = |line: &Line| none.chi_squared - line.fit.chi_squared > REAL;
    if fits(&none) && !gained(&lines.constant) && !gained(&lines.through_zero) {
        return Ok(Pattern::Agree);
    }
    if n < 2 {
        return Ok(Pattern::TooFewLoads);
    }
    let mut found = candidates(loads, &lines);
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found = found.into_iter();
    Ok(match (found.next(), found.next()) {
        (None, _) if n < 3 => Pattern::TooFewLoads,
        (None, _) => Pattern::NoPattern,
        (Some((score, best)), Some((next, other))) if next - score < SAME => {
            Pattern::TwoExplanations(Box::new((best, other)))
        }
        (Some((_, best)), _) => best,
    })
}

fn fits(fit: &Fit) -> bool {
    fit.probability() >= SIGNIFICANCE
}

/// Descriptions that fit, each with its score.
fn candidates(loads: &[AtLoad], lines: &Lines) -> Vec<(f64, Pattern)> {
    let cost = (loads.len() as f64).ln();
    let mut found = Vec::new();
    let mut offer = |fit: &Fit, parameters: usize, pattern: Pattern| {
        if fits(fit) {
            found.push((fit.chi_squared + parameters as f64 * cost, pattern));
        }
    };
    offer(&lines.constant.fit, 1, Pattern::Constant(lines.constant));
    offer(
        &lines.through_zero.fit,
        1,
        Pattern::Factor(lines.through_zero),
    );
    // Two parameters through two loads explain anything, and both of them must
    // be needed: beyond the uncertainty of the one and the other.
    let needed = |free: &Line| {
        let least = (lines.constant.fit.chi_squared).min(lines.through_zero.fit.chi_squared);
        free.fit.dof > 0 && least - free.fit.chi_squared > REAL
    };
    if let Some(free) = lines.free.filter(needed) {
        offer(&free.fit, 2, Pattern::ConstantAndFactor(free));
    }
    if let Some((fit, at)) = exceptions(loads) {
        let at_g = (loads.iter().enumerate())
            .filter(|(i, _)| at.contains(i))
            .map(|(_, l)| l.load_g)
            .collect();
        offer(&fit, 2 * at.len(), Pattern::SomeLoads { at_g });
    }
    found
}

/// The fewest loads without which the others agree, if they are few enough.
fn exceptions(loads: &[AtLoad]) -> Option<(Fit, Vec<usize>)> {
    let square = |l: &AtLoad| (l.difference_g / l.u_g).powi(2);
    let mut order: Vec<(usize, f64)> = loads.iter().map(square).enumerate().collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1));
    let most = (loads.len() as f64 * EXCEPTIONS + 1e-9).floor() as usize;
    (1..=most).find_map(|left_out| {
        let fit = Fit {
            chi_squared: order.iter().skip(left_out).map(|o| o.1).sum(),
            dof: loads.len() - left_out,
        };
        let at = order.iter().take(left_out).map(|o| o.0).collect();
        fits(&fit).then_some((fit, at))
    })
}

/// A value with its expanded uncertainty, both to the uncertainty's second digit
/// (JCGM 100:2008, 7.2.6).
struct Rounded {
    value: f64,
    expanded: f64,
}

impl fmt::Display for Rounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (value, expanded) = (self.value, self.expanded);
        if expanded.is_finite() && expanded > 0.0 {
            let places = (1.0 - expanded.log10().floor()).clamp(0.0, 12.0) as usize;
            write!(f, "{value:.places$} ± {expanded:.places$}")
        } else {
            write!(f, "{value}")
        }
    }
}

impl Pattern {
    /// One sentence; `first` and `second` are the names of the instruments.
    #[must_use]
    pub fn in_words(&self, first: &str, second: &str) -> String {
        match self {
            Self::Agree => "They agree: no difference shows beyond the uncertainties.".into(),
            Self::TwoExplanations(both) => format!(
                "They differ, but how can't be told: {}; or {}. Add loads, small and large.",
                both.0.clause(first, second),
                both.1.clause(first, second)
            ),
            Self::TooFewLoads => {
                "They differ, but how can't be told from so few loads. Add loads, small and large."
                    .into()
            }
            Self::NoPattern => "They differ, and neither by a constant nor by a factor nor at a few loads only: one is bent against the other, or the uncertainties are stated too small.".into(),
            one => format!("They differ: {}.", one.clause(first, second)),
        }
    }

    fn clause(&self, first: &str, second: &str) -> String {
        let side = |value: f64| if value < 0.0 { "below" } else { "above" };
        let constant = |line: &Line| {
            let rounded = Rounded {
                value: line.offset_g.abs(),
                expanded: COVERAGE_FACTOR * line.u_offset_g,
            };
            format!("({rounded}) g {} {second}", side(line.offset_g))
        };
        let factor = |line: &Line| {
            let rounded = Rounded {
                value: 1000.0 * line.slope.abs(),
                expanded: 1000.0 * COVERAGE_FACTOR * line.u_slope,
            };
            format!("({rounded}) g per kg {} {second}", side(line.slope))
        };
        match self {
            Self::Constant(line) => format!("{first} reads {} at every load", constant(line)),
            Self::Factor(line) => format!("{first} reads {}", factor(line)),
            Self::ConstantAndFactor(line) => {
                format!("{first} reads {} and {}", constant(line), factor(line))
            }
            Self::SomeLoads { at_g } => {
                format!("only at {}", super::importance::loads_in_words(at_g))
            }
            Self::Agree => "not at all".into(),
            Self::TwoExplanations(_) | Self::TooFewLoads | Self::NoPattern => "unclear".into(),
        }
    }
}
