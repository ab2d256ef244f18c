//! Why a budget, a line or a minimum weight can't be given.

use std::fmt;

use crate::distribution::DistributionError;
use crate::weights::WeightClass;

/// What is missing or makes no sense.
#[derive(Debug, Clone, PartialEq)]
pub enum BudgetRefusal {
    /// A number that is not finite, or below what it can be.
    Number {
        /// What it was to be, in plain words.
        what: String,
        /// The number.
        value: f64,
        /// What it must be, in plain words.
        must: &'static str,
    },
    /// A load above zero without the weights that make it.
    NoWeights {
        /// The load's indication, in g.
        indication_g: f64,
    },
    /// A weight of which neither class nor certificate is known.
    UnknownWeight {
        /// Its nominal value, in g.
        nominal_g: f64,
    },
    /// The class has no weight of this nominal value.
    NotInClass {
        /// Its nominal value, in g.
        nominal_g: f64,
        /// The class.
        class: WeightClass,
    },
    /// Buoyancy is to be judged by class, and a weight has none.
    BuoyancyNeedsClass {
        /// Its nominal value, in g.
        nominal_g: f64,
    },
    /// Buoyancy is to be computed, and a weight's density is not known.
    BuoyancyNeedsDensity {
        /// Its nominal value, in g.
        nominal_g: f64,
    },
    /// Too few points above zero for a line.
    TooFewPoints {
        /// How many there are.
        given: usize,
        /// How many are needed.
        needed: usize,
    },
    /// The accuracy asked for is not reached even with the largest load.
    Unreachable {
        /// The largest load, in g.
        largest_g: f64,
        /// The largest relative uncertainty asked for, safety factor included.
        wanted: f64,
        /// The relative uncertainty U/load there.
        reached: f64,
    },
    /// No coverage factor.
    Coverage(DistributionError),
}

impl BudgetRefusal {
    pub(crate) fn number(what: impl Into<String>, value: f64, must: &'static str) -> Self {
        Self::Number {
            what: what.into(),
            value,
            must,
        }
    }
}

/// `value` when it is finite and not below zero.
pub(crate) fn not_negative(what: &str, value: f64) -> Result<f64, BudgetRefusal> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(BudgetRefusal::number(what, value, "zero or more"))
    }
}

/// `value` when it is finite and above zero.
pub(crate) fn positive(what: &str, value: f64) -> Result<f64, BudgetRefusal> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(BudgetRefusal::number(what, value, "above zero"))
    }
}

/// `value` when it is finite.
pub(crate) fn finite(what: &str, value: f64) -> Result<f64, BudgetRefusal> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(BudgetRefusal::number(what, value, "a number"))
    }
}

impl From<DistributionError> for BudgetRefusal {
    fn from(error: DistributionError) -> Self {
        Self::Coverage(error)
    }
}

impl fmt::Display for BudgetRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number { what, value, must } => {
                write!(f, "{what} is {value}, it must be {must}; correct it")
            }
            Self::NoWeights { indication_g } => write!(
                f,
                "no weights are named for the load that reads {indication_g} g; name them, since their uncertainty is part of the budget"
            ),
            Self::UnknownWeight { nominal_g } => write!(
                f,
                "nothing is known of the weight of {nominal_g} g; give its class or what its certificate states"
            ),
            Self::NotInClass { nominal_g, class } => write!(
                f,
                "class {class} has no weight of {nominal_g} g (OIML R 111-1, table 1); correct the nominal value or the class, or give the certificate alone"
            ),
            Self::BuoyancyNeedsClass { nominal_g } => write!(
                f,
                "the buoyancy of the weight of {nominal_g} g can't be bounded without its class; give the class, or densities of the air and of the weight"
            ),
            Self::BuoyancyNeedsDensity { nominal_g } => write!(
                f,
                "the buoyancy of the weight of {nominal_g} g can't be computed without its density; give the density, or leave the air's out and give the class"
            ),
            Self::TooFewPoints { given, needed } => write!(
                f,
                "{given} usable points above zero, at least {needed} are needed; calibrate with more loads"
            ),
            Self::Unreachable {
                largest_g,
                wanted,
                reached,
            } => write!(
                f,
                "a relative uncertainty of {wanted:.2e} is not reached: even at {largest_g} g it is {reached:.2e}; ask for less, or use a finer scale"
            ),
            Self::Coverage(error) => write!(f, "no coverage factor: {error}"),
        }
    }
}

impl std::error::Error for BudgetRefusal {}
