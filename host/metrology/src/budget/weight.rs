//! What the weights on the pan give to a budget: mass, drift, air buoyancy.
//!
//! Weights of one set were made and compared together, so their departures
//! are taken as fully correlated: shares of one kind are added linearly over
//! the weights and then are one share (EURAMET cg-18, 7.1.2, from memory).

use super::contribution::{Contribution, Knowledge};
use super::point::Buoyancy;
use super::refusal::{BudgetRefusal, finite, not_negative, positive};
use crate::weights::{AIR_SHARE, REFERENCE_AIR_KG_M3, REFERENCE_WEIGHT_KG_M3, WeightClass, mpe_mg};

/// What a calibration certificate states of a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Certificate {
    /// Conventional mass, in g.
    pub mass_g: f64,
    /// Its expanded uncertainty U, in g.
    pub expanded_g: f64,
    /// The coverage factor k of U.
    pub k: f64,
}

/// Density of a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// Density, in kg/m3.
    pub kg_m3: f64,
    /// Its standard uncertainty, in kg/m3.
    pub u_kg_m3: f64,
}

/// Density of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirDensity {
    /// Density, in kg/m3.
    pub kg_m3: f64,
    /// Its standard uncertainty, in kg/m3.
    pub u_kg_m3: f64,
}

/// One weight on the pan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weight {
    /// Nominal value, in g.
    pub nominal_g: f64,
    /// Its class, which bounds its mass (unless certified) and its density.
    pub class: Option<WeightClass>,
    /// What its certificate states; without one it counts at its nominal value.
    pub certificate: Option<Certificate>,
    /// Half width of its drift since its calibration, in g; 0 when it is used
    /// at its nominal value, since the class's limits include drift.
    pub drift_g: f64,
    /// Its density, for buoyancy computed from the air.
    pub density: Option<Density>,
}

impl Weight {
    /// A weight used at its nominal value, good for its class.
    #[must_use]
    pub fn of_class(nominal_g: f64, class: WeightClass) -> Self {
        Self {
            nominal_g,
            class: Some(class),
            certificate: None,
            drift_g: 0.0,
            density: None,
        }
    }

    /// The mass it counts for, in g, air buoyancy left out.
    #[must_use]
    pub fn mass_g(&self) -> f64 {
        self.certificate.map_or(self.nominal_g, |one| one.mass_g)
    }

    /// Largest permissible error of its class, in g; `None` without a class.
    fn mpe_g(&self) -> Result<Option<f64>, BudgetRefusal> {
        let Some(class) = self.class else {
            return Ok(None);
        };
        let nominal_g = self.nominal_g;
        let refusal = BudgetRefusal::NotInClass { nominal_g, class };
        Ok(Some(mpe_mg(class, nominal_g).ok_or(refusal)? / 1000.0))
    }
}

/// The reference mass of the weights, in g, and its shares.
pub(super) fn reference(
    weights: &[Weight],
    buoyancy: Buoyancy,
) -> Result<(f64, Vec<Contribution>), BudgetRefusal> {
    let (mut mass_g, mut certified_g, mut within_g, mut drift_g) = (0.0, 0.0, 0.0, 0.0);
    for one in weights {
        positive("the nominal value of a weight", one.nominal_g)?;
        mass_g += positive("the mass of a weight", one.mass_g())?;
        drift_g += not_negative("the drift of a weight", one.drift_g)?;
        match (one.certificate, one.mpe_g()?) {
            (Some(stated), _) => {
                let u = not_negative("the uncertainty of a weight", stated.expanded_g)?;
                certified_g += u / positive("the coverage factor of a weight", stated.k)?;
            }
            (None, Some(mpe_g)) => within_g += mpe_g,
            (None, None) => {
                let nominal_g = one.nominal_g;
                return Err(BudgetRefusal::UnknownWeight { nominal_g });
            }
        }
    }
    finite("the mass of the weights", mass_g)?;
    let mut shares = Vec::new();
    let mut add = |name: &str, knowledge| -> Result<(), BudgetRefusal> {
        shares.push(Contribution::new(name, knowledge)?);
        Ok(())
    };
    if certified_g > 0.0 {
        add(
            "certificates of the weights",
            Knowledge::Normal { sd: certified_g },
        )?;
    }
    if within_g > 0.0 {
        add(
            "class of the weights",
            Knowledge::Rectangular { half: within_g },
        )?;
    }
    if drift_g > 0.0 {
        add(
            "drift of the weights",
            Knowledge::Rectangular { half: drift_g },
        )?;
    }
    let pushed_g = match buoyancy {
        Buoyancy::AdjustedJustBefore | Buoyancy::NotAdjusted => {
            let half = bounded_g(weights, buoyancy == Buoyancy::NotAdjusted)?;
            if half > 0.0 {
                add("air buoyancy", Knowledge::Rectangular { half })?;
            }
            0.0
        }
        Buoyancy::Measured { air, at_adjustment } => {
            let (pushed_g, measured) = measured(weights, air, at_adjustment)?;
            shares.extend(measured);
            pushed_g
        }
    };
    let reference_g = finite("the reference mass", mass_g + pushed_g)?;
    Ok((reference_g, shares))
}

