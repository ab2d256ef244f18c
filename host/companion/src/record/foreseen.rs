//! What a calibration is expected to be worth, as plain values: what `plan`
//! prints. Nothing here computes. Masses in grams.

use serde::{Deserialize, Serialize};

/// Part of the permissible error that the table's uncertainty may take: as test
/// loads may (OIML R 76-1:2006, 3.7.1).
pub const MAY_TAKE: f64 = 1.0 / 3.0;

/// One load to come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ForeseenStep {
    /// Its place, from 1.
    pub number: usize,
    /// The weights; none is the empty pan.
    pub weights: Vec<String>,
    /// Their mass, g.
    pub mass_g: f64,
    /// When it will be captured, s from the start.
    pub at_s: f64,
    /// What it is for.
    pub purpose: StepPurpose,
}

/// What a load is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepPurpose {
    /// The empty pan.
    Zero,
    /// It exercises the cell.
    Preload,
    /// The curve, and weights against each other.
    Curve,
    /// The same mass made of other weights: tells them apart.
    Exchange,
    /// The same load once more.
    Repeat,
    /// A substitution load, alone or with weights.
    Substitution,
    /// A small weight on top of the load before.
    SmallOnBig,
    /// On the way down: hysteresis.
    WayDown,
}

/// What is expected at one load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ForeseenRow {
    /// The load, g.
    pub load_g: f64,
    /// Expanded uncertainty (k = 2) of the table, g.
    pub table_u_g: f64,
    /// Error of indication that 95 of 100 weighings will not exceed, g.
    pub error_g: f64,
    /// Permissible error, g.
    pub permitted_g: f64,
}

/// What one more weight would do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Improvement {
    /// What to buy, borrow or fill.
    pub what: String,
    /// Largest share of the permissible error that the table's uncertainty
    /// would take anywhere.
    pub worst_share: f64,
    /// Expanded uncertainty of the table at Max, g.
    pub table_u_at_max_g: f64,
}

/// How well one weight will be checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Checked {
    /// The weight.
    pub id: String,
    /// Standard uncertainty by the captures alone, g; absent where nothing
    /// would tell it from others.
    pub alone_u_g: Option<f64>,
    /// Whether it matters: it is heavy enough to be wrong by what shows.
    pub matters: bool,
}

/// All of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Foreseen {
    /// Max, g.
    pub max_g: f64,
    /// e, g.
    pub e_g: f64,
    /// Accuracy class.
    pub class: String,
    /// Grade of the cell that was counted with.
    pub cell: String,
    /// Noise of one sample that was counted with, g.
    pub noise_g: f64,
    /// The finest scale interval d which that supports, g.
    pub supports_d_g: f64,
    /// The loads in their order.
    pub steps: Vec<ForeseenStep>,
    /// How long they take, s.
    pub seconds: f64,
    /// Loads of the proof after them.
    pub proof_loads: usize,
    /// How long the proof takes, s.
    pub proof_s: f64,
    /// What is expected over the range.
    pub rows: Vec<ForeseenRow>,
    /// Largest share of the permissible error that the table's uncertainty
    /// takes anywhere.
    pub worst_share: f64,
    /// Where that is, g.
    pub worst_at_g: f64,
    /// Stretches of the range where the table's uncertainty takes more than a
    /// third of the permissible error, g.
    pub unsupported_g: Vec<(f64, f64)>,
    /// The lightest load of known weights, g.
    pub lightest_g: f64,
    /// Min of the class, g.
    pub min_g: f64,
    /// How well each weight will be checked.
    pub checked: Vec<Checked>,
    /// What one more weight would do, the best first.
    pub improvements: Vec<Improvement>,
}
