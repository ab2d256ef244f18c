//! A user's own table of permitted errors.
//!
//! Guarantees rising loads and errors above zero that never fall, whether they
//! are masses or shares of the load. Refuses the rest by name of the step, and
//! has no permitted error beyond its last step.

use std::fmt;

use super::{LoadShare, Title, at_or_below};

/// What a step permits, plus or minus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Permitted {
    /// The same error at all its loads, in g.
    Mass(f64),
    /// A share of the load.
    Share(LoadShare),
}

impl Permitted {
    /// The error, in g, at a load in g.
    fn at_g(self, load_g: f64) -> f64 {
        match self {
            Self::Mass(g) => g,
            Self::Share(share) => load_g * (share.percent() / 100.0),
        }
    }
}

/// As the notation of a scheme writes it: "0.5 g" or "0.1 % of load".
impl fmt::Display for Permitted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mass(g) => write!(f, "{g} g"),
            Self::Share(share) => write!(f, "{} % of load", share.percent()),
        }
    }
}

/// One step of a table: what is permitted up to a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The heaviest load of the step, in g; it belongs to the step.
    pub up_to_g: f64,
    /// What is permitted.
    pub permitted: Permitted,
}

impl Step {
    /// Up to a load, a permitted error, both in g.
    pub fn of_mass(up_to_g: f64, permitted_g: f64) -> Self {
        Self {
            up_to_g,
            permitted: Permitted::Mass(permitted_g),
        }
    }

    /// Up to a load in g, a share of the load.
    pub fn of_share(up_to_g: f64, share: LoadShare) -> Self {
        Self {
            up_to_g,
            permitted: Permitted::Share(share),
        }
    }
}

/// A table of permitted errors, lightest step first.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnTable {
    steps: Vec<Step>,
    /// The last step, which a table always has.
    last: Step,
    title: Option<Title>,
}

/// Why steps are no table. Steps are counted from 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StepsRefusal {
    /// There is no step.
    NoSteps,
    /// A load or an error is not a number above zero.
    NotPositive {
        /// The step.
        step: usize,
        /// Its load, in g.
        up_to_g: f64,
        /// Its permitted error, in g.
        permitted_g: f64,
    },
    /// A step's load is not above that of the step before.
    LoadNotRising {
        /// The step.
        step: usize,
        /// The load of the step before, in g.
        before_g: f64,
        /// Its own load, in g.
        up_to_g: f64,
    },
    /// A step permits less, where it begins, than the step before at its end.
    ErrorFalls {
        /// The step.
        step: usize,
        /// What the step before permits, in g.
        before_g: f64,
        /// What it permits itself, in g.
        permitted_g: f64,
    },
    /// The first step permits a share of the load: nothing at zero.
    ShareFirst,
    /// A step permits an error as large as its load.
    ErrorTooLarge {
        /// The step.
        step: usize,
        /// Its load, in g.
        up_to_g: f64,
        /// What it permits, in g.
        permitted_g: f64,
    },
}

impl fmt::Display for StepsRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSteps => write!(
                f,
                "the table of permitted errors has no step: give at least one load and what is permitted up to it"
            ),
            Self::NotPositive {
                step,
                up_to_g,
                permitted_g,
            } => write!(
                f,
                "step {step} permits {permitted_g} g up to {up_to_g} g: both must be numbers above zero"
            ),
            Self::LoadNotRising {
                step,
                before_g,
                up_to_g,
            } => write!(
                f,
                "step {step} ends at {up_to_g} g, the one before at {before_g} g: list the steps from the lightest load to the heaviest"
            ),
            Self::ErrorFalls {
                step,
                before_g,
                permitted_g,
            } => write!(
                f,
                "step {step} permits {permitted_g} g, the lighter one before it {before_g} g: a heavier load can't be permitted less, so correct one of them"
            ),
            Self::ShareFirst => write!(
                f,
                "step 1 permits a share of the load, which is nothing at zero: begin with a step that permits a mass"
            ),
            Self::ErrorTooLarge {
                step,
                up_to_g,
                permitted_g,
            } => write!(
                f,
                "step {step} permits {permitted_g} g up to {up_to_g} g, as much as the load itself: check that load and error are not swapped"
            ),
        }
    }
}

impl std::error::Error for StepsRefusal {}

