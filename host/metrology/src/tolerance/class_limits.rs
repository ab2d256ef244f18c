//! What an accuracy class asks of e, Max and Min: 2014/31/EU Annex I table 1
//! = OIML R 76-1:2006 table 3.

use std::fmt;

use super::{AccuracyClass, STEP_ROUNDING, is_scale_interval};

/// What a class asks of an instrument with a given e.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClassLimits {
    /// Smallest number of verification intervals Max/e.
    pub n_min: f64,
    /// Largest number of verification intervals, if limited.
    pub n_max: Option<f64>,
    /// Smallest permitted Min, in e.
    pub min_capacity_e: f64,
}

/// Which class limit is broken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClassRefusal {
    /// e or Max is not a positive finite number.
    NotPositive {
        /// Verification interval, in g.
        e_g: f64,
        /// Maximum capacity, in g.
        max_g: f64,
    },
    /// e is not 1, 2 or 5 times a power of ten.
    IntervalForm {
        /// Verification interval, in g.
        e_g: f64,
    },
    /// e is too fine for the class.
    IntervalTooFine {
        /// The class asked for.
        class: AccuracyClass,
        /// Verification interval, in g.
        e_g: f64,
        /// The finest e of the class, in g.
        finest_g: f64,
    },
    /// Max/e is below the class's range.
    TooFewIntervals {
        /// The class asked for.
        class: AccuracyClass,
        /// Max/e.
        n: f64,
        /// The least number permitted.
        n_min: f64,
    },
    /// Max/e is above the class's range.
    TooManyIntervals {
        /// The class asked for.
        class: AccuracyClass,
        /// Max/e.
        n: f64,
        /// The largest number permitted.
        n_max: f64,
    },
}

impl fmt::Display for ClassRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotPositive { e_g, max_g } => write!(
                f,
                "e ({e_g} g) and Max ({max_g} g) must be numbers above zero"
            ),
            Self::IntervalForm { e_g } => write!(
                f,
                "e = {e_g} g is not 1, 2 or 5 times a power of ten (R 76-1, 4.2.2.1): choose the next such value"
            ),
            Self::IntervalTooFine {
                class,
                e_g,
                finest_g,
            } => write!(
                f,
                "e = {e_g} g is finer than class {class} allows ({finest_g} g): choose a larger e or a finer class"
            ),
            Self::TooFewIntervals { class, n, n_min } => write!(
                f,
                "Max/e = {n} is below the {n_min} that class {class} asks for: choose a smaller e or a coarser class"
            ),
            Self::TooManyIntervals { class, n, n_max } => write!(
                f,
                "Max/e = {n} is above the {n_max} that class {class} allows: choose a larger e or a finer class"
            ),
        }
    }
}

impl std::error::Error for ClassRefusal {}

/// The finest e of a class in g, then its rows `(from e in g, limits)`.
fn rows(class: AccuracyClass) -> &'static [(f64, ClassLimits)] {
    const fn row(n_min: f64, n_max: Option<f64>, min_capacity_e: f64) -> ClassLimits {
        ClassLimits {
            n_min,
            n_max,
            min_capacity_e,
        }
    }
    match class {
        AccuracyClass::I => const { &[(0.001, row(50_000.0, None, 100.0))] },
        AccuracyClass::II => {
            const {
                &[
                    (0.001, row(100.0, Some(100_000.0), 20.0)),
                    (0.1, row(5_000.0, Some(100_000.0), 50.0)),
                ]
            }
        }
        AccuracyClass::III => {
            const {
                &[
                    (0.1, row(100.0, Some(10_000.0), 20.0)),
                    (5.0, row(500.0, Some(10_000.0), 20.0)),
                ]
            }
        }
        AccuracyClass::IIII => const { &[(5.0, row(100.0, Some(1_000.0), 10.0))] },
    }
}

/// The limits a class sets for an instrument of `max_g` and `e_g`, when it
/// keeps all of them.
///
/// 2014/31/EU Annex I table 1 = R 76-1:2006 table 3. Class I instruments with
/// d below 0.1 mg may have fewer intervals (from memory of a footnote); that
/// exception is not made here.
///
/// # Errors
/// The first limit that is broken, with the number that would keep it.
///
/// ```
/// use scalewright_metrology::tolerance::{AccuracyClass, check_class};
/// let limits = check_class(AccuracyClass::III, 2.0, 6000.0)?;
/// assert_eq!(limits.min_capacity_e, 20.0);
/// assert!(check_class(AccuracyClass::III, 0.5, 6000.0).is_err());
/// # Ok::<(), scalewright_metrology::tolerance::ClassRefusal>(())
/// ```
pub fn check_class(
    class: AccuracyClass,
    e_g: f64,
    max_g: f64,
) -> Result<ClassLimits, ClassRefusal> {
    if !(e_g > 0.0 && e_g.is_finite() && max_g > 0.0 && max_g.is_finite()) {
        return Err(ClassRefusal::NotPositive { e_g, max_g });
    }
    if !is_scale_interval(e_g) {
        return Err(ClassRefusal::IntervalForm { e_g });
    }
    let rows = rows(class);
    let finest_g = rows.first().map_or(0.0, |r| r.0);
    let limits = rows
        .iter()
        .rev()
        .find(|(from_g, _)| e_g >= from_g * (1.0 - STEP_ROUNDING))
        .map(|(_, limits)| *limits)
        .ok_or(ClassRefusal::IntervalTooFine {
            class,
            e_g,
            finest_g,
        })?;
    let n = max_g / e_g;
    if n < limits.n_min * (1.0 - STEP_ROUNDING) {
        let n_min = limits.n_min;
        return Err(ClassRefusal::TooFewIntervals { class, n, n_min });
    }
    match limits.n_max {
        Some(n_max) if n > n_max * (1.0 + STEP_ROUNDING) => {
            Err(ClassRefusal::TooManyIntervals { class, n, n_max })
        }
        _ => Ok(limits),
    }
}
