//! Whether an error is within its limit, when the error is uncertain itself.
//!
//! Owns the decision rules of JCGM 106:2012 for an interval of plus or minus a
//! limit (clauses from memory): simple acceptance (8.2) and guard bands as wide
//! as U (8.3), the probability of conformity for a normal error (7.4), and the
//! specific risks of consumer and producer (3.3.13, 3.3.14); whether a test is
//! fine enough for its limit stands in [`Fitness`]. Guarantees that a
//! pass never hides what the uncertainty makes of it. Refuses numbers that are
//! no error, uncertainty or limit.

mod fitness;

use std::fmt;

pub use fitness::{FIT_SHARE, Fitness, fitness};

use statrs::distribution::{ContinuousCDF, Normal};

/// An error found by a test, in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorEstimate {
    /// The error E.
    pub error_g: f64,
    /// Its standard uncertainty u.
    pub standard_g: f64,
    /// Its expanded uncertainty U.
    pub expanded_g: f64,
}

/// How a decision is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Rule {
    /// Simple acceptance: conforms when |E| <= limit.
    Simple,
    /// Guard bands of U: conforms when |E| <= limit - U, does not conform when
    /// |E| > limit + U, and can't be told between.
    Guarded,
}

/// What was decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Conformity {
    /// The error is taken to be within the limit.
    Conforms,
    /// The error is taken to be beyond the limit.
    DoesNotConform,
    /// The uncertainty is too large for either.
    CannotBeTold,
}

/// How error, uncertainty and limit lie to each other, whatever the rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standing {
    /// |E| + U <= limit.
    Within,
    /// |E| <= limit, but E with U reaches beyond it.
    WithinButReaching,
    /// |E| > limit, but E with U reaches back within.
    BeyondButReaching,
    /// |E| - U > limit.
    Beyond,
}

/// The probability that a decision is wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Risk {
    /// Accepted: the probability that the true error is beyond the limit.
    Consumer(f64),
    /// Rejected: the probability that the true error is within the limit.
    Producer(f64),
    /// Nothing was decided, so nothing is wrong.
    Undecided,
}

/// A decision with all it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decision {
    /// The rule it follows.
    pub rule: Rule,
    /// The limit (plus or minus), in g.
    pub limit_g: f64,
    /// What was decided.
    pub conformity: Conformity,
    /// What the uncertainty says beside the rule.
    pub standing: Standing,
    /// Probability that the true error is within the limit.
    pub inside: f64,
    /// The specific risk of this decision.
    pub risk: Risk,
}

/// Numbers on which no decision can be based.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DecisionRefusal {
    /// The error is no finite number.
    Error(f64),
    /// An uncertainty is below zero or no finite number.
    Uncertainty(f64),
    /// The limit is not a number above zero.
    Limit(f64),
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Simple => "simple acceptance: the error alone is compared with the limit",
            Self::Guarded => {
                "guard bands: the error must stay clear of the limit by its expanded uncertainty"
            }
        })
    }
}

impl fmt::Display for Conformity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Conforms => "conforms",
            Self::DoesNotConform => "does not conform",
            Self::CannotBeTold => "can't be told: the limit lies within the uncertainty",
        })
    }
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Within => "within the limit, with its whole uncertainty",
            Self::WithinButReaching => {
                "within the limit, but the uncertainty reaches beyond it: the true error may be too large"
            }
            Self::BeyondButReaching => {
                "beyond the limit, but the uncertainty reaches back: the true error may be small enough"
            }
            Self::Beyond => "beyond the limit, with its whole uncertainty",
        })
    }
}

impl fmt::Display for DecisionRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Error(v) => write!(f, "an error of {v} g is no finite number: measure it again"),
            Self::Uncertainty(v) => write!(
                f,
                "an uncertainty of {v} g is no number of zero or more: evaluate the uncertainty first"
            ),
            Self::Limit(v) => write!(
                f,
                "a limit of {v} g is not a number above zero: choose what the scale is judged by"
            ),
        }
    }
}

