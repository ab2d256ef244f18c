//! Which number stands for which message, for a scale that handles fields.
//!
//! They are the positions of the variants in [`crate::message`]; `tests/tags.rs`
//! compares the two.

/// Requests: [`crate::message::Ask`].
pub mod ask {
    /// `Hello`.
    pub const HELLO: u8 = 0;
    /// `State`.
    pub const STATE: u8 = 1;
    /// `Wait`.
    pub const WAIT: u8 = 2;
    /// `Stream`.
    pub const STREAM: u8 = 3;
    /// `Settings`.
    pub const SETTINGS: u8 = 4;
    /// `SetSettings`.
    pub const SET_SETTINGS: u8 = 5;
    /// `Table`.
    pub const TABLE: u8 = 6;
    /// `Knots`.
    pub const KNOTS: u8 = 7;
    /// `StageBegin`.
    pub const STAGE_BEGIN: u8 = 8;
    /// `StageKnots`.
    pub const STAGE_KNOTS: u8 = 9;
    /// `StageCommit`.
    pub const STAGE_COMMIT: u8 = 10;
    /// `StageAbort`.
    pub const STAGE_ABORT: u8 = 11;
    /// `RollBack`.
    pub const ROLL_BACK: u8 = 12;
    /// `SetZero`.
    pub const SET_ZERO: u8 = 13;
    /// `Tare`.
    pub const TARE: u8 = 14;
    /// `ClearTare`.
    pub const CLEAR_TARE: u8 = 15;
    /// `Capture`.
    pub const CAPTURE: u8 = 16;
    /// `CaptureCancel`.
    pub const CAPTURE_CANCEL: u8 = 17;
    /// `StageTry`.
    pub const STAGE_TRY: u8 = 18;
    /// `Note`.
    pub const NOTE: u8 = 19;
    /// `Event`.
    pub const EVENT: u8 = 20;
    /// `HoldZero`.
    pub const HOLD_ZERO: u8 = 21;
}

/// Reports: [`crate::message::Report`].
pub mod report {
    /// `Answer`.
    pub const ANSWER: u8 = 0;
    /// `Refusal`.
    pub const REFUSAL: u8 = 1;
    /// `Sample`.
    pub const SAMPLE: u8 = 2;
    /// `Log`.
    pub const LOG: u8 = 3;
}

/// Answers: [`crate::message::Answer`].
pub mod answer {
    /// `Done`.
    pub const DONE: u8 = 0;
    /// `Hello`.
    pub const HELLO: u8 = 1;
    /// `State`.
    pub const STATE: u8 = 2;
    /// `Settings`.
    pub const SETTINGS: u8 = 3;
    /// `Table`.
    pub const TABLE: u8 = 4;
    /// `Knots`.
    pub const KNOTS: u8 = 5;
    /// `Stored`.
    pub const STORED: u8 = 6;
    /// `Zeroed`.
    pub const ZEROED: u8 = 7;
    /// `Event`.
    pub const EVENT: u8 = 8;
}
