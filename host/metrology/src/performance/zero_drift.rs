//! The drift of zero in a scale left alone: while it warms up, or later.
//!
//! The permitted error at zero over 30 min is asked of it, as R 76-1, 5.3.5 and
//! A.5.2 do of a scale that warms up (from memory). What temperature does is not
//! told apart: it needs a chamber.

use super::instrument::{Freed, InOrder, freed_in_order};
use super::zero_setting::ZERO_ACCURACY_E;
use super::{Finding, Instrument, Judgement, Shortfall, TimedReading, Unusable};

/// A zero drift test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct ZeroDrift {
    /// The largest departure from the first zero beside the permitted error.
    pub finding: Finding,
    /// The last zero minus the first, in g, with its sign.
    pub change_g: f64,
    /// The slope of a straight line through the zeros, in g per hour; `None`
    /// where there are fewer than three.
    pub slope_g_per_h: Option<f64>,
    /// From when on, in s, every zero stayed within 0.25 e of the last one
    /// (common practice: as good as zero-setting is); `None` when only the last did.
    pub settled_at_s: Option<f64>,
    /// The verdict.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

const ASKED_S: f64 = 1800.0;
const NEAR_S: f64 = 60.0;

/// The drift of zero without load, zero-setting and zero tracking off; times are
/// seconds since the scale was switched on, or since anything.
///
/// # Errors
/// Fewer than two readings, times that don't rise, readings that are no numbers.
///
/// ```
/// use scalewright_metrology::performance::{Instrument, Judgement, Reading, TimedReading, zero_drift};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let at = |at_s, g| TimedReading { at_s, reading: Reading::shown(g) };
/// let zeros = [at(0.0, 0.0), at(300.0, 0.6), at(900.0, 0.8), at(1800.0, 0.8)];
/// let test = zero_drift(&scale, &zeros)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert_eq!(test.settled_at_s, Some(300.0));
/// assert!(zero_drift(&scale, &zeros[..1]).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn zero_drift(
    instrument: &Instrument,
    readings: &[TimedReading],
) -> Result<ZeroDrift, Unusable> {
    let InOrder {
        first: (first_s, first),
        last: (last_s, last),
        all,
    } = freed_in_order(instrument, readings)?;
    let departure_g = |zero: &Freed| (zero.p_g - first.p_g).abs();
    // The largest, its rounding counted in: small weights need not be on each.
    let (largest_g, slack_g) = (all.iter())
        .map(|(_, zero)| (departure_g(zero), zero.slack_g))
        .max_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)))
        .unwrap_or((0.0, 0.0));
    let limit_g = instrument.permitted_g(0.0)?;
    let from_g = instrument.max_g();
    let finding = Finding::new(largest_g, slack_g + first.slack_g, limit_g, from_g);
    let mut incomplete = Vec::new();
    let lasted_s = last_s - first_s;
    if lasted_s < ASKED_S - NEAR_S {
        incomplete.push(Shortfall::TimeTooShort {
            lasted_s,
            asked_s: ASKED_S,
        });
    }
    let plain = readings.iter().map(|r| &r.reading);
    incomplete.extend(instrument.coarse(plain, [finding.judgement]));
    let settled_g = ZERO_ACCURACY_E * instrument.e_g();
    let settled_at_s = (all.iter().rev())
        .take_while(|(_, zero)| (zero.p_g - last.p_g).abs() <= settled_g * (1.0 + 1e-9))
        .skip(1)
        .last()
        .map(|(at_s, _)| *at_s);
    Ok(ZeroDrift {
        finding,
        change_g: last.p_g - first.p_g,
        slope_g_per_h: slope_g_per_s(&all).map(|slope| 3600.0 * slope),
        settled_at_s,
        judgement: finding.judgement.given(&incomplete),
        incomplete,
    })
}

/// The slope of the least-squares line, in g per s.
fn slope_g_per_s(all: &[(f64, Freed)]) -> Option<f64> {
    if all.len() < 3 {
        return None;
    }
    let (times, zeros): (Vec<f64>, Vec<f64>) = all.iter().map(|(t, z)| (*t, z.p_g)).unzip();
    let time = crate::statistics::mean(&times)?;
    let zero = crate::statistics::mean(&zeros)?;
    let both = || times.iter().zip(&zeros);
    let spread: f64 = times.iter().map(|t| (t - time).powi(2)).sum();
    let joint: f64 = both().map(|(t, z)| (t - time) * (z - zero)).sum();
    Some(joint / spread).filter(|slope| slope.is_finite())
}
