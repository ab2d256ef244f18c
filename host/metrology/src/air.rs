//! Density of moist air, and the pressure to expect at a height.
//!
//! Owns the approximation formula of the trade and a standard atmosphere.
//! Guarantees to say when a formula is used outside its stated range. Refuses
//! air in which no scale is used.

use std::fmt;

/// The state of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature, degrees Celsius.
    pub temperature_c: f64,
    /// Pressure as a barometer at that place shows it, hPa. Weather reports give
    /// it reduced to sea level, which is another number.
    pub pressure_hpa: f64,
    /// Relative humidity, %.
    pub humidity_percent: f64,
}

/// Standard uncertainties of the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirUncertainty {
    /// Of the temperature, K.
    pub temperature_k: f64,
    /// Of the pressure, hPa.
    pub pressure_hpa: f64,
    /// Of the relative humidity, percentage points.
    pub humidity_percent: f64,
}

/// Density of air and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirDensity {
    /// Density, kg/m3.
    pub kg_m3: f64,
    /// Its standard uncertainty, kg/m3: of the state and of the formula.
    pub u_kg_m3: f64,
    /// Whether the formula was used where its uncertainty is stated.
    pub within_range: bool,
}

/// Relative standard uncertainty of the approximation formula where it holds:
/// OIML R 111-1:2004, E.3 (from memory).
pub const FORMULA_SHARE: f64 = 2e-4;

/// Where that holds: temperature in degrees Celsius, pressure in hPa, humidity
/// in % (same clause, from memory).
pub const STATED_RANGE: [(f64, f64); 3] = [(10.0, 30.0), (900.0, 1100.0), (0.0, 80.0)];

/// Air in which people weigh, with room to spare (common practice): the same
/// three.
const POSSIBLE: [(f64, f64); 3] = [(-50.0, 60.0), (200.0, 1200.0), (0.0, 100.0)];

/// Standard uncertainty of the pressure that is only known from the height:
/// weather and season move it by this much, hPa (common practice).
pub const WEATHER_HPA: f64 = 10.0;

/// Which number of the air was wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AirError {
    /// Temperature, degrees Celsius.
    Temperature(f64),
    /// Pressure, hPa.
    Pressure(f64),
    /// Relative humidity, %.
    Humidity(f64),
    /// A standard uncertainty below zero or no number.
    Uncertainty(f64),
    /// Height outside the lowest layer of the atmosphere, m.
    Height(f64),
}

impl fmt::Display for AirError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [temperature, pressure, humidity] = POSSIBLE;
        match self {
            Self::Temperature(v) => write!(
                f,
                "air at {v} degrees Celsius is outside {} to {}: give degrees Celsius",
                temperature.0, temperature.1
            ),
            Self::Pressure(v) => write!(
                f,
                "an air pressure of {v} hPa is outside {} to {} hPa: give hPa (1 hPa = 1 mbar)",
                pressure.0, pressure.1
            ),
            Self::Humidity(v) => write!(
                f,
                "a humidity of {v} % is outside {} to {} %: give relative humidity in percent",
                humidity.0, humidity.1
            ),
            Self::Uncertainty(v) => {
                write!(
                    f,
                    "a standard uncertainty must be zero or positive, got {v}"
                )
            }
            Self::Height(v) => write!(
                f,
                "height {v} m is outside {} to {} m: give metres above sea level",
                LAYER_M.0, LAYER_M.1
            ),
        }
    }
}

impl std::error::Error for AirError {}

