//! One load put right: a smooth local correction of a table.
//!
//! **Its shape.** With `x` the mass that the table gives, `x0` that of the load in
//! question, `D` what is missing there (below zero: what it shows too much) and
//! `r` the reach, down or up,
//!
//! ```text
//! new x = x + D · cos²(π/2 · (x − x0)/r)    within the reach, else x
//! ```
//!
//! (one period of a raised cosine). It is all of `D` at the load and nothing at its
//! feet, level at all three, so that no bend comes in; each side has a reach of its
//! own. The curve's steepness changes by `π/2 · D/r` at most, so a small `D` over a
//! wide reach cannot break its rise. It ends at zero at the latest, and at the
//! nearest load on either side that is known to be right.
//!
//! **How wide.** Nobody knows what happens between loads that were not tried. A
//! quarter of Max either way (own choice): what is wrong at one load is wrong
//! near it, and a load far off should not change by it. Wider where the steepness
//! would change by more than [`GENTLE`]; refused above [`MOST_BEND`]: the cells
//! this is for are straight to some 0.5 % of Max, which as an arc makes a
//! steepness off by 4 times that (common practice and our arithmetic). What needs
//! more is a wrong weight or something that touches the pan.
//!
//! **As a table.** A point goes to the load, and some onto the flanks and the feet,
//! where none stands near; then those that matter least go until the board has
//! room (`thinning`). Where nothing shall change, lines stay within
//! [`OUTSIDE_E`] of the table that was; under the correction within a tenth of it,
//! or as near as outside.

mod bump;
mod fault;
mod laying;
mod place;

use scalewright_protocol::settings::Settings;

use super::face::Face;
use crate::quantise::{HostTable, quantum_g};
use bump::Bump;
use laying::{Laid, laid, meeting};
use place::Place;

pub use fault::{AdjustFault, Ends};

/// Change of steepness, as a share, up to which a default reach stays narrow.
pub const GENTLE: f64 = 0.005;

/// Change of steepness, as a share, beyond which a correction is refused.
pub const MOST_BEND: f64 = 0.02;

/// How far a reading may move where nothing shall change, e.
pub const OUTSIDE_E: f64 = 0.1;

/// A kept load reads the same to this, e: [`OUTSIDE_E`] and the rounding of
/// points and lookups.
pub const KEPT_E: f64 = 0.12;

/// What lies on the pan, and what the scale made of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// It shows this, g: put on the empty pan, net of zero, at rest.
    Mass(f64),
    /// It was captured.
    Captured {
        /// Mean of the codes, above the zero in use, counts.
        net_counts: f64,
        /// What hysteresis took off, quanta.
        correction: i32,
    },
}

/// What is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The load, g.
    pub load_g: f64,
    /// What is shown of it.
    pub shown: Shown,
    /// Loads that read right, g.
    pub keep_g: Vec<f64>,
    /// How far the correction shall reach either way, g; by itself when absent.
    pub reach_g: Option<f64>,
    /// Points that the board has room for.
    pub most_points: usize,
}

/// A table in which one load is right.
#[derive(Clone, Debug, PartialEq)]
pub struct Adjusted {
    /// The table.
    pub table: HostTable,
    /// What the scale shows of the load so far, g.
    pub shown_g: f64,
    /// Where the correction begins and ends, g as shown so far.
    pub feet_g: (f64, f64),
    /// Change of steepness at most, as a share.
    pub bend: f64,
    /// Points that are new.
    pub added: usize,
    /// Points that are gone.
    pub taken_out: usize,
    /// Furthest that the straight lines leave the smooth curve, g.
    pub off_g: f64,
}

/// The table in which a load is right; `None` when it is already, to what a table
/// can say.
///
/// # Errors
/// [`AdjustFault`].
pub fn adjust(
    table: &HostTable,
    settings: &Settings,
    wanted: &Wanted,
) -> Result<Option<Adjusted>, AdjustFault> {
    let place = Place::find(table, settings, wanted)?;
    // Less than is stored, or shown of an error.
    if place.missing.abs() < (f64::from(settings.e) / 200.0).max(1.5) {
        return Ok(None);
    }
    let bump = Bump::of(table, settings, &place, wanted)?;
    let laid = laid(table, settings, &place, &bump, wanted.most_points)?;
    let unit = quantum_g(settings.quantum_ug);
    let Laid {
        off,
        added,
        taken_out,
        ..
    } = laid;
    let face = Face { table, settings };
    let shown_g = |mass: f64| (mass - f64::from(face.taken_off(mass.round() as i32))) * unit;
    let adjusted = meeting(laid.points, &place)?;
    Ok(Some(Adjusted {
        table: adjusted,
        shown_g: place.shown_g,
        feet_g: (
            shown_g((place.at - bump.down).max(0.0)),
            shown_g(place.at + bump.up),
        ),
        bend: bump.bend(),
        added,
        taken_out,
        off_g: off * unit,
    }))
}
