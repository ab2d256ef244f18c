//! What a verification found, as plain values: what `--json` prints and every
//! report is drawn from. Nothing here computes. Masses in grams.

use serde::{Deserialize, Serialize};

use super::comparison::BandCorner;
use super::outcome::{DeviceLine, PointLine, ScaleLine};
use super::surroundings::Surroundings;

/// Everything a reader needs to know of one verification.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proof {
    /// Version of the companion.
    pub version: String,
    /// Date and time of the beginning, ISO 8601.
    pub date: String,
    /// Dates on which it went on after an interruption.
    pub resumed: Vec<String>,
    /// Seed of the bench; absent on real hardware.
    pub seed: Option<u64>,
    /// The device.
    pub device: DeviceLine,
    /// What the scale claims to be.
    pub scale: ScaleLine,
    /// The table it was tried with.
    pub table: HeldTable,
    /// What was judged by, in words, and where that stands.
    pub scheme: String,
    /// Source of the scheme.
    pub scheme_source: String,
    /// The decision rule, in words.
    pub rule: String,
    /// The weights, as "W1 2 kg within 0.1 g".
    pub weights: Vec<String>,
    /// The tests that were made, in order.
    pub tests: Vec<TestOutcome>,
    /// Tests that were asked for and not made, and why.
    pub left_out: Vec<(String, String)>,
    /// What a verification of this kind does not try.
    pub not_tested: Vec<String>,
    /// The uncertainty of the errors of indication, load by load.
    pub budgets: Vec<LoadBudget>,
    /// What a single reading is worth from now on; absent where the errors tell
    /// too little.
    #[serde(default)]
    pub in_use: Option<InUseLine>,
    /// The permitted error over the load, corner by corner.
    #[serde(default)]
    pub band: Vec<BandCorner>,
    /// What was noted of the surroundings.
    #[serde(default)]
    pub surroundings: Surroundings,
    /// Every capture that counts, in order; rows name them by their place.
    pub captures: Vec<CaptureLine>,
    /// All tests together.
    pub verdict: Verdict,
}

/// The table in the device while it was tried.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeldTable {
    /// Its points.
    pub points: Vec<PointLine>,
    /// CRC-32 over the points, eight hexadecimal digits.
    pub checksum: String,
    /// Changes of table or settings the device has seen.
    pub sequence: u32,
    /// Mass quantum, g.
    pub quantum_g: f64,
    /// Width of the hysteresis loop that the scale takes off, g; 0 for none.
    pub hysteresis_taken_off_g: f64,
    /// Zero follows drift in use; it stood still during the tests.
    #[serde(default)]
    pub zero_tracking: bool,
}

/// What a test says, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Kept, and the test was complete.
    Passes,
    /// Nothing speaks against it, but the test was not complete.
    PassesSoFar,
    /// The captures allow both.
    Open,
    /// Not kept.
    Fails,
}

impl Verdict {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Passes => "passes",
            Self::PassesSoFar => "passes so far",
            Self::Open => "can't be told",
            Self::Fails => "fails",
        }
    }
}

/// One test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TestOutcome {
    /// Its name in files and on the command line.
    pub test: String,
    /// Its name for people.
    pub title: String,
    /// What it found, in one sentence.
    pub says: String,
    /// Clause it follows.
    pub source: String,
    /// What was observed, each beside its limit.
    pub rows: Vec<ProofRow>,
    /// What it left out, in plain words.
    pub incomplete: Vec<String>,
    /// What else is to be known of it.
    #[serde(default)]
    pub remarks: Vec<String>,
    /// The verdict.
    pub verdict: Verdict,
}

