//! Tolerances of weights after OIML R 111-1:2004, table 1, and what air
//! buoyancy can do to their reading.
//!
//! Owns the table from 1 mg to 50 kg for classes E2 to M3, and the conditions
//! that conventional mass refers to. Refuses to interpolate: a nominal value
//! outside the 1-2-5 series has no tolerance here.

use std::fmt;
use std::str::FromStr;

/// Accuracy class of a weight, finest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)] // The names are the whole documentation: OIML R 111-1 clause 4.
pub enum WeightClass {
    E2,
    F1,
    F2,
    M1,
    M2,
    M3,
}

/// The text is not a weight class.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownWeightClass(pub String);

impl fmt::Display for UnknownWeightClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "\"{}\" is not a weight class: use E2, F1, F2, M1, M2 or M3",
            self.0
        )
    }
}

impl std::error::Error for UnknownWeightClass {}

impl FromStr for WeightClass {
    type Err = UnknownWeightClass;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_uppercase().as_str() {
            "E2" => Ok(Self::E2),
            "F1" => Ok(Self::F1),
            "F2" => Ok(Self::F2),
            "M1" => Ok(Self::M1),
            "M2" => Ok(Self::M2),
            "M3" => Ok(Self::M3),
            _ => Err(UnknownWeightClass(text.to_owned())),
        }
    }
}

impl fmt::Display for WeightClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::E2 => "E2",
            Self::F1 => "F1",
            Self::F2 => "F2",
            Self::M1 => "M1",
            Self::M2 => "M2",
            Self::M3 => "M3",
        })
    }
}

/// Nominal value in g, then the tolerance in mg for E2, F1, F2, M1, M2, M3.
/// NaN: the class has no weight of that value.
const TABLE: [(f64, [f64; 6]); 24] = {
    const X: f64 = f64::NAN;
    [
        (0.001, [0.006, 0.020, 0.06, 0.20, X, X]),
        (0.002, [0.006, 0.020, 0.06, 0.20, X, X]),
        (0.005, [0.006, 0.020, 0.06, 0.20, X, X]),
        (0.01, [0.008, 0.025, 0.08, 0.25, X, X]),
        (0.02, [0.010, 0.03, 0.10, 0.3, X, X]),
        (0.05, [0.012, 0.04, 0.12, 0.4, X, X]),
        (0.1, [0.016, 0.05, 0.16, 0.5, 1.6, X]),
        (0.2, [0.020, 0.06, 0.20, 0.6, 2.0, X]),
        (0.5, [0.025, 0.08, 0.25, 0.8, 2.5, X]),
        (1.0, [0.03, 0.10, 0.3, 1.0, 3.0, 10.0]),
        (2.0, [0.04, 0.12, 0.4, 1.2, 4.0, 12.0]),
        (5.0, [0.05, 0.16, 0.5, 1.6, 5.0, 16.0]),
        (10.0, [0.06, 0.20, 0.6, 2.0, 6.0, 20.0]),
        (20.0, [0.08, 0.25, 0.8, 2.5, 8.0, 25.0]),
        (50.0, [0.10, 0.3, 1.0, 3.0, 10.0, 30.0]),
        (100.0, [0.16, 0.5, 1.6, 5.0, 16.0, 50.0]),
        (200.0, [0.3, 1.0, 3.0, 10.0, 30.0, 100.0]),
        (500.0, [0.8, 2.5, 8.0, 25.0, 80.0, 250.0]),
        (1_000.0, [1.6, 5.0, 16.0, 50.0, 160.0, 500.0]),
        (2_000.0, [3.0, 10.0, 30.0, 100.0, 300.0, 1_000.0]),
        (5_000.0, [8.0, 25.0, 80.0, 250.0, 800.0, 2_500.0]),
        (10_000.0, [16.0, 50.0, 160.0, 500.0, 1_600.0, 5_000.0]),
        (20_000.0, [30.0, 100.0, 300.0, 1_000.0, 3_000.0, 10_000.0]),
        (50_000.0, [80.0, 250.0, 800.0, 2_500.0, 8_000.0, 25_000.0]),
    ]
};

/// How far a nominal value may be off the series and still be meant: rounding
/// of a unit conversion, never a real difference of mass.
const NOMINAL_MATCH: f64 = 1e-9;

/// The maximum permissible error (plus or minus) of a weight, in mg; `None`
/// when the class has no weight of that nominal value.
///
/// ```
/// use scalewright_metrology::weights::{WeightClass, mpe_mg};
/// assert_eq!(mpe_mg(WeightClass::M1, 1000.0), Some(50.0));
/// assert_eq!(mpe_mg(WeightClass::M1, 1500.0), None);
/// ```
pub fn mpe_mg(class: WeightClass, nominal_g: f64) -> Option<f64> {
    let (_, row) = TABLE
        .iter()
        .find(|(nominal, _)| (nominal - nominal_g).abs() <= NOMINAL_MATCH * nominal)?;
    row.get(class as usize).copied().filter(|mpe| !mpe.is_nan())
}

/// Density of air that conventional mass refers to, kg/m3 (OIML D 28:2004).
pub const REFERENCE_AIR_KG_M3: f64 = 1.2;

/// Density of weights that conventional mass refers to, kg/m3 (OIML D 28:2004).
pub const REFERENCE_WEIGHT_KG_M3: f64 = 8000.0;

/// Share by which the air may be denser or thinner than the reference where
/// R 111 holds (OIML R 111-1:2004, clause 10; the clause is from memory).
pub const AIR_SHARE: f64 = 0.1;

/// Half width, in g, of the span in which a weight of conventional mass
/// `mass_g` and density `density_kg_m3` may read, while the density of the air
/// is anywhere within 10 % of 1.2 kg/m3. The scale is taken as adjusted with
/// weights of 8000 kg/m3 in that same air.
///
/// ```text
/// a = 0.1 * 1.2 kg/m3 * |1/density - 1/(8000 kg/m3)| * mass
/// ```
///
/// OIML D 28:2004 and R 111-1:2004, clause 10 (from memory; the reference
/// conditions were seen in published copies). Terms of second order, a
/// hundredth of this, are left out. NaN for a density not above zero.
///
/// ```
/// use scalewright_metrology::weights::buoyancy_half_width_g;
/// // A litre of water against steel: 0.105 g in a kilogram.
/// assert!((buoyancy_half_width_g(1000.0, 1000.0) - 0.105).abs() < 1e-12);
/// assert_eq!(buoyancy_half_width_g(1000.0, 8000.0), 0.0);
/// ```
#[must_use]
pub fn buoyancy_half_width_g(mass_g: f64, density_kg_m3: f64) -> f64 {
    if density_kg_m3.is_nan() || density_kg_m3 <= 0.0 {
        return f64::NAN;
    }
    let volumes = (1.0 / density_kg_m3 - 1.0 / REFERENCE_WEIGHT_KG_M3).abs();
    AIR_SHARE * REFERENCE_AIR_KG_M3 * volumes * mass_g
}
