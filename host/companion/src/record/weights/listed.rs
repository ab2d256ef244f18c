//! One weight of a weights file: what was said of it, and what that is worth.
//!
//! Owns the step from class, certificate and density to a standard
//! uncertainty. Guarantees finite numbers above zero for whatever `file` lets
//! through.

use scalewright_metrology::weights::{WeightClass, buoyancy_half_width_g};

use super::UNSTATED_SHARE;
use crate::session::plan::{Filling, Known, PlannedWeight};

/// Share of its rough value that is the standard uncertainty of a substitution
/// load before it is found; somebody's guess at a jug of water.
const ROUGH_SHARE: f64 = 0.1;

/// What is said of a weight's mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Worth {
    /// It is of a class of OIML R 111.
    Class {
        /// The class.
        class: WeightClass,
        /// Its maximum permissible error for this nominal value, g.
        mpe_g: f64,
    },
    /// The nominal value has a stated uncertainty.
    Stated {
        /// Expanded uncertainty (k = 2), g.
        expanded_g: f64,
    },
    /// A certificate states the mass.
    Certificate {
        /// That conventional mass, g.
        mass_g: f64,
        /// Its expanded uncertainty (k = 2), g.
        expanded_g: f64,
        /// The class besides and its maximum permissible error, g.
        class: Option<(WeightClass, f64)>,
    },
    /// Nothing is said: [`UNSTATED_SHARE`] is assumed.
    Unstated,
    /// A substitution load: the calibration finds its mass.
    ToBeFound,
}

/// A weight or substitution load of a weights file.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// Its name.
    pub id: String,
    /// Its nominal value, or roughly how heavy it is, as it was written.
    pub nominal: String,
    /// The same, g.
    pub nominal_g: f64,
    /// What is said of its mass.
    pub worth: Worth,
    /// How far it may have moved since that was stated, g: a half width.
    pub drift_g: Option<f64>,
    /// Its density, kg/m3.
    pub density_kg_m3: Option<f64>,
    /// What somebody noted.
    pub note: Option<String>,
    /// Which filling of a vessel it is.
    pub filling: Option<Filling>,
}

impl Listed {
    /// The conventional mass to reckon with, g: a certificate's if there is one.
    #[must_use]
    pub fn mass_g(&self) -> f64 {
        match self.worth {
            Worth::Certificate { mass_g, .. } => mass_g,
            _ => self.nominal_g,
        }
    }

    /// How far the air may move its reading, g, when its density is known; see
    /// [`buoyancy_half_width_g`].
    #[must_use]
    pub fn buoyancy_g(&self) -> Option<f64> {
        self.density_kg_m3
            .map(|density| buoyancy_half_width_g(self.mass_g(), density))
    }

    /// Standard uncertainty of its mass, g; limits count as half widths of a
    /// rectangle (JCGM 100:2008, 4.3.7), independent parts add up in
    /// quadrature (5.1.2).
    #[must_use]
    pub fn u_g(&self) -> f64 {
        let rectangle = |half_g: f64| half_g / 3f64.sqrt();
        let own_g = match self.worth {
            Worth::Class { mpe_g, .. } => rectangle(mpe_g),
            Worth::Stated { expanded_g } | Worth::Certificate { expanded_g, .. } => {
                expanded_g / 2.0
            }
            Worth::Unstated => rectangle(UNSTATED_SHARE * self.nominal_g),
            Worth::ToBeFound => ROUGH_SHARE * self.nominal_g,
        };
        let others = [self.drift_g, self.buoyancy_g()].into_iter().flatten();
        others.fold(own_g, |u_g, half_g| u_g.hypot(rectangle(half_g)))
    }

    /// The weight for a plan.
    #[must_use]
    pub fn planned(&self) -> PlannedWeight {
        PlannedWeight {
            known: match self.worth {
                Worth::Class { .. } | Worth::Unstated => Known::Class,
                Worth::Stated { .. } | Worth::Certificate { .. } => Known::Stated,
                Worth::ToBeFound => Known::Not,
            },
            density_kg_m3: self.density_kg_m3,
            filling: self.filling.clone(),
            ..PlannedWeight::new(self.id.clone(), self.mass_g(), self.u_g())
        }
    }
}
