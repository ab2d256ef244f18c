//! The outcome of a guided calibration as plain values: what `--json` prints
//! and what every report is drawn from. Nothing here computes.
//!
//! Masses are in grams, errors of indication in e unless the name says
//! otherwise; counts are net of the zero reference.

use serde::{Deserialize, Serialize};

use super::together::Together;

/// Everything a reader needs to know of one calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Version of the companion.
    pub version: String,
    /// Date and time of the run, ISO 8601, as told by the caller.
    pub date: String,
    /// Seed of the bench; absent on real hardware.
    pub seed: Option<u64>,
    /// The device.
    pub device: DeviceLine,
    /// What the scale claims to be.
    pub scale: ScaleLine,
    /// Unloaded noise.
    pub noise: Noise,
    /// Every capture, in order.
    pub loads: Vec<LoadLine>,
    /// All ways of fitting, side by side.
    pub candidates: Vec<CandidateLine>,
    /// Why the chosen one was chosen, one sentence.
    pub choice: String,
    /// What all captures tell together of weights, scale and cell; absent in
    /// outcomes of old.
    #[serde(default)]
    pub together: Option<Together>,
    /// Whether correcting hysteresis in the scale helps; absent where it was not
    /// tried.
    #[serde(default)]
    pub correction: Option<CorrectionTried>,
    /// The table now in the device.
    pub table: TableLine,
    /// The scale with the table it had before (or a single span, see `title`).
    pub before: Verification,
    /// The scale with the new table.
    pub after: Verification,
    /// Error of indication of the old setting over the whole range, as the new
    /// table sees it: (load in g, error in e).
    pub before_curve: Vec<(f64, f64)>,
    /// Standard uncertainty of the new table over the range: (load in g, u in
    /// e); empty when not known.
    pub after_band: Vec<(f64, f64)>,
    /// Findings in plain words, most important first.
    pub findings: Vec<String>,
    /// What this run did not test, in plain words.
    pub not_tested: Vec<String>,
    /// Device time the run took, s.
    pub device_s: f64,
    /// Wall-clock time the run took, s.
    pub wall_s: f64,
}

/// Who the device is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeviceLine {
    /// Identity, four or eight hexadecimal digits.
    pub id: String,
    /// Kind of board.
    pub board: String,
    /// Firmware version.
    pub firmware: String,
    /// Wire version.
    pub wire_version: u16,
    /// Most points a table may have.
    pub max_points: u8,
}

/// What the built-in bench calls its board.
pub const BENCH: &str = "bench";

impl DeviceLine {
    /// Whether it is no real scale: the built-in bench, in a rehearsal or behind a
    /// port of its own.
    #[must_use]
    pub fn is_bench(&self) -> bool {
        self.board == BENCH
    }
}

/// What the scale claims to be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScaleLine {
    /// Maximum capacity Max.
    pub max: f64,
    /// Verification scale interval e.
    pub e: f64,
    /// Scale interval d.
    pub d: f64,
    /// Unit of the three: always "g".
    pub unit: String,
    /// Accuracy class: I, II, III or IIII.
    pub class: String,
}

/// Noise of the unloaded scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Standard deviation of one sample, in e; absent while the sensitivity is
    /// not known.
    pub sd_e: Option<f64>,
    /// Standard deviation of one sample, counts.
    pub sd_counts: f64,
    /// The finest d of the form 1, 2 or 5 times a power of ten that the noise
    /// supports, g.
    pub supports_d_g: Option<f64>,
    /// The samples as deviations from their mean, in counts.
    pub samples_counts: Vec<f64>,
    /// Length of the check in device time, s.
    pub seconds: f64,
}

/// One capture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadLine {
    /// What it served for.
    pub purpose: Purpose,
    /// Conventional mass of the weights as stated, g.
    pub mass_g: f64,
    /// The weights.
    pub weights: Vec<String>,
    /// Mean, net of the drifting zero, counts.
    pub net_counts: f64,
    /// Standard deviation of one sample, counts.
    pub sd_counts: f64,
    /// Samples averaged.
    pub samples: u16,
    /// Device time at the middle of the averaging, s from the start.
    pub at_s: f64,
    /// Residual of the chosen curve, g; only for captures used in the fit.
    pub residual_g: Option<f64>,
}

/// What a capture served for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Zero at the start, between or at the end.
    Zero,
    /// Test load going up.
    Rising,
    /// Test load going down.
    Falling,
    /// Verification, not used in the fit.
    Verification,
}

/// One way of fitting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CandidateLine {
    /// Short name.
    pub name: String,
    /// A few words that explain it.
    pub title: String,
    /// Root mean square of the leave-one-out errors of the integer table, g;
    /// absent when it could not be formed.
    pub leave_one_out_error: Option<f64>,
    /// The same in e.
    pub leave_one_out_error_e: Option<f64>,
    /// Largest leave-one-out error, in e.
    pub leave_one_out_largest_e: Option<f64>,
    /// Root mean square residual, in e.
    pub residual_e: Option<f64>,
    /// Points in the device's table.
    pub points: usize,
    /// Whether this one went into the device.
    pub chosen: bool,
    /// Why it could not be formed, if so.
    pub note: Option<String>,
}

/// The table in the device.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TableLine {
    /// Its points.
    pub points: Vec<PointLine>,
    /// CRC-32 over the points, eight hexadecimal digits.
    pub checksum: String,
    /// Mass quantum, g.
    pub quantum_g: f64,
    /// Zero reference at calibration, counts.
    pub zero_counts: i32,
    /// Number of changes of table or settings the device has seen.
    pub sequence: u32,
}

/// A point of the table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointLine {
    /// Net counts.
    pub counts: i32,
    /// Mass, g.
    pub mass_g: f64,
}

/// The scale judged at loads not used in the fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verification {
    /// What is judged, as "set with one weight of 1 kg".
    pub title: String,
    /// One row a load.
    pub rows: Vec<VerificationRow>,
    /// Largest absolute error, in e.
    pub largest_error_e: f64,
    /// Load at which it occurred, g.
    pub largest_at_g: f64,
    /// Loads within the permissible error.
    pub passed: usize,
    /// Loads judged.
    pub of: usize,
    /// "pass" or "fail".
    pub verdict: String,
}

/// One load judged.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct VerificationRow {
    /// Load, g.
    pub load_g: f64,
    /// Error of indication before rounding, g.
    pub error_g: f64,
    /// The same in e.
    pub error_e: f64,
    /// Maximum permissible error, in e.
    pub mpe_e: f64,
    /// Expanded uncertainty of the error (k = 2), in e.
    pub expanded_u_e: f64,
    /// Whether |error| ≤ mpe.
    pub pass: bool,
    /// Whether the load was reached from a heavier one.
    #[serde(default)]
    pub from_above: bool,
}

/// The correction of hysteresis in the scale, judged by the verification: the
/// same captures with it and without.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CorrectionTried {
    /// Greatest width of the loop that was taken off, g.
    pub width_g: f64,
    /// Root mean square error with it, in e.
    pub error_with_e: f64,
    /// The same without.
    pub error_without_e: f64,
    /// Largest error with it, in e.
    pub largest_with_e: f64,
    /// The same without.
    pub largest_without_e: f64,
    /// Whether the scale goes on correcting, since it helps.
    pub kept: bool,
}
