//! A scale that was moved: what the move makes of it, and the correction of its
//! table.
//!
//! [`told`] turns two places and a scale into values to report and needs no
//! device; [`correction::Correction`] is the conversation that reads a table,
//! proposes the corrected one and, once accepted, brings it into the device.

pub mod correction;

use scalewright_metrology::gravity::{Moved, moved};
use scalewright_metrology::relocation::{
    AirShift, COVERAGE, Need, Shifted, air_shift, loads_g, room_air, worst,
};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme, Stage};

use super::plan::{PlanFault, ScaleSpec, check_scale};
use crate::record::moved::{AirLine, LoadLine, MovedRecord, MovedVerdict, PlaceLine, ShiftLine};
use crate::record::place::Spot;

/// Density of steel weights, kg/m3: that of conventional mass (OIML D 28:2004).
const STEEL_KG_M3: f64 = 8000.0;

/// A load people think in, g.
const FAMILIAR_G: f64 = 1000.0;

/// Why nothing can be said of a move.
#[derive(Clone, Debug, PartialEq)]
pub enum MovingFault {
    /// The scale's numbers make no scale.
    Scale(PlanFault),
    /// No two places on the ground differ by so much; no unit.
    TooFar(f64),
    /// The air, or the load in it, can't be; in plain words.
    Air(String),
}

impl std::fmt::Display for MovingFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Scale(fault) => fault.fmt(f),
            Self::TooFar(relative) => write!(
                f,
                "gravity at the two places would differ by {:.2} %: no two places on the ground do",
                relative.abs() * 100.0
            ),
            Self::Air(cause) => f.write_str(cause),
        }
    }
}

impl std::error::Error for MovingFault {}

/// The move from one place to another.
///
/// # Errors
/// [`MovingFault::TooFar`].
pub fn between(from: &Spot, to: &Spot) -> Result<Moved, MovingFault> {
    let found = moved(from.gravity, to.gravity);
    match found.is_possible() {
        true => Ok(found),
        false => Err(MovingFault::TooFar(found.relative)),
    }
}

/// Whether these numbers, given by hand, make a scale that a class knows.
///
/// # Errors
/// What is wrong with them.
pub fn check(scale: &ScaleSpec) -> Result<(), PlanFault> {
    check_scale(scale).map(|_| ())
}

/// What the move from one place to another makes of a scale, and of a load of
/// `density_kg_m3` in other air. Judged by the errors of the first verification
/// (OIML R 76-1:2006, 3.5.1): what a mover may spend of those in service is no
/// more.
///
/// # Errors
/// [`MovingFault`].
pub fn told(
    from: &Spot,
    to: &Spot,
    scale: &ScaleSpec,
    density_kg_m3: f64,
) -> Result<MovedRecord, MovingFault> {
    let shift = between(from, to)?;
    let unfit = |cause: String| MovingFault::Scale(PlanFault::Scale { cause });
    let class: AccuracyClass = (scale.class.parse())
        .map_err(|_| unfit(format!("there is no accuracy class {}", scale.class)))?;
    let intervals =
        Intervals::new(scale.e_g, scale.d_g).map_err(|refusal| unfit(refusal.to_string()))?;
    let scheme = Scheme::R76 {
        class,
        stage: Stage::Initial,
    };
    let at = |load_g: f64| {
        let found = Shifted::at(load_g, &shift, &scheme, &intervals);
        found.map_err(|cause| unfit(cause.to_string()))
    };
    let mut loads = loads_g(&scheme, &intervals, scale.max_g);
    if FAMILIAR_G < scale.max_g && !loads.contains(&FAMILIAR_G) {
        loads.push(FAMILIAR_G);
        loads.sort_by(f64::total_cmp);
    }
    let loads = (loads.iter().map(|load_g| at(*load_g))).collect::<Result<Vec<_>, _>>()?;
    let worst = worst(&shift, &scheme, &intervals, scale.max_g)
        .map_err(|cause| unfit(cause.to_string()))?;
    let line = |one: &Shifted| LoadLine {
        load_g: one.load_g,
        shift_g: one.shift_g,
        shift_e: one.shift_g / scale.e_g,
        expanded_u_g: one.expanded_u_g,
        permitted_g: one.permitted_g,
    };
    Ok(MovedRecord {
        scale: scale.into(),
        from: place(from),
        to: place(to),
        formula: (!(from.is_measured() && to.is_measured()))
            .then(|| "the WGS84 formula of normal gravity, with height".into()),
        shift: ShiftLine {
            relative: shift.relative,
            ppm: shift.relative * 1e6,
            expanded_u_ppm: COVERAGE * shift.u_relative * 1e6,
            percent: shift.relative * 100.0,
        },
        judged_by: scheme.name(),
        loads: loads.iter().map(line).collect(),
        worst: line(&worst),
        verdict: match worst.need() {
            Need::Nothing => MovedVerdict::NothingToDo,
            Need::Correction => MovedVerdict::CorrectOrRecalibrate,
            Need::Untold => MovedVerdict::WeighAKnownWeight,
        },
        beyond_permitted: worst.is_beyond(),
        correctable: worst.is_correctable(),
        seen: worst.is_seen(),
        air: air(from, to, scale.max_g, density_kg_m3)?,
        correction: None,
    })
}

fn place(spot: &Spot) -> PlaceLine {
    PlaceLine {
        latitude_deg: spot.latitude_deg,
        height_m: spot.height_m,
        g_m_s2: spot.gravity.g_m_s2,
        expanded_u_m_s2: COVERAGE * spot.gravity.u_m_s2,
        measured: spot.is_measured(),
    }
}

fn air(
    from: &Spot,
    to: &Spot,
    max_g: f64,
    density_kg_m3: f64,
) -> Result<Option<AirLine>, MovingFault> {
    let (Some(from_m), Some(to_m)) = (from.height_in_use_m(), to.height_in_use_m()) else {
        return Ok(None);
    };
    let of = |density| -> Result<AirShift, MovingFault> {
        air_shift(from_m, to_m, density).map_err(|cause| MovingFault::Air(cause.to_string()))
    };
    let density_at = |height_m| {
        let found = room_air(height_m).map_err(|cause| MovingFault::Air(cause.to_string()));
        found.map(|air| air.kg_m3)
    };
    let (load, steel) = (of(density_kg_m3)?, of(STEEL_KG_M3)?);
    Ok(Some(AirLine {
        density_kg_m3,
        air_kg_m3: [density_at(from_m)?, density_at(to_m)?],
        load_ppm: load.relative * 1e6,
        load_expanded_u_ppm: COVERAGE * load.u_relative * 1e6,
        load_at_max_g: load.relative * max_g,
        steel_ppm: steel.relative * 1e6,
        steel_at_max_g: steel.relative * max_g,
    }))
}
