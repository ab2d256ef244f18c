//! The eccentricity test: one load on several places of the pan (R 76-1, 3.6.2;
//! the places after A.4.7.1 are from memory).

use super::finding::worst;
use super::weighing::ZeroError;
use super::{Finding, Instrument, Judgement, LoadReading, Reading, Shortfall, Unusable};

/// Where the load lay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// In the middle.
    Centre,
    /// In the middle of a segment, numbered as one likes: a quarter of the pan
    /// with up to four supports, over a support with more.
    Segment(u8),
}

/// A reading and where its load lay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceReading {
    /// The place.
    pub place: Place,
    /// The reading.
    pub reading: Reading,
}

/// The error at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceError {
    /// The place.
    pub place: Place,
    /// Ec, in g.
    pub error_g: f64,
    /// Its size beside the permitted error.
    pub finding: Finding,
}

/// An eccentricity test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Eccentricity {
    /// The load the test asks for, in g.
    pub asked_g: f64,
    /// The errors, in the order of the readings.
    pub errors: Vec<PlaceError>,
    /// The largest difference from the centre, in g and without sign, for a
    /// budget; `None` without a reading at the centre and one beside it.
    pub from_centre_g: Option<f64>,
    /// The verdict over all places.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// The errors of a load of mass `load_g` on several places of a pan on
/// `supports` supports.
///
/// ```text
/// load = (Max + additive tare) / 3            up to four supports
/// load = (Max + additive tare) / (n - 1)      n > 4 supports        (R 76-1, 3.6.2)
/// ```
///
/// # Errors
/// No readings or ones that are no numbers, a load not above zero or beyond
/// Max, an additive tare below zero.
///
/// ```
/// use scalewright_metrology::performance::{
///     Instrument, Judgement, LoadReading, Place, PlaceReading, Reading, eccentricity,
/// };
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let zero = LoadReading { load_g: 0.0, reading: Reading::shown(0.0) };
/// let places = [(1, 2000.4), (2, 2000.9), (3, 1999.0), (4, 2000.1)]
///     .map(|(n, g)| PlaceReading { place: Place::Segment(n), reading: Reading::shown(g) });
/// let test = eccentricity(&scale, Some(zero), 2000.0, &places, 4, 0.0)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert!(eccentricity(&scale, Some(zero), 2000.0, &[], 4, 0.0).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn eccentricity(
    instrument: &Instrument,
    zero: Option<LoadReading>,
    load_g: f64,
    readings: &[PlaceReading],
    supports: u8,
    additive_tare_g: f64,
) -> Result<Eccentricity, Unusable> {
    if !(additive_tare_g.is_finite() && additive_tare_g >= 0.0) {
        return Err(Unusable::NotPositive {
            what: "the additive tare",
            value: additive_tare_g,
        });
    }
    let zero_error = ZeroError::of(instrument, zero)?;
    let as_loads: Vec<LoadReading> = (readings.iter())
        .map(|r| LoadReading {
            load_g,
            reading: r.reading,
        })
        .collect();
    let errors: Vec<PlaceError> = super::weighing::errors(instrument, zero_error, &as_loads)?
        .into_iter()
        .zip(readings)
        .map(|(error, reading)| PlaceError {
            place: reading.place,
            error_g: error.before_rounding.ec,
            finding: error.finding,
        })
        .collect();
    let (shares, places_asked) = if supports > 4 {
        (supports - 1, supports)
    } else {
        (3, 4)
    };
    let asked_g = (instrument.max_g() + additive_tare_g) / f64::from(shares);
    let mut incomplete = Vec::new();
    if zero.is_none() {
        incomplete.push(Shortfall::ZeroErrorUnknown);
    }
    let every = (readings.iter().map(|r| &r.reading)).chain(zero.as_ref().map(|z| &z.reading));
    let judged = errors.iter().map(|e| e.finding.judgement);
    incomplete.extend(instrument.coarse(every, judged.clone()));
    let mut segments: Vec<u8> = (readings.iter())
        .filter_map(|r| match r.place {
            Place::Segment(n) => Some(n),
            Place::Centre => None,
        })
        .collect();
    segments.sort_unstable();
    segments.dedup();
    let (given, asked) = (segments.len(), usize::from(places_asked));
    if given < asked {
        incomplete.push(Shortfall::TooFewPlaces { given, asked });
    }
    incomplete.extend(instrument.light(load_g, asked_g));
    Ok(Eccentricity {
        asked_g,
        from_centre_g: from_centre(&errors),
        judgement: worst(judged).given(&incomplete),
        errors,
        incomplete,
    })
}

/// The largest difference of a segment from the mean of the centre, in g.
fn from_centre(errors: &[PlaceError]) -> Option<f64> {
    let centre: Vec<f64> = (errors.iter())
        .filter(|e| e.place == Place::Centre)
        .map(|e| e.error_g)
        .collect();
    let centre_g = crate::statistics::mean(&centre)?;
    (errors.iter())
        .filter(|e| e.place != Place::Centre)
        .map(|e| (e.error_g - centre_g).abs())
        .max_by(f64::total_cmp)
}
