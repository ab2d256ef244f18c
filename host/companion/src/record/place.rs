//! Places as people write them: latitude and height, or gravity as measured.
//!
//! Owns the reading of such a text and says which of the two it was. Refuses
//! what could be read in two ways: a height without a unit, a bare number that
//! is a latitude as well as a gravity, a sign beside a letter.

use scalewright_metrology::gravity::{Formula, Gravity, POSSIBLE_M_S2, Place};

use super::mass::{number, split};

/// The formula that gravity is reckoned by where it was not measured. Of the
/// three in [`scalewright_metrology::gravity`] it is the one whose height term
/// holds up to mountains; they differ by 0.001 per mille, what is in the ground
/// by thirty times that.
pub const FORMULA: Formula = Formula::Wgs84;

/// Digits after the point from which a bare number may be gravity: fewer know
/// it no better than the whole earth's range of latitudes.
const DIGITS_OF_GRAVITY: usize = 4;

/// A foot in m (exact, international yard and pound agreement of 1959).
const FOOT_M: f64 = 0.3048;

/// A place, and how well its gravity is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Gravity there.
    pub gravity: Gravity,
    /// Latitude, degrees, north above zero; absent where gravity was given.
    pub latitude_deg: Option<f64>,
    /// Height above sea level, m, as given.
    pub height_m: Option<f64>,
}

impl Spot {
    /// Whether gravity was given and not reckoned.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        self.latitude_deg.is_none()
    }

    /// The height in use, m: the sea's where a latitude came without one, none
    /// where gravity did.
    #[must_use]
    pub fn height_in_use_m(&self) -> Option<f64> {
        self.height_m.or(self.latitude_deg.map(|_| 0.0))
    }
}

/// A place in a text like "48.1,520m", "33.9 S, 0", "48.1N", "9.80943 m/s2" or
/// "9.80943 m/s2, 520 m". Measured gravity is taken as right to half of its last
/// digit, evenly spread (JCGM 100:2008, 4.3.7).
///
/// # Errors
/// What was wrong with the text, in plain words.
///
/// ```
/// use scalewright::record::place::parse;
/// let place = parse("48.1N, 520 m")?;
/// assert_eq!((place.latitude_deg, place.height_m), (Some(48.1), Some(520.0)));
/// assert_eq!(parse("33.9S,0")?.latitude_deg, Some(-33.9));
/// let measured = parse("9.80943 m/s2")?;
/// assert!(measured.is_measured() && measured.gravity.u_m_s2 < 3e-6);
/// assert!(parse("48,1").is_err_and(|cause| cause.contains("no unit")));
/// # Ok::<(), String>(())
/// ```
pub fn parse(text: &str) -> Result<Spot, String> {
    let text = text.replace('\u{2212}', "-");
    let text = text.trim();
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let (first, height) = match parts.as_slice() {
        _ if text.contains(';') => {
            return Err(format!(
                "\"{text}\" has a semicolon: latitude and height are parted by a comma, decimals by a point"
            ));
        }
        [""] => return Err("no place is given".into()),
        [first] => (*first, None),
        [first, height] => (*first, Some(*height)),
        [whole, decimals, height]
            if decimals.bytes().all(|b| b.is_ascii_digit()) && number(whole).is_ok() =>
        {
            return Err(format!(
                "\"{whole},{decimals}\" has a decimal comma: write {whole}.{decimals},{height}"
            ));
        }
        _ => {
            return Err(format!(
                "\"{text}\" has {} parts: a place is latitude and height, no more",
                parts.len()
            ));
        }
    };
    let kind = kind(first, height.is_some())?;
    let height_m = height.map(|text| height_m(text, first)).transpose()?;
    let gravity = match kind {
        Kind::Gravity(gravity) => gravity,
        Kind::Latitude(latitude_deg) => Gravity::by_formula(
            FORMULA,
            Place {
                latitude_deg,
                height_m: height_m.unwrap_or(0.0),
            },
        )
        .map_err(|cause| cause.to_string())?,
    };
    // Measured gravity leaves a height unused but for the air: it must be one.
    if let Some(height_m) = height_m {
        let there = Place {
            latitude_deg: 0.0,
            height_m,
        };
        Gravity::by_formula(FORMULA, there).map_err(|cause| cause.to_string())?;
    }
    Ok(Spot {
        gravity,
        latitude_deg: match kind {
            Kind::Latitude(latitude_deg) => Some(latitude_deg),
            Kind::Gravity(_) => None,
        },
        height_m,
    })
}

