//! What a load was before: hysteresis and creep as known shapes of unknown size.
//!
//! Hysteresis is remembered as in a row of plays (backlash elements, the
//! Prandtl-Ishlinskii model; M. A. Krasnosel'skii, A. V. Pokrovskii, "Systems
//! with Hysteresis", 1989, from memory): each follows the load only when pushed.
//! Two plays of fixed width are a rough picture of any cell's loop; what they
//! are worth on a cell, its verification shows. Creep follows the load with a
//! time constant each: `r' = (L - r) / T`.

use super::{Problem, Weighing};

/// Half the play of each element as a share of Max.
pub const HALF_PLAYS: [f64; 2] = [1.0 / 16.0, 3.0 / 16.0];

/// Time constants of creep, s: what settles while one load is read, and what
/// still moves when the next but one is (common practice: OIML R 60 looks at
/// 30 minutes).
pub const CREEP_S: [f64; 2] = [60.0, 600.0];

/// Creep up to this long after a load came is part of every reading, s.
const FRESH_S: f64 = 10.0;

/// Where in the time between two captures the load is taken to have changed,
/// when nobody noted it.
const CHANGED_AT: f64 = 0.6;

/// The memory of a cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Memory {
    positions: [f64; 2],
}

impl Memory {
    /// As after full loadings and unloadings.
    #[must_use]
    pub fn exercised() -> Self {
        Self {
            positions: HALF_PLAYS,
        }
    }

    /// The load goes straight to this share of Max.
    pub fn follow(&mut self, share: f64) {
        for (position, half) in self.positions.iter_mut().zip(HALF_PLAYS) {
            *position = position.max(share - half).min(share + half);
        }
    }

    /// Departure from the middle of the full loop, in units of the loop's
    /// greatest width: from -0.5 (going up) to 0.5 (coming down).
    #[must_use]
    pub fn departure(&self, share: f64) -> f64 {
        let each = self
            .positions
            .iter()
            .zip(HALF_PLAYS)
            .map(|(position, half)| {
                let play = 2.0 * half;
                let middle = if share <= 0.0 {
                    share
                } else if share >= 1.0 {
                    share - play
                } else {
                    0.5 * ((share - play).max(0.0) + share.min(1.0 - play))
                };
                (position - half - middle) / play
            });
        each.sum::<f64>() / HALF_PLAYS.len() as f64
    }
}

/// What went before each weighing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Past {
    /// [`Memory::departure`] at the weighing.
    pub(super) departure: f64,
    /// Creep beyond that of a fresh load, for each time constant, as a share
    /// of Max and for an amplitude of one.
    pub(super) creep: [f64; 2],
    /// Whether the load was reached from a heavier one.
    pub(super) from_above: bool,
}

/// The past of every weighing. Each sitting begins with an exercised cell at
/// rest. Of two loads with bodies in common, only these stay on in between:
/// people take off before they put on.
pub(super) fn past(problem: &Problem) -> Vec<Past> {
    let mut out = Vec::with_capacity(problem.weighings.len());
    let mut before: Option<&Weighing> = None;
    let mut memory = Memory::exercised();
    let mut creep = [0.0; 2];
    for weighing in &problem.weighings {
        if before.is_none_or(|other| other.sitting != weighing.sitting) {
            memory = Memory::exercised();
            creep = [0.0; 2];
            before = None;
        }
        let share = problem.stated_g(weighing) / problem.max_g;
        let mut from_above = false;
        if let Some(other) = before {
            let was = problem.stated_g(other) / problem.max_g;
            let stays: f64 = weighing
                .bodies
                .iter()
                .filter(|body| other.bodies.contains(body))
                .filter_map(|body| problem.bodies.get(*body))
                .map(|body| body.mass_g / problem.max_g)
                .sum();
            memory.follow(stays);
            from_above = share > 0.0 && share < was && stays >= share * (1.0 - 1e-9);
            let between = (weighing.at_s - other.at_s).max(0.0);
            let rested = weighing
                .rested_s
                .unwrap_or(between * (1.0 - CHANGED_AT))
                .clamp(0.0, between);
            if weighing.bodies == other.bodies {
                relax(&mut creep, share, between);
            } else {
                relax(&mut creep, was, between - rested);
                relax(&mut creep, share, rested);
            }
        } else {
            relax(&mut creep, share, weighing.rested_s.unwrap_or(0.0).max(0.0));
        }
        memory.follow(share);
        let mut fresh = [0.0; 2];
        relax(&mut fresh, share, FRESH_S);
        out.push(Past {
            departure: memory.departure(share),
            creep: [creep[0] - fresh[0], creep[1] - fresh[1]],
            from_above,
        });
        before = Some(weighing);
    }
    out
}

/// Lets a creep of amplitude one follow `load` for `seconds`.
fn relax(creep: &mut [f64; 2], load: f64, seconds: f64) {
    for (state, constant_s) in creep.iter_mut().zip(CREEP_S) {
        *state = load + (*state - load) * (-seconds / constant_s).exp();
    }
}
