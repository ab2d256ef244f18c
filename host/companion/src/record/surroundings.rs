//! What the air was like while a scale was tried, and what warm or cold weights
//! may have done.
//!
//! Owns how people write it. Refuses values that no room has, and what has no
//! unit to tell which of the three it is.

use scalewright_metrology::air::{Air, AirDensity, AirUncertainty, density};
use serde::{Deserialize, Serialize};

use super::mass::{number, split};

/// The surroundings, as far as they were noted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Surroundings {
    /// Temperature, degrees Celsius.
    #[serde(default)]
    pub temperature_c: Option<f64>,
    /// Relative humidity, %.
    #[serde(default)]
    pub humidity_percent: Option<f64>,
    /// Pressure as a barometer at that place shows it, hPa.
    #[serde(default)]
    pub pressure_hpa: Option<f64>,
    /// Half width of what air warmed or cooled by the weights may do, g; 0
    /// when they had the temperature of the room.
    #[serde(default)]
    pub convection_g: f64,
}

/// Standard uncertainties of what a room thermometer, hygrometer and barometer
/// show (common practice).
const ORDINARY: AirUncertainty = AirUncertainty {
    temperature_k: 0.5,
    pressure_hpa: 2.0,
    humidity_percent: 5.0,
};

/// What stands for a humidity that was not noted, %, and how far it may be off
/// as a standard uncertainty: half of the way to dry or to wet.
const MIDDLE_HUMIDITY: (f64, f64) = (50.0, 25.0);

impl Surroundings {
    /// Density of the air, where temperature and pressure were noted; humidity
    /// does little to it.
    #[must_use]
    pub fn air(&self) -> Option<AirDensity> {
        let (humidity_percent, u_humidity) = match self.humidity_percent {
            Some(known) => (known, ORDINARY.humidity_percent),
            None => MIDDLE_HUMIDITY,
        };
        let air = Air {
            temperature_c: self.temperature_c?,
            pressure_hpa: self.pressure_hpa?,
            humidity_percent,
        };
        let u = AirUncertainty {
            humidity_percent: u_humidity,
            ..ORDINARY
        };
        density(air, u).ok()
    }
}

/// Reads "21.5 C, 48 %, 986 hPa": any of the three, in any order.
///
/// # Errors
/// What was wrong with it, in plain words.
///
/// ```
/// use scalewright::record::surroundings::parse;
/// let noted = parse("21.5 C, 986 hPa")?;
/// assert_eq!((noted.temperature_c, noted.humidity_percent), (Some(21.5), None));
/// assert!(parse("21.5").is_err_and(|cause| cause.contains("C, % or hPa")));
/// # Ok::<(), String>(())
/// ```
pub fn parse(text: &str) -> Result<Surroundings, String> {
    let mut noted = Surroundings::default();
    for part in text.split(',') {
        let part = part.trim();
        // A degree sign stands before the unit and is no letter.
        let plain = part.replace('°', "");
        let (digits, unit) = split(&plain);
        let (place, name) = match unit {
            "C" => (&mut noted.temperature_c, "the temperature"),
            "%" => (&mut noted.humidity_percent, "the humidity"),
            "hPa" | "mbar" => (&mut noted.pressure_hpa, "the pressure"),
            _ if part.is_empty() => {
                return Err(
                    "something is missing beside a comma: write 21 C, 48 %, 986 hPa".into(),
                );
            }
            _ => {
                return Err(format!(
                    "\"{part}\" is neither temperature, humidity nor pressure: write C, % or hPa after the number, as in 21.5 C, 48 %, 986 hPa (a comma parts them, a point the decimals)"
                ));
            }
        };
        if place.replace(number(digits)?).is_some() {
            return Err(format!("{name} stands there twice"));
        }
    }
    // The formula of the air's density knows what no room has; what was not
    // noted is given as an ordinary value.
    let air = Air {
        temperature_c: noted.temperature_c.unwrap_or(20.0),
        pressure_hpa: noted.pressure_hpa.unwrap_or(1013.25),
        humidity_percent: noted.humidity_percent.unwrap_or(MIDDLE_HUMIDITY.0),
    };
    density(air, ORDINARY).map_err(|fault| fault.to_string())?;
    Ok(noted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_of_the_three_in_any_order() {
        let noted = parse("986 hPa, 21.5 °C,48%").expect("reads");
        assert_eq!(
            (
                noted.temperature_c,
                noted.humidity_percent,
                noted.pressure_hpa
            ),
            (Some(21.5), Some(48.0), Some(986.0))
        );
        // 1.2 kg/m3 within 10 % below some 800 m (EURAMET cg-18, from memory).
        let air = noted.air().expect("known");
        assert!((air.kg_m3 - 1.16).abs() < 0.01, "{air:?}");
        let dry = parse("21.5 C, 986 hPa").expect("reads");
        let unknown = dry.air().expect("known");
        assert!((unknown.kg_m3 - air.kg_m3).abs() < 0.002 && unknown.u_kg_m3 > air.u_kg_m3);
        assert_eq!(parse("48 %").expect("reads").air(), None);
    }

    #[test]
    fn what_no_room_has_or_cannot_be_told_is_refused() {
        for (text, part) in [
            ("21", "write C, % or hPa"),
            ("70 F", "neither temperature"),
            ("210 C", "degrees Celsius"),
            ("480 %", "humidity of 480"),
            ("98.6 hPa", "pressure of 98.6"),
            ("21 C, 22 C", "twice"),
            ("21 C,", "missing beside a comma"),
            ("21,5 C", "a point the decimals"),
            ("2.1.5 C", "no number"),
            ("", "missing"),
            ("-300 C", "outside"),
        ] {
            let cause = parse(text).expect_err(text);
            assert!(cause.contains(part), "{text}: {cause}");
        }
    }
}
