//! The creep test: one load left on, the indication watched (R 76-1, 3.9.4.1,
//! from memory but for the 0.5 e in 30 min; load cells after R 60-1:2021, 5.5.1).

use super::finding::worst;
use super::instrument::{Freed, InOrder, freed_in_order};
use super::{Finding, Instrument, Judgement, Shortfall, TimedReading, Unusable};
use crate::tolerance::{AccuracyClass, Stage, mpe_e};

/// What a creep test is judged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CreepRule {
    /// A scale, R 76-1, 3.9.4.1: 0.5 e within 30 min and 0.2 e between 15 and
    /// 30 min; otherwise the permitted error within 4 h.
    Scale,
    /// A load cell, R 60-1, 5.5.1: 0.7 mpe within 30 min and 0.15 mpe between 20
    /// and 30 min, mpe with p_LC = 0.7 and v = e. Its classes A to D have the
    /// steps of I to IIII.
    LoadCell(AccuracyClass),
}

/// The limits of a rule at one load, and the time its later part begins.
struct Limits {
    half_hour_g: f64,
    late_g: f64,
    late_from_s: f64,
    four_hours_g: Option<f64>,
}

/// R 76-1, 3.9.4.1, in e.
const HALF_HOUR_E: f64 = 0.5;
const LATE_E: f64 = 0.2;
/// R 60-1, 5.5.1: as shares of the mpe with the p_LC of 5.3.2.
const CELL_P_LC: f64 = 0.7;
const CELL_HALF_HOUR: f64 = 0.7;
const CELL_LATE: f64 = 0.15;

const HALF_HOUR_S: f64 = 1800.0;
const FOUR_HOURS_S: f64 = 14_400.0;

/// A reading this near, in s, to a time the test names is taken for it.
const NEAR_S: f64 = 60.0;

/// The least load, as a share of Max: R 60-1, 5.5.1 has 90 to 100 %.
const LOAD_SHARE: f64 = 1.0;

/// Seconds for loading and settling, by load in kg (R 60-2, table 1, classes C
/// and D): taken here for every scale.
const FIRST_READING_S: [(f64, f64); 5] = [
    (10.0, 10.0),
    (100.0, 20.0),
    (1_000.0, 30.0),
    (10_000.0, 40.0),
    (100_000.0, 50.0),
];
const FIRST_READING_BEYOND_S: f64 = 60.0;

/// When the first reading after a change of load is due, in s.
pub(super) fn first_reading_s(load_g: f64) -> f64 {
    (FIRST_READING_S.iter())
        .find(|(up_to_kg, _)| load_g / 1000.0 <= *up_to_kg)
        .map_or(FIRST_READING_BEYOND_S, |(_, seconds)| *seconds)
}

/// A creep test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Creep {
    /// The largest change from the first reading within 30 min, or as long as
    /// was watched.
    pub half_hour: Finding,
    /// The change between 15 and 30 min (a load cell: 20 and 30), where both
    /// were read.
    pub late: Option<Finding>,
    /// The largest change within 4 h beside the permitted error: asked for only
    /// where the scale breaks one of the others.
    pub four_hours: Option<Finding>,
    /// The change from the first reading to the last within 30 min, in g, with
    /// its sign.
    pub change_g: f64,
    /// The verdict.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

fn limits(instrument: &Instrument, load_g: f64, rule: CreepRule) -> Result<Limits, Unusable> {
    let e_g = instrument.e_g();
    Ok(match rule {
        CreepRule::Scale => Limits {
            half_hour_g: HALF_HOUR_E * e_g,
            late_g: LATE_E * e_g,
            late_from_s: 900.0,
            four_hours_g: Some(instrument.permitted_g(load_g)?),
        },
        CreepRule::LoadCell(class) => {
            let mpe_g = CELL_P_LC * mpe_e(class, Stage::Initial, load_g / e_g) * e_g;
            Limits {
                half_hour_g: CELL_HALF_HOUR * mpe_g,
                late_g: CELL_LATE * mpe_g,
                late_from_s: 1200.0,
                four_hours_g: None,
            }
        }
    })
}

