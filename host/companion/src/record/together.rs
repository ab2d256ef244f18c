//! What all captures of a session tell together, as plain values: of each
//! weight, of what is wrong or undecided, of small loads on big ones, of the
//! cell. Nothing here computes. Masses in grams.

use serde::{Deserialize, Serialize};

/// A value with its standard uncertainty, in the unit of its name.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Uncertain {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// What was known of a weight beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Beforehand {
    /// Limits, as those of a class.
    Within,
    /// A stated uncertainty.
    Stated,
    /// Nothing: a substitution load.
    Nothing,
}

/// A weight or substitution load as found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WeightFound {
    /// Its name.
    pub id: String,
    /// Its mass as stated, or the rough one of a substitution load, g.
    pub stated_g: f64,
    /// What was known of that.
    pub beforehand: Beforehand,
    /// How far it may have been off: limits, or twice the standard uncertainty, g.
    pub may_be_off_g: f64,
    /// Its mass as found, g.
    pub mass_g: Uncertain,
    /// 95 % limits of that, g.
    pub between_g: (f64, f64),
    /// Standard uncertainty by the captures alone, g; absent where they don't
    /// tell this weight from others.
    pub alone_u_g: Option<f64>,
    /// Captures it was part of.
    pub captures: usize,
    /// Whether it is believed to be wrong.
    pub wrong: bool,
}

/// Somebody or something under suspicion.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Suspected {
    /// A weight.
    Weight {
        /// Its name.
        id: String,
    },
    /// A capture.
    Capture {
        /// Its position among all captures.
        index: usize,
        /// The weights that were asked for.
        weights: Vec<String>,
        /// Their mass as stated, g.
        mass_g: f64,
    },
    /// The scale itself, uneven somewhere.
    Scale,
}

/// What is wrong, or can't be decided.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Believed: this is off.
    Off {
        /// Who.
        suspected: Suspected,
        /// By how much: a weight heavier than stated, a capture that read too
        /// much, g.
        by_g: Uncertain,
        /// Standard uncertainty of the new table at that load, g.
        table_u_g: f64,
    },
    /// The captures can't tell which.
    Undecided {
        /// Between whom, the likeliest first.
        between: Vec<Suspected>,
        /// The load whose capture would tell, by its weights, if one would.
        settling: Option<Vec<String>>,
    },
}

/// A small weight put on top of a big load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SmallOnBigRow {
    /// The small weight.
    pub small: String,
    /// Its mass as found, g.
    pub small_g: f64,
    /// The load under it, g.
    pub base_g: f64,
    /// What the new table makes of it, g.
    pub read_g: f64,
    /// Standard uncertainty of the difference, g.
    pub u_g: f64,
    /// How far it may be off: the permissible error of the small load, g.
    pub permitted_g: f64,
}

/// Creep of one time constant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CreepFound {
    /// Time constant, s.
    pub seconds: f64,
    /// How far it goes, as a share of the load.
    pub share: Uncertain,
}

/// All of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Together {
    /// Every weight that was used.
    pub weights: Vec<WeightFound>,
    /// What is wrong or undecided; empty when everything fits.
    pub verdicts: Vec<Verdict>,
    /// Small loads on big ones, by rising base.
    pub small_on_big: Vec<SmallOnBigRow>,
    /// Greatest width of the hysteresis loop, g; absent when the session never
    /// came from above.
    pub loop_width_g: Option<Uncertain>,
    /// Creep; empty with few captures.
    pub creep: Vec<CreepFound>,
    /// Standard deviation of one capture near zero and at Max, g.
    pub capture_sd_g: (f64, f64),
    /// Masses that were captured more than once; without any, how well a load
    /// comes back is believed, not measured.
    #[serde(default)]
    pub repeated: usize,
}
