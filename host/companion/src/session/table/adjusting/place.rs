//! Where on the curve of a table the load in question lies.

use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::{AdjustFault, Shown, Wanted};
use crate::quantise::{HostTable, quantum_g};
use crate::session::table::face::Face;

/// The load on the curve.
pub(super) struct Place {
    /// Net counts.
    pub counts: f64,
    /// Mass by the table, quanta.
    pub at: f64,
    /// What it must be, quanta.
    pub due: i32,
    /// The difference, quanta.
    pub missing: f64,
    /// What is shown, g.
    pub shown_g: f64,
}

impl Place {
    pub fn find(
        table: &HostTable,
        settings: &Settings,
        wanted: &Wanted,
    ) -> Result<Self, AdjustFault> {
        let unit = quantum_g(settings.quantum_ug);
        let (load_g, max_g) = (wanted.load_g, f64::from(settings.max) * unit);
        if !(load_g > 0.0 && load_g <= max_g * (1.0 + 1e-9)) {
            return Err(AdjustFault::Load(load_g, max_g));
        }
        let face = Face { table, settings };
        let load = (load_g / unit).round() as i32;
        let (counts, shown_g, due) = match wanted.shown {
            Shown::Mass(g) => {
                let found = face.net_q8_at(g).filter(|_| g.is_finite() && g > 0.0);
                let q8 = found.ok_or(AdjustFault::NeverShown(g))?;
                // What hysteresis will take off depends a little on what is due.
                let due = (0..3).fold(load, |due, _| load.wrapping_add(face.taken_off(due)));
                (q8 as f64 / 256.0, g, due)
            }
            Shown::Captured {
                net_counts,
                correction,
            } => {
                let g = (exact(table.knots(), net_counts) - f64::from(correction)) * unit;
                if !(net_counts.abs() < 3e7 && g > 0.0) {
                    return Err(AdjustFault::NeverShown(g));
                }
                (net_counts, g, load.wrapping_add(correction))
            }
        };
        let at = exact(table.knots(), counts);
        if at < f64::from(settings.e) {
            return Err(AdjustFault::NearZero(load_g));
        }
        Ok(Self {
            counts,
            at,
            due,
            missing: f64::from(due) - at,
            shown_g,
        })
    }
}

/// The table without rounding, continued straight at its ends: quanta.
pub(super) fn exact(knots: &[Knot], counts: f64) -> f64 {
    along(knots, counts, |knot| (knot.counts.into(), knot.mass.into()))
}

/// The other way round: net counts.
pub(super) fn counts_at(knots: &[Knot], mass: f64) -> f64 {
    along(knots, mass, |knot| (knot.mass.into(), knot.counts.into()))
}

fn along(knots: &[Knot], x: f64, of: impl Fn(&Knot) -> (f64, f64)) -> f64 {
    let mut pairs = knots.iter().zip(knots.iter().skip(1));
    let mut last = None;
    let found = pairs
        .find(|pair| {
            last = Some(*pair);
            x < of(pair.1).0
        })
        .or(last);
    found.map_or(0.0, |(left, right)| {
        let ((x0, y0), (x1, y1)) = (of(left), of(right));
        y0 + (x - x0) * (y1 - y0) / (x1 - x0)
    })
}
