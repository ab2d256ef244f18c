//! The shape of a correction, and how far it reaches.

use std::f64::consts::FRAC_PI_2;

use scalewright_protocol::settings::Settings;

use super::place::{Place, exact};
use super::{AdjustFault, Ends, GENTLE, MOST_BEND, Wanted};
use crate::quantise::{HostTable, quantum_g};
use crate::session::table::face::Face;

/// The correction, in masses by the table, quanta.
pub(super) struct Bump {
    at: f64,
    pub missing: f64,
    pub down: f64,
    pub up: f64,
}

impl Bump {
    pub fn of(
        table: &HostTable,
        settings: &Settings,
        place: &Place,
        wanted: &Wanted,
    ) -> Result<Self, AdjustFault> {
        let unit = quantum_g(settings.quantum_ug);
        let max = f64::from(settings.max);
        let needed = |bend: f64| FRAC_PI_2 * place.missing.abs() / bend;
        let (reach, ends) = match wanted.reach_g {
            Some(g) if g.is_finite() && g > 0.0 => (g / unit, Ends::Asked),
            Some(g) => return Err(AdjustFault::Reach(g)),
            None => ((max / 4.0).max(needed(GENTLE)).min(max), Ends::Max),
        };
        let (mut down, mut up) = ((reach, ends), (reach, ends));
        if place.at < down.0 {
            down = (place.at, Ends::Zero);
        }
        for kept_g in &wanted.keep_g {
            // Where the table, without what hysteresis takes off, reads it.
            let face = Face { table, settings };
            let found = face.net_q8_at(*kept_g).filter(|_| kept_g.is_finite());
            let kept = found.map_or(f64::NAN, |q8| exact(table.knots(), q8 as f64 / 256.0));
            let (off, e) = (kept - place.at, f64::from(settings.e));
            let beside_load = (kept_g - wanted.load_g).abs() / unit >= e;
            if !(*kept_g > 0.0
                && *kept_g <= max * unit * (1.0 + 1e-9)
                && off.abs() >= e
                && beside_load)
            {
                return Err(AdjustFault::Keep(*kept_g));
            }
            let side = if off < 0.0 { &mut down } else { &mut up };
            if off.abs() < side.0 {
                *side = (off.abs(), Ends::Kept(*kept_g));
            }
        }
        let bump = Self {
            at: place.at,
            missing: place.missing,
            down: down.0,
            up: up.0,
        };
        if bump.bend() > MOST_BEND {
            let (reach, ends) = if down.0 <= up.0 { down } else { up };
            return Err(AdjustFault::Bends {
                bend: bump.bend(),
                reach_g: reach * unit,
                needed_g: needed(MOST_BEND) * unit,
                ends,
            });
        }
        Ok(bump)
    }

    /// Change of steepness at most, as a share.
    pub fn bend(&self) -> f64 {
        FRAC_PI_2 * self.missing.abs() / self.down.min(self.up)
    }

    /// Where on its flank a mass lies: 0 at the load, −1 and 1 at the feet.
    pub fn along(&self, mass: f64) -> f64 {
        let off = mass - self.at;
        off / if off < 0.0 { self.down } else { self.up }
    }

    /// What is added to a mass.
    pub fn adds(&self, mass: f64) -> f64 {
        let along = self.along(mass);
        match along.abs() < 1.0 {
            true => self.missing * (FRAC_PI_2 * along).cos().powi(2),
            false => 0.0,
        }
    }

    /// The mass at a share of a flank.
    pub fn mass_at(&self, along: f64) -> f64 {
        self.at + along * if along < 0.0 { self.down } else { self.up }
    }
}
