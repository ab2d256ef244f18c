//! The weights at hand: `weights.toml`, or a list on the command line.
//!
//! ```toml
//! [[weight]]
//! id = "W1"
//! nominal = "2 kg"
//! class = "M1"            # OIML R 111: E2, F1, F2, M1, M2 or M3
//!
//! [[weight]]
//! id = "jar"
//! nominal = "497.3 g"
//! uncertainty = "0.2 g"   # expanded, k = 2, instead of a class
//! ```

use std::collections::BTreeMap;
use std::path::Path;

use scalewright_metrology::weights::{WeightClass, mpe_mg};
use serde::Deserialize;

use super::mass::parse_g;
use crate::session::plan::PlannedWeight;

/// Share of its mass by which a weight of no stated worth may be off; wide on
/// purpose (common practice for unmarked iron weights).
pub const UNSTATED_SHARE: f64 = 0.001;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    weight: Vec<toml::Spanned<Line>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    id: String,
    nominal: String,
    class: Option<String>,
    uncertainty: Option<String>,
}

/// A weights file that cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub struct WeightsFault {
    /// The file.
    pub file: String,
    /// Line, from 1, when known.
    pub line: Option<usize>,
    /// What is wrong.
    pub cause: String,
}

impl std::fmt::Display for WeightsFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.file, self.cause),
            None => write!(f, "{}: {}", self.file, self.cause),
        }
    }
}

impl std::error::Error for WeightsFault {}

/// Reads a weights file.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn read(path: &Path) -> Result<Vec<PlannedWeight>, WeightsFault> {
    let file = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|error| WeightsFault {
        file: file.clone(),
        line: None,
        cause: format!("cannot be read: {error}"),
    })?;
    parse(&text, &file)
}

/// Reads the text of a weights file called `file`.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn parse(text: &str, file: &str) -> Result<Vec<PlannedWeight>, WeightsFault> {
    let line_at = |at: usize| text.get(..at).unwrap_or(text).matches('\n').count() + 1;
    let fault = |line: Option<usize>, cause: String| WeightsFault {
        file: file.into(),
        line,
        cause,
    };
    let parsed: File = toml::from_str(text).map_err(|error| {
        fault(
            error.span().map(|span| line_at(span.start)),
            error.message().replace('\n', " "),
        )
    })?;
    if parsed.weight.is_empty() {
        return Err(fault(None, "holds no [[weight]] at all".into()));
    }
    let mut weights = Vec::new();
    let mut names: BTreeMap<String, usize> = BTreeMap::new();
    for spanned in parsed.weight {
        let at = line_at(spanned.span().start);
        let line = spanned.into_inner();
        if line.id.trim().is_empty() {
            return Err(fault(Some(at), "a weight without a name".into()));
        }
        if let Some(first) = names.insert(line.id.clone(), at) {
            return Err(fault(
                Some(at),
                format!(
                    "weight {} stands here again, first in line {first}",
                    line.id
                ),
            ));
        }
        let mass_g = parse_g(&line.nominal)
            .map_err(|cause| fault(Some(at), format!("nominal of {}: {cause}", line.id)))?;
        let u_g = uncertainty(&line, mass_g).map_err(|cause| fault(Some(at), cause))?;
        weights.push(PlannedWeight {
            id: line.id,
            mass_g,
            u_g,
        });
    }
    Ok(weights)
}

fn uncertainty(line: &Line, mass_g: f64) -> Result<f64, String> {
    match (&line.class, &line.uncertainty) {
        (Some(_), Some(_)) => Err(format!(
            "weight {} has a class and an uncertainty: give one",
            line.id
        )),
        (None, Some(text)) => Ok(parse_g(text)
            .map_err(|cause| format!("uncertainty of {}: {cause}", line.id))?
            / 2.0),
        (Some(class), None) => {
            class_u_g(class, mass_g).map_err(|cause| format!("weight {}: {cause}", line.id))
        }
        (None, None) => Ok(UNSTATED_SHARE * mass_g / 3f64.sqrt()),
    }
}

/// Standard uncertainty in g of a weight used at its nominal value: its
/// tolerance as the half width of a rectangle (JCGM 100:2008, 4.3.7).
///
/// # Errors
/// When class or nominal is not in OIML R 111-1:2004 table 1.
pub fn class_u_g(class: &str, nominal_g: f64) -> Result<f64, String> {
    let class: WeightClass = class.parse().map_err(|_| {
        format!("{class} is no class of OIML R 111 known here (E2, F1, F2, M1, M2, M3)")
    })?;
    let mpe = mpe_mg(class, nominal_g).ok_or_else(|| {
        format!(
            "OIML R 111 has no {nominal_g} g weight in that class: state its uncertainty instead"
        )
    })?;
    Ok(mpe / 1000.0 / 3f64.sqrt())
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
            masses.push(parse_g(text)?);
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
        weights.push(PlannedWeight {
            id,
            mass_g: *mass_g,
            u_g,
        });
    }
    Ok(weights)
}

/// A nominal mass as it stands on a weight: "2 kg", "500 g".
#[must_use]
pub fn name(mass_g: f64) -> String {
    if mass_g >= 1000.0 {
        format!("{} kg", mass_g / 1000.0)
    } else if mass_g >= 1.0 {
        format!("{mass_g} g")
    } else {
        format!("{} mg", (mass_g * 1e6).round() / 1e3)
    }
}

/// A weight as it is listed: its name with its mass, unless the name says it.
#[must_use]
pub fn label(weight: &PlannedWeight) -> String {
    let mass = name(weight.mass_g);
    if weight.id.starts_with(&mass) {
        weight.id.clone()
    } else {
        format!("{} {mass}", weight.id)
    }
}

/// The names of the weights that a text like "W3 + 200 g" means, by name or by
/// mass, each weight once.
///
/// # Errors
/// The first piece that no weight (left) answers to.
pub fn pick(text: &str, weights: &[PlannedWeight]) -> Result<Vec<String>, String> {
    let squeezed = |text: &str| text.to_lowercase().replace(' ', "");
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
