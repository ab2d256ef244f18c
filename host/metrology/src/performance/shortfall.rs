//! What a test left out, so that a pass is no more than a pass so far.

use std::fmt;

/// A gap in a test; each says what was missing and what would close it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shortfall {
    /// Plain readings in steps that are too coarse, without small weights.
    RoundingNotRemoved {
        /// The step of the readings, in g.
        reads_to_g: f64,
        /// The step that would do without small weights, in g.
        fine_enough_g: f64,
    },
    /// The error at zero was not determined.
    ZeroErrorUnknown,
    /// Fewer different loads than the test asks for.
    TooFewLoads {
        /// Different loads tried.
        given: usize,
        /// Loads asked for.
        asked: usize,
    },
    /// Fewer weighings or readings than the test asks for.
    TooFewReadings {
        /// How many were taken.
        given: usize,
        /// How many are asked for.
        asked: usize,
    },
    /// The load is well below the one the test asks for.
    LoadTooSmall {
        /// The load, in g.
        load_g: f64,
        /// The load asked for, in g.
        asked_g: f64,
    },
    /// No load at or near one that the test asks for.
    LoadNotTried {
        /// The load asked for, in g.
        asked_g: f64,
    },
    /// The mass of the load is not known, so single errors are not judged.
    MassUnknown,
    /// No load was weighed while unloading.
    UnloadingNotTried,
    /// Fewer places of the pan than its supports ask for.
    TooFewPlaces {
        /// Places tried, without the centre.
        given: usize,
        /// Places asked for.
        asked: usize,
    },
    /// The nudge was not the 1.4 d asked for, and the answer proves nothing.
    NudgeOff {
        /// The weight put on or taken off, in g.
        nudge_g: f64,
        /// The weight asked for, in g.
        asked_g: f64,
    },
    /// The test was shorter than asked for.
    TimeTooShort {
        /// How long it lasted, in s.
        lasted_s: f64,
        /// How long it should last, in s.
        asked_s: f64,
    },
    /// The first reading came late, and what happened before is unseen.
    FirstReadingLate {
        /// When it was taken, in s.
        at_s: f64,
        /// When it should have been, in s.
        asked_s: f64,
    },
    /// No reading at or near a time that the test asks for.
    ReadingMissing {
        /// The time, in s.
        at_s: f64,
    },
    /// The longer rule that may still be kept was not tried.
    FourHoursNotSeen,
    /// Zero tracking may have hidden the error at zero.
    TrackingHides {
        /// The load that would leave its range, in g.
        asked_g: f64,
    },
    /// The small load was not weighed alone, so its own mass counts in.
    NotComparedAlone,
}

impl fmt::Display for Shortfall {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::RoundingNotRemoved {
                reads_to_g,
                fine_enough_g,
            } => write!(
                f,
                "readings in steps of {} hide their rounding: add small weights until the indication steps, or read in steps of {} or less",
                grams(reads_to_g),
                grams(fine_enough_g)
            ),
            Self::ZeroErrorUnknown => write!(
                f,
                "the error at zero was not determined: take a reading without load first"
            ),
            Self::TooFewLoads { given, asked } => write!(
                f,
                "{given} different loads were tried, {asked} are asked for"
            ),
            Self::TooFewReadings { given, asked } => {
                write!(f, "{given} weighings were made, {asked} are asked for")
            }
            Self::LoadTooSmall { load_g, asked_g } => write!(
                f,
                "the load of {} is too small to show much: {} is asked for",
                grams(load_g),
                grams(asked_g)
            ),
            Self::LoadNotTried { asked_g } => {
                write!(f, "no load at or near {} was tried", grams(asked_g))
            }
            Self::MassUnknown => write!(
                f,
                "the mass of the load is unknown: only the spread is judged, not each error"
            ),
            Self::UnloadingNotTried => write!(
                f,
                "no load was weighed while unloading: go down through the same loads"
            ),
            Self::TooFewPlaces { given, asked } => write!(
                f,
                "{given} places of the pan were tried, {asked} are asked for"
            ),
            Self::NudgeOff { nudge_g, asked_g } => write!(
                f,
                "a nudge of {} proves nothing with this answer: use {}",
                grams(nudge_g),
                grams(asked_g)
            ),
            Self::TimeTooShort { lasted_s, asked_s } => write!(
                f,
                "the test lasted {} of {}: what was exceeded is exceeded, but a longer test may show more",
                duration(lasted_s),
                duration(asked_s)
            ),
            Self::FirstReadingLate { at_s, asked_s } => write!(
                f,
                "the first reading came after {}, it should after {}: what happened before is unseen",
                duration(at_s),
                duration(asked_s)
            ),
            Self::ReadingMissing { at_s } => {
                write!(f, "there is no reading at {}", duration(at_s))
            }
            Self::FourHoursNotSeen => write!(
                f,
                "the change within 30 min is too large, but the permissible error over 4 h may still be kept: watch the load for 4 h"
            ),
            Self::TrackingHides { asked_g } => write!(
                f,
                "zero tracking may hide the error at zero: switch it off or put on {} and read that",
                grams(asked_g)
            ),
            Self::NotComparedAlone => write!(
                f,
                "the small load was not weighed on its own: its own error counts in"
            ),
        }
    }
}

/// A mass in words: g, without the digits that only rounding made.
fn grams(mass_g: f64) -> String {
    if mass_g != 0.0 && !(1e-6..1e12).contains(&mass_g.abs()) {
        return format!("{mass_g:e} g");
    }
    let text = format!("{mass_g:.9}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    format!("{short} g")
}

/// A time in words.
fn duration(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else if seconds < 7200.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        format!("{:.1} h", seconds / 3600.0)
    }
}
