//! Masses as people write them.
//!
//! Owns the units and the reading of a number. Refuses what could be read in
//! two ways: a missing unit, a comma.

/// The avoirdupois pound in g and the ounce, a sixteenth of it; both exact by
/// the international yard and pound agreement of 1959 (NIST Handbook 44,
/// Appendix C).
const POUND_G: f64 = 453.592_37;
const OUNCE_G: f64 = 28.349_523_125;

/// Grams in a text like "1.5 kg", "500g", "20 mg", "0.5 t", "2 lb" or "8 oz".
///
/// # Errors
/// What was wrong with the text, in plain words.
///
/// ```
/// use scalewright::record::mass::parse_g;
/// assert_eq!(parse_g("1.5 kg"), Ok(1500.0));
/// assert_eq!(parse_g("1 lb"), Ok(453.59237));
/// assert!(parse_g("1.5").is_err());
/// ```
pub fn parse_g(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let (number, unit) = split(text);
    let Some(factor) = unit_g(unit) else {
        return Err(match unit {
            "" => format!("\"{text}\" has no unit: write g, kg, mg, t, lb or oz"),
            other => format!("\"{other}\" is no mass unit: write g, kg, mg, t, lb or oz"),
        });
    };
    // The product is what must make sense: 309 digits of kg are no mass.
    let mass_g = self::number(number)? * factor;
    if !(mass_g.is_finite() && mass_g > 0.0) {
        return Err(format!("\"{text}\" is not a mass above zero"));
    }
    Ok(mass_g)
}

/// How many grams a unit has: "g", "kg", "mg", "t", "lb" or "oz".
#[must_use]
pub fn unit_g(unit: &str) -> Option<f64> {
    match unit {
        "g" => Some(1.0),
        "kg" => Some(1e3),
        "mg" => Some(1e-3),
        "t" => Some(1e6),
        "lb" => Some(POUND_G),
        "oz" => Some(OUNCE_G),
        _ => None,
    }
}

/// Whether a mass is written in pounds or ounces.
#[must_use]
pub fn is_avoirdupois(text: &str) -> bool {
    matches!(split(text.trim()).1, "lb" | "oz")
}

/// What stands before the unit, and the unit; either may be empty.
pub(super) fn split(text: &str) -> (&str, &str) {
    let at = text
        .find(|c: char| c.is_alphabetic() || c == 'µ' || c == '%')
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(at);
    (number.trim(), unit.trim())
}

/// A number with a decimal point.
///
/// # Errors
/// When it is none. Of a comma nobody can tell here whether it parts decimals
/// or thousands, so it is never guessed at silently.
pub(in crate::record) fn number(text: &str) -> Result<f64, String> {
    if let Ok(value) = text.parse() {
        return Ok(value);
    }
    let none = || format!("\"{text}\" is no number (the decimal sign is a point)");
    let Some((whole, rest)) = text.split_once(',') else {
        return Err(none());
    };
    let (pointed, bare) = (text.replace(',', "."), text.replace(',', ""));
    Err(if pointed.parse::<f64>().is_ok() {
        let thousands = rest.len() == 3 && (1..=3).contains(&whole.len()) && whole != "0";
        match thousands {
            true => format!("\"{text}\" has a comma: write {pointed} or {bare}, as it is meant"),
            false => format!("\"{text}\" has a decimal comma: write {pointed}"),
        }
    } else if bare.parse::<f64>().is_ok() {
        format!("\"{text}\" has a comma: write {bare} (the decimal sign is a point)")
    } else {
        none()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pound_has_sixteen_ounces() {
        let pound = parse_g("1 lb").expect("a mass");
        let ounces = parse_g("16oz").expect("a mass");
        assert_eq!(pound, ounces);
        assert!(is_avoirdupois(" 16oz ") && is_avoirdupois("1 lb"));
        assert!(!is_avoirdupois("1 kg") && !is_avoirdupois("1 lbs"));
    }

    #[test]
    fn a_comma_is_told_from_other_faults() {
        for (text, cause) in [
            ("2,5 kg", "\"2,5\" has a decimal comma: write 2.5"),
            ("0,500 kg", "\"0,500\" has a decimal comma: write 0.500"),
            (
                "1,500 g",
                "\"1,500\" has a comma: write 1.500 or 1500, as it is meant",
            ),
            (
                "1,234.5 g",
                "\"1,234.5\" has a comma: write 1234.5 (the decimal sign is a point)",
            ),
            (
                "2;5 kg",
                "\"2;5\" is no number (the decimal sign is a point)",
            ),
            (
                ",;5 kg",
                "\",;5\" is no number (the decimal sign is a point)",
            ),
        ] {
            assert_eq!(parse_g(text), Err(cause.to_string()));
        }
    }
}
