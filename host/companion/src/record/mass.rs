//! Masses as people write them.

/// Grams in a text like "1.5 kg", "500g", "20 mg" or "0.5 t".
///
/// # Errors
/// What was wrong with the text, in plain words.
///
/// ```
/// use scalewright::record::mass::parse_g;
/// assert_eq!(parse_g("1.5 kg"), Ok(1500.0));
/// assert!(parse_g("1.5").is_err());
/// ```
pub fn parse_g(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let split = text
        .find(|c: char| c.is_alphabetic() || c == 'µ' || c == '%')
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let factor = match unit.trim() {
        "g" => 1.0,
        "kg" => 1e3,
        "mg" => 1e-3,
        "t" => 1e6,
        "" => return Err(format!("\"{text}\" has no unit: write g, kg, mg or t")),
        other => return Err(format!("\"{other}\" is no mass unit: write g, kg, mg or t")),
    };
    let number = number.trim();
    let value: f64 = number
        .parse()
        .map_err(|_| format!("\"{number}\" is no number (the decimal sign is a point)"))?;
    // The product is what must make sense: 309 digits of kg are no mass.
    let mass_g = value * factor;
    if !(mass_g.is_finite() && mass_g > 0.0) {
        return Err(format!("\"{text}\" is not a mass above zero"));
    }
    Ok(mass_g)
}
