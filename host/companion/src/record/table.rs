//! Tables of scales as every report prints them and `--json` gives them.
//!
//! Nothing here computes. Masses in g.

use serde::Serialize;

use super::outcome::ScaleLine;

/// One table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TableRecord {
    /// Number of its change, where it is of a scale.
    pub sequence: Option<u32>,
    /// Checksum.
    pub checksum: String,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: Option<i32>,
    /// Whether the scale holds another one from before.
    pub previous: bool,
    /// The smallest step of a mass, g.
    pub quantum_g: f64,
    /// Greatest width of the hysteresis loop that is taken off, g; 0 for none.
    pub hysteresis_taken_off_g: f64,
    /// The scale.
    pub scale: ScaleLine,
    /// The points, rising; none when it is not calibrated.
    pub points: Vec<PointLine>,
    /// Whether it is on trial: not stored, gone at a restart.
    pub on_trial: bool,
    /// Changes as the scale remembers them, newest first; absent where it keeps
    /// none.
    pub history: Option<Vec<ChangeLine>>,
}

/// A change that a scale remembers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ChangeLine {
    /// Its number: they are counted, and never turned back.
    pub change: u32,
    /// What was done.
    pub what: What,
    /// Checksum of the table then in force.
    pub checksum: String,
    /// When, by the laptop's clock, as "2026-11-26 10:05" UTC; absent when nobody
    /// told.
    pub when: Option<String>,
    /// Who and why.
    pub text: String,
}

/// What was done in a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// A table was brought in.
    Table,
    /// Settings; the table stayed.
    Settings,
    /// The one before was put back in force.
    RolledBack,
    /// A table was made at the scale itself.
    MadeAtTheScale,
}

/// A point beside a straight line from zero to the last one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PointLine {
    /// Net counts.
    pub counts: i32,
    /// Mass, g.
    pub mass_g: f64,
    /// Mass less that of the straight line, g.
    pub off_straight_g: f64,
    /// The same in e.
    pub off_straight_e: f64,
    /// Steepness of the segment that ends here against the straight line, as a
    /// share; absent at the first.
    pub steepness: Option<f64>,
}

/// Two tables beside each other: what a scale shows with one, and what it would
/// show with the other.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TablesRecord {
    /// Program version.
    pub version: String,
    /// Date, as the caller has it.
    pub date: String,
    /// The scale.
    pub scale: ScaleLine,
    /// What it is judged by, in words.
    pub judged_by: String,
    /// The one.
    pub one: TableName,
    /// The other.
    pub other: TableName,
    /// Load by load, rising.
    pub loads: Vec<ShownLine>,
    /// The load at which the two differ most for what is permitted there.
    pub most: Option<ShownLine>,
    /// The difference over the load, finely.
    pub curve: Vec<CurveCorner>,
    /// What else differs, in words.
    pub notes: Vec<String>,
}

/// What a table is called.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TableName {
    /// In words.
    pub name: String,
    /// Checksum.
    pub checksum: String,
    /// How many points.
    pub points: usize,
    /// Zero reference, ADC counts.
    pub zero_counts: Option<i32>,
}

/// Why a load is listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// One people think in.
    Familiar,
    /// It was asked for.
    Asked,
    /// It is put right.
    Adjusted,
    /// It stays.
    Kept,
}

/// What both tables make of the counts of one load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ShownLine {
    /// The load, g: for one that is put right what lies there, else what the one
    /// table shows.
    pub load_g: f64,
    /// Why it is listed.
    pub why: Why,
    /// Mass by the one, g.
    pub one_g: f64,
    /// Mass by the other, g.
    pub other_g: f64,
    /// Indication by the one, rounded to d, g.
    pub one_indicated_g: f64,
    /// Indication by the other, rounded to d, g.
    pub other_indicated_g: f64,
    /// The other less the one, g.
    pub change_g: f64,
    /// The same in e.
    pub change_e: f64,
    /// Permitted error, plus or minus, g.
    pub permitted_g: f64,
}

/// A corner of the curve of differences.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CurveCorner {
    /// Mass by the one table, g.
    pub load_g: f64,
    /// The other less the one, g.
    pub change_g: f64,
}

/// One load put right.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AdjustmentRecord {
    /// The load, g.
    pub load_g: f64,
    /// What was shown of it, g.
    pub shown_g: f64,
    /// Whether that was captured, not typed.
    pub captured: bool,
    /// Where the correction begins and ends, g.
    pub from_g: f64,
    /// Where it ends, g.
    pub to_g: f64,
    /// Change of steepness at most, as a share.
    pub bend: f64,
    /// Points that are new.
    pub added: usize,
    /// Points that are gone.
    pub taken_out: usize,
    /// Furthest that the straight lines leave the smooth curve, g.
    pub off_g: f64,
    /// Loads that stay, g.
    pub kept_g: Vec<f64>,
}

/// A change of a scale's table, before or after it was brought in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChangeRecord {
    /// The table that is in force in the end.
    #[serde(flatten)]
    pub table: TableRecord,
    /// Number of the scale.
    pub device: String,
    /// What puts one load right, where that is what is done.
    pub adjustment: Option<AdjustmentRecord>,
    /// What it changes; absent when nothing changes, or nothing is known of one
    /// side.
    pub foretold: Option<TablesRecord>,
    /// Whether anything changes.
    pub changes: bool,
    /// Whether it was stored, read back and found equal.
    pub written: bool,
}
