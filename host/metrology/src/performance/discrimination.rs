//! The discrimination test: a nudge of 1.4 d must change the indication
//! (R 76-1, 3.8.2.2 and A.4.8.2, from memory).

use super::finding::worst;
use super::{Instrument, Judgement, Shortfall, Unusable};

/// The nudge, in d (3.8.2.2, from memory).
pub const DISCRIMINATION_D: f64 = 1.4;

/// The rule binds scales with a d of at least 5 mg, here in g (3.8.2.2, from memory).
const REQUIRED_FROM_D_G: f64 = 0.005;

/// How exactly, as a share, a nudge must be 1.4 d to count as that: weights of
/// the series don't make 1.4 d any better.
const NUDGE_ROUNDING: f64 = 0.02;

/// A small weight gently put on, or taken off, a load at rest; all in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nudge {
    /// The load it was tried at.
    pub load_g: f64,
    /// The small weight: above zero when put on, below when taken off.
    pub weight_g: f64,
    /// The indication before.
    pub before_g: f64,
    /// The indication after.
    pub after_g: f64,
}

/// What one nudge told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NudgeAnswer {
    /// The load, in g.
    pub load_g: f64,
    /// How far the indication went along with the nudge, in g.
    pub moved_g: f64,
    /// How far it must go at least: d, in g.
    pub asked_g: f64,
    /// The verdict on this nudge.
    pub judgement: Judgement,
}

/// A discrimination test, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Discrimination {
    /// Whether the rule binds this scale: d of 5 mg or more.
    pub required: bool,
    /// The answers, in the order of the nudges.
    pub answers: Vec<NudgeAnswer>,
    /// The verdict over all loads, whether the rule binds or not.
    pub judgement: Judgement,
    /// What was left out.
    pub incomplete: Vec<Shortfall>,
}

/// Whether each nudge moved the indication by at least d its own way.
///
/// A heavier nudge that was missed fails, a lighter one that was seen passes;
/// the other answers of a wrong nudge prove nothing and stay open. Asked for at
/// Min, half of Max and Max.
///
/// # Errors
/// No nudges, numbers that are not finite, a weight of zero, a load below zero
/// or beyond Max.
///
/// ```
/// use scalewright_metrology::performance::{Instrument, Judgement, Nudge, discrimination};
/// use scalewright_metrology::tolerance::Intervals;
/// let scale = Instrument::new("R76 III initial".parse()?, Intervals::new(2.0, 2.0)?, 6000.0, 40.0)?;
/// let at = |load_g| Nudge { load_g, weight_g: 2.8, before_g: load_g, after_g: load_g + 2.0 };
/// let test = discrimination(&scale, &[at(40.0), at(3000.0), at(6000.0)])?;
/// assert_eq!(test.judgement, Judgement::Passes);
/// assert!(discrimination(&scale, &[]).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn discrimination(
    instrument: &Instrument,
    nudges: &[Nudge],
) -> Result<Discrimination, Unusable> {
    if nudges.is_empty() {
        return Err(Unusable::TooFew {
            what: "nudges",
            given: 0,
            needed: 1,
        });
    }
    let d_g = instrument.d_g();
    let nudge_asked_g = DISCRIMINATION_D * d_g;
    let mut answers = Vec::with_capacity(nudges.len());
    let mut incomplete = Vec::new();
    for (index, nudge) in nudges.iter().enumerate() {
        let place = index + 1;
        for (what, value) in [
            ("the weight of nudge", nudge.weight_g),
            ("the indication before nudge", nudge.before_g),
            ("the indication after nudge", nudge.after_g),
            ("the load of nudge", nudge.load_g),
        ] {
            if !value.is_finite() {
                return Err(Unusable::NotANumber { what, place });
            }
        }
        if nudge.weight_g == 0.0 {
            return Err(Unusable::NotPositive {
                what: "the weight of a nudge",
                value: 0.0,
            });
        }
        // Zero is a load here: Min may be zero.
        if nudge.load_g != 0.0 {
            instrument.load("the load of a nudge", nudge.load_g)?;
        }
        let moved_g = (nudge.after_g - nudge.before_g) * nudge.weight_g.signum();
        let moved = moved_g >= d_g * (1.0 - 1e-6);
        let share = nudge.weight_g.abs() / nudge_asked_g;
        let proves = if moved {
            share <= 1.0 + NUDGE_ROUNDING
        } else {
            share >= 1.0 - NUDGE_ROUNDING
        };
        let judgement = match (proves, moved) {
            (true, true) => Judgement::Passes,
            (true, false) => Judgement::Fails,
            (false, _) => {
                incomplete.push(Shortfall::NudgeOff {
                    nudge_g: nudge.weight_g.abs(),
                    asked_g: nudge_asked_g,
                });
                Judgement::Open
            }
        };
        answers.push(NudgeAnswer {
            load_g: nudge.load_g,
            moved_g,
            asked_g: d_g,
            judgement,
        });
    }
    let max_g = instrument.max_g();
    for asked_g in [instrument.min_g(), 0.5 * max_g, max_g] {
        // Gently added weights shift a load near Min or Max by a few intervals.
        let near = |load_g: f64| {
            Instrument::near(load_g, asked_g) || (load_g - asked_g).abs() <= 10.0 * d_g
        };
        if !nudges.iter().any(|nudge| near(nudge.load_g)) {
            incomplete.push(Shortfall::LoadNotTried { asked_g });
        }
    }
    Ok(Discrimination {
        required: d_g >= REQUIRED_FROM_D_G * (1.0 - 1e-9),
        judgement: worst(answers.iter().map(|a| a.judgement)).given(&incomplete),
        answers,
        incomplete,
    })
}