/// Half width of what the air can do to weights that keep their class, in g.
///
/// ```text
/// mpe/4 adjusted just before;  0.1 rho0/rhoc m + mpe/4 not adjusted
/// ```
/// EURAMET cg-18 version 4.0, 7.1.2 (from memory): a class's limits of density
/// keep the effect of 10 % of air below a quarter of the mpe.
fn bounded_g(weights: &[Weight], not_adjusted: bool) -> Result<f64, BudgetRefusal> {
    let air = AIR_SHARE * REFERENCE_AIR_KG_M3 / REFERENCE_WEIGHT_KG_M3;
    let mut half_g = 0.0;
    for one in weights {
        let nominal_g = one.nominal_g;
        let mpe_g = (one.mpe_g()?).ok_or(BudgetRefusal::BuoyancyNeedsClass { nominal_g })?;
        half_g += mpe_g / 4.0;
        if not_adjusted {
            half_g += air * one.mass_g();
        }
    }
    Ok(half_g)
}

/// What measured air does to the reference mass, in g, and its shares.
///
/// ```text
/// dm_B = -m [(a - a0)(1/rho - 1/rhoc) + (a - as)/rhoc]
/// ```
/// a: air now, as: air at the adjustment, a0 = 1.2 kg/m3, rhoc = 8000 kg/m3.
/// EURAMET cg-18 version 4.0, formula of 4.2.4 (from memory); the sensitivities
/// are its derivatives.
fn measured(
    weights: &[Weight],
    air: AirDensity,
    at_adjustment: Option<AirDensity>,
) -> Result<(f64, Vec<Contribution>), BudgetRefusal> {
    for one in [Some(air), at_adjustment].into_iter().flatten() {
        not_negative("the density of the air", one.kg_m3)?;
        not_negative("the uncertainty of the density of the air", one.u_kg_m3)?;
    }
    let above = air.kg_m3 - REFERENCE_AIR_KG_M3;
    let since = at_adjustment.map_or(0.0, |then| air.kg_m3 - then.kg_m3);
    let (mut pushed_g, mut per_air, mut per_then, mut of_density_g) = (0.0, 0.0, 0.0, 0.0);
    for one in weights {
        let nominal_g = one.nominal_g;
        let density = (one.density).ok_or(BudgetRefusal::BuoyancyNeedsDensity { nominal_g })?;
        let rho = positive("the density of a weight", density.kg_m3)?;
        let u = not_negative(
            "the uncertainty of the density of a weight",
            density.u_kg_m3,
        )?;
        let volume = 1.0 / rho - 1.0 / REFERENCE_WEIGHT_KG_M3;
        let mass_g = one.mass_g();
        pushed_g -= mass_g * (above * volume + since / REFERENCE_WEIGHT_KG_M3);
        per_then += mass_g / REFERENCE_WEIGHT_KG_M3;
        // Adjusted in this same air, only the difference of densities is left.
        per_air += mass_g
            * if at_adjustment.is_some() {
                1.0 / rho
            } else {
                volume
            };
        of_density_g += mass_g * above.abs() * u / (rho * rho);
    }
    let normal = |sd| Knowledge::Normal { sd };
    let mut shares = vec![
        Contribution::with_sensitivity("density of the air", normal(air.u_kg_m3), per_air)?,
        Contribution::new("density of the weights", normal(of_density_g))?,
    ];
    if let Some(then) = at_adjustment {
        let name = "density of the air at the adjustment";
        shares.push(Contribution::with_sensitivity(
            name,
            normal(then.u_kg_m3),
            per_then,
        )?);
    }
    Ok((pushed_g, shares))
}
