//! Accuracy classes and maximum permissible errors after OIML R 76-1:2006 and
//! Directive 2014/31/EU, Annex I.
//!
//! Owns classes, stages and the table of errors in e. A load on a step belongs
//! to the lower error.

use std::fmt;
use std::str::FromStr;

use super::at_or_below;

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

/// The maximum permissible error (plus or minus) in e at a load of
/// `load_over_e` verification intervals; NaN for a load that is not a number.
///
/// Steps: 2014/31/EU Annex I table 3 = R 76-1:2006 table 6, upper bound
/// inclusive. A load below zero counts by its size. Loads above the class's
/// last row keep the last error; [`check_class`](super::check_class) tells when that happens.
///
/// ```
/// use scalewright_metrology::tolerance::{AccuracyClass, Stage, mpe_e};
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::Initial, 500.0), 0.5);
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::Initial, 501.0), 1.0);
/// assert_eq!(mpe_e(AccuracyClass::III, Stage::InService, 501.0), 2.0);
/// ```
pub fn mpe_e(class: AccuracyClass, stage: Stage, load_over_e: f64) -> f64 {
    let [first, second] = mpe_steps_e(class);
    if load_over_e.is_nan() {
        return f64::NAN;
    }
    let load = load_over_e.abs();
    let initial = if at_or_below(load, first) {
        0.5
    } else if at_or_below(load, second) {
        1.0
    } else {
        1.5
    };
    match stage {
        Stage::Initial => initial,
        Stage::InService => 2.0 * initial,
    }
}

/// The loads, in e, above which the maximum permissible error grows
/// (2014/31/EU Annex I table 3 = R 76-1:2006 table 6).
pub fn mpe_steps_e(class: AccuracyClass) -> [f64; 2] {
    match class {
        AccuracyClass::I => [50_000.0, 200_000.0],
        AccuracyClass::II => [5_000.0, 20_000.0],
        AccuracyClass::III => [500.0, 2_000.0],
        AccuracyClass::IIII => [50.0, 200.0],
    }
}
