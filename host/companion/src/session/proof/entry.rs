//! What is kept of a verification: one entry a line, enough to compute every
//! result again.

use std::collections::BTreeSet;

use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;
use serde::{Deserialize, Serialize};

use super::plan::{PlannedTest, ProofPlan};
use super::{Spot, Test};
use crate::quantise::{self, HostTable};
use crate::session::plan::Load;

/// What the scale holds while it is tried.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// Number of this one device.
    pub device_id: u32,
    /// Kind of board.
    pub board: String,
    /// Firmware version, as "0.2.0".
    pub firmware: String,
    /// Settings in force.
    pub settings: Settings,
    /// Points of the table.
    pub knots: Vec<Knot>,
    /// Checksum of them.
    pub checksum: u32,
    /// Changes of table or settings so far.
    pub sequence: u32,
    /// Zero reference stored with the table, counts.
    pub zero_counts: i32,
}

/// A load as a number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProofCapture {
    /// The test it belongs to.
    pub test: Test,
    /// Place of its step among those of the test, from 0.
    pub step: usize,
    /// What lay on the pan.
    pub load: Load,
    /// Where.
    pub spot: Spot,
    /// Mean code, not net of zero, counts.
    pub mean_counts: f64,
    /// Standard deviation of one sample, counts.
    pub sd_counts: f64,
    /// Samples averaged.
    pub samples: u16,
    /// Device time at the middle of the averaging, s.
    pub at_s: f64,
    /// How long the load had rested by then, s.
    pub rested_s: f64,
    /// Zero reference in use, counts.
    pub zero_counts: i32,
    /// What the scale took off for hysteresis, quanta.
    pub correction: i32,
    /// What it showed: net, rounded to d, quanta; absent when blank.
    pub indication: Option<i32>,
    /// Which run of its test it belongs to: a test that was begun anew has the
    /// higher number, and only its latest run counts.
    pub run: u32,
}

/// One line of a verification's file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProofEntry {
    /// How it began.
    ProofBegan {
        /// Which tests, with which weights, judged how.
        plan: Box<ProofPlan>,
        /// The scale and what it holds.
        held: Box<Held>,
        /// Date and time, ISO 8601.
        date: String,
        /// Seed, on the bench.
        seed: Option<u64>,
    },
    /// It went on after an interruption.
    Resumed {
        /// Date and time, ISO 8601.
        date: String,
    },
    /// A load was captured.
    Captured(ProofCapture),
    /// Zero was set.
    Zeroed {
        /// The test.
        test: Test,
        /// Place of the step.
        step: usize,
        /// Run of the test.
        run: u32,
        /// Zero reference, counts.
        zero_counts: i32,
        /// Device time, s.
        at_s: f64,
    },
    /// What lies on the pan was tared, or the tare was cleared.
    Tared {
        /// The test.
        test: Test,
        /// Place of the step.
        step: usize,
        /// Run of the test.
        run: u32,
        /// Whether it was cleared.
        cleared: bool,
    },
    /// The latest capture was taken back.
    Undone,
    /// A test was left out.
    LeftOut {
        /// The test.
        test: Test,
        /// Why.
        why: String,
    },
}

/// Gross mass of a capture by the table it was made with, less what the scale
/// took off, g.
#[must_use]
pub fn gross_g(capture: &ProofCapture, table: &HostTable, quantum_ug: u32) -> f64 {
    let net = capture.mean_counts - f64::from(capture.zero_counts);
    let taken_off_g = f64::from(capture.correction) * quantise::quantum_g(quantum_ug);
    quantise::mass_g(table, net, quantum_ug) - taken_off_g
}

/// The captures that count: those of the latest run of each test, less what was
/// taken back.
#[must_use]
pub fn captures(entries: &[ProofEntry]) -> Vec<ProofCapture> {
    let mut kept: Vec<ProofCapture> = Vec::new();
    for entry in entries {
        match entry {
            ProofEntry::Captured(capture) => {
                kept.retain(|other| other.test != capture.test || other.run == capture.run);
                kept.push(capture.clone());
            }
            ProofEntry::Undone => {
                kept.pop();
            }
            _ => {}
        }
    }
    kept
}

/// The tests that need nothing more: made to their end, or left out.
#[must_use]
pub fn finished(plan: &ProofPlan, entries: &[ProofEntry]) -> BTreeSet<Test> {
    let kept = captures(entries);
    let whole = |planned: &&PlannedTest| {
        let wanted = planned.steps.iter().filter(|step| step.doing.captures());
        let made = kept.iter().filter(|capture| capture.test == planned.test);
        wanted.count() == made.count()
    };
    let made = plan.tests.iter().filter(whole).map(|planned| planned.test);
    let left_out = entries.iter().filter_map(|entry| match entry {
        ProofEntry::LeftOut { test, .. } => Some(*test),
        _ => None,
    });
    made.chain(left_out).collect()
}

/// The highest number of a run.
#[must_use]
pub fn latest_run(entries: &[ProofEntry]) -> Option<u32> {
    let run = |entry: &ProofEntry| match entry {
        ProofEntry::Captured(capture) => Some(capture.run),
        ProofEntry::Zeroed { run, .. } | ProofEntry::Tared { run, .. } => Some(*run),
        _ => None,
    };
    entries.iter().filter_map(run).max()
}
