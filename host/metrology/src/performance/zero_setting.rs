//! The accuracy of zero-setting (R 76-1, 4.5.2 and A.4.2.3).

use super::weighing::ZeroError;
use super::{Finding, Instrument, Judgement, LoadReading, Shortfall, Unusable};

/// How far zero may be off after it was set, in e (R 76-1, 4.5.2; seen second hand).
pub const ZERO_ACCURACY_E: f64 = 0.25;

/// The load that leaves the range of zero tracking, in e (A.4.2.3.2: about 10 e).
const BEYOND_TRACKING_E: f64 = 10.0;

/// A zero-setting test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct ZeroSetting {
    /// The error at zero E0, in g, with its sign.
    pub error_g: f64,
    /// Its size beside 0.25 e.
    pub finding: Finding,
    /// The verdict.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// How far zero is off right after it was set.
///
/// `after` is the reading without load, or, where zero tracking works, the one
/// of a load of about 10 e put on after setting zero.
///
/// # Errors
/// A reading or load that is no number, more small weights than one interval.
///
/// ```
/// use scalewright_metrology::performance::{Instrument, Judgement, LoadReading, Reading, zero_setting};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(5.0, 5.0)?, 15e3, 100.0)?;
/// let after = LoadReading { load_g: 50.0, reading: Reading::stepped_by(50.0, 2.0) };
/// let test = zero_setting(&scale, after, true)?;
/// assert_eq!((test.error_g, test.judgement), (0.5, Judgement::Passes));
/// let nothing = LoadReading { load_g: f64::NAN, ..after };
/// assert!(zero_setting(&scale, nothing, true).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn zero_setting(
    instrument: &Instrument,
    after: LoadReading,
    zero_tracking: bool,
) -> Result<ZeroSetting, Unusable> {
    let zero = ZeroError::of(instrument, Some(after))?;
    let e_g = instrument.e_g();
    let limit_g = ZERO_ACCURACY_E * e_g;
    let finding = Finding::new(zero.e_g, zero.slack_g, limit_g, instrument.max_g());
    let mut incomplete = Vec::new();
    let asked_g = BEYOND_TRACKING_E * e_g;
    if zero_tracking && instrument.light(after.load_g, asked_g).is_some() {
        incomplete.push(Shortfall::TrackingHides { asked_g });
    }
    incomplete.extend(instrument.coarse([&after.reading], [finding.judgement]));
    Ok(ZeroSetting {
        error_g: zero.e_g,
        finding,
        judgement: finding.judgement.given(&incomplete),
        incomplete,
    })
}
