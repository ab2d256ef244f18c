//! One share of an uncertainty budget.
//!
//! Owns the shapes of knowledge a share can have, and their standard
//! uncertainties. Refuses what is not finite or below zero.

use super::refusal::{BudgetRefusal, finite, not_negative};

/// What is known of a quantity whose best estimate is zero, in the unit of the
/// quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Knowledge {
    /// Normal, its standard deviation known as such (U/k of a certificate).
    Normal {
        /// Standard deviation.
        sd: f64,
    },
    /// A standard deviation estimated from readings: Student's t, scaled
    /// (JCGM 101:2008, 6.4.9, from memory).
    Estimated {
        /// The estimate, of the mean when readings are averaged.
        sd: f64,
        /// Its degrees of freedom, one or more.
        dof: f64,
    },
    /// Anywhere within limits alike (JCGM 101:2008, 6.4.2, from memory).
    Rectangular {
        /// Half width.
        half: f64,
    },
    /// Within limits, the middle more probable: the sum of two like
    /// rectangular ones (JCGM 101:2008, 6.4.5, from memory).
    Triangular {
        /// Half width.
        half: f64,
    },
    /// Swings between limits like a sine, as what follows a thermostat
    /// (JCGM 101:2008, 6.4.6, from memory).
    ArcSine {
        /// Half width.
        half: f64,
    },
}

impl Knowledge {
    /// Standard uncertainty that enters a budget, in the unit of the quantity.
    ///
    /// ```text
    /// sd;  a/sqrt(3) rectangular;  a/sqrt(6) triangular;  a/sqrt(2) arc sine
    /// ```
    /// JCGM 100:2008, 4.3.7 and 4.3.9 (from memory). Of an estimated deviation
    /// it is the estimate itself; the degrees of freedom tell the rest.
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Self::Normal { sd } | Self::Estimated { sd, .. } => sd,
            Self::Rectangular { half } => half / 3f64.sqrt(),
            Self::Triangular { half } => half / 6f64.sqrt(),
            Self::ArcSine { half } => half / 2f64.sqrt(),
        }
    }

    /// Degrees of freedom of the standard uncertainty; infinite unless it is
    /// estimated, since limits are taken as known.
    #[must_use]
    pub fn dof(&self) -> f64 {
        match *self {
            Self::Estimated { dof, .. } => dof,
            _ => f64::INFINITY,
        }
    }

    fn size(&self) -> f64 {
        match *self {
            Self::Normal { sd } | Self::Estimated { sd, .. } => sd,
            Self::Rectangular { half } | Self::Triangular { half } | Self::ArcSine { half } => half,
        }
    }
}

/// One share of the uncertainty of a result in g.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    name: String,
    knowledge: Knowledge,
    sensitivity: f64,
}

impl Contribution {
    /// A share in g.
    ///
    /// # Errors
    /// As [`Contribution::with_sensitivity`].
    ///
    /// ```
    /// use scalewright_metrology::budget::{Contribution, Knowledge};
    /// let share = Contribution::new("rounding", Knowledge::Rectangular { half: 0.5 })?;
    /// assert!((share.u_g() - 0.288675).abs() < 1e-6);
    /// assert!(Contribution::new("rounding", Knowledge::Rectangular { half: -0.5 }).is_err());
    /// # Ok::<(), scalewright_metrology::budget::BudgetRefusal>(())
    /// ```
    pub fn new(name: impl Into<String>, knowledge: Knowledge) -> Result<Self, BudgetRefusal> {
        Self::with_sensitivity(name, knowledge, 1.0)
    }

    /// A share of another unit: `sensitivity` is in g for one of it.
    ///
    /// # Errors
    /// A deviation or half width that is not finite or below zero, a
    /// sensitivity that is not finite, degrees of freedom below one, or a
    /// product beyond f64.
    pub fn with_sensitivity(
        name: impl Into<String>,
        knowledge: Knowledge,
        sensitivity: f64,
    ) -> Result<Self, BudgetRefusal> {
        let name = name.into();
        not_negative(&name, knowledge.size())?;
        finite(&format!("the sensitivity to {name}"), sensitivity)?;
        if knowledge.dof().is_nan() || knowledge.dof() < 1.0 {
            return Err(BudgetRefusal::number(
                format!("the degrees of freedom of {name}"),
                knowledge.dof(),
                "one or more",
            ));
        }
        finite(&name, knowledge.size() * sensitivity)?;
        Ok(Self {
            name,
            knowledge,
            sensitivity,
        })
    }

    /// What it comes from, in plain words.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What is known of the quantity, in its own unit.
    #[must_use]
    pub fn knowledge(&self) -> Knowledge {
        self.knowledge
    }

    /// Change of the result, in g, for one unit of the quantity.
    #[must_use]
    pub fn sensitivity(&self) -> f64 {
        self.sensitivity
    }

    /// Standard uncertainty it gives the result, in g.
    #[must_use]
    pub fn u_g(&self) -> f64 {
        self.knowledge.standard_uncertainty() * self.sensitivity.abs()
    }
}
