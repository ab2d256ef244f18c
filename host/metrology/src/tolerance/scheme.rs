//! What a scale is judged by: one question, the permitted error at a load, with
//! several answers.
//!
//! Guarantees that a scheme is valid by construction and always names its
//! source. Refuses a load it has no answer for, instead of guessing.

use std::fmt;

use super::{
    AccuracyClass, Application, OwnTable, STEP_ROUNDING, Stage, mpe_e, mpe_steps_e,
    tolerance_divisions, tolerance_steps_divisions,
};

/// The intervals of a scale, in g: `e` for classes and errors, `d` as shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intervals {
    e_g: f64,
    d_g: f64,
}

/// The numbers are no pair of scale intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum IntervalRefusal {
    /// One of them is not a number above zero.
    NotPositive {
        /// Verification interval, in g.
        e_g: f64,
        /// Scale interval, in g.
        d_g: f64,
    },
    /// d is above e.
    DAboveE {
        /// Verification interval, in g.
        e_g: f64,
        /// Scale interval, in g.
        d_g: f64,
    },
}

impl fmt::Display for IntervalRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotPositive { e_g, d_g } => {
                write!(f, "e ({e_g} g) and d ({d_g} g) must be numbers above zero")
            }
            Self::DAboveE { e_g, d_g } => write!(
                f,
                "d = {d_g} g is above e = {e_g} g: the scale can't be judged finer than it shows, so choose e at least as large as d"
            ),
        }
    }
}

impl std::error::Error for IntervalRefusal {}

impl Intervals {
    /// A scale with these intervals, in g.
    ///
    /// The form of the intervals is not asked here: see
    /// [`super::is_scale_interval`].
    ///
    /// # Errors
    /// Numbers not above zero, and a d above e (2014/31/EU Annex I, 2.2).
    pub fn new(e_g: f64, d_g: f64) -> Result<Self, IntervalRefusal> {
        let usable = |g: f64| g.is_finite() && g > 0.0;
        if !usable(e_g) || !usable(d_g) {
            return Err(IntervalRefusal::NotPositive { e_g, d_g });
        }
        if d_g > e_g * (1.0 + STEP_ROUNDING) {
            return Err(IntervalRefusal::DAboveE { e_g, d_g });
        }
        Ok(Self { e_g, d_g })
    }

    /// Verification interval, in g.
    pub fn e_g(&self) -> f64 {
        self.e_g
    }

    /// Scale interval, in g.
    pub fn d_g(&self) -> f64 {
        self.d_g
    }
}

/// A permitted error as a percentage of the load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadShare {
    percent: f64,
}

/// The percentage is not above 0 and below 100.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareRefusal(pub f64);

impl fmt::Display for ShareRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let given = self.0;
        write!(
            f,
            "{given} % of the load can't be permitted: give a percentage above 0 and below 100, such as \"1 % of load\""
        )
    }
}

impl std::error::Error for ShareRefusal {}

impl LoadShare {
    /// So many percent of the load.
    ///
    /// # Errors
    /// Percentages not above 0 and below 100.
    pub fn new(percent: f64) -> Result<Self, ShareRefusal> {
        if percent > 0.0 && percent < 100.0 {
            Ok(Self { percent })
        } else {
            Err(ShareRefusal(percent))
        }
    }

    /// The percentage.
    pub fn percent(&self) -> f64 {
        self.percent
    }
}

/// What a scale is judged by.
///
/// ```
/// use scalewright_metrology::tolerance::{Intervals, Scheme};
/// let intervals = Intervals::new(2.0, 1.0)?;
/// let scheme: Scheme = "R76 III in service".parse()?;
/// assert_eq!(scheme.permitted_g(1000.0, &intervals)?, 2.0);
/// assert_eq!(scheme.permitted_g(1001.0, &intervals)?, 4.0);
/// assert!(scheme.permitted_g(f64::NAN, &intervals).is_err());
/// let share: Scheme = "1 % of load".parse()?;
/// assert_eq!(share.permitted_g(5.0, &intervals)?, 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub enum Scheme {
    /// OIML R 76-1:2006, 3.5.1 and 3.5.2, in e.
    R76 {
        /// The class.
        class: AccuracyClass,
        /// First verification or in service.
        stage: Stage,
    },
    /// NIST Handbook 44, 2.20, table 6, in e (where d differs from e: from memory).
    Handbook44 {
        /// The class.
        class: AccuracyClass,
        /// Acceptance or maintenance.
        application: Application,
    },
    /// A share of the load and at least half of d, so that small loads can be
    /// judged at all. Common practice, without a source.
    Share(LoadShare),
    /// The user's own steps.
    Own(OwnTable),
}

/// A scheme has no permitted error for a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoPermittedError {
    /// The load is not a finite number, in g.
    Load(f64),
    /// The load is beyond the last step of the user's table.
    BeyondTable {
        /// The load, in g.
        load_g: f64,
        /// The last step's load, in g.
        last_g: f64,
    },
}

