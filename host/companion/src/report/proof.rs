//! The verification of a scale as a report: what its tests found, each value
//! beside its limit.
//!
//! | Module | Owns |
//! |---|---|
//! | `words` | verdict, facts and numbers in words, alike in both reports |
//! | `limits` | the permitted error over the load, as the rows tell it |
//! | `in_use` | what a reading is worth from now on |
//! | `shares` | which contributions of the budget are shown, in which order |
//! | `page`, `rows`, `parts` | the HTML page |
//! | `terminal` | the report in the terminal |
//!
//! Guarantees: every number is one of the record's; pictures only place them.
//! Refuses: to judge. A verdict is read from the record, and the whole is never
//! shown better than its worst test.

pub(super) mod in_use;
pub(super) mod limits;
mod page;
mod parts;
mod rows;
pub(super) mod shares;
mod terminal;
pub(super) mod words;

pub use page::proof_page;
pub use terminal::proof_table;

use crate::record::proof::TestOutcome;

/// What a test is about, which decides its picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Errors of indication over the load.
    Errors,
    /// The same load again and again.
    Repeatability,
    /// The same load on several places of the pan.
    Eccentricity,
    /// A small load over the big one below.
    SmallOnBig,
    /// Values over time.
    InTime,
    /// The smallest change that shows: here a limit is to be reached, not kept.
    Discrimination,
    /// What a table tells best.
    Other,
}

impl Kind {
    /// By the name of the test; one that is not known and has times is drawn
    /// over time.
    pub(super) fn of(test: &TestOutcome) -> Self {
        match test.test.as_str() {
            "errors" => Self::Errors,
            "repeatability" => Self::Repeatability,
            "eccentricity" => Self::Eccentricity,
            "small-on-big" => Self::SmallOnBig,
            "discrimination" => Self::Discrimination,
            "creep" | "warm-up" => Self::InTime,
            "zero" | "tare" => Self::Other,
            _ if test.rows.iter().any(|row| row.at_s.is_some()) => Self::InTime,
            _ => Self::Other,
        }
    }
}
