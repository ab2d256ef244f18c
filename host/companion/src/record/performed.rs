//! What a certificate needs of a verification beside its results: on which days
//! it was made, whether it came to its end, what the weights were. Plain values.

use serde::{Deserialize, Serialize};

/// How a verification was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Performed {
    /// When it began, to the second in UTC, as "2026-01-31T10:15:00Z".
    pub began: String,
    /// Its first day in UTC.
    pub first_day: String,
    /// Its last day in UTC.
    pub last_day: String,
    /// Tests that were begun or planned, not made to their end and not left out
    /// by a decision: how it was interrupted.
    pub unfinished: Vec<Unfinished>,
    /// The weights that lay on the pan in captures that count.
    pub weights: Vec<UsedWeight>,
}

/// A test that was not made to its end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unfinished {
    /// Its name for people.
    pub title: String,
    /// Captures that were made.
    pub made: usize,
    /// Captures that were planned.
    pub planned: usize,
}

/// A weight that was used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct UsedWeight {
    /// Its name.
    pub id: String,
    /// Its conventional mass as used, g.
    pub mass_g: f64,
    /// What is known of it.
    pub worth: UsedWorth,
    /// Density, kg/m3, if it was given.
    pub density_kg_m3: Option<f64>,
}

/// What is known of a weight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UsedWorth {
    /// Within limits.
    Within {
        /// Plus or minus, g.
        limit_g: f64,
        /// The class of OIML R 111-1 whose tolerance that is, if it is one's.
        class: Option<String>,
    },
    /// With a stated expanded uncertainty (k = 2), g.
    Stated {
        /// It, g.
        expanded_g: f64,
    },
}