impl fmt::Display for NoPermittedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Load(load_g) => write!(
                f,
                "a load of {load_g} g has no permitted error: give the load as a number of grams"
            ),
            Self::BeyondTable { load_g, last_g } => write!(
                f,
                "the table of permitted errors ends at {last_g} g and {load_g} g lies beyond: add a step up to Max"
            ),
        }
    }
}

impl std::error::Error for NoPermittedError {}

impl Scheme {
    /// The permitted error (plus or minus), in g, at a load in g. A load below
    /// zero counts by its size; a load on a step belongs to the lower error.
    ///
    /// # Errors
    /// A load that is no finite number or lies beyond the user's table.
    pub fn permitted_g(&self, load_g: f64, intervals: &Intervals) -> Result<f64, NoPermittedError> {
        if !load_g.is_finite() {
            return Err(NoPermittedError::Load(load_g));
        }
        let e_g = intervals.e_g;
        Ok(match self {
            Self::R76 { class, stage } => e_g * mpe_e(*class, *stage, load_g / e_g),
            Self::Handbook44 { class, application } => {
                e_g * tolerance_divisions(*class, *application, load_g / e_g)
            }
            Self::Share(share) => (load_g.abs() * (share.percent / 100.0)).max(intervals.d_g / 2.0),
            Self::Own(table) => {
                let last_g = table.last_g();
                table
                    .permitted_g(load_g)
                    .ok_or(NoPermittedError::BeyondTable { load_g, last_g })?
            }
        })
    }

    /// The loads, in g and rising, above which the permitted error grows by a
    /// step; for a share of the load the one where it leaves its floor, for own
    /// steps also those where it begins or ends to be a share.
    pub fn changes_g(&self, intervals: &Intervals) -> Vec<f64> {
        let in_g = |steps: &[f64]| steps.iter().map(|step| step * intervals.e_g).collect();
        match self {
            Self::R76 { class, .. } => in_g(&mpe_steps_e(*class)),
            Self::Handbook44 { class, .. } => in_g(&tolerance_steps_divisions(*class)),
            Self::Share(share) => {
                let leaves_g = intervals.d_g / 2.0 / (share.percent / 100.0);
                // A tiny share never leaves the floor within the numbers there are.
                leaves_g
                    .is_finite()
                    .then_some(leaves_g)
                    .into_iter()
                    .collect()
            }
            Self::Own(table) => table.changes_g(),
        }
    }

    /// The accuracy class, where the scheme has one.
    pub fn class(&self) -> Option<AccuracyClass> {
        match self {
            Self::R76 { class, .. } | Self::Handbook44 { class, .. } => Some(*class),
            Self::Share(_) | Self::Own(_) => None,
        }
    }

    /// Its name in words, for a report.
    pub fn name(&self) -> String {
        match self {
            Self::R76 { class, stage } => {
                let when = match stage {
                    Stage::Initial => "initial verification",
                    Stage::InService => "in service",
                };
                format!("OIML R 76, class {class}, {when}")
            }
            Self::Handbook44 { class, application } => {
                let which = match application {
                    Application::Acceptance => "acceptance",
                    Application::Maintenance => "maintenance",
                };
                format!("NIST Handbook 44, class {class}, {which} tolerance")
            }
            Self::Share(share) => format!(
                "{} % of the load, at least half a scale interval",
                share.percent
            ),
            Self::Own(table) => match (table.title(), table.steps().len()) {
                (Some(title), _) => format!("the user's own table \"{}\"", title.name()),
                (None, 1) => "own table of 1 step".to_owned(),
                (None, steps) => format!("own table of {steps} steps"),
            },
        }
    }

    /// Where its numbers come from, and how sure that is.
    pub fn source(&self) -> String {
        let published = match self {
            Self::R76 {
                stage: Stage::Initial,
                ..
            } => "OIML R 76-1:2006, 3.5.1, table 6 = 2014/31/EU Annex I, table 3",
            Self::R76 {
                stage: Stage::InService,
                ..
            } => "OIML R 76-1:2006, 3.5.2: twice the errors of 3.5.1, table 6",
            Self::Handbook44 {
                class: AccuracyClass::III,
                application: Application::Acceptance,
            } => "NIST Handbook 44, 2.20, table 6 and T.N.3.2 (seen second hand)",
            Self::Handbook44 { .. } => "NIST Handbook 44, 2.20, table 6 and T.N.3.2 (from memory)",
            Self::Share(_) => "common practice, no source",
            Self::Own(table) => {
                let steps = table.in_words();
                return match table.title() {
                    Some(title) => format!("{} (set by the user): {steps}", title.source()),
                    None => format!("set by the user: {steps}"),
                };
            }
        };
        published.to_owned()
    }
}
