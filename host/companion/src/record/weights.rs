//! The weights at hand: from `weights.toml`, or a list on the command line.
//!
//! Owns their names, how they are called and found again. What a file may say
//! is `file`'s, what follows from it for one weight `listed`'s.

mod file;
mod listed;

use scalewright_metrology::weights::{WeightClass, mpe_mg};

use super::mass::parse_g;
use crate::session::plan::{Known, PlannedWeight};

pub use file::{WeightsFault, list, parse, parse_list, read};
pub use listed::{Listed, Worth};

/// Share of its mass by which a weight of no stated worth may be off; wide on
/// purpose (common practice for unmarked iron weights).
pub const UNSTATED_SHARE: f64 = 0.001;

/// How far a weight used at its nominal value may be off by its class, g.
///
/// # Errors
/// When class or nominal is not in OIML R 111-1:2004 table 1.
pub fn class_mpe_g(class: &str, nominal_g: f64) -> Result<(WeightClass, f64), String> {
    let class: WeightClass = class.parse().map_err(|_| {
        format!("{class} is no class of OIML R 111 known here (E2, F1, F2, M1, M2, M3)")
    })?;
    let mpe = mpe_mg(class, nominal_g).ok_or_else(|| {
        format!(
            "OIML R 111 has no {nominal_g} g weight in that class: state its uncertainty instead"
        )
    })?;
    Ok((class, mpe / 1000.0))
}

/// Standard uncertainty in g of a weight used at its nominal value: its
/// tolerance as the half width of a rectangle (JCGM 100:2008, 4.3.7).
///
/// # Errors
/// When class or nominal is not in OIML R 111-1:2004 table 1.
pub fn class_u_g(class: &str, nominal_g: f64) -> Result<f64, String> {
    class_mpe_g(class, nominal_g).map(|(_, mpe_g)| mpe_g / 3f64.sqrt())
}

/// Weights from a list like "2kg, 2kg, 1kg, 500g", all of one class. Equal ones
/// get a letter: "2 kg a", "2 kg b".
///
/// # Errors
/// What was wrong, in plain words.
pub fn from_list(list: &str, class: Option<&str>) -> Result<Vec<PlannedWeight>, String> {
    let mut masses = Vec::new();
    for text in list.split([',', '+', ';']).map(str::trim) {
        if !text.is_empty() {
            // "0,5kg" falls apart here: what has no unit was half a number.
            let half = !text.contains(char::is_alphabetic);
            let hint = "; a comma separates weights, the decimal sign is a point";
            let mass_g = parse_g(text);
            masses.push(mass_g.map_err(|cause| if half { cause + hint } else { cause })?);
        }
    }
    if masses.is_empty() {
        return Err("the list of weights is empty".into());
    }
    let mut weights = Vec::new();
    for (index, mass_g) in masses.iter().enumerate() {
        let twins = masses.iter().filter(|other| *other == mass_g).count();
        let before = masses
            .iter()
            .take(index)
            .filter(|other| *other == mass_g)
            .count();
        let mut id = name(*mass_g);
        if twins > 1 {
            id.push(' ');
            id.push(char::from(
                b'a' + u8::try_from(before.min(25)).unwrap_or(25),
            ));
        }
        let u_g = match class {
            Some(class) => class_u_g(class, *mass_g)?,
            None => UNSTATED_SHARE * mass_g / 3f64.sqrt(),
        };
        weights.push(PlannedWeight::new(id, *mass_g, u_g));
    }
    Ok(weights)
}

/// A mass as it stands on a weight: "2 kg", "500 g"; to a microgram, so that a
/// certificate's "2000.012 g" does not show how f64 divides by 1000.
#[must_use]
pub fn name(mass_g: f64) -> String {
    let rounded = |value: f64, steps: f64| {
        let scaled = (value * steps).round();
        match scaled.abs() < 1e15 {
            true => scaled / steps,
            false => value,
        }
    };
    let size_g = mass_g.abs();
    if size_g >= 1000.0 {
        format!("{} kg", rounded(mass_g / 1000.0, 1e9))
    } else if size_g >= 1.0 {
        format!("{} g", rounded(mass_g, 1e6))
    } else {
        format!("{} mg", (mass_g * 1e6).round() / 1e3)
    }
}

/// A weight as it is listed: its name with its mass, unless the name says it.
#[must_use]
pub fn label(weight: &PlannedWeight) -> String {
    let mass = match weight.known {
        Known::Not => format!("about {}", name(weight.mass_g)),
        Known::Class | Known::Stated => name(weight.mass_g),
    };
    if weight.id.starts_with(&mass) {
        weight.id.clone()
    } else {
        format!("{} {mass}", weight.id)
    }
}

/// A name as it is compared: without regard to case and spaces.
fn squeezed(text: &str) -> String {
    text.to_lowercase().split_whitespace().collect()
}

/// The names of the weights that a text like "W3 + 200 g" means, by name or by
/// mass, each weight once.
///
/// # Errors
/// The first piece that no weight (left) answers to.
pub fn pick(text: &str, weights: &[PlannedWeight]) -> Result<Vec<String>, String> {
    let mut ids: Vec<String> = Vec::new();
    for piece in text.split(['+', ',']).map(str::trim) {
        let wanted = squeezed(piece);
        let found = weights.iter().find(|weight| {
            !ids.contains(&weight.id)
                && (squeezed(&weight.id) == wanted || squeezed(&name(weight.mass_g)) == wanted)
        });
        match found {
            Some(weight) => ids.push(weight.id.clone()),
            None => return Err(piece.into()),
        }
    }
    Ok(ids)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mass_is_named_without_the_noise_of_f64() {
        for (mass_g, text) in [
            (2000.0, "2 kg"),
            (2000.012, "2.000012 kg"),
            (5.0 * 453.592_37, "2.26796185 kg"),
            (1000.012 - 1000.0, "12 mg"),
            (497.3, "497.3 g"),
            (3.0 * 28.349_523_125, "85.048569 g"),
            (0.02, "20 mg"),
        ] {
            assert_eq!(name(mass_g), text);
        }
        assert!(name(f64::MAX).ends_with(" kg") && !name(f64::MAX).contains("inf"));
    }
}
