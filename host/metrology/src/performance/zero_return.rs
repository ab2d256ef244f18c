//! The zero return test: how far zero comes back after a long load (R 76-1,
//! 3.9.4.2, from memory; load cells: R 60-1:2021, 5.5.2 with R 60-3).

use super::creep::first_reading_s;
use super::{Finding, Instrument, Judgement, Reading, Shortfall, TimedReading, Unusable};

/// The load that lay on before zero was read again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadedSpell {
    /// Its mass, in g.
    pub load_g: f64,
    /// How long it lay, in s.
    pub lasted_s: f64,
}

/// A zero return test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct ZeroReturn {
    /// Zero after minus zero before, in g, with its sign.
    pub change_g: f64,
    /// Its size beside 0.5 e.
    pub finding: Finding,
    /// The limit of a load cell when zero was read late, in e = v:
    /// 0.5 (1 - (x - 1)) with x, from 1 to 1.5, the time taken over the time due.
    pub cell_limit_e: f64,
    /// The verdict on the scale.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// R 76-1, 3.9.4.2 and R 60-1, 5.5.2, in e.
const LIMIT_E: f64 = 0.5;

const ASKED_S: f64 = 1800.0;
const NEAR_S: f64 = 60.0;

/// R 60-3: the limit of a late reading, for times up to half as long again.
fn cell_limit_e(late: f64) -> f64 {
    LIMIT_E * (1.0 - (late.clamp(1.0, 1.5) - 1.0))
}

/// The deviation on returning to zero after 30 min under a load near Max.
///
/// `after.at_s` counts from taking the load off. Zero-setting and zero tracking
/// must be off in between.
///
/// # Errors
/// Readings or times that are no numbers, a load or a time not above zero.
///
/// ```
/// use scalewright_metrology::performance::{
///     Instrument, Judgement, LoadedSpell, Reading, TimedReading, zero_return,
/// };
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let spell = LoadedSpell { load_g: 6000.0, lasted_s: 1800.0 };
/// let after = TimedReading { at_s: 8.0, reading: Reading::shown(0.9) };
/// let test = zero_return(&scale, spell, Reading::shown(0.0), after)?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// let never = LoadedSpell { lasted_s: 0.0, ..spell };
/// assert!(zero_return(&scale, never, Reading::shown(0.0), after).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn zero_return(
    instrument: &Instrument,
    spell: LoadedSpell,
    before: Reading,
    after: TimedReading,
) -> Result<ZeroReturn, Unusable> {
    let load_g = instrument.load("the load", spell.load_g)?;
    let lasted_s = spell.lasted_s;
    if !(lasted_s.is_finite() && lasted_s > 0.0) {
        return Err(Unusable::NotPositive {
            what: "the time under load",
            value: lasted_s,
        });
    }
    if !(after.at_s.is_finite() && after.at_s >= 0.0) {
        return Err(Unusable::TimeNotRising { place: 2 });
    }
    let zero = instrument.freed(&before, 1)?;
    let returned = instrument.freed(&after.reading, 2)?;
    let change_g = returned.p_g - zero.p_g;
    let finding = Finding::new(
        change_g,
        zero.slack_g + returned.slack_g,
        LIMIT_E * instrument.e_g(),
        instrument.max_g(),
    );
    let mut incomplete = Vec::new();
    incomplete.extend(instrument.light(load_g, instrument.max_g()));
    if lasted_s < ASKED_S - NEAR_S {
        incomplete.push(Shortfall::TimeTooShort {
            lasted_s,
            asked_s: ASKED_S,
        });
    }
    let due_s = first_reading_s(load_g);
    if after.at_s > due_s {
        incomplete.push(Shortfall::FirstReadingLate {
            at_s: after.at_s,
            asked_s: due_s,
        });
    }
    let readings = [before, after.reading];
    incomplete.extend(instrument.coarse(&readings, [finding.judgement]));
    Ok(ZeroReturn {
        change_g,
        finding,
        cell_limit_e: cell_limit_e(after.at_s / due_s),
        judgement: finding.judgement.given(&incomplete),
        incomplete,
    })
}
