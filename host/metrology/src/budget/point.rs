//! The budget of one load of a calibration, from what a session knows.
//!
//! ```text
//! E = I - m_ref
//! I = I_load + rounding at load + repeatability + eccentricity - I_0 - rounding at zero
//! m_ref = mass + departure from it + air buoyancy + drift + convection
//! ```
//! EURAMET cg-18 version 4.0, clause 7.1 (from memory). The drift of zero
//! between reading it and the load, and the fit of the scale's table, are ours
//! on top (common practice).

use super::Budget;
use super::contribution::{Contribution, Knowledge};
use super::refusal::{BudgetRefusal, finite, not_negative, positive};
use super::weight::{AirDensity, Weight, reference};
use crate::statistics::{pooled_sd, sample_sd};

/// Scatter of repeated loadings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// Standard deviation of one loading, in g.
    pub sd_g: f64,
    /// Its degrees of freedom: readings less one, or their sum when pooled.
    pub dof: f64,
    /// Over how many loadings the indication is averaged; one is a single.
    pub averaged: u32,
}

impl Repeatability {
    /// From readings of one load, in g, for a single loading; `None` below two.
    #[must_use]
    pub fn from_readings(readings_g: &[f64]) -> Option<Self> {
        Some(Self {
            sd_g: sample_sd(readings_g)?,
            dof: (readings_g.len() - 1) as f64,
            averaged: 1,
        })
    }

    /// Pooled over loads, from readings in g, for a single loading; `None`
    /// when no load has two.
    #[must_use]
    pub fn pooled<G: AsRef<[f64]>>(loads_g: &[G]) -> Option<Self> {
        let (sd_g, dof) = pooled_sd(loads_g)?;
        Some(Self {
            sd_g,
            dof: dof as f64,
            averaged: 1,
        })
    }

    /// The same for the mean of `averaged` loadings.
    #[must_use]
    pub fn averaged_over(self, averaged: u32) -> Self {
        Self { averaged, ..self }
    }

    /// What it gives to a mean of the loadings.
    ///
    /// ```text
    /// u = s / sqrt(N), with the degrees of freedom of s
    /// ```
    pub(super) fn share(&self) -> Result<Contribution, BudgetRefusal> {
        not_negative("the repeatability", self.sd_g)?;
        if self.averaged == 0 {
            let what = "the number of loadings averaged";
            return Err(BudgetRefusal::number(what, 0.0, "one or more"));
        }
        let sd = self.sd_g / f64::from(self.averaged).sqrt();
        let dof = self.dof;
        Contribution::new("repeatability", Knowledge::Estimated { sd, dof })
    }
}

/// What the test with the load off the centre found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Eccentricity {
    /// Largest difference from the reading at the centre, in g, by size.
    pub largest_difference_g: f64,
    /// The load of the test, in g.
    pub test_load_g: f64,
}

impl Eccentricity {
    /// The largest difference for one g of load, by size.
    pub(super) fn relative(&self) -> Result<f64, BudgetRefusal> {
        let difference = finite(
            "the largest difference of eccentricity",
            self.largest_difference_g,
        )?;
        Ok(difference.abs() / positive("the load of the eccentricity test", self.test_load_g)?)
    }
}

/// What is known of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Buoyancy {
    /// Not measured; the scale was adjusted with these weights in this air.
    AdjustedJustBefore,
    /// Not measured; adjusted in some other air within 10 % of 1.2 kg/m3.
    NotAdjusted,
    /// Measured: corrected for, densities of the weights being known.
    Measured {
        /// The air now.
        air: AirDensity,
        /// The air when the scale was adjusted; `None` when it is the same.
        at_adjustment: Option<AirDensity>,
    },
}

