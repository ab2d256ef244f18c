//! A scale that was moved: what gravity and air make of it, as every report
//! prints it and `--json` gives it.
//!
//! Nothing here computes. Masses in g; what a scale reads too much is above
//! zero, what it reads too little below.

use serde::Serialize;

use super::outcome::ScaleLine;

/// Everything there is to say of a move.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MovedRecord {
    /// The scale.
    pub scale: ScaleLine,
    /// Where it was right.
    pub from: PlaceLine,
    /// Where it is now.
    pub to: PlaceLine,
    /// How gravity was reckoned, in words; absent where both were measured.
    pub formula: Option<String>,
    /// What every reading changes by.
    pub shift: ShiftLine,
    /// What it is judged by, in words.
    pub judged_by: String,
    /// Load by load, rising; the last is Max.
    pub loads: Vec<LoadLine>,
    /// The load that suffers most for what is permitted there.
    pub worst: LoadLine,
    /// What to do.
    pub verdict: MovedVerdict,
    /// Whether the shift alone is more than permitted at the worst load.
    pub beyond_permitted: bool,
    /// Whether a correction by these two gravities leaves little enough.
    pub correctable: bool,
    /// Whether the shift is larger than its uncertainty.
    pub seen: bool,
    /// What other air makes of a load; absent where a height is not known.
    pub air: Option<AirLine>,
    /// A correction of the table, where one was asked for.
    pub correction: Option<CorrectionLine>,
}

/// A place and its gravity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PlaceLine {
    /// Latitude, degrees, north above zero; absent where gravity was measured.
    pub latitude_deg: Option<f64>,
    /// Height above sea level, m, as given.
    pub height_m: Option<f64>,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Its expanded uncertainty, k = 2, m/s2.
    pub expanded_u_m_s2: f64,
    /// Whether it was given and not reckoned.
    pub measured: bool,
}

/// The relative change of every reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ShiftLine {
    /// No unit.
    pub relative: f64,
    /// The same in parts per million.
    pub ppm: f64,
    /// Its expanded uncertainty, k = 2, parts per million.
    pub expanded_u_ppm: f64,
    /// In per cent.
    pub percent: f64,
}

/// The move at one load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LoadLine {
    /// The load, g.
    pub load_g: f64,
    /// What is read too much, g.
    pub shift_g: f64,
    /// The same in e.
    pub shift_e: f64,
    /// Expanded uncertainty, k = 2, g.
    pub expanded_u_g: f64,
    /// Permitted error, plus or minus, g.
    pub permitted_g: f64,
}

/// What to do about a move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MovedVerdict {
    /// The move does not matter.
    NothingToDo,
    /// It does: correct the table, or calibrate anew.
    CorrectOrRecalibrate,
    /// Gravity is not known well enough to tell.
    WeighAKnownWeight,
}

/// What the air of the other height makes of a load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AirLine {
    /// Density of the load, kg/m3.
    pub density_kg_m3: f64,
    /// Air before and now, kg/m3, by the standard atmosphere at 20 degrees.
    pub air_kg_m3: [f64; 2],
    /// Relative change of the load's reading, parts per million.
    pub load_ppm: f64,
    /// Expanded uncertainty of that by weather and rooms, k = 2, parts per
    /// million.
    pub load_expanded_u_ppm: f64,
    /// The same load at Max, g.
    pub load_at_max_g: f64,
    /// Relative change of steel weights' reading, parts per million: what a
    /// calibration would find and a correction by gravity leaves.
    pub steel_ppm: f64,
    /// The same at Max, g.
    pub steel_at_max_g: f64,
}

/// A corrected table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CorrectionLine {
    /// What every mass of the table is multiplied by.
    pub factor: f64,
    /// Points of the table.
    pub points: usize,
    /// How many of them change.
    pub changed: usize,
    /// Zero reference at calibration, ADC counts; kept.
    pub zero_counts: i32,
    /// Checksum of the table before.
    pub checksum_before: String,
    /// Checksum of the corrected table.
    pub checksum_after: String,
    /// What rounding to whole quanta leaves at a point at most, g.
    pub rounding_g: f64,
    /// What the scale shows of a few loads, by its integer table.
    pub foretold: Vec<ForetoldLine>,
    /// Greatest width of the hysteresis loop that is taken off, g; it stays.
    pub loop_g: Option<f64>,
    /// Whether it was written, read back and found equal.
    pub written: bool,
    /// Number of the change in the scale, once written.
    pub sequence: Option<u32>,
}

/// A load on the moved scale, by the integers of its table: what a scale that
/// was right before will show.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ForetoldLine {
    /// The load, g.
    pub load_g: f64,
    /// Shown with the table in force, g.
    pub now_g: f64,
    /// Shown with the corrected table, g.
    pub corrected_g: f64,
}
