//! What a comparison of two scales found, as plain values: what `--json` prints
//! and the reports are drawn from. Nothing here computes. Masses in grams.

use serde::{Deserialize, Serialize};

use super::outcome::ScaleLine;
use super::proof::Verdict;

/// Everything a reader needs to know of one comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ComparisonRecord {
    /// Version of the companion.
    pub version: String,
    /// Date and time at which our readings began, ISO 8601.
    pub date: String,
    /// Our scale.
    pub ours: SideLine,
    /// The other one.
    pub theirs: SideLine,
    /// What our scale claims to be.
    pub scale: ScaleLine,
    /// What both were judged by, in words, and where that stands.
    pub scheme: String,
    /// Source of the scheme.
    pub scheme_source: String,
    /// The decision rule, in words.
    pub rule: String,
    /// The permitted error over the load, corner by corner.
    pub band: Vec<BandCorner>,
    /// Verification scale interval e of the other scale, where it is another, g.
    pub their_e_g: Option<f64>,
    /// Its permitted error over the load; empty where it is that of ours.
    pub their_band: Vec<BandCorner>,
    /// Load by load, rising.
    pub rows: Vec<ComparedLoad>,
    /// Mean difference and limits of agreement; absent below three loads.
    pub agreement: Option<AgreementLine>,
    /// How the two differ, in one sentence.
    pub pattern: String,
    /// Which of them is off, in one sentence.
    pub blame: String,
    /// Whether the difference matters, in one sentence.
    pub importance: String,
    /// A weight that explains what both show alike.
    pub weight: Option<WrongWeight>,
    /// Loads that only one of them had.
    pub unpaired: Vec<Unpaired>,
    /// What is doubtful about the readings, and what was assumed.
    pub remarks: Vec<String>,
}

/// One of the two scales.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SideLine {
    /// Its name for people.
    pub name: String,
    /// Scale interval, g.
    pub d_g: f64,
    /// Where its uncertainty comes from, in words.
    pub uncertainty: String,
    /// Its largest error over what is permitted, with the load, g.
    pub largest: Option<LargestError>,
    /// Whether it keeps the tolerance at every load.
    pub verdict: Verdict,
    /// The same without the loads that hold the wrong weight.
    pub verdict_without: Option<Verdict>,
}

/// The error nearest to its limit, or farthest beyond.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LargestError {
    /// The load, g.
    pub load_g: f64,
    /// The error, g.
    pub error_g: f64,
    /// What is permitted, plus or minus, g.
    pub permitted_g: f64,
}

/// Where the permitted error steps or bends.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandCorner {
    /// The load, g.
    pub load_g: f64,
    /// Permitted, plus or minus, g.
    pub permitted_g: f64,
}

/// Both scales at one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ComparedLoad {
    /// The load as stated, g.
    pub load_g: f64,
    /// Its weights.
    pub weights: Vec<String>,
    /// Ours.
    pub ours: ErrorLine,
    /// Theirs.
    pub theirs: ErrorLine,
    /// Ours minus theirs, g.
    pub difference_g: f64,
    /// Expanded uncertainty of that, k = 2, g: the shared weights cancel.
    pub difference_u_g: f64,
    /// The difference over it.
    pub e_n: f64,
    /// Permitted error of ours, plus or minus, g.
    pub permitted_g: f64,
    /// Whether the wrong weight lies in it.
    pub holds_wrong_weight: bool,
    /// Lines of the other scale's file.
    pub lines: Vec<usize>,
}

/// One scale's error at a load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ErrorLine {
    /// Readings it is the mean of.
    pub readings: usize,
    /// Indication minus load, g.
    pub error_g: f64,
    /// Expanded uncertainty, the weights' included, k = 2, g.
    pub expanded_u_g: f64,
    /// What is permitted of this scale, plus or minus, g.
    pub permitted_g: f64,
    /// Whether it is permitted, by the decision rule.
    pub verdict: Verdict,
}

/// Mean difference and limits of agreement, g; each as value, low and high end
/// of its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AgreementLine {
    /// Mean of ours minus theirs.
    pub bias_g: [f64; 3],
    /// Lower limit.
    pub lower_g: [f64; 3],
    /// Upper limit.
    pub upper_g: [f64; 3],
}

/// A weight that both scales find wrong alike.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrongWeight {
    /// Its name, and those of others that would explain it as well.
    pub names: Vec<String>,
    /// True less stated mass, g.
    pub off_g: f64,
    /// Expanded uncertainty of that, k = 2, g.
    pub expanded_u_g: f64,
    /// The same by our scale alone and by the other alone, g.
    pub each_g: [f64; 2],
}

/// A load that only one of the scales had.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unpaired {
    /// Whether it is ours.
    pub ours: bool,
    /// What it is, as "1 kg (W2)".
    pub what: String,
    /// Line of the other scale's file.
    pub line: Option<usize>,
}