/// The creep under a constant load near Max; times are seconds since it was put on.
///
/// A test of a few minutes is judged too: what it sees exceeded is exceeded, but
/// a pass is only one so far, since creep goes on. A scale that breaks the 30 min
/// rule fails for sure only when it breaks the permitted error as well; else the
/// verdict stays open until it was watched for 4 h.
///
/// # Errors
/// Fewer than two readings, times that don't rise, readings that are no numbers,
/// a load not above zero or beyond Max.
///
/// ```
/// use scalewright_metrology::performance::{CreepRule, Instrument, Judgement, Reading, TimedReading, creep};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?
///     .read_in_steps_of(0.1)?;
/// let at = |at_s, g| TimedReading { at_s, reading: Reading::shown(g) };
/// let whole = [at(5.0, 6000.0), at(900.0, 6000.6), at(1800.0, 6000.8)];
/// assert_eq!(creep(&scale, 6000.0, &whole, CreepRule::Scale)?.judgement, Judgement::Passes);
/// let short = creep(&scale, 6000.0, &whole[..2], CreepRule::Scale)?;
/// assert_eq!(short.judgement, Judgement::PassesSoFar);
/// assert!(creep(&scale, 6000.0, &whole[..1], CreepRule::Scale).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn creep(
    instrument: &Instrument,
    load_g: f64,
    readings: &[TimedReading],
    rule: CreepRule,
) -> Result<Creep, Unusable> {
    let load_g = instrument.load("the load", load_g)?;
    let limits = limits(instrument, load_g, rule)?;
    let InOrder {
        first: (first_s, first),
        last: (last_s, _),
        all,
    } = freed_in_order(instrument, readings)?;
    let from_g = instrument.max_g();
    let change = |to: Freed, limit_g| {
        let slack_g = first.slack_g + to.slack_g;
        Finding::new(to.p_g - first.p_g, slack_g, limit_g, from_g)
    };
    let largest = |within_s: f64, limit_g: f64| {
        (all.iter().skip(1))
            .filter(|(at_s, _)| *at_s <= within_s + NEAR_S)
            .map(|(_, to)| change(*to, limit_g))
            .max_by(|a, b| {
                let reach = |f: &Finding| (f.judgement, f.observed_g);
                let (a, b) = (reach(a), reach(b));
                a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
            })
    };
    let Some(half_hour) = largest(HALF_HOUR_S, limits.half_hour_g) else {
        return Err(Unusable::TooFew {
            what: "readings within 30 min",
            given: 1,
            needed: 2,
        });
    };
    let late = match (
        nearest(&all, limits.late_from_s),
        nearest(&all, HALF_HOUR_S),
    ) {
        (Some(from), Some(to)) => {
            let slack_g = from.slack_g + to.slack_g;
            let change_g = to.p_g - from.p_g;
            Some(Finding::new(change_g, slack_g, limits.late_g, from_g))
        }
        _ => None,
    };
    let change_g = (all.iter().rev())
        .find(|(at_s, _)| *at_s <= HALF_HOUR_S + NEAR_S)
        .map_or(0.0, |(_, to)| to.p_g - first.p_g);

    let mut incomplete = Vec::new();
    incomplete.extend(instrument.light(load_g, LOAD_SHARE * from_g));
    let due_s = first_reading_s(load_g);
    if first_s > due_s {
        incomplete.push(Shortfall::FirstReadingLate {
            at_s: first_s,
            asked_s: due_s,
        });
    }
    if last_s < HALF_HOUR_S - NEAR_S {
        incomplete.push(Shortfall::TimeTooShort {
            lasted_s: last_s,
            asked_s: HALF_HOUR_S,
        });
    } else {
        for at_s in [limits.late_from_s, HALF_HOUR_S] {
            if nearest(&all, at_s).is_none() {
                incomplete.push(Shortfall::ReadingMissing { at_s });
            }
        }
    }
    let judged = || [Some(half_hour), late].into_iter().flatten();
    let plain = readings.iter().map(|r| &r.reading);
    incomplete.extend(instrument.coarse(plain, judged().map(|f| f.judgement)));
    let mut judgement = worst(judged().map(|f| f.judgement));
    let mut four_hours = None;
    if let (Judgement::Fails, Some(limit_g)) = (judgement, limits.four_hours_g) {
        four_hours = largest(FOUR_HOURS_S, limit_g);
        let seen = last_s >= FOUR_HOURS_S - NEAR_S;
        judgement = match four_hours.map(|f| f.judgement) {
            Some(within) if seen => within,
            Some(Judgement::Fails) => Judgement::Fails,
            _ => {
                incomplete.push(Shortfall::FourHoursNotSeen);
                Judgement::Open
            }
        };
    }
    Ok(Creep {
        half_hour,
        late,
        four_hours,
        change_g,
        judgement: judgement.given(&incomplete),
        incomplete,
    })
}

/// The reading nearest to a time, if one is near.
fn nearest(all: &[(f64, Freed)], at_s: f64) -> Option<Freed> {
    (all.iter())
        .map(|(seen_s, freed)| ((seen_s - at_s).abs(), freed))
        .filter(|(off_s, _)| *off_s <= NEAR_S)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, freed)| *freed)
}