impl OwnTable {
    /// A table of these steps.
    ///
    /// # Errors
    /// The first step that is wrong, and how.
    ///
    /// ```
    /// use scalewright_metrology::tolerance::{LoadShare, OwnTable, Step};
    /// let light = Step::of_mass(500.0, 1.0);
    /// let table = OwnTable::new(&[light, Step::of_share(2000.0, LoadShare::new(0.25)?)])?;
    /// assert_eq!(table.permitted_g(500.0), Some(1.0));
    /// assert_eq!(table.permitted_g(1000.0), Some(2.5));
    /// assert_eq!(table.permitted_g(2001.0), None);
    /// assert!(OwnTable::new(&[Step::of_mass(2000.0, 2.0), light]).is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(steps: &[Step]) -> Result<Self, StepsRefusal> {
        let last = *steps.last().ok_or(StepsRefusal::NoSteps)?;
        let mut before: Option<&Step> = None;
        for (index, this) in steps.iter().enumerate() {
            check(index + 1, this, before)?;
            before = Some(this);
        }
        Ok(Self {
            steps: steps.to_vec(),
            last,
            title: None,
        })
    }

    /// The same table with a title.
    #[must_use]
    pub fn titled(self, title: Title) -> Self {
        Self {
            title: Some(title),
            ..self
        }
    }

    /// The steps, lightest first.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// What it is called, if somebody said so.
    pub fn title(&self) -> Option<&Title> {
        self.title.as_ref()
    }

    /// The heaviest load the table speaks of, in g.
    pub fn last_g(&self) -> f64 {
        self.last.up_to_g
    }

    /// The permitted error, in g, at a load in g, counted by its size; `None`
    /// beyond the last step and for a load that is not a number.
    pub fn permitted_g(&self, load_g: f64) -> Option<f64> {
        // What a share makes of the load a step begins at may lie a rounding
        // below the step before.
        let mut least_g: f64 = 0.0;
        for step in &self.steps {
            let at_g = |load_g: f64| step.permitted.at_g(load_g.min(step.up_to_g)).max(least_g);
            if at_or_below(load_g.abs(), step.up_to_g) {
                return Some(at_g(load_g.abs()));
            }
            least_g = at_g(step.up_to_g);
        }
        None
    }

    /// The loads, in g and rising, above which the permitted error grows by a
    /// step, or begins or ends to grow with the load.
    pub(super) fn changes_g(&self) -> Vec<f64> {
        let pairs = self.steps.iter().zip(self.steps.iter().skip(1));
        pairs
            .filter(|(this, next)| this.permitted != next.permitted)
            .map(|(this, _)| this.up_to_g)
            .collect()
    }

    /// The steps in words, as the notation writes them.
    pub(super) fn in_words(&self) -> String {
        let steps = self.steps.iter();
        let words = steps.map(|step| format!("up to {} g: {}", step.up_to_g, step.permitted));
        words.collect::<Vec<_>>().join("; ")
    }
}

/// Whether a step may follow another, counted from 1.
fn check(step: usize, this: &Step, before: Option<&Step>) -> Result<(), StepsRefusal> {
    let up_to_g = this.up_to_g;
    let permitted_g = this.permitted.at_g(up_to_g);
    let usable = |g: f64| g.is_finite() && g > 0.0;
    if !usable(up_to_g) || !usable(permitted_g) {
        return Err(StepsRefusal::NotPositive {
            step,
            up_to_g,
            permitted_g,
        });
    }
    if permitted_g >= up_to_g {
        return Err(StepsRefusal::ErrorTooLarge {
            step,
            up_to_g,
            permitted_g,
        });
    }
    let Some(before) = before else {
        return match this.permitted {
            Permitted::Share(_) => Err(StepsRefusal::ShareFirst),
            Permitted::Mass(_) => Ok(()),
        };
    };
    if at_or_below(up_to_g, before.up_to_g) {
        return Err(StepsRefusal::LoadNotRising {
            step,
            before_g: before.up_to_g,
            up_to_g,
        });
    }
    let before_g = before.permitted.at_g(before.up_to_g);
    let begins_g = this.permitted.at_g(before.up_to_g);
    if !at_or_below(before_g, begins_g) {
        return Err(StepsRefusal::ErrorFalls {
            step,
            before_g,
            permitted_g: begins_g,
        });
    }
    Ok(())
}
