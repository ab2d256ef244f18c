//! The tests that prove a calibrated scale, after OIML R 76-1 annex A: which
//! loads they ask for, and the guide through them.
//!
//! | Module | Owns |
//! |---|---|
//! | `plan` | which tests, and the steps of each |
//! | `arrival` | when a load is on the pan and rests |
//! | `prover` | the session: answers and commands in, questions and events out |
//! | `zero_held` | zero-tracking stands still meanwhile |
//! | `entry` | what is kept of it, line by line |
//! | `evaluate` | from what was kept to results; nothing else is needed |
//! | `results` | each test beside its limits |
//! | `performed` | days, weights and gaps, for a certificate |
//! | `budgeting` | the uncertainty of what was found |
//! | `in_use` | what a reading is worth from now on |
//!
//! Everything is judged by the device's own table and correction, from captured
//! counts: the same numbers come out again from the file alone.

pub mod arrival;
mod budgeting;
pub mod entry;
pub mod evaluate;
mod in_use;
pub mod performed;
pub mod plan;
pub mod prover;
mod results;
pub mod zero_held;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Test {
    /// How the indication changes after power-on.
    WarmUp,
    /// How near to zero zero-setting comes.
    Zero,
    /// Errors of indication, up and down.
    Errors,
    /// The same load again and again.
    Repeatability,
    /// The same load on every quarter of the pan.
    Eccentricity,
    /// The smallest change that shows.
    Discrimination,
    /// A small load on top of big ones.
    SmallOnBig,
    /// Weighing above a container.
    Tare,
    /// A load that stays, and zero after it.
    Creep,
}

impl Test {
    /// All, in the order in which they are best made: warm-up needs a cold
    /// scale, creep loads the cell for long.
    pub const ALL: [Self; 9] = [
        Self::WarmUp,
        Self::Zero,
        Self::Errors,
        Self::Repeatability,
        Self::Eccentricity,
        Self::Discrimination,
        Self::SmallOnBig,
        Self::Tare,
        Self::Creep,
    ];

    /// Its name on the command line and in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::WarmUp => "warm-up",
            Self::Zero => "zero",
            Self::Errors => "errors",
            Self::Repeatability => "repeatability",
            Self::Eccentricity => "eccentricity",
            Self::Discrimination => "discrimination",
            Self::SmallOnBig => "small-on-big",
            Self::Tare => "tare",
            Self::Creep => "creep",
        }
    }

    /// Its name for people.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::WarmUp => "Warm-up",
            Self::Zero => "Accuracy of zero-setting",
            Self::Errors => "Errors of indication, up and down",
            Self::Repeatability => "Repeatability",
            Self::Eccentricity => "Eccentricity",
            Self::Discrimination => "Discrimination",
            Self::SmallOnBig => "A small load on a big one",
            Self::Tare => "Tare",
            Self::Creep => "Creep and return to zero",
        }
    }

    /// What it is for, in one line.
    #[must_use]
    pub const fn about(self) -> &'static str {
        match self {
            Self::WarmUp => "does the reading move while the scale warms up?",
            Self::Zero => "how near to zero does zero-setting come?",
            Self::Errors => "is it right from Min to Max, going up and coming down?",
            Self::Repeatability => "does the same load read the same every time?",
            Self::Eccentricity => "does it matter where on the pan a load stands?",
            Self::Discrimination => "does the smallest change that should show, show?",
            Self::SmallOnBig => "does a spoonful weigh the same in a full bowl?",
            Self::Tare => "is the net right above a container?",
            Self::Creep => "does the reading move while a load stays, and zero after it?",
        }
    }
}

impl fmt::Display for Test {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Test {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wanted = text.trim().to_lowercase();
        let found = Self::ALL.into_iter().find(|test| test.name() == wanted);
        found.ok_or_else(|| {
            let names = Self::ALL.map(Self::name).join(", ");
            format!("there is no test \"{text}\": there are {names}")
        })
    }
}

/// Where on the pan a load stands: the middle, or the middle of a quarter
/// (OIML R 76-1 A.4.7.1, from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Spot {
    /// In the middle.
    #[default]
    Middle,
    /// Front left.
    FrontLeft,
    /// Far left.
    FarLeft,
    /// Far right.
    FarRight,
    /// Front right.
    FrontRight,
}

impl Spot {
    /// The quarters, clockwise.
    pub const QUARTERS: [Self; 4] = [
        Self::FrontLeft,
        Self::FarLeft,
        Self::FarRight,
        Self::FrontRight,
    ];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Middle => "in the middle",
            Self::FrontLeft => "front left",
            Self::FarLeft => "far left",
            Self::FarRight => "far right",
            Self::FrontRight => "front right",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_as_they_are_written() {
        for test in Test::ALL {
            assert_eq!(test.name().parse(), Ok(test));
            let said = serde_json::to_string(&test).expect("serialises");
            assert_eq!(said, format!("\"{}\"", test.name()));
        }
        let fault = "tilt".parse::<Test>().expect_err("no such test");
        assert!(
            fault.contains("eccentricity") && fault.contains("\"tilt\""),
            "{fault}"
        );
    }
}
