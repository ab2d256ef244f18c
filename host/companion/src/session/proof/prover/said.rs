//! What a verification and those around it say to each other.

use scalewright_protocol::message::Ask;

use super::super::Test;
use super::super::entry::{Held, ProofCapture, ProofEntry};
use super::super::plan::ProofStep;
use crate::session::plan::Load;

/// What the driver shall do.
#[derive(Clone, Debug, PartialEq)]
pub enum ProofAction {
    /// Ask the scale this and come back with its answer.
    Ask(Ask),
    /// Over.
    Finished,
}

/// What a user can say at any time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProofCommand {
    /// Take the latest capture back and do it again.
    Undo,
    /// The load on the pan is right, whatever it looks like.
    TakeAsIs,
    /// Leave this test out.
    LeaveOut,
}

/// News.
#[derive(Clone, Debug, PartialEq)]
pub enum ProofEvent {
    /// The scale answered.
    Greeted(Box<Held>),
    /// A test begins.
    Begins(Test),
    /// A test begins anew.
    Again {
        /// The test.
        test: Test,
        /// Why.
        why: String,
    },
    /// What to do next.
    Do {
        /// Number of the step in its test, from 1.
        number: usize,
        /// Steps of the test.
        of: usize,
        /// The step.
        step: ProofStep,
    },
    /// The reading now.
    Live {
        /// Gross mass, g.
        gross_g: f64,
        /// What is going on.
        watching: Watching,
    },
    /// Another load than the one asked for rests on the pan.
    Wrong {
        /// What was asked for.
        asked: Load,
        /// What the scale says, g.
        seen_g: f64,
        /// Combinations of the weights that would explain it.
        looks_like: Vec<Load>,
        /// Whether nothing has moved yet.
        nothing_moved: bool,
    },
    /// Something stands in the way.
    Trouble {
        /// What, in plain words.
        what: String,
        /// What to do.
        try_this: String,
    },
    /// It is gone.
    TroubleOver,
    /// To be kept before anything else happens.
    Keep(ProofEntry),
    /// A load became a number.
    Captured {
        /// The capture.
        capture: ProofCapture,
        /// Gross mass by the table in force and its correction, g.
        gross_g: f64,
    },
}

/// What a load is doing while it is awaited.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Watching {
    /// Nothing has moved yet.
    Waiting,
    /// The load moves or has just come.
    Settling,
    /// Another load than the one asked for rests there.
    Other,
    /// The load lies, and is captured in so many seconds.
    Lying {
        /// Seconds left.
        left_s: u32,
    },
    /// The scale averages.
    Averaging {
        /// Samples taken.
        done: u16,
        /// Samples wanted.
        of: u16,
    },
}