/// One value beside its limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProofRow {
    /// What it is, as "2 kg", "front left", "after 5 min".
    pub what: String,
    /// The load it was found at, g.
    pub load_g: f64,
    /// Whether the load was reached from a heavier one.
    #[serde(default)]
    pub from_above: bool,
    /// Seconds since the test's event, where time matters.
    pub at_s: Option<f64>,
    /// The value with its sign, g.
    pub value_g: f64,
    /// The limit, plus or minus, g.
    pub limit_g: f64,
    /// Expanded uncertainty of the value, g; absent where it was not evaluated.
    pub expanded_u_g: Option<f64>,
    /// Coverage factor of that.
    pub k: Option<f64>,
    /// Probability that the true value is within the limit.
    pub inside: Option<f64>,
    /// The verdict by the decision rule.
    pub verdict: Verdict,
    /// The captures it was computed from, by their place.
    pub captures: Vec<usize>,
}

/// A capture that counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaptureLine {
    /// The test it belongs to.
    pub test: String,
    /// Mass of the load as stated, g.
    pub mass_g: f64,
    /// The weights.
    pub weights: Vec<String>,
    /// Where on the pan, in words.
    pub spot: String,
    /// Mean code net of the zero reference in use, counts.
    pub net_counts: f64,
    /// Standard deviation of one sample, counts.
    pub sd_counts: f64,
    /// Samples averaged.
    pub samples: u16,
    /// Device time, s.
    pub at_s: f64,
    /// Gross mass by table and correction, before rounding, g.
    pub gross_g: f64,
    /// What the scale showed, net, g; absent when blank.
    pub indication_g: Option<f64>,
}

/// The uncertainty of the error at one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadBudget {
    /// The load, g.
    pub load_g: f64,
    /// Standard uncertainty of the error, g.
    pub standard_u_g: f64,
    /// Effective degrees of freedom; absent when there are very many.
    pub effective_dof: Option<f64>,
    /// Coverage factor at 95.45 %.
    pub k: f64,
    /// Expanded uncertainty, g.
    pub expanded_u_g: f64,
    /// The same by drawing from the distributions, g.
    pub drawn_expanded_u_g: Option<f64>,
    /// What it is made of.
    pub contributions: Vec<ContributionLine>,
}

/// One contribution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ContributionLine {
    /// What it is.
    pub name: String,
    /// How large it is thought to be, g: half width or standard deviation.
    pub value_g: f64,
    /// Its distribution, in words.
    pub distribution: String,
    /// Its standard uncertainty times sensitivity, g.
    pub standard_u_g: f64,
    /// Its share of the variance.
    pub share: f64,
}

/// What a single reading is worth, not corrected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InUseLine {
    /// Interval to which a reading is read, g.
    pub reads_g: f64,
    /// Whether a load may stand anywhere on the pan; otherwise in the middle,
    /// since its edges were not tested.
    pub anywhere: bool,
    /// Up to which load this holds, g.
    pub reach_g: f64,
    /// Slope of the line of errors through zero: error for one g of reading.
    pub slope: f64,
    /// Its standard uncertainty.
    pub u_slope: f64,
    /// Whether all errors lie on that line within their uncertainty; otherwise
    /// the largest errors are added instead of the line's.
    pub errors_lie_on_line: bool,
    /// Load by load.
    pub weighings: Vec<WeighingLine>,
    /// No expanded uncertainty is larger than this, g,
    pub base_g: f64,
    /// and this for one g of reading more.
    pub rise: f64,
    /// From which load on the scale is accurate enough.
    pub minimum: Vec<MinimumLine>,
    /// The safety factor of those.
    pub safety: f64,
    /// What is not in it, in plain words.
    pub not_counted: Vec<String>,
}

/// A reading at one load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WeighingLine {
    /// The load, g.
    pub load_g: f64,
    /// Standard uncertainty without the error that is left, g.
    pub standard_u_g: f64,
    /// Size of the error that is left and not corrected, g.
    pub error_left_g: f64,
    /// Expanded uncertainty (95.45 %), the error that is left added in full, g.
    pub expanded_u_g: f64,
}

/// The smallest load for a relative accuracy.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MinimumLine {
    /// Largest U by the load.
    pub relative: f64,
    /// The load, g; absent where no load is weighed so well.
    pub load_g: Option<f64>,
    /// The same with the safety factor, g.
    pub with_safety_g: Option<f64>,
}
