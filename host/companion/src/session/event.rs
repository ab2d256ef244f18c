//! What a session tells whoever watches: typed, unformatted.

use scalewright_protocol::message::{Hello, TableHeader};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;
use serde::{Deserialize, Serialize};

use super::plan::{Load, Plan};
use crate::record::outcome::{CandidateLine, CorrectionTried, Noise};
use crate::record::together::Together;

/// The parts of a session, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Part {
    /// Who the scale is and what it holds.
    Greeting,
    /// Noise of the empty pan.
    NoiseCheck,
    /// Zero.
    Zero,
    /// The heaviest load, once, before the others.
    Preload,
    /// Test loads going up.
    Rising,
    /// Test loads going down.
    Falling,
    /// Zero again.
    ZeroReturn,
    /// A load of the fit once more, or another that settles a doubt.
    Again,
    /// Choosing a table.
    Fit,
    /// Writing it to the device and reading it back.
    Store,
    /// Zero-setting before the verification.
    VerificationZero,
    /// Loads not used in the fit.
    Verification,
}

/// What a load is doing while it is awaited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watching {
    /// Nothing has moved yet.
    Waiting,
    /// The load moves or has just come.
    Settling,
    /// The device averages.
    Averaging {
        /// Samples taken.
        done: u16,
        /// Samples wanted.
        of: u16,
    },
}

/// A capture as a session keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Capture {
    /// Which part of the session it belongs to.
    pub part: Part,
    /// The load that was asked for.
    pub load: Load,
    /// Mean code, not net of zero, counts.
    pub mean_counts: f64,
    /// Standard deviation of one sample, counts.
    pub sd_counts: f64,
    /// Samples averaged.
    pub samples: u16,
    /// Device time at the middle of the averaging, s.
    pub at_s: f64,
    /// How long the load had rested by then, s; not known in old journals.
    #[serde(default)]
    pub rested_s: Option<f64>,
    /// Which power-on or resumption it belongs to: zeros count only within
    /// their own.
    pub sitting: u32,
    /// Whether the ADC was at an end of its range.
    pub saturated: bool,
    /// What the scale took off for hysteresis, g; in the verification only.
    #[serde(default)]
    pub correction_g: f64,
}

/// A wrong load on the pan, as far as the signal tells.
#[derive(Clone, Debug, PartialEq)]
pub struct WrongLoad {
    /// What was asked for.
    pub asked: Load,
    /// What the signal says, g.
    pub seen_g: f64,
    /// How far that may be off, g.
    pub tolerance_g: f64,
    /// Combinations of the weights that would explain it.
    pub looks_like: Vec<Load>,
    /// Whether the whole load could still be on its way.
    pub nothing_moved: bool,
    /// Whether the load before reads alike and was not lifted yet: other weights
    /// of the same mass, or the same once more, shall come.
    pub to_exchange: bool,
    /// Whether it is a little off only, and will be taken if it stays.
    pub will_be_taken: bool,
}

/// A table found in the device.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OldTable {
    /// Its points.
    pub knots: Vec<Knot>,
    /// Mass quantum, micrograms.
    pub quantum_ug: u32,
    /// Zero reference stored with it, counts.
    pub zero_counts: i32,
}

/// News from a session.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The scale answered.
    Greeted {
        /// Identity and limits.
        hello: Hello,
        /// Settings in force.
        settings: Settings,
        /// Table in force.
        table: TableHeader,
        /// The same in full, for the journal; absent without one.
        old_table: Option<OldTable>,
    },
    /// A part begins.
    Begins(Part),
    /// Put this on the pan (or take everything off).
    PutOn {
        /// Which load of the part, from 1.
        number: usize,
        /// Loads in the part.
        of: usize,
        /// The load.
        load: Load,
    },
    /// The signal now.
    Live {
        /// Estimated load, g; absent while the sensitivity is not known.
        load_g: Option<f64>,
        /// Net counts from the latest zero.
        net_counts: f64,
        /// What is going on.
        watching: Watching,
    },
    /// The load is not the one asked for.
    WrongLoad(WrongLoad),
    /// The device reports a condition that stands in the way.
    Trouble {
        /// What, in plain words.
        what: String,
        /// What to do.
        try_this: String,
    },
    /// The condition is gone.
    TroubleOver,
    /// A load became a number. To be written to the journal before anything
    /// else happens.
    Captured {
        /// The capture.
        capture: Capture,
        /// What the setting before would have said, g; absent without one.
        before_g: Option<f64>,
        /// What the new table says, g; only in the verification.
        after_g: Option<f64>,
        /// Permissible error here, g.
        mpe_g: f64,
    },
    /// The latest capture was taken back.
    Undone {
        /// The load it was for.
        load: Load,
    },
    /// The noise check is done.
    Quiet(Noise),
    /// All candidates, and which is proposed.
    Proposed {
        /// Side by side.
        candidates: Vec<CandidateLine>,
        /// Why the chosen one.
        reason: String,
        /// What all captures tell together.
        together: Box<Together>,
        /// Loads that should be captured again first, by their weights.
        again: Vec<Vec<String>>,
    },
    /// Part of the table is on its way to the device.
    Storing {
        /// Points sent.
        done: usize,
        /// Points in all.
        of: usize,
    },
    /// The table is in force and was read back without a difference.
    Stored {
        /// Sequence number of the record.
        sequence: u32,
        /// Points.
        points: usize,
        /// Checksum of the points.
        checksum: u32,
    },
    /// The scale is told to take a hysteresis loop of this width off.
    Corrects {
        /// Greatest width of the full loop, g.
        width_g: f64,
    },
    /// The verification tells whether that helps.
    CorrectionTried(CorrectionTried),
    /// The user kept the old table.
    Kept,
}

/// One line of a session's journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// How it began.
    Began {
        /// The plan.
        plan: Box<Plan>,
        /// Identity of the device.
        device_id: u32,
        /// Date and time, ISO 8601.
        date: String,
        /// Seed, on the bench.
        seed: Option<u64>,
        /// The table the device held at the beginning.
        old_table: Option<OldTable>,
    },
    /// The noise check.
    Noise(Noise),
    /// A capture.
    Captured(Capture),
    /// The latest capture was taken back.
    Undone,
    /// The table went into force.
    Stored {
        /// Checksum of the points.
        checksum: u32,
    },
}
