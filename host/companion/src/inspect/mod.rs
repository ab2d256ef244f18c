//! Is a scale wired right and healthy? Samples and settings in, findings out.
//!
//! [`Gathered`] collects what a scale sends while nobody touches the pan,
//! [`Press`] watches a finger, [`examine`] draws the conclusions: each finding
//! says what was seen, what it means and what to try, and the [`Verdict`] names
//! the first thing to mend. Knows no port, terminal, file or clock: time is
//! the scale's own.
//!
//! | File | Owns |
//! |---|---|
//! | `subject` | what is known beforehand; counts to mV/V and g |
//! | `gathered` | samples and states as they come; losses, pauses, restarts |
//! | `figures` | rate, noise, drift as numbers |
//! | `periodic` | a regular disturbance, told from noise |
//! | `touch` | a pan that was not left alone |
//! | `press` | the finger |
//! | `rules` | numbers to findings |
//! | `recent` | the last seconds of a stream, for a live view |

mod figures;
mod gathered;
mod periodic;
mod press;
mod recent;
mod rules;
mod subject;
mod touch;

pub use figures::{Drift, Figures, Noise, PEAK_TO_PEAK};
pub use gathered::{Gathered, Losses};
pub use periodic::Periodic;
pub use press::{Press, Pressed};
pub use recent::Recent;
pub use rules::examine;
pub use subject::{RatedCell, Subject};
pub use touch::Touch;

use serde::Serialize;

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// As it should be.
    Good,
    /// Worth knowing; calibration may go on.
    Heed,
    /// To be mended before calibration.
    Bad,
}

/// What a finding is about, in the order of cause and effect: what stands
/// first is mended first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// Whether the bridge ADC delivers.
    Converter,
    /// Whether the supply holds.
    Supply,
    /// Conversions per second.
    Rate,
    /// The ends of the ADC's range.
    Range,
    /// Output of the bridge with the pan at rest.
    Bridge,
    /// Scatter of the codes.
    Noise,
    /// Single codes far from their neighbours.
    Jumps,
    /// Slow change.
    Drift,
    /// A regular swing in the codes.
    Disturbance,
    /// Which way the reading goes under load.
    Direction,
    /// The serial line.
    Line,
    /// What is stored in the scale.
    Memory,
}

impl Topic {
    /// A word for people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Converter => "converter",
            Self::Supply => "supply",
            Self::Rate => "rate",
            Self::Range => "range",
            Self::Bridge => "bridge",
            Self::Noise => "noise",
            Self::Jumps => "jumps",
            Self::Drift => "drift",
            Self::Disturbance => "swing",
            Self::Direction => "direction",
            Self::Line => "line",
            Self::Memory => "memory",
        }
    }
}

/// Something found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// What it is about.
    pub topic: Topic,
    /// How much it weighs.
    pub level: Level,
    /// What was seen, with numbers.
    pub seen: String,
    /// What that means; empty when all is well.
    pub means: String,
    /// What to try; empty when nothing is to be done.
    #[serde(rename = "try")]
    pub advice: String,
}

/// The sum of the findings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing stands against a calibration.
    Healthy,
    /// This has to be mended first.
    Mend(Topic),
    /// Nothing could be measured.
    Nothing,
}

/// An inspection's result.
#[derive(Clone, Debug, PartialEq)]
pub struct Examination {
    /// The numbers.
    pub figures: Figures,
    /// What follows from them, in the order of [`Topic`].
    pub findings: Vec<Finding>,
    /// The sum.
    pub verdict: Verdict,
}

impl Examination {
    /// The finding that has to be mended first.
    #[must_use]
    pub fn first_bad(&self) -> Option<&Finding> {
        self.findings
            .iter()
            .find(|finding| finding.level == Level::Bad)
    }
}