/// One load of a calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationPoint {
    /// Indication with the load on, the mean if averaged, in g.
    pub indication_g: f64,
    /// The weights on the pan; none is the empty pan.
    pub weights: Vec<Weight>,
    /// Interval to which zero was read (d0), in g; 0 when not rounded.
    pub zero_interval_g: f64,
    /// Interval to which the load was read (d), in g; 0 when not rounded.
    pub interval_g: f64,
    /// Scatter of repeated loadings.
    pub repeatability: Repeatability,
    /// Eccentricity, if it was tested.
    pub eccentricity: Option<Eccentricity>,
    /// What is known of the air.
    pub buoyancy: Buoyancy,
    /// Half width of what air warmed by the weights does, in g.
    pub convection_g: f64,
    /// Half width of the drift of zero between its reading and the load's, in g.
    pub zero_drift_g: f64,
    /// Standard uncertainty of the scale's table at the load, in g.
    pub table_u_g: f64,
    /// Whatever else the caller knows.
    pub others: Vec<Contribution>,
}

/// A point's shares, apart by where they act.
pub(crate) struct Parts {
    pub repeatability: Contribution,
    /// On the indication before it is rounded.
    pub unrounded: Vec<Contribution>,
    /// On the reference mass, and others.
    pub after: Vec<Contribution>,
}

/// An empty pan that reads more intervals than this is not empty.
const EMPTY_INTERVALS: f64 = 10.0;

impl CalibrationPoint {
    /// The reference mass, in g: the weights, and the air's push when measured.
    ///
    /// # Errors
    /// A weight that is not usable, or of which too little is known.
    pub fn reference_g(&self) -> Result<f64, BudgetRefusal> {
        Ok(reference(&self.weights, self.buoyancy)?.0)
    }

    /// The error of indication E, in g.
    ///
    /// # Errors
    /// As [`CalibrationPoint::reference_g`], or an indication that is no number.
    pub fn error_g(&self) -> Result<f64, BudgetRefusal> {
        Ok(finite("the indication", self.indication_g)? - self.reference_g()?)
    }

    /// The budget of the error of indication.
    ///
    /// ```text
    /// d0/sqrt(12), d/sqrt(12)                      rounding at zero and at the load
    /// s/sqrt(N)                                    repeatability
    /// largest difference/(2 L_ecc sqrt(3)) * I     eccentricity
    /// ```
    /// and the weights', see the module.
    ///
    /// # Errors
    /// A number that can't be, or a weight of which too little is known.
    pub fn budget(&self) -> Result<Budget, BudgetRefusal> {
        let parts = self.parts()?;
        let rounding = |name, interval_g| {
            let half = 0.5 * interval_g;
            Contribution::new(name, Knowledge::Rectangular { half })
        };
        let mut all = vec![
            rounding("rounding at zero", self.zero_interval_g)?,
            rounding("rounding at the load", self.interval_g)?,
            parts.repeatability,
        ];
        all.extend(parts.unrounded);
        all.extend(parts.after);
        Ok(Budget::new(all))
    }

    pub(crate) fn parts(&self) -> Result<Parts, BudgetRefusal> {
        let indication_g = finite("the indication", self.indication_g)?;
        not_negative("the interval at zero", self.zero_interval_g)?;
        let interval_g = not_negative("the interval at the load", self.interval_g)?;
        if self.weights.is_empty() && indication_g.abs() > EMPTY_INTERVALS * interval_g {
            return Err(BudgetRefusal::NoWeights { indication_g });
        }
        let mut unrounded = Vec::new();
        if let Some(found) = self.eccentricity {
            // The test load stands further out than weights put on with care.
            let half = 0.5 * found.relative()?;
            let knowledge = Knowledge::Rectangular { half };
            let share = Contribution::with_sensitivity("eccentricity", knowledge, indication_g)?;
            unrounded.push(share);
        }
        if self.zero_drift_g != 0.0 {
            let half = self.zero_drift_g;
            unrounded.push(Contribution::new(
                "drift of zero",
                Knowledge::Rectangular { half },
            )?);
        }
        if self.table_u_g != 0.0 {
            let sd = self.table_u_g;
            unrounded.push(Contribution::new(
                "fit of the table",
                Knowledge::Normal { sd },
            )?);
        }
        let (_, mut after) = reference(&self.weights, self.buoyancy)?;
        if self.convection_g != 0.0 {
            let half = self.convection_g;
            after.push(Contribution::new(
                "convection",
                Knowledge::Rectangular { half },
            )?);
        }
        after.extend(self.others.iter().cloned());
        Ok(Parts {
            repeatability: self.repeatability.share()?,
            unrounded,
            after,
        })
    }
}
