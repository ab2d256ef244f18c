//! A small load on top of a big one must weigh as much as it does alone.
//!
//! Common practice. Handbook 44 judges a strain-load test alike: the tolerance
//! only for the known weights added to an unknown load (from memory).

use super::{Finding, Instrument, Judgement, Reading, Shortfall, Unusable};

/// The readings of a small load on a big one, in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmallOnBigReadings {
    /// The big load on its own.
    pub big: Reading,
    /// The small load added.
    pub both: Reading,
    /// Zero, then the small load on its own, where that was done.
    pub alone: Option<(Reading, Reading)>,
}

/// A small load on a big one, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct SmallOnBig {
    /// What the small load weighs on the big one, in g.
    pub on_big_g: f64,
    /// How much more that is than alone, or than its mass where it was not
    /// weighed alone, in g.
    pub difference_g: f64,
    /// Its size beside the permitted error of the small load.
    pub finding: Finding,
    /// The verdict.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// The least big load as a share of Max (common practice).
const BIG_SHARE: f64 = 0.5;

/// What a small load of about `small_g` weighs on a big one of about `big_g`.
///
/// Both masses may be rough where the small load was weighed alone too. Any
/// tare or zero-setting must stay the same over both readings of a pair.
///
/// # Errors
/// Masses not above zero, both together beyond Max, readings that are no numbers.
///
/// ```
/// use scalewright_metrology::performance::{
///     Instrument, Judgement, Reading, SmallOnBigReadings, small_on_big,
/// };
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let shown = Reading::shown;
/// let readings = SmallOnBigReadings {
///     big: shown(5003.0),
///     both: shown(5103.4),
///     alone: Some((shown(0.0), shown(100.1))),
/// };
/// let test = small_on_big(&scale, 100.0, 5000.0, &readings)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert!(small_on_big(&scale, 100.0, 6000.0, &readings).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn small_on_big(
    instrument: &Instrument,
    small_g: f64,
    big_g: f64,
    readings: &SmallOnBigReadings,
) -> Result<SmallOnBig, Unusable> {
    instrument.load("the small load", small_g)?;
    instrument.load("the big load", big_g)?;
    instrument.load("both loads together", small_g + big_g)?;
    let big = instrument.freed(&readings.big, 1)?;
    let both = instrument.freed(&readings.both, 2)?;
    let on_big_g = both.p_g - big.p_g;
    let mut slack_g = big.slack_g + both.slack_g;
    let mut incomplete = Vec::new();
    let mut all = vec![readings.big, readings.both];
    let alone_g = match readings.alone {
        Some((zero, small)) => {
            all.extend([zero, small]);
            let (zero, small) = (instrument.freed(&zero, 3)?, instrument.freed(&small, 4)?);
            slack_g += zero.slack_g + small.slack_g;
            small.p_g - zero.p_g
        }
        None => {
            incomplete.push(Shortfall::NotComparedAlone);
            small_g
        }
    };
    let difference_g = on_big_g - alone_g;
    let limit_g = instrument.permitted_g(small_g)?;
    let finding = Finding::new(difference_g, slack_g, limit_g, instrument.max_g());
    incomplete.extend(instrument.light(big_g, BIG_SHARE * instrument.max_g()));
    incomplete.extend(instrument.coarse(&all, [finding.judgement]));
    Ok(SmallOnBig {
        on_big_g,
        difference_g,
        finding,
        judgement: finding.judgement.given(&incomplete),
        incomplete,
    })
}
