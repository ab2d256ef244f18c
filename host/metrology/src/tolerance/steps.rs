//! A user's own table of permitted errors.
//!
//! Guarantees rising loads and errors above zero that never fall. Refuses the
//! rest by name of the step, and has no permitted error beyond its last step.

use std::fmt;

use super::at_or_below;

/// One step of a table: what is permitted up to a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The heaviest load of the step, in g; it belongs to the step.
    pub up_to_g: f64,
    /// The permitted error (plus or minus), in g.
    pub permitted_g: f64,
}

/// A table of permitted errors, lightest step first.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnTable {
    steps: Vec<Step>,
    /// The last step, which a table always has.
    last: Step,
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
    /// A step permits less than the step before.
    ErrorFalls {
        /// The step.
        step: usize,
        /// What the step before permits, in g.
        before_g: f64,
        /// What it permits itself, in g.
        permitted_g: f64,
    },
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
    /// use scalewright_metrology::tolerance::{OwnTable, Step};
    /// let step = |up_to_g, permitted_g| Step { up_to_g, permitted_g };
    /// let table = OwnTable::new(&[step(500.0, 1.0), step(2000.0, 2.0)])?;
    /// assert_eq!(table.permitted_g(500.0), Some(1.0));
    /// assert_eq!(table.permitted_g(2001.0), None);
    /// assert!(OwnTable::new(&[step(2000.0, 2.0), step(500.0, 1.0)]).is_err());
    /// # Ok::<(), scalewright_metrology::tolerance::StepsRefusal>(())
    /// ```
    pub fn new(steps: &[Step]) -> Result<Self, StepsRefusal> {
        let last = *steps.last().ok_or(StepsRefusal::NoSteps)?;
        let mut before: Option<&Step> = None;
        for (index, this) in steps.iter().enumerate() {
            let step = index + 1;
            let Step {
                up_to_g,
                permitted_g,
            } = *this;
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
            if let Some(before) = before {
                if at_or_below(up_to_g, before.up_to_g) {
                    return Err(StepsRefusal::LoadNotRising {
                        step,
                        before_g: before.up_to_g,
                        up_to_g,
                    });
                }
                if permitted_g < before.permitted_g {
                    return Err(StepsRefusal::ErrorFalls {
                        step,
                        before_g: before.permitted_g,
                        permitted_g,
                    });
                }
            }
            before = Some(this);
        }
        Ok(Self {
            steps: steps.to_vec(),
            last,
        })
    }

    /// The steps, lightest first.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The heaviest load the table speaks of, in g.
    pub fn last_g(&self) -> f64 {
        self.last.up_to_g
    }

    /// The permitted error, in g, at a load in g, counted by its size; `None`
    /// beyond the last step and for a load that is not a number.
    pub fn permitted_g(&self, load_g: f64) -> Option<f64> {
        self.steps
            .iter()
            .find(|step| at_or_below(load_g.abs(), step.up_to_g))
            .map(|step| step.permitted_g)
    }
}