impl std::error::Error for DecisionRefusal {}

/// A sum this close above a limit (relative) is still on it: errors are
/// differences of decimal numbers, and a limit is meant inclusively.
const LIMIT_ROUNDING: f64 = 1e-9;

fn uncertainty(value_g: f64) -> Result<f64, DecisionRefusal> {
    (value_g.is_finite() && value_g >= 0.0)
        .then_some(value_g)
        .ok_or(DecisionRefusal::Uncertainty(value_g))
}

fn limit(value_g: f64) -> Result<f64, DecisionRefusal> {
    (value_g.is_finite() && value_g > 0.0)
        .then_some(value_g)
        .ok_or(DecisionRefusal::Limit(value_g))
}

/// Probability that a normal value around `mean` with deviation `u` lies within
/// plus or minus `half`, and that it doesn't: both without cancellation.
///
/// ```text
/// inside = Phi((half - |mean|)/u) - Phi(-(half + |mean|)/u)     (JCGM 106:2012, 7.4, from memory)
/// ```
fn inside_and_outside(mean: f64, u: f64, half: f64) -> (f64, f64) {
    let mean = mean.abs();
    let (upper, lower) = ((half - mean) / u, -(half + mean) / u);
    let normal = Normal::standard();
    // Without scatter both bounds are infinite, or 0/0 when the mean lies on
    // the limit, which belongs to the inside.
    if u == 0.0 || upper.is_nan() || lower.is_nan() {
        let inside = f64::from(u8::from(mean <= half * (1.0 + LIMIT_ROUNDING)));
        return (inside, 1.0 - inside);
    }
    let inside = (normal.cdf(upper) - normal.cdf(lower)).clamp(0.0, 1.0);
    let outside = (normal.sf(upper) + normal.cdf(lower)).clamp(0.0, 1.0);
    (inside, outside)
}

/// The probability that the true error lies within plus or minus `limit_g`,
/// when it is normal around `error_g` with standard uncertainty `standard_g`.
///
/// JCGM 106:2012, 7.4 (from memory): nothing but the measurement is known of
/// the error.
///
/// # Errors
/// An error that is no number, an uncertainty below zero, a limit not above zero.
///
/// ```
/// use scalewright_metrology::decision::probability_within;
/// // On the limit and far from the other: one half.
/// assert!((probability_within(2.0, 0.1, 2.0)? - 0.5).abs() < 1e-12);
/// assert!(probability_within(2.0, -0.1, 2.0).is_err());
/// # Ok::<(), scalewright_metrology::decision::DecisionRefusal>(())
/// ```
pub fn probability_within(
    error_g: f64,
    standard_g: f64,
    limit_g: f64,
) -> Result<f64, DecisionRefusal> {
    if !error_g.is_finite() {
        return Err(DecisionRefusal::Error(error_g));
    }
    let (standard_g, limit_g) = (uncertainty(standard_g)?, limit(limit_g)?);
    Ok(inside_and_outside(error_g, standard_g, limit_g).0)
}