/// What stands before the comma.
#[derive(Clone, Copy)]
enum Kind {
    Latitude(f64),
    Gravity(Gravity),
}

fn kind(text: &str, with_height: bool) -> Result<Kind, String> {
    let (digits, unit) = split(text);
    if let Some(factor) = unit_m_s2(unit) {
        return measured(digits, factor).map(Kind::Gravity);
    }
    if unit.is_empty() && !digits.contains(['°', '\'', '"', '′', '″']) {
        let value = number(digits)?;
        if !(POSSIBLE_M_S2.0..=POSSIBLE_M_S2.1).contains(&value) {
            return Ok(Kind::Latitude(value));
        }
        return match (decimals(digits) >= DIGITS_OF_GRAVITY, with_height) {
            (true, false) => measured(digits, 1.0).map(Kind::Gravity),
            (false, true) => Ok(Kind::Latitude(value)),
            _ => Err(format!(
                "\"{digits}\" may be a latitude or a gravity: write {digits}N or \"{digits} m/s2\""
            )),
        };
    }
    latitude(text).map(Kind::Latitude)
}

/// How many m/s2 a unit of gravity has.
fn unit_m_s2(unit: &str) -> Option<f64> {
    match unit.replace(' ', "").to_ascii_lowercase().as_str() {
        "m/s2" | "m/s²" | "m/s^2" | "n/kg" => Some(1.0),
        "gal" => Some(1e-2),
        "mgal" => Some(1e-5),
        _ => None,
    }
}

fn decimals(digits: &str) -> usize {
    digits.split_once('.').map_or(0, |(_, after)| after.len())
}

fn measured(digits: &str, factor: f64) -> Result<Gravity, String> {
    let value = number(digits)?;
    // No survey has twelve decimals; the exponent must fit an i32.
    let places = i32::try_from(decimals(digits).min(12)).unwrap_or(12);
    let half_digit = 0.5 * 10f64.powi(-places) * factor;
    Gravity::measured(value * factor, half_digit / 3f64.sqrt()).map_err(|cause| cause.to_string())
}

/// Degrees in a text with N or S before or behind it, a degree sign or none.
fn latitude(text: &str) -> Result<f64, String> {
    if text.contains(['\'', '"', '′', '″']) || text.matches('°').count() > 1 {
        return Err(format!(
            "\"{text}\" has minutes: write degrees with a decimal point, as 48.1 for 48 degrees 6 minutes"
        ));
    }
    let is_letter = |c: char| c.is_alphabetic();
    let letters: String = text.chars().filter(|c| is_letter(*c)).collect();
    let bare = text.trim_matches(|c| is_letter(c) || c == '°' || c == ' ');
    let south = match letters.to_ascii_uppercase().as_str() {
        "" | "N" | "DEG" | "DEGN" | "NDEG" => false,
        "S" | "DEGS" | "SDEG" => true,
        "E" | "W" | "O" => {
            return Err(format!(
                "\"{text}\" is a longitude: gravity depends on latitude and height only, as in 48.1N,520m"
            ));
        }
        _ => {
            return Err(format!(
                "\"{text}\" is neither a latitude, as 48.1 or 33.9S, nor a gravity, as \"9.80943 m/s2\""
            ));
        }
    };
    let lettered = letters.to_ascii_uppercase().contains(['N', 'S']);
    if lettered && bare.starts_with(['+', '-']) {
        return Err(format!(
            "\"{text}\" has a sign and a letter: write one of them, as -33.9 or 33.9S"
        ));
    }
    let degrees = number(bare)?;
    Ok(if south { -degrees } else { degrees })
}

