//! The repeatability test: one load several times (R 76-1, 3.6, 3.6.1; the
//! number of weighings after 8.3.3 and A.4.10 is from memory).

use super::finding::worst;
use super::{Finding, Instrument, Judgement, Reading, Shortfall, Unusable};
use crate::statistics::{mean, sample_sd};
use crate::tolerance::AccuracyClass;

/// What a repeatability test is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// Verification: one series near 0.8 Max.
    Verification,
    /// Type examination: two series, near 0.5 Max and near Max, each evaluated
    /// on its own.
    TypeExamination,
}

/// Weighings of one series (R 76-1, 8.3.3 and A.4.10, from memory). Without a
/// class as many as for class III, which is common practice.
pub fn weighings_needed(class: Option<AccuracyClass>, purpose: Purpose, max_g: f64) -> usize {
    match (purpose, class) {
        (Purpose::Verification, Some(AccuracyClass::I | AccuracyClass::II)) => 6,
        (Purpose::Verification, _) => 3,
        (Purpose::TypeExamination, _) if max_g < 1e6 => 10,
        (Purpose::TypeExamination, _) => 3,
    }
}

/// The load a series should have at least, as a share of Max.
fn least_share(purpose: Purpose) -> f64 {
    match purpose {
        Purpose::Verification => 0.8,
        Purpose::TypeExamination => 0.5,
    }
}

/// A repeatability test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeatability {
    /// Mean of the readings, in g.
    pub mean_g: f64,
    /// Their standard deviation (divisor n - 1), in g.
    pub sd_g: f64,
    /// How many there are.
    pub weighings: usize,
    /// The largest reading minus the smallest, beside the permitted error.
    pub spread: Finding,
    /// The largest single error beside the permitted error, where the mass is known.
    pub largest_error: Option<Finding>,
    /// The verdict over both.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// The scatter of `readings` of one load, each from a zero set or deducted.
///
/// Without the load's mass `load_g` the permitted error is that at the mean,
/// and only the spread is judged.
///
/// # Errors
/// Fewer than two readings, readings that are no numbers, a load not above zero
/// or beyond Max.
///
/// ```
/// use scalewright_metrology::performance::{Instrument, Judgement, Purpose, Reading, repeatability};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let readings = [5000.2, 5000.6, 4999.9].map(Reading::shown);
/// let test = repeatability(&scale, Some(5000.0), &readings, Purpose::Verification)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert!(repeatability(&scale, Some(5000.0), &readings[..1], Purpose::Verification).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn repeatability(
    instrument: &Instrument,
    load_g: Option<f64>,
    readings: &[Reading],
    purpose: Purpose,
) -> Result<Repeatability, Unusable> {
    let mut values = Vec::with_capacity(readings.len());
    let mut slack_g: f64 = 0.0;
    for (index, reading) in readings.iter().enumerate() {
        let freed = instrument.freed(reading, index + 1)?;
        values.push(freed.p_g);
        slack_g = slack_g.max(freed.slack_g);
    }
    let given = values.len();
    let (Some(mean_g), Some(sd_g)) = (mean(&values), sample_sd(&values)) else {
        return Err(Unusable::TooFew {
            what: "weighings",
            given,
            needed: 2,
        });
    };
    let at_g = match load_g {
        Some(load_g) => instrument.load("the load", load_g)?,
        None => instrument.load("the mean reading", mean_g)?,
    };
    let limit_g = instrument.permitted_g(at_g)?;
    let low_g = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high_g = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let from_g = instrument.max_g();
    let spread = Finding::new(high_g - low_g, 2.0 * slack_g, limit_g, from_g);
    let largest_error = load_g.map(|load_g| {
        let off_g = (high_g - load_g).abs().max((low_g - load_g).abs());
        Finding::new(off_g, slack_g, limit_g, from_g)
    });
    let findings = [Some(spread), largest_error].into_iter().flatten();
    let judged = findings.map(|f| f.judgement);
    let coarse = instrument.coarse(readings, judged.clone());
    let mut incomplete: Vec<Shortfall> = coarse.into_iter().collect();
    let asked = weighings_needed(instrument.scheme().class(), purpose, from_g);
    if given < asked {
        incomplete.push(Shortfall::TooFewReadings { given, asked });
    }
    incomplete.extend(instrument.light(at_g, least_share(purpose) * from_g));
    if load_g.is_none() {
        incomplete.push(Shortfall::MassUnknown);
    }
    Ok(Repeatability {
        mean_g,
        sd_g,
        weighings: given,
        spread,
        largest_error,
        judgement: worst(judged).given(&incomplete),
        incomplete,
    })
}
