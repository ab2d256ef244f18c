//! Why a certificate can't be written.

use std::fmt;

/// What was refused, and where.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// Where: the elements on the way, as `items/item[2]/name`.
    pub at: String,
    /// What was wrong there.
    pub fault: Fault,
}

/// What was wrong.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// A text that must say something is empty.
    Empty,
    /// A list that needs one entry at least has none.
    NoEntry,
    /// A character that XML can't carry.
    Character(char),
    /// Not two capital letters.
    Country(String),
    /// Not two small letters.
    Language(String),
    /// Not a day of the calendar.
    Date(String),
    /// A last day before the first.
    Order {
        /// First day.
        began: String,
        /// Last day.
        ended: String,
    },
    /// A number that is none, or infinite.
    Number(f64),
    /// An uncertainty or standard deviation below zero.
    Negative(f64),
    /// A coverage factor outside 1 to 1000.
    CoverageFactor(f64),
    /// A coverage probability outside 0 to 1.
    Probability(f64),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the certificate can't be written at {}: ", self.at)?;
        match &self.fault {
            Fault::Empty => write!(f, "the text is empty; write what is meant"),
            Fault::NoEntry => write!(f, "the list is empty; give one entry at least"),
            Fault::Character(c) => write!(
                f,
                "the text holds the control character U+{:04X}, which XML can't carry; remove it",
                u32::from(*c)
            ),
            Fault::Country(text) => write!(
                f,
                "{text:?} is no country code; write two capital letters of ISO 3166-1, as DE"
            ),
            Fault::Language(text) => write!(
                f,
                "{text:?} is no language code; write two small letters of ISO 639-1, as en"
            ),
            Fault::Date(text) => write!(
                f,
                "{text:?} is no day; write year, month and day, as 2026-01-31"
            ),
            Fault::Order { began, ended } => write!(
                f,
                "the last day, {ended}, lies before the first, {began}; look which is wrong"
            ),
            Fault::Number(v) => write!(f, "{v} is no number that can be written; leave it out"),
            Fault::Negative(v) => write!(
                f,
                "{v} is below zero; an uncertainty or standard deviation has no sign"
            ),
            Fault::CoverageFactor(v) => write!(
                f,
                "a coverage factor of {v} is outside 1 to 1000; it is near 2 as a rule"
            ),
            Fault::Probability(v) => write!(
                f,
                "a coverage probability of {v} is outside 0 to 1; write 95.45 % as 0.9545"
            ),
        }
    }
}

impl std::error::Error for Refusal {}
