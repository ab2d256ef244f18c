//! The tare test: how well tare is set, and net loads upon it (R 76-1, 4.6.3
//! and A.4.6, from memory; the permitted error is that of the net load, 3.5.3.3).

use super::finding::worst;
use super::weighing::{ZeroError, different, errors};
use super::zero_setting::ZERO_ACCURACY_E;
use super::{Finding, Instrument, Judgement, LoadError, LoadReading, Shortfall, Unusable};

/// A tare test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Tare {
    /// The error of the net indication right after taring, in g, with its sign.
    pub setting_error_g: f64,
    /// Its size beside 0.25 e.
    pub setting: Finding,
    /// The errors of the net loads, corrected for it.
    pub net_errors: Vec<LoadError>,
    /// The verdict over all.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// Net loads a tare test asks for (A.4.6.1, from memory).
const NET_LOADS: usize = 5;

/// The errors of net weighing with a load of `tare_g` tared.
///
/// `after` is the net reading right after taring, of zero net load or about
/// 10 e; `net_loads` are net loads and their net readings.
///
/// # Errors
/// A tare load not above zero, tare and net load together beyond Max, no net
/// loads, readings that are no numbers.
///
/// ```
/// use scalewright_metrology::performance::{Instrument, Judgement, LoadReading, Reading, tare};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let at = |load_g, g| LoadReading { load_g, reading: Reading::shown(g) };
/// let loads = [(40.0, 40.1), (500.0, 500.2), (1000.0, 1000.2), (2000.0, 2000.5), (4000.0, 4000.9)]
///     .map(|(load_g, g)| at(load_g, g));
/// let test = tare(&scale, 2000.0, at(0.0, 0.1), &loads)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert!(tare(&scale, 3000.0, at(0.0, 0.1), &loads).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn tare(
    instrument: &Instrument,
    tare_g: f64,
    after: LoadReading,
    net_loads: &[LoadReading],
) -> Result<Tare, Unusable> {
    instrument.load("the tare load", tare_g)?;
    for load in net_loads {
        instrument.load("a load on top of the tare", load.load_g)?;
        instrument.load("tare and load together", tare_g + load.load_g)?;
    }
    let zero = ZeroError::of(instrument, Some(after))?;
    let setting = Finding::new(
        zero.e_g,
        zero.slack_g,
        ZERO_ACCURACY_E * instrument.e_g(),
        instrument.max_g(),
    );
    let net_errors = errors(instrument, zero, net_loads)?;
    let judged = [setting.judgement]
        .into_iter()
        .chain(net_errors.iter().map(|e| e.finding.judgement));
    let mut incomplete = Vec::new();
    let given = different(net_loads);
    if given < NET_LOADS {
        incomplete.push(Shortfall::TooFewLoads {
            given,
            asked: NET_LOADS,
        });
    }
    let every = net_loads.iter().chain([&after]).map(|l| &l.reading);
    incomplete.extend(instrument.coarse(every, judged.clone()));
    Ok(Tare {
        setting_error_g: zero.e_g,
        setting,
        judgement: worst(judged).given(&incomplete),
        net_errors,
        incomplete,
    })
}