/// Metres in a text with a unit; zero needs none. `first` is what stood before
/// the comma: without a unit this may be its decimals, or a longitude.
fn height_m(text: &str, first: &str) -> Result<f64, String> {
    let (digits, unit) = split(text);
    match unit {
        "m" => number(digits),
        "km" => number(digits).map(|km| km * 1000.0),
        "ft" => number(digits).map(|feet| feet * FOOT_M),
        "" if digits.is_empty() => {
            Err("nothing stands after the comma: give the height, as 520m".into())
        }
        "" if number(digits) == Ok(0.0) => Ok(0.0),
        "" if number(digits).is_ok() => {
            let whole = !first.contains('.') && digits.bytes().all(|b| b.is_ascii_digit());
            let decimal = match whole {
                true => format!("; if the comma is a decimal one, write {first}.{digits}"),
                false => String::new(),
            };
            Err(format!(
                "\"{digits}\" after the comma has no unit: a height needs one, as 520m or 1700ft, and a longitude is not asked for{decimal}"
            ))
        }
        "E" | "W" | "O" | "e" | "w" | "o" => Err(format!(
            "\"{text}\" is a longitude: give the height instead, as 520m"
        )),
        "" => number(digits),
        other => Err(format!(
            "\"{other}\" is no unit of height: write m, km or ft"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_place_in_many_hands() {
        let plain = parse("48.1,520m").expect("a place");
        for text in [
            "48.1N,520 m",
            " 48.1 N , 0.52 km ",
            "N48.1,520m",
            "48.1°,520m",
            "48.1° N, 520.0m",
            "48.1 deg n,520m",
            "+48.1,520m",
        ] {
            assert_eq!(parse(text), Ok(plain), "{text}");
        }
        let south = parse("33.9S,0").expect("a place");
        for text in ["-33.9,0", "\u{2212}33.9, 0m", "33.9°S,0 ft", "s 33.9,0"] {
            assert_eq!(parse(text), Ok(south), "{text}");
        }
        assert_eq!(parse("48.1").map(|spot| spot.height_m), Ok(None));
        let feet = parse("48.1,1000ft").expect("a place").height_m;
        assert!(feet.is_some_and(|m| (m - 304.8).abs() < 1e-9));
    }

    #[test]
    fn gravity_as_a_survey_writes_it() {
        let plain = parse("9.80943").expect("gravity");
        assert!(plain.is_measured() && plain.height_in_use_m().is_none());
        for text in [
            "9.80943 m/s2",
            "9.80943m/s²",
            "9.80943 m / s^2",
            "9.80943 N/kg",
        ] {
            assert_eq!(parse(text), Ok(plain), "{text}");
        }
        // Half of the last digit, evenly spread.
        assert!((plain.gravity.u_m_s2 - 5e-6 / 3f64.sqrt()).abs() < 1e-18);
        let survey = parse("980943.2 mGal, 520 m").expect("gravity");
        assert!((survey.gravity.g_m_s2 - 9.809_432).abs() < 1e-12);
        assert!((survey.gravity.u_m_s2 - 5e-7 / 3f64.sqrt()).abs() < 1e-18);
        assert_eq!(survey.height_in_use_m(), Some(520.0));
        let coarse = parse("9.81 m/s2").expect("gravity");
        assert!(coarse.gravity.u_m_s2 > 2e-3, "two decimals know little");
    }

    #[test]
    fn what_can_be_read_in_two_ways_is_asked_back() {
        for text in ["9.8", "9.81", "9.80943,520m"] {
            let cause = parse(text).expect_err(text);
            assert!(cause.contains("latitude or a gravity"), "{cause}");
        }
        let costa_rica = parse("9.9,1100m").expect("a latitude");
        assert_eq!(costa_rica.latitude_deg, Some(9.9));
        assert_eq!(parse("9.9N").map(|spot| spot.latitude_deg), Ok(Some(9.9)));
    }

    #[test]
    fn every_slip_is_named() {
        for (text, cause) in [
            ("", "no place is given"),
            ("48,1", "if the comma is a decimal one, write 48.1"),
            ("48,1,520m", "has a decimal comma: write 48.1,520m"),
            ("48.137,11.575", "a longitude is not asked for"),
            ("48.1N,11.6E", "is a longitude"),
            ("11.6E,520m", "is a longitude"),
            ("48.1;520m", "has a semicolon"),
            ("48°06',520m", "has minutes"),
            ("-33.9S,0", "a sign and a letter"),
            ("Munich", "is neither a latitude"),
            ("48.1,520", "\"520\" after the comma has no unit"),
            ("48.1,520 yd", "\"yd\" is no unit of height"),
            ("48.1,", "nothing stands after the comma"),
            ("4810,520m", "not between -90 and 90 degrees"),
            ("48.1,52000m", "not on the ground"),
            ("9.80943 m/s2,52000m", "not on the ground"),
            ("980.9 m/s2", "not found on the ground"),
            ("48.1,1,2,3", "4 parts"),
            ("N,5m", "is no number"),
            (",520m", "is no number"),
        ] {
            let found = parse(text).expect_err(text);
            assert!(found.contains(cause), "{text}: {found}");
        }
    }
}
