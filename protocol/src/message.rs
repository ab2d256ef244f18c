//! Everything laptop and scale say to each other, in one view.
//!
//! The laptop asks ([`Ask`]); the scale gives exactly one [`Answer`] or one
//! [`Refusal`] to each, under the number of the request. Unasked, the scale
//! only ever sends [`Sample`]s, and only while they are switched on.
//!
//! **Nothing is applied twice.** A scale remembers the number of the last
//! request and its reply; the same number again repeats the reply and does
//! nothing else. A laptop that hears nothing may therefore send the same bytes
//! again. [`Ask::Hello`] is always answered afresh and clears that memory.
//!
//! **Waiting is the scale's.** [`Ask::Wait`] is answered after so many
//! milliseconds of the scale's own time, or sooner when something happened, so
//! a laptop never measures time with its own clock.
//!
//! **A table is adopted whole.** [`Ask::StageBegin`], some [`Ask::StageKnots`]
//! and [`Ask::StageCommit`] build a complete record in the spare slot; before
//! the commit nothing in force is touched, whatever breaks.
//!
//! The order of variants and fields is the wire format: append, never insert.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use crate::settings::{Settings, SettingsFault};
use crate::table::{Knot, TableFault};

/// Knots that travel in one message.
pub const KNOTS_PER_MESSAGE: usize = 6;

/// Bytes of a note, and so of what an event tells.
pub const NOTE_BYTES: usize = 32;

/// Bytes of the log that travel in one message.
pub const LOG_BYTES: usize = 24;

/// From laptop to scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Request {
    /// Number of the request, different from the one before.
    pub id: u16,
    /// What is asked.
    pub ask: Ask,
}

/// What a laptop may ask. The comment names the [`Answer`] it gets.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Ask {
    /// Who are you? → [`Answer::Hello`]. Never changes between wire versions.
    Hello {
        /// [`crate::WIRE_VERSION`] of the asker.
        wire_version: u16,
    },
    /// State now. → [`Answer::State`].
    State,
    /// State after `up_to_ms` of device time, or as soon as a capture ends or
    /// rest begins or ends. → [`Answer::State`]. At most 10 000 ms.
    Wait {
        /// Longest wait, ms of device time.
        up_to_ms: u16,
    },
    /// Send every `every`-th sample from now on; 0 stops. → [`Answer::Done`].
    Stream {
        /// One of how many samples.
        every: u8,
    },
    /// Settings in force. → [`Answer::Settings`].
    Settings,
    /// Replace the settings; the table stays. → [`Answer::Stored`]. Refused
    /// when a table is in force and the mass quantum would change.
    SetSettings(Settings),
    /// Header of the table in force. → [`Answer::Table`].
    Table,
    /// Up to [`KNOTS_PER_MESSAGE`] knots from position `from`.
    /// → [`Answer::Knots`].
    Knots {
        /// Position of the first.
        from: u8,
    },
    /// Open a complete new record in the spare slot. → [`Answer::Done`].
    StageBegin(Stage),
    /// The next knots, in order. → [`Answer::Done`].
    StageKnots {
        /// Position of the first.
        from: u8,
        /// The knots.
        knots: Vec<Knot, KNOTS_PER_MESSAGE>,
    },
    /// Check the staged record and put it in force. → [`Answer::Stored`].
    StageCommit,
    /// Give up what was staged. → [`Answer::Done`].
    StageAbort,
    /// Put the record before this one back in force. → [`Answer::Stored`].
    RollBack,
    /// Zero-setting: the load on the pan becomes zero. → [`Answer::Zeroed`].
    SetZero,
    /// Tare: the load on the pan counts as container. → [`Answer::Done`].
    Tare,
    /// Forget the tare. → [`Answer::Done`].
    ClearTare,
    /// Start a capture (the one before is forgotten). → [`Answer::Done`].
    Capture(CaptureOrder),
    /// Give up the capture. → [`Answer::Done`].
    CaptureCancel,
    /// Check the staged record and weigh with it, without storing it: a trial.
    /// → [`Answer::Done`]. It ends with [`Ask::StageCommit`], which stores it,
    /// with [`Ask::StageAbort`], at a restart and with any other change, which
    /// put the stored record back in force. Refused as
    /// [`Refusal::NotCalibrated`] when there is none to go back to.
    StageTry,
    /// Who changes what follows, and why; kept with the next change, on boards
    /// that keep events. → [`Answer::Done`].
    Note {
        /// When, s since 1970-01-01 UTC; 0 when not known.
        when_s: u32,
        /// Who and why, at most [`NOTE_BYTES`].
        text: String<NOTE_BYTES>,
    },
    /// A change of the past. → [`Answer::Event`].
    Event {
        /// How many changes before the last; 0 is the last.
        back: u8,
    },
    /// Zero-tracking stands still from now on. → [`Answer::Done`]. A restart ends
    /// that too; nothing is stored.
    HoldZero {
        /// How long, s; 0 lets it go on.
        for_s: u16,
    },
}

