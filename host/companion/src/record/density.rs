//! Densities of weights as people write them.
//!
//! Guarantees a density that a weight can have. Refuses the rest and, where
//! another unit would make sense of the number, asks whether that is meant.

use std::ops::RangeInclusive;

use super::mass::{number, split};

/// From light wood to the platinum metals, kg/m3 (common practice).
const POSSIBLE_KG_M3: RangeInclusive<f64> = 500.0..=23_000.0;

/// How many kg/m3 a g/cm3 is.
const G_CM3: f64 = 1000.0;

/// kg/m3 in a text like "7950 kg/m3" or "7.95 g/cm3".
///
/// # Errors
/// What was wrong with the text, in plain words.
///
/// ```
/// use scalewright::record::density::parse_kg_m3;
/// assert_eq!(parse_kg_m3("7950 kg/m3"), Ok(7950.0));
/// assert_eq!(parse_kg_m3("7.95 g/cm3"), Ok(7950.0));
/// assert!(parse_kg_m3("7.95 kg/m3").is_err_and(|cause| cause.ends_with("is 7.95 g/cm3 meant?")));
/// ```
pub fn parse_kg_m3(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let (digits, unit) = split(text);
    let (factor, others): (f64, &[_]) = match unit {
        "kg/m3" | "kg/m³" => (1.0, &[("g/cm3", G_CM3)]),
        "g/cm3" | "g/cm³" => (G_CM3, &[("kg/m3", 1.0)]),
        "" => (f64::NAN, &[("kg/m3", 1.0), ("g/cm3", G_CM3)]),
        other => {
            return Err(format!(
                "\"{other}\" is no density unit: write kg/m3 or g/cm3"
            ));
        }
    };
    let value = number(digits)?;
    if POSSIBLE_KG_M3.contains(&(value * factor)) {
        return Ok(value * factor);
    }
    let guess = others
        .iter()
        .find(|(_, factor)| POSSIBLE_KG_M3.contains(&(value * factor)))
        .map(|(unit, _)| format!("is {digits} {unit} meant?"));
    Err(if unit.is_empty() {
        let advice = guess.unwrap_or_else(|| "write kg/m3 or g/cm3".into());
        format!("\"{text}\" has no unit: {advice}")
    } else {
        let (low, high) = (POSSIBLE_KG_M3.start(), POSSIBLE_KG_M3.end());
        let advice = guess.map_or_else(String::new, |guess| format!(": {guess}"));
        format!("\"{text}\" is no density of a weight ({low} to {high} kg/m3){advice}")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_are_possible_and_nothing_beyond() {
        for text in ["500 kg/m3", "0.5g/cm³", "23000 kg/m³", "23 g/cm3"] {
            assert!(parse_kg_m3(text).is_ok(), "{text}");
        }
        let far = "\"499 kg/m3\" is no density of a weight (500 to 23000 kg/m3)";
        assert_eq!(parse_kg_m3("499 kg/m3"), Err(far.into()));
    }

    #[test]
    fn a_wrong_unit_is_guessed() {
        for (text, end) in [
            ("7.95 kg/m3", "(500 to 23000 kg/m3): is 7.95 g/cm3 meant?"),
            ("7950 g/cm3", "(500 to 23000 kg/m3): is 7950 kg/m3 meant?"),
            ("7950", "has no unit: is 7950 kg/m3 meant?"),
            ("7.95", "has no unit: is 7.95 g/cm3 meant?"),
            ("1e9", "is no density unit: write kg/m3 or g/cm3"),
            ("100", "has no unit: write kg/m3 or g/cm3"),
            ("7,95 g/cm3", "has a decimal comma: write 7.95"),
            ("-8 g/cm3", "(500 to 23000 kg/m3)"),
        ] {
            let cause = parse_kg_m3(text).expect_err(text);
            assert!(cause.ends_with(end), "{cause}");
        }
    }
}