/// The density of moist air with its uncertainty, both in kg/m3.
///
/// ```text
/// rho = (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t)      p in hPa, h in %, t in C
/// ```
/// OIML R 111-1:2004, E.3, approximation of the formula of the CIPM (from
/// memory; compared with that formula in the tests). Stated for 900 to
/// 1100 hPa, 10 to 30 C, up to 80 %; outside, `within_range` is false.
///
/// # Errors
/// Air in which no scale is used, an uncertainty below zero.
///
/// ```
/// use scalewright_metrology::air::{Air, AirUncertainty, density};
/// let exact = AirUncertainty { temperature_k: 0.0, pressure_hpa: 0.0, humidity_percent: 0.0 };
/// let air = Air { temperature_c: 20.0, pressure_hpa: 1013.25, humidity_percent: 50.0 };
/// assert!((density(air, exact)?.kg_m3 - 1.1993).abs() < 5e-5);
/// assert!(density(Air { pressure_hpa: 101325.0, ..air }, exact).is_err());
/// # Ok::<(), scalewright_metrology::air::AirError>(())
/// ```
pub fn density(air: Air, u: AirUncertainty) -> Result<AirDensity, AirError> {
    let state = [air.temperature_c, air.pressure_hpa, air.humidity_percent];
    let within = |ranges: [(f64, f64); 3]| {
        let mut each = state.iter().zip(ranges);
        each.position(|(v, (low, high))| !(low..=high).contains(v))
    };
    match within(POSSIBLE) {
        Some(0) => return Err(AirError::Temperature(air.temperature_c)),
        Some(1) => return Err(AirError::Pressure(air.pressure_hpa)),
        Some(_) => return Err(AirError::Humidity(air.humidity_percent)),
        None => {}
    }
    let spreads = [u.temperature_k, u.pressure_hpa, u.humidity_percent];
    if let Some(bad) = spreads.iter().find(|v| !(v.is_finite() && **v >= 0.0)) {
        return Err(AirError::Uncertainty(*bad));
    }
    let kelvin = 273.15 + air.temperature_c;
    let vapour = 0.009 * (0.061 * air.temperature_c).exp();
    let kg_m3 = (0.348_48 * air.pressure_hpa - air.humidity_percent * vapour) / kelvin;
    let by_temperature = -(0.061 * air.humidity_percent * vapour + kg_m3) / kelvin;
    let parts = [
        by_temperature * u.temperature_k,
        0.348_48 / kelvin * u.pressure_hpa,
        vapour / kelvin * u.humidity_percent,
        FORMULA_SHARE * kg_m3,
    ];
    Ok(AirDensity {
        kg_m3,
        u_kg_m3: parts.iter().map(|p| p * p).sum::<f64>().sqrt(),
        within_range: within(STATED_RANGE).is_none(),
    })
}

/// The lowest layer of the standard atmosphere, in m.
const LAYER_M: (f64, f64) = (-2_000.0, 11_000.0);

/// The pressure to expect at a height above sea level, in hPa; the weather moves
/// it by some [`WEATHER_HPA`].
///
/// ```text
/// p = 1013.25 (1 - 0.0065 h / 288.15)^5.255876
/// ```
/// International Standard Atmosphere, ISO 2533:1975 = ICAO Doc 7488: 15 C and
/// 1013.25 hPa at sea level, 6.5 K/km (seen on public pages); the exponent is
/// 9.80665 * 0.0289644 / (8.31432 * 0.0065) (from memory). Height stands for
/// geopotential height, which on the ground differs by 1.4 m in a thousand.
///
/// # Errors
/// A height outside -2000 to 11000 m.
///
/// ```
/// use scalewright_metrology::air::standard_pressure_hpa;
/// assert_eq!(standard_pressure_hpa(0.0)?, 1013.25);
/// assert!(standard_pressure_hpa(12_000.0).is_err());
/// # Ok::<(), scalewright_metrology::air::AirError>(())
/// ```
pub fn standard_pressure_hpa(height_m: f64) -> Result<f64, AirError> {
    if !(LAYER_M.0..=LAYER_M.1).contains(&height_m) {
        return Err(AirError::Height(height_m));
    }
    Ok(1013.25 * (1.0 - 0.0065 * height_m / 288.15).powf(5.255_876))
}