/// From scale to laptop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Report {
    /// The reply to request `id`.
    Answer {
        /// The number of the request.
        id: u16,
        /// The reply.
        answer: Answer,
    },
    /// Request `id` was not carried out, and why.
    Refusal {
        /// The number of the request.
        id: u16,
        /// The cause.
        refusal: Refusal,
    },
    /// A sample, unasked.
    Sample(Sample),
    /// A piece of the firmware's log, unasked: defmt's own stream, cut anywhere.
    Log {
        /// The bytes.
        bytes: Vec<u8, LOG_BYTES>,
    },
}

/// Replies.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Answer {
    /// Carried out; nothing to tell.
    Done,
    /// Identity and limits.
    Hello(Hello),
    /// The state.
    State(State),
    /// Settings in force.
    Settings(Settings),
    /// The table in force.
    Table(TableHeader),
    /// Some knots of the table in force.
    Knots {
        /// Position of the first.
        from: u8,
        /// The knots; fewer than asked at the end of the table.
        knots: Vec<Knot, KNOTS_PER_MESSAGE>,
    },
    /// A record is in force.
    Stored {
        /// Its sequence number: rises by one with every change of table or
        /// settings, so it also counts them.
        sequence: u32,
    },
    /// Zero was set.
    Zeroed {
        /// The zero reference now, ADC counts.
        zero_counts: i32,
    },
    /// A change of the past; absent where none so far back is kept.
    Event(Option<Event>),
}

/// What was changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[repr(u8)]
pub enum EventKind {
    /// A table with its settings.
    Table = 0,
    /// Settings; the table stayed.
    Settings = 1,
    /// The record before came back in force.
    RolledBack = 2,
    /// A table was made on the scale itself.
    MadeHere = 3,
}

/// A change of table or settings, as the scale kept it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// Sequence number of the record that came into force: it counts changes.
    pub counter: u32,
    /// What was changed.
    pub kind: EventKind,
    /// [`crate::table::knots_checksum`] of the table then in force.
    pub checksum: u32,
    /// When, s since 1970-01-01 UTC, by the laptop; 0 when not known.
    pub when_s: u32,
    /// Who and why, as the laptop said it.
    pub text: String<NOTE_BYTES>,
}

/// Identity and limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hello {
    /// [`crate::WIRE_VERSION`] of the scale.
    pub wire_version: u16,
    /// Firmware version: major, minor, patch.
    pub firmware: (u8, u8, u8),
    /// Number of this one device.
    pub device_id: u32,
    /// Kind of board.
    pub board: String<16>,
    /// Most knots a table may have.
    pub max_knots: u8,
    /// Rates of the ADC, conversions per second.
    pub rates_sps: Vec<u16, 5>,
    /// Room of one of the two storage slots, bytes.
    pub slot_bytes: u16,
    /// Longest payload of one frame it can take, bytes.
    pub max_payload: u16,
}

/// Conditions, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flags(pub u16);

impl Flags {
    /// At rest: what the signal may still be off by is within the settings' limit.
    pub const STABLE: Self = Self(1);
    /// Within a quarter of e of zero.
    pub const AT_ZERO: Self = Self(1 << 1);
    /// A tare is in use; the indication is net.
    pub const NET: Self = Self(1 << 2);
    /// No table in force: there is no mass.
    pub const NOT_CALIBRATED: Self = Self(1 << 3);
    /// Above Max + 9 e: indication blank.
    pub const OVERLOAD: Self = Self(1 << 4);
    /// Below −20 d: indication blank.
    pub const UNDERLOAD: Self = Self(1 << 5);
    /// The ADC is at an end of its range.
    pub const SATURATED: Self = Self(1 << 6);
    /// The ADC delivers nothing.
    pub const ADC_SILENT: Self = Self(1 << 7);
    /// The ADC's data line does not answer the clock.
    pub const ADC_STUCK: Self = Self(1 << 8);
    /// Conversions after a change of input, not yet settled, are dropped.
    pub const SETTLING: Self = Self(1 << 9);
    /// Outside the table, on the continuation of its end segment.
    pub const CONTINUED: Self = Self(1 << 10);
    /// The code of this sample is held back: a spike, or one of the first two of
    /// a step.
    pub const SPIKE: Self = Self(1 << 11);
    /// The stored record in force is not the newest: the newest was broken.
    pub const FELL_BACK: Self = Self(1 << 12);
    /// The memory holds a record in another firmware version's layout, which is
    /// not read here. It stays untouched until a new record is staged.
    pub const OTHER_LAYOUT: Self = Self(1 << 13);
    /// The table in force is a trial: it is not stored.
    pub const TRIAL: Self = Self(1 << 14);
    /// Table and settings are sealed now: what would change them is refused.
    pub const SEALED: Self = Self(1 << 15);

