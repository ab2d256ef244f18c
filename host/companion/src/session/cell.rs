//! The grade of a load cell, as its maker names it: class and intervals.
//!
//! Owns how a grade such as "C3" is written (OIML R 60-1:2021: a class letter
//! and the maximum number of verification intervals in thousands) and what a
//! plan expects of it.

use std::fmt;
use std::str::FromStr;

use scalewright_metrology::joint::{Grade, Scatter};
use serde::{Deserialize, Serialize};

use super::plan::ScaleSpec;

/// A grade of cell.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct CellGrade {
    class: Class,
    /// Maximum number of intervals of the cell, n_LC.
    intervals: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Class {
    A,
    B,
    C,
    D,
}

/// Fewest and most intervals of each class (OIML R 60-1:2021, table 1).
const fn limits(class: Class) -> (u32, u32) {
    match class {
        Class::A => (50_000, 1_000_000),
        Class::B => (5_000, 100_000),
        Class::C => (500, 10_000),
        Class::D => (100, 1_000),
    }
}

impl Default for CellGrade {
    /// What cells for bench scales are mostly sold as (common practice).
    fn default() -> Self {
        Self {
            class: Class::C,
            intervals: 3_000,
        }
    }
}

impl CellGrade {
    /// What a plan expects of the cell under this scale, read through a
    /// converter with this noise of one sample, g, averaged over `samples`.
    ///
    /// Orders of magnitude, own choice within what OIML R 60-1:2021 allows a
    /// cell of n intervals (v = Max/n): a load comes back to 0.2 v, a third of
    /// the standard deviation that the repeatability of three loadings (5.4)
    /// allows; a third of the error envelope of 1.05 v (table 4, p_LC = 0.7) is
    /// a cubic bend, whose third derivative is 125 times its amplitude.
    #[must_use]
    pub fn expected(self, scale: &ScaleSpec, noise_g: f64, samples: u16) -> Grade {
        let interval = 1.0 / f64::from(self.intervals);
        Grade {
            scatter: Scatter {
                tau: 125.0 * 0.35 * interval,
                own: 0.02 * scale.e_g / scale.max_g,
                share: 0.2 * interval,
            },
            converter_g: noise_g / f64::from(samples.max(1)).sqrt(),
        }
    }
}

impl fmt::Display for CellGrade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}{}", self.class, f64::from(self.intervals) / 1000.0)
    }
}

impl FromStr for CellGrade {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let trimmed = text.trim();
        let fault = || format!("\"{trimmed}\" is no grade of cell: write C3, C6 or D1");
        let mut chars = trimmed.chars();
        let class = match chars.next().map(|c| c.to_ascii_uppercase()) {
            Some('A') => Class::A,
            Some('B') => Class::B,
            Some('C') => Class::C,
            Some('D') => Class::D,
            _ => return Err(fault()),
        };
        let thousands: f64 = chars.as_str().trim().parse().map_err(|_| fault())?;
        let (fewest, most) = limits(class);
        let intervals = (thousands * 1000.0).round();
        if !(intervals >= f64::from(fewest) && intervals <= f64::from(most)) {
            return Err(format!(
                "a cell of class {class:?} has {fewest} to {most} intervals (OIML R 60), not {}",
                thousands * 1000.0
            ));
        }
        Ok(Self {
            class,
            intervals: intervals as u32,
        })
    }
}

impl TryFrom<String> for CellGrade {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<CellGrade> for String {
    fn from(grade: CellGrade) -> Self {
        grade.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grades_are_read_and_written_as_makers_do() {
        for text in ["C3", "D1", "C1.5", "B10", "A50"] {
            assert_eq!(
                text.parse::<CellGrade>().map(|g| g.to_string()),
                Ok(text.into())
            );
        }
        assert_eq!(" c3 ".parse::<CellGrade>(), Ok(CellGrade::default()));
        // OIML R 60-1:2021, table 1: class C ends at 10 000, D at 1000.
        for text in [
            "", "3", "E3", "C", "Cx", "C11", "C0.4", "D2", "CNaN", "C-1", "C1e9",
        ] {
            assert!(text.parse::<CellGrade>().is_err(), "{text}");
        }
    }
}
