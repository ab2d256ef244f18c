//! Conventional mass and the buoyancy of the air.
//!
//! Owns the way between mass and conventional mass, and what air does to a
//! reading. Refuses bodies that would float. The half width that a weight of
//! stated density needs in a budget stands in [`crate::weights`].

use std::fmt;

use crate::weights::{REFERENCE_AIR_KG_M3, REFERENCE_WEIGHT_KG_M3};

/// Which number was wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BuoyancyError {
    /// The air is not a density a room can have, kg/m3.
    Air(f64),
    /// The body is lighter than air, or no number, kg/m3.
    Body(f64),
    /// The mass is no number, g.
    Mass(f64),
    /// A standard uncertainty below zero or no number, kg/m3.
    Uncertainty(f64),
}

impl fmt::Display for BuoyancyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Air(v) => write!(
                f,
                "air of {v} kg/m3 is outside 0 to {DENSEST_AIR_KG_M3} kg/m3: near the ground it has about 1.2 kg/m3"
            ),
            Self::Body(v) => write!(
                f,
                "a body of {v} kg/m3 can't be weighed in air: give kg/m3 (steel has about 7850)"
            ),
            Self::Mass(v) => write!(f, "a mass of {v} g is no number to reckon with"),
            Self::Uncertainty(v) => write!(
                f,
                "a standard uncertainty must be zero or positive, got {v} kg/m3"
            ),
        }
    }
}

impl std::error::Error for BuoyancyError {}

/// No air a person weighs in is denser, kg/m3 (common practice).
const DENSEST_AIR_KG_M3: f64 = 3.0;

/// Lightest body taken, kg/m3: lighter ones, such as aerogels, are weighed in
/// vacuum (common practice).
const LIGHTEST_BODY_KG_M3: f64 = 5.0;

fn body(density_kg_m3: f64) -> Result<f64, BuoyancyError> {
    let possible = density_kg_m3.is_finite() && density_kg_m3 >= LIGHTEST_BODY_KG_M3;
    possible
        .then_some(density_kg_m3)
        .ok_or(BuoyancyError::Body(density_kg_m3))
}

fn mass(mass_g: f64) -> Result<f64, BuoyancyError> {
    mass_g
        .is_finite()
        .then_some(mass_g)
        .ok_or(BuoyancyError::Mass(mass_g))
}

/// What remains of a weight in air of the reference density, as a share.
fn in_reference_air(density_kg_m3: f64) -> f64 {
    1.0 - REFERENCE_AIR_KG_M3 / density_kg_m3
}

/// The conventional mass, in g, of a body of true mass `mass_g` and a density.
///
/// ```text
/// m_c = m (1 - 1.2/rho) / (1 - 1.2/8000)        (OIML D 28:2004, clause 5, from memory)
/// ```
///
/// # Errors
/// A mass that is no number, a body that would float.
///
/// ```
/// use scalewright_metrology::buoyancy::conventional_g;
/// assert_eq!(conventional_g(1000.0, 8000.0)?, 1000.0);
/// // Aluminium: -294 mg in a kilogram.
/// assert!((conventional_g(1000.0, 2700.0)? - 999.7055114).abs() < 1e-6);
/// assert!(conventional_g(1000.0, 0.0).is_err());
/// # Ok::<(), scalewright_metrology::buoyancy::BuoyancyError>(())
/// ```
pub fn conventional_g(mass_g: f64, density_kg_m3: f64) -> Result<f64, BuoyancyError> {
    let share = in_reference_air(body(density_kg_m3)?) / in_reference_air(REFERENCE_WEIGHT_KG_M3);
    Ok(mass(mass_g)? * share)
}

/// The true mass, in g, of a body of conventional mass `conventional_g`: the
/// same formula turned round.
///
/// # Errors
/// As [`conventional_g`].
pub fn true_mass_g(conventional_g: f64, density_kg_m3: f64) -> Result<f64, BuoyancyError> {
    let share = in_reference_air(REFERENCE_WEIGHT_KG_M3) / in_reference_air(body(density_kg_m3)?);
    Ok(mass(conventional_g)? * share)
}

/// A density and its standard uncertainty, both in kg/m3.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// Density, kg/m3.
    pub kg_m3: f64,
    /// Standard uncertainty, kg/m3.
    pub u_kg_m3: f64,
}

impl Density {
    /// A density taken as exact.
    #[must_use]
    pub const fn exact(kg_m3: f64) -> Self {
        Self {
            kg_m3,
            u_kg_m3: 0.0,
        }
    }
}

/// How the scale was adjusted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adjusted {
    /// Density of the weights, kg/m3; 8000 when their conventional mass was used.
    pub weights_kg_m3: f64,
    /// The air at that time; absent when it is the air of the weighing itself,
    /// which is then the same in both places of the formula.
    pub air: Option<Density>,
}

/// A reading and what the densities make of its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed {
    /// The reading, g.
    pub reading_g: f64,
    /// Standard uncertainty from the densities alone, g.
    pub u_g: f64,
}

/// What an errorless scale reads for a body of true mass `mass_g`.
///
/// ```text
/// R = m (1 - a/rho) / (1 - a0/rho_s)       (OIML D 28:2004, from memory)
/// ```
/// with a the air now, a0 the air of the adjustment, rho the body, rho_s the
/// weights. The uncertainty follows from the first derivatives (JCGM 100:2008,
/// 5.1.2), a and a0 independent unless the air is the same.
///
/// # Errors
/// Air, body or weights that can't be, a mass that is no number, an uncertainty
/// below zero.
pub fn weighed(
    mass_g: f64,
    object: Density,
    air: Density,
    adjusted: Adjusted,
) -> Result<Weighed, BuoyancyError> {
    let before = adjusted.air.unwrap_or(air);
    for density in [air, before] {
        if !(0.0..=DENSEST_AIR_KG_M3).contains(&density.kg_m3) {
            return Err(BuoyancyError::Air(density.kg_m3));
        }
    }
    let spreads = [object.u_kg_m3, air.u_kg_m3, before.u_kg_m3];
    if let Some(bad) = spreads.iter().find(|u| !(u.is_finite() && **u >= 0.0)) {
        return Err(BuoyancyError::Uncertainty(*bad));
    }
    let rho = body(object.kg_m3)?;
    let weights = body(adjusted.weights_kg_m3)?;
    let mass_g = mass(mass_g)?;
    let (up, down) = (1.0 - air.kg_m3 / rho, 1.0 - before.kg_m3 / weights);
    let reading_g = mass_g * up / down;
    let by_now = -1.0 / (rho * up);
    let by_then = 1.0 / (weights * down);
    let by_body = air.kg_m3 / (rho * rho * up);
    let of_air = match adjusted.air {
        Some(_) => (by_now * air.u_kg_m3).hypot(by_then * before.u_kg_m3),
        None => (by_now + by_then) * air.u_kg_m3,
    };
    Ok(Weighed {
        reading_g,
        u_g: (reading_g * of_air.hypot(by_body * object.u_kg_m3)).abs(),
    })
}