    /// Whether all bits of `other` are set.
    #[must_use]
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// Whether any bit of `other` is set.
    #[must_use]
    pub const fn any(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Both together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// With the bits of `other` set when `on`.
    #[must_use]
    pub const fn with_if(self, other: Self, on: bool) -> Self {
        if on { self.with(other) } else { self }
    }
}

/// One sample, as it passes through the scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sample {
    /// Number of the sample since power-on, wrapping; a gap beyond the
    /// stream's step is a loss.
    pub sequence: u32,
    /// Device time, ms.
    pub at_ms: u32,
    /// The code as converted, ADC counts.
    pub raw_counts: i32,
    /// Despiked and smoothed, q8 counts.
    pub smooth_q8: i32,
    /// Gross mass, quanta; absent without a table.
    pub mass: Option<i32>,
    /// Conditions.
    pub flags: Flags,
}

/// What the scale is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct State {
    /// Device time, ms.
    pub at_ms: u32,
    /// Number of the latest sample.
    pub sequence: u32,
    /// Despiked and smoothed, q8 counts.
    pub smooth_q8: i32,
    /// How far the smoothed signal may still be from where it ends, q8 counts: the
    /// largest of noise (three standard deviations), trend (over half the window)
    /// and what is left of the last movement; held at 4096 counts.
    pub spread_q8: u32,
    /// Zero reference in use, ADC counts.
    pub zero_counts: i32,
    /// Gross mass, quanta; absent without a table or with a fault.
    pub mass: Option<i32>,
    /// Indication: net mass rounded to d, quanta; absent when blank. A step that
    /// was shown stays until the mass is past the change-over point by what the
    /// spread is worth, at most 0.2 d.
    pub indication: Option<i32>,
    /// Conditions.
    pub flags: Flags,
    /// The capture.
    pub capture: CaptureState,
    /// What hysteresis took off, quanta: `mass` and this are together what the
    /// table says of `smooth_q8`. 0 without a mass.
    pub correction: i32,
}

/// How a load becomes a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CaptureOrder {
    /// Samples to average, 1 to 1024.
    pub samples: u16,
    /// Largest [`State::spread_q8`] that counts as rest, in whole ADC counts;
    /// 0 takes the settings' own limit in d (or 1/50 000 of the code range
    /// without a table).
    pub rest_counts: u32,
    /// Give up after this long, ms of device time.
    pub patience_ms: u32,
}

/// Where a capture stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CaptureState {
    /// None was asked for.
    Idle,
    /// The load is not at rest yet.
    Settling,
    /// Averaging.
    Averaging {
        /// Samples taken.
        done: u16,
        /// Samples wanted.
        of: u16,
    },
    /// Finished.
    Captured(Captured),
    /// Given up.
    Failed(CaptureFault),
}

/// A load as a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Captured {
    /// Mean of the despiked, unsmoothed samples, q8 counts (not net of zero).
    pub mean_q8: i32,
    /// Their standard deviation (divisor n − 1), q8 counts.
    pub sd_q8: u32,
    /// How many.
    pub samples: u16,
    /// Device time at the first, ms.
    pub began_ms: u32,
    /// Device time at the last, ms.
    pub ended_ms: u32,
    /// Times the load moved and averaging began anew.
    pub restarts: u8,
    /// Whether any sample was at an end of the ADC's range.
    pub saturated: bool,
}

/// Why a capture was given up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CaptureFault {
    /// The load did not come to rest in time.
    Restless,
    /// The ADC delivered nothing.
    NoSamples,
    /// Cancelled by request.
    Cancelled,
}

/// Opens a staged record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stage {
    /// Settings that come with the table.
    pub settings: Settings,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: i32,
    /// Knots that will follow; 0 returns to the factory state without a table.
    pub knots: u8,
    /// [`crate::table::knots_checksum`] of all of them.
    pub checksum: u32,
}

/// The table in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TableHeader {
    /// Sequence number of the record, 0 when none was ever stored.
    pub sequence: u32,
    /// Knots; 0 means not calibrated.
    pub knots: u8,
    /// [`crate::table::knots_checksum`].
    pub checksum: u32,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: i32,
    /// Whether the record before is still there to roll back to.
    pub previous: bool,
}

/// Why a request was not carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// The frame was sound but its message is not known here.
    Unknown,
    /// A value is out of range; which, is named by its position in the ask.
    Range {
        /// Position of the field, from 0.
        field: u8,
    },
    /// Nothing is being staged.
    NotStaging,
    /// Staged knots out of order: position `expected` was due.
    StageOrder {
        /// The position due.
        expected: u8,
    },
    /// Knots are still missing.
    StageIncomplete {
        /// Knots received.
        received: u8,
    },
    /// The knots received are not those announced.
    StageChecksum,
    /// The knots do not make a table.
    Table(TableFault),
    /// The settings make no sense.
    Settings(SettingsFault),
    /// The table in force is in other quanta: send it anew with the settings.
    QuantumInUse,
    /// No record before this one.
    NothingToRollBack,
    /// The load is not at rest.
    NotAtRest,
    /// Outside the zero-setting range of 4 % of Max.
    ZeroRange,
    /// Not possible without a table.
    NotCalibrated,
    /// The ADC delivers nothing usable.
    AdcFault,
    /// Writing to storage failed; the record in force is untouched.
    Storage,
    /// Tare outside 0 … Max.
    TareRange,
    /// The scale is sealed and was not started with the key held.
    Sealed,
    /// Somebody calibrates at the scale itself.
    Busy,
}
