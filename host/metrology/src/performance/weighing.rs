//! The weighing test: the error at each load, freed of rounding and of the
//! error at zero (R 76-1, A.4.4.1 and A.4.4.3; the loads to try are from memory).

use super::finding::worst;
use super::{Finding, Instrument, Judgement, Reading, Shortfall, Unusable};
use crate::tolerance::BeforeRounding;

/// A load of known mass and what it read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadReading {
    /// The mass of the load, in g.
    pub load_g: f64,
    /// Its reading.
    pub reading: Reading,
}

/// How many loads a weighing test asks for (A.4.4.1, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Extent {
    /// The initial intrinsic error: ten loads.
    InitialIntrinsicError,
    /// Any other weighing test: five loads.
    Other,
}

impl Extent {
    fn loads(self) -> usize {
        match self {
            Self::InitialIntrinsicError => 10,
            Self::Other => 5,
        }
    }
}

/// The error at one load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadError {
    /// The mass of the load, in g.
    pub load_g: f64,
    /// P, E and Ec, in g.
    pub before_rounding: BeforeRounding,
    /// The size of Ec beside the permitted error.
    pub finding: Finding,
}

/// A weighing test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighing {
    /// The error at zero E0, in g, if it was determined.
    pub zero_error_g: Option<f64>,
    /// The errors, in the order of the readings.
    pub errors: Vec<LoadError>,
    /// The verdict over all loads.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// From this Min on, in g, it is one of the loads (A.4.4.1: 100 mg).
const MIN_TRIED_FROM_G: f64 = 0.1;

/// When zero was set but its error not determined, it may be this share of e
/// (R 76-1, 4.5.2).
const ZERO_SETTING_E: f64 = 0.25;

/// The errors of a weighing test.
///
/// `zero` is the reading at zero, or at about 10 e where zero tracking works;
/// without it E0 counts as 0 plus or minus 0.25 e. `loads` are the readings in
/// their order, up to Max and down again.
///
/// # Errors
/// No loads, readings that are no numbers, loads not above zero or beyond Max,
/// more small weights than one interval.
///
/// ```
/// use scalewright_metrology::performance::{Extent, Instrument, Judgement, LoadReading, Reading, weighing};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(5.0, 5.0)?, 15e3, 100.0)?;
/// let at = |load_g, reading| LoadReading { load_g, reading };
/// let zero = at(0.0, Reading::stepped_by(0.0, 2.0));
/// let test = weighing(&scale, Some(zero), &[at(1000.0, Reading::stepped_by(1000.0, 1.5))], Extent::Other)?;
/// assert_eq!(test.errors[0].before_rounding.ec, 0.5);
/// assert_eq!(test.judgement, Judgement::PassesSoFar); // One load of five.
/// assert!(weighing(&scale, None, &[], Extent::Other).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn weighing(
    instrument: &Instrument,
    zero: Option<LoadReading>,
    loads: &[LoadReading],
    extent: Extent,
) -> Result<Weighing, Unusable> {
    let zero_error = ZeroError::of(instrument, zero)?;
    let errors = errors(instrument, zero_error, loads)?;
    let mut incomplete = Vec::new();
    if zero.is_none() {
        incomplete.push(Shortfall::ZeroErrorUnknown);
    }
    let every = loads.iter().chain(&zero);
    let judged = errors.iter().map(|e| e.finding.judgement);
    incomplete.extend(instrument.coarse(every.map(|l| &l.reading), judged.clone()));
    incomplete.extend(loads_missing(instrument, loads, extent.loads()));
    Ok(Weighing {
        zero_error_g: zero.map(|_| zero_error.e_g),
        judgement: worst(judged).given(&incomplete),
        errors,
        incomplete,
    })
}

/// The error at zero, in g, and how far it may be off either way.
#[derive(Debug, Clone, Copy)]
pub(super) struct ZeroError {
    pub(super) e_g: f64,
    pub(super) slack_g: f64,
}

impl ZeroError {
    /// From its reading, or as good as zero-setting is where there is none.
    pub(super) fn of(instrument: &Instrument, zero: Option<LoadReading>) -> Result<Self, Unusable> {
        let Some(LoadReading { load_g, reading }) = zero else {
            return Ok(Self {
                e_g: 0.0,
                slack_g: ZERO_SETTING_E * instrument.e_g(),
            });
        };
        if !load_g.is_finite() {
            let what = "load at zero";
            return Err(Unusable::NotANumber { what, place: 1 });
        }
        let freed = instrument.freed(&reading, 1)?;
        Ok(Self {
            e_g: freed.p_g - load_g,
            slack_g: freed.slack_g,
        })
    }
}

/// The errors at loads above zero.
pub(super) fn errors(
    instrument: &Instrument,
    zero: ZeroError,
    loads: &[LoadReading],
) -> Result<Vec<LoadError>, Unusable> {
    if loads.is_empty() {
        return Err(Unusable::TooFew {
            what: "loads",
            given: 0,
            needed: 1,
        });
    }
    (loads.iter().enumerate())
        .map(|(index, one)| {
            let load_g = instrument.load("a load of the test", one.load_g)?;
            let freed = instrument.freed(&one.reading, index + 1)?;
            let e = freed.p_g - load_g;
            let before_rounding = BeforeRounding {
                p: freed.p_g,
                e,
                ec: e - zero.e_g,
            };
            let finding = Finding::new(
                before_rounding.ec,
                freed.slack_g + zero.slack_g,
                instrument.permitted_g(load_g)?,
                instrument.max_g(),
            );
            Ok(LoadError {
                load_g,
                before_rounding,
                finding,
            })
        })
        .collect()
}

/// What a set of loads leaves out of the ones a test asks for.
fn loads_missing(instrument: &Instrument, loads: &[LoadReading], asked: usize) -> Vec<Shortfall> {
    let mut missing = Vec::new();
    let given = different(loads);
    if given < asked {
        missing.push(Shortfall::TooFewLoads { given, asked });
    }
    let (max_g, min_g) = (instrument.max_g(), instrument.min_g());
    let mut places = instrument.changes_g();
    if min_g >= MIN_TRIED_FROM_G {
        places.push(min_g);
    }
    places.push(max_g);
    for asked_g in places {
        if !loads.iter().any(|l| Instrument::near(l.load_g, asked_g)) {
            missing.push(Shortfall::LoadNotTried { asked_g });
        }
    }
    let mut heaviest_g: f64 = 0.0;
    let mut unloaded = false;
    for load in loads {
        unloaded |= load.load_g < heaviest_g && Instrument::near(heaviest_g, max_g);
        heaviest_g = heaviest_g.max(load.load_g);
    }
    if !unloaded {
        missing.push(Shortfall::UnloadingNotTried);
    }
    missing
}

/// How many different loads there are.
pub(super) fn different(loads: &[LoadReading]) -> usize {
    let mut masses_g: Vec<f64> = loads.iter().map(|l| l.load_g).collect();
    masses_g.sort_by(f64::total_cmp);
    masses_g.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * b.abs());
    masses_g.len()
}
