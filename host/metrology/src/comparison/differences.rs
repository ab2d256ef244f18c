//! Differences and errors of indication with their uncertainties.
//!
//! Guarantees that for every load `u(d)^2 = u(E1)^2 + u(E2)^2 - 2 cov(E1, E2)`.

use super::normalised::NormalisedError;
use super::{COVERAGE_FACTOR, ComparisonError, PairAtLoad, Reading, Weights};

/// An instrument's error of indication at a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorOfOne {
    /// Indication minus mass, g.
    pub error_g: f64,
    /// Standard uncertainty, the weights' included, g.
    pub u_g: f64,
    /// Expanded uncertainty, k = 2, g.
    pub expanded_g: f64,
}

/// What the two instruments say at one load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtLoad {
    /// The load, g.
    pub load_g: f64,
    /// First minus second, freed of the difference of their weights if each had
    /// its own, g.
    pub difference_g: f64,
    /// Standard uncertainty of the difference, g.
    pub u_g: f64,
    /// Expanded uncertainty of the difference, k = 2, g.
    pub expanded_g: f64,
    /// The difference over its expanded uncertainty.
    pub normalised: NormalisedError,
    /// Errors of the first and of the second; absent when no mass is known.
    pub errors: Option<(ErrorOfOne, ErrorOfOne)>,
    /// Covariance of the two errors, g^2: the variance of the weights they share.
    pub covariance_g2: f64,
}

/// Differences and errors at every load, in the order given.
///
/// ```text
/// E1 = I1 - m, E2 = I2 - m:   u(E1)^2 = u1^2 + u_m^2,   cov(E1, E2) = u_m^2
/// d = E1 - E2 = I1 - I2:      u(d)^2 = u1^2 + u2^2               (JCGM 100:2008, 5.2.2)
/// weights of their own:       u(d)^2 = u1^2 + u2^2 + u_m1^2 + u_m2^2
/// ```
///
/// # Errors
/// No loads, numbers that can't be reckoned with, uncertainties that aren't
/// above zero.
///
/// ```
/// use scalewright_metrology::comparison::{PairAtLoad, Reading, Weights, at_loads};
/// let pair = PairAtLoad {
///     load_g: 1000.0,
///     first: Reading { indication_g: 1000.3, u_g: 0.03 },
///     second: Reading { indication_g: 999.9, u_g: 0.04 },
///     weights: Weights::Shared { mass_g: 1000.0, u_g: 0.12 },
/// };
/// let [one] = at_loads(&[pair])?[..] else { panic!("one load") };
/// assert!((one.difference_g - 0.4).abs() < 1e-9 && (one.u_g - 0.05).abs() < 1e-12);
/// assert!(at_loads(&[]).is_err());
/// # Ok::<(), scalewright_metrology::comparison::ComparisonError>(())
/// ```
pub fn at_loads(pairs: &[PairAtLoad]) -> Result<Vec<AtLoad>, ComparisonError> {
    if pairs.is_empty() {
        return Err(ComparisonError::NoLoads);
    }
    pairs
        .iter()
        .enumerate()
        .map(|(at, pair)| one(at, pair))
        .collect()
}

fn one(at: usize, pair: &PairAtLoad) -> Result<AtLoad, ComparisonError> {
    for reading in [pair.first, pair.second] {
        if reading.u_g.is_nan() || reading.u_g <= 0.0 {
            let u_g = reading.u_g;
            return Err(ComparisonError::Uncertainty { at, u_g });
        }
    }
    let (masses, shared) = match pair.weights {
        Weights::Unknown => (None, 0.0),
        Weights::Shared { mass_g, u_g } => (Some([(mass_g, u_g); 2]), u_g),
        Weights::Separate { first_g, second_g } => (Some([first_g, second_g]), 0.0),
    };
    for (_, u_g) in masses.into_iter().flatten() {
        if u_g.is_nan() || u_g < 0.0 {
            return Err(ComparisonError::Uncertainty { at, u_g });
        }
    }
    let error = |reading: Reading, (mass_g, u_mass_g): (f64, f64)| {
        let u_g = reading.u_g.hypot(u_mass_g);
        ErrorOfOne {
            error_g: reading.indication_g - mass_g,
            u_g,
            expanded_g: COVERAGE_FACTOR * u_g,
        }
    };
    let errors =
        masses.map(|[first, second]| (error(pair.first, first), error(pair.second, second)));
    let own = pair.first.u_g.hypot(pair.second.u_g);
    let (difference_g, u_g) = match (pair.weights, errors) {
        (Weights::Separate { .. }, Some((first, second))) => {
            (first.error_g - second.error_g, first.u_g.hypot(second.u_g))
        }
        _ => (pair.first.indication_g - pair.second.indication_g, own),
    };
    let numbers = [pair.load_g, difference_g, u_g];
    let of_errors = errors.map_or([0.0; 4], |(a, b)| [a.error_g, a.u_g, b.error_g, b.u_g]);
    let usable = |v: &f64| v.is_finite() && v.abs() <= LARGEST_G;
    if !numbers.iter().chain(&of_errors).all(usable) || u_g < SMALLEST_G {
        return Err(ComparisonError::NotUsable { at });
    }
    Ok(AtLoad {
        load_g: pair.load_g,
        difference_g,
        u_g,
        expanded_g: COVERAGE_FACTOR * u_g,
        // Shared weights cancel. Near a correlation of one the general formula
        // loses the digits that matter, so the difference's own is taken.
        normalised: NormalisedError::of(difference_g, COVERAGE_FACTOR * u_g),
        errors,
        covariance_g2: shared * shared,
    })
}

/// Beyond these, in g, squares and fourth powers leave the digits of f64: a
/// scale weighs neither.
const LARGEST_G: f64 = 1e30;
const SMALLEST_G: f64 = 1e-30;
