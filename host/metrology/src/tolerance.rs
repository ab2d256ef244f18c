//! Tolerances of non-automatic weighing instruments after OIML R 76-1:2006
//! and Directive 2014/31/EU, Annex I.
//!
//! Owns classes, maximum permissible errors, class limits, the form of a scale
//! interval and the error before rounding. Guarantees exact steps: a load on a
//! step belongs to the lower error. Refuses nothing silently: limits answer
//! with the clause that is broken.

use std::fmt;
use std::str::FromStr;

/// Accuracy class of an instrument, finest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(clippy::upper_case_acronyms)] // Roman numerals, as the directive writes them.
pub enum AccuracyClass {
    /// Special accuracy.
    I,
    /// High accuracy.
    II,
    /// Medium accuracy.
    III,
    /// Ordinary accuracy.
    IIII,
}

/// When the instrument is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    /// First verification and conformity assessment.
    Initial,
    /// In service: twice the initial errors (R 76-1, 3.5.2).
    InService,
}

/// The text is not an accuracy class.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownClass(pub String);

impl fmt::Display for UnknownClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "\"{}\" is not an accuracy class: use I, II, III or IIII",
            self.0
        )
    }
}

impl std::error::Error for UnknownClass {}

impl FromStr for AccuracyClass {
    type Err = UnknownClass;

    /// Reads `I` to `IIII` in either case, or the digits 1 to 4.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_uppercase().as_str() {
            "I" | "1" => Ok(Self::I),
            "II" | "2" => Ok(Self::II),
            "III" | "3" => Ok(Self::III),
            "IIII" | "4" => Ok(Self::IIII),
            _ => Err(UnknownClass(text.to_owned())),
        }
    }
}

impl fmt::Display for AccuracyClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::I => "I",
            Self::II => "II",
            Self::III => "III",
            Self::IIII => "IIII",
        })
    }
}

/// A load this close above a step (relative) is still on it: the quotient of
/// two decimal numbers is off by rounding, and a step is meant inclusively.
const STEP_ROUNDING: f64 = 1e-9;

/// The maximum permissible error (plus or minus) in e at a load of
/// `load_over_e` verification intervals; NaN for a load that is not a number.
///
/// Steps: 2014/31/EU Annex I table 3 = R 76-1:2006 table 6, upper bound
/// inclusive. A load below zero counts by its size. Loads above the class's
/// last row keep the last error; [`check_class`] tells when that happens.
///
/// ```
/// use scalewright_metrology::tolerance::{AccuracyClass, Stage, mpe_e};
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::Initial, 500.0), 0.5);
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::Initial, 501.0), 1.0);
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::InService, 501.0), 2.0);
/// ```
pub fn mpe_e(class: AccuracyClass, stage: Stage, load_over_e: f64) -> f64 {
    let (first, second) = match class {
        AccuracyClass::I => (50_000.0, 200_000.0),
        AccuracyClass::II => (5_000.0, 20_000.0),
        AccuracyClass::III => (500.0, 2_000.0),
        AccuracyClass::IIII => (50.0, 200.0),
    };
    if load_over_e.is_nan() {
        return f64::NAN;
    }
    let load = load_over_e.abs();
    let initial = if load <= first * (1.0 + STEP_ROUNDING) {
        0.5
    } else if load <= second * (1.0 + STEP_ROUNDING) {
        1.0
    } else {
        1.5
    };
    match stage {
        Stage::Initial => initial,
        Stage::InService => 2.0 * initial,
    }
}

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

/// Whether an interval is 1, 2 or 5 times a whole power of ten
/// (R 76-1, 4.2.2.1 = 2014/31/EU Annex I, 2.2.1), rounding of f64 forgiven.
pub fn is_scale_interval(interval: f64) -> bool {
    if !(interval.is_finite() && interval > 0.0) {
        return false;
    }
    let decade = 10f64.powi(interval.log10().floor() as i32);
    let mantissa = interval / decade;
    // 10 stands for 1 of the next decade, reached when log10 rounds down.
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .any(|m| (mantissa - m).abs() < STEP_ROUNDING * m)
}

/// Whether a load is within the range of indication: at most Max + 9 e
/// (2014/31/EU Annex I, 9).
pub fn may_indicate(load_g: f64, max_g: f64, e_g: f64) -> bool {
    load_g <= max_g + 9.0 * e_g
}

/// A weighing result freed of its rounding; all in the unit of the indication.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeforeRounding {
    /// Indication before rounding, P.
    pub p: f64,
    /// Error before rounding, E.
    pub e: f64,
    /// Error corrected for the error at zero, Ec.
    pub ec: f64,
}

/// The indication and errors before rounding, in the unit of the arguments.
///
/// `added` is the sum of small weights put on until the indication steps up
/// to the next interval, `zero_error` the error found the same way at or near
/// zero.
///
/// ```text
/// P = I + e/2 - dL,  E = P - L,  Ec = E - E0      (R 76-1, A.4.4.3; where d < e, pass d as interval)
/// ```
///
/// ```
/// use scalewright_metrology::tolerance::before_rounding;
/// let r = before_rounding(1000.0, 5.0, 1.5, 1000.0, 0.5);
/// assert_eq!((r.p, r.e, r.ec), (1001.0, 1.0, 0.5));
/// ```
pub fn before_rounding(
    indication: f64,
    interval: f64,
    added: f64,
    load: f64,
    zero_error: f64,
) -> BeforeRounding {
    let p = indication + interval / 2.0 - added;
    let e = p - load;
    BeforeRounding {
        p,
        e,
        ec: e - zero_error,
    }
}

/// The smallest scale interval (1, 2 or 5 times a power of ten: OIML R 76-1:2006,
/// 4.2.2.1) that is not below `least`; 0 when that is no positive number.
///
/// ```
/// use scalewright_metrology::tolerance::interval_at_least;
/// assert_eq!(interval_at_least(0.13), 0.2);
/// assert_eq!(interval_at_least(5.0), 5.0);
/// assert_eq!(interval_at_least(f64::NAN), 0.0);
/// ```
#[must_use]
pub fn interval_at_least(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 0.0;
    }
    let exponent = least.log10().floor() as i32;
    [(1.0, 0), (2.0, 0), (5.0, 0), (1.0, 1)]
        .into_iter()
        // Dividing by a whole power of ten gives the f64 nearest to 0.2.
        .map(|(step, up)| match exponent + up {
            below @ ..=-1 => step / 10f64.powi(-below),
            above => step * 10f64.powi(above),
        })
        .find(|interval| *interval >= least * (1.0 - 1e-9))
        .unwrap_or(least)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_1_2_or_5() {
        for (least, interval) in [
            (0.0, 0.0),
            (0.09, 0.1),
            (0.1, 0.1),
            (0.100_1, 0.2),
            (0.3, 0.5),
            (0.6, 1.0),
            (3.0, 5.0),
            (7.0, 10.0),
            (2_000.0, 2_000.0),
        ] {
            assert_eq!(interval_at_least(least), interval, "{least}");
        }
    }
}