/// Whether an error conforms to plus or minus `limit_g` by a rule.
///
/// A limit belongs to what conforms. With an uncertainty above the limit the
/// guarded rule never accepts.
///
/// # Errors
/// An error that is no number, an uncertainty below zero, a limit not above zero.
///
/// ```
/// use scalewright_metrology::decision::{Conformity, ErrorEstimate, Rule, Standing, decide};
/// let found = ErrorEstimate { error_g: 1.8, standard_g: 0.2, expanded_g: 0.4 };
/// let simple = decide(found, 2.0, Rule::Simple)?;
/// assert_eq!(simple.conformity, Conformity::Conforms);
/// assert_eq!(simple.standing, Standing::WithinButReaching);
/// let guarded = decide(found, 2.0, Rule::Guarded)?;
/// assert_eq!(guarded.conformity, Conformity::CannotBeTold);
/// assert!(decide(found, 0.0, Rule::Simple).is_err());
/// # Ok::<(), scalewright_metrology::decision::DecisionRefusal>(())
/// ```
pub fn decide(found: ErrorEstimate, limit_g: f64, rule: Rule) -> Result<Decision, DecisionRefusal> {
    if !found.error_g.is_finite() {
        return Err(DecisionRefusal::Error(found.error_g));
    }
    let limit_g = limit(limit_g)?;
    let standard_g = uncertainty(found.standard_g)?;
    let expanded_g = uncertainty(found.expanded_g)?;
    let size_g = found.error_g.abs();
    let reaches = |value_g: f64| value_g <= limit_g * (1.0 + LIMIT_ROUNDING);
    let standing = match (reaches(size_g), reaches(size_g + expanded_g)) {
        (true, true) => Standing::Within,
        (true, false) => Standing::WithinButReaching,
        (false, _) if reaches(size_g - expanded_g) => Standing::BeyondButReaching,
        (false, _) => Standing::Beyond,
    };
    let conformity = match (rule, standing) {
        (_, Standing::Within) | (Rule::Simple, Standing::WithinButReaching) => Conformity::Conforms,
        (_, Standing::Beyond) | (Rule::Simple, Standing::BeyondButReaching) => {
            Conformity::DoesNotConform
        }
        (Rule::Guarded, _) => Conformity::CannotBeTold,
    };
    let (inside, outside) = inside_and_outside(found.error_g, standard_g, limit_g);
    let risk = match conformity {
        Conformity::Conforms => Risk::Consumer(outside),
        Conformity::DoesNotConform => Risk::Producer(inside),
        Conformity::CannotBeTold => Risk::Undecided,
    };
    Ok(Decision {
        rule,
        limit_g,
        conformity,
        standing,
        inside,
        risk,
    })
}

/// How often a rule decides which way for one true error; sums to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chances {
    /// Share of tests that end with "conforms".
    pub conforms: f64,
    /// Share of tests that end with "does not conform".
    pub does_not_conform: f64,
    /// Share of tests that can't tell.
    pub cannot_be_told: f64,
}

/// What a rule promises before anything is measured: how often a scale whose
/// error truly is `true_error_g` ends with each decision, when tests scatter
/// normally around it with deviation `standard_g` and claim `expanded_g` as U.
///
/// At the limit simple acceptance accepts every second time; guard bands of
/// U = 2 u accept, and reject, 2.3 % each.
///
/// # Errors
/// As [`decide`].
///
/// ```
/// use scalewright_metrology::decision::{Rule, chances};
/// let at_limit = chances(2.0, 0.1, 0.2, 2.0, Rule::Guarded)?;
/// assert!((at_limit.conforms - 0.02275).abs() < 1e-5);
/// assert!((at_limit.does_not_conform - 0.02275).abs() < 1e-5);
/// # Ok::<(), scalewright_metrology::decision::DecisionRefusal>(())
/// ```
pub fn chances(
    true_error_g: f64,
    standard_g: f64,
    expanded_g: f64,
    limit_g: f64,
    rule: Rule,
) -> Result<Chances, DecisionRefusal> {
    if !true_error_g.is_finite() {
        return Err(DecisionRefusal::Error(true_error_g));
    }
    let limit_g = limit(limit_g)?;
    let standard_g = uncertainty(standard_g)?;
    let expanded_g = uncertainty(expanded_g)?;
    let guard_g = match rule {
        Rule::Simple => 0.0,
        Rule::Guarded => expanded_g,
    };
    // Guard bands wider than the limit leave nothing to accept: a negative half
    // width holds nothing.
    let conforms = inside_and_outside(true_error_g, standard_g, limit_g - guard_g).0;
    let does_not_conform = inside_and_outside(true_error_g, standard_g, limit_g + guard_g).1;
    Ok(Chances {
        conforms,
        does_not_conform,
        cannot_be_told: (1.0 - conforms - does_not_conform).max(0.0),
    })
}
