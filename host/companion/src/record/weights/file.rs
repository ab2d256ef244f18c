//! Reading `weights.toml`.
//!
//! ```toml
//! [[weight]]
//! id = "W1"
//! nominal = "2 kg"
//! class = "M1"                  # OIML R 111: E2, F1, F2, M1, M2 or M3
//!
//! [[weight]]
//! id = "jar"
//! nominal = "497.3 g"
//! uncertainty = "0.2 g"         # expanded, k = 2, instead of a class
//!
//! [[weight]]
//! id = "W2"
//! nominal = "1 kg"
//! certificate = "1000.012 g"    # conventional mass; with its uncertainty
//! uncertainty = "0.4 mg"
//! drift = "1 mg"                # how far it may have moved since then
//! density = "7.95 g/cm3"        # or kg/m3; adds what the air may do
//! note = "lab, 2026"
//!
//! [[substitution]]
//! id = "stone"
//! about = "1.5 kg"              # the calibration finds what it weighs
//!
//! [[substitution]]
//! id = "jug"
//! about = ["2 kg", "4 kg"]      # filled to these in turn, never emptied
//! ```
//!
//! Owns what a file may say. Guarantees names that differ, and nothing
//! contradictory or far from likely. Refuses the rest with the line of the
//! field in question.

use std::collections::BTreeMap;
use std::path::Path;

use scalewright_metrology::weights::WeightClass;
use serde::Deserialize;
use toml::Spanned;

use super::listed::{Listed, Worth};
use super::{class_mpe_g, name, squeezed};
use crate::record::density::parse_kg_m3;
use crate::record::lines;
use crate::record::mass::parse_g;
use crate::session::plan::{Filling, PlannedWeight};

/// A certificate further than this share from the nominal value is taken for a
/// typing error: class M3 ends at 1 % for 1 g and gets narrower (OIML R 111-1:2004,
/// table 1), home-made weights are called what they weigh.
const TYPING_ERROR: f64 = 0.02;

/// What is typed while a calibration runs, and can't name a weight.
const KEYS: [&str; 8] = ["u", "t", "q", "r", "y", "n", "0", "nothing"];

/// Forgives the rounding of decimal numbers at a limit.
const ROUNDING: f64 = 1e-9;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    weight: Vec<Weight>,
    #[serde(default)]
    substitution: Vec<Substitution>,
}

type Text = Spanned<String>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Weight {
    id: Text,
    nominal: Text,
    class: Option<Text>,
    uncertainty: Option<Text>,
    certificate: Option<Text>,
    drift: Option<Text>,
    density: Option<Text>,
    note: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Substitution {
    id: Text,
    about: Spanned<About>,
    note: Option<String>,
}

/// One rough mass, or those of a vessel's fillings.
#[derive(Deserialize)]
#[serde(untagged, expecting = "a mass as \"2 kg\", or a list of masses")]
enum About {
    One(String),
    Fillings(Vec<String>),
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

/// What is wrong, and at which byte of the text.
struct Fault {
    at: usize,
    cause: String,
}

impl Fault {
    fn at<T>(field: &Spanned<T>, cause: String) -> Self {
        let at = field.span().start;
        Self { at, cause }
    }
}

/// Reads a weights file for a plan.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn read(path: &Path) -> Result<Vec<PlannedWeight>, WeightsFault> {
    Ok(list(path)?.iter().map(Listed::planned).collect())
}

/// Reads a weights file with all it says.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn list(path: &Path) -> Result<Vec<Listed>, WeightsFault> {
    let file = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|error| WeightsFault {
        file: file.clone(),
        line: None,
        cause: format!("cannot be read: {error}"),
    })?;
    parse_list(&text, &file)
}

/// Reads the text of a weights file called `file` for a plan.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn parse(text: &str, file: &str) -> Result<Vec<PlannedWeight>, WeightsFault> {
    let listed = parse_list(text, file)?;
    Ok(listed.iter().map(Listed::planned).collect())
}

/// Reads the text of a weights file called `file` with all it says: weights in
/// their order, then substitution loads in theirs.
///
/// # Errors
/// [`WeightsFault`] with the line.
pub fn parse_list(text: &str, file: &str) -> Result<Vec<Listed>, WeightsFault> {
    let line_at = |at: usize| lines::line_at(text, at);
    let fault = |line: Option<usize>, cause: &str| WeightsFault {
        file: file.into(),
        line,
        // It quotes the file, which may hold anything.
        cause: cause.replace(char::is_control, " "),
    };
    let parsed: File = toml::from_str(text).map_err(|error| {
        let line = error.span().map(|span| line_at(span.start));
        let said = error.message();
        // A bare number is the commonest slip.
        if said.contains("expected a string") {
            let meant = format!("{said}: put it in quotes, with its unit, as \"500 g\"");
            return fault(line, &meant);
        }
        fault(line, said)
    })?;
    if parsed.weight.is_empty() {
        return Err(fault(None, "holds no [[weight]] at all"));
    }
    let ids = parsed.weight.iter().map(|weight| &weight.id);
    let ids = ids.chain(parsed.substitution.iter().map(|load| &load.id));
    names_differ(ids, line_at)
        .and_then(|()| {
            let mut all: Vec<Listed> = Vec::new();
            for said in &parsed.weight {
                all.push(weight(said)?);
            }
            for said in &parsed.substitution {
                all.extend(substitutions(said)?);
            }
            Ok(all)
        })
        .map_err(|found| fault(Some(line_at(found.at)), &found.cause))
}

fn names_differ<'a>(
    ids: impl Iterator<Item = &'a Text>,
    line_at: impl Fn(usize) -> usize,
) -> Result<(), Fault> {
    let mut names: BTreeMap<String, &Text> = BTreeMap::new();
    for id in ids {
        let text = id.get_ref();
        if text.trim().is_empty() {
            return Err(Fault::at(id, "a weight without a name".into()));
        }
        if text.contains(char::is_control) {
            let cause = format!("the name \"{text}\" holds a character that cannot be shown");
            return Err(Fault::at(id, cause));
        }
        if text.contains(['+', ',']) {
            let cause = format!("the name \"{text}\" holds a + or a comma, which join loads");
            return Err(Fault::at(id, cause));
        }
        if KEYS.contains(&squeezed(text).as_str()) {
            let cause = format!("the name \"{text}\" is a key while you calibrate: take another");
            return Err(Fault::at(id, cause));
        }
        if let Some(first) = names.insert(squeezed(text), id) {
            let line = line_at(first.span().start);
            let first = match first.get_ref() {
                same if same == text => "first".into(),
                other => format!("first as {other}"),
            };
            let cause = format!("weight {text} stands here again, {first} in line {line}");
            return Err(Fault::at(id, cause));
        }
    }
    Ok(())
}

/// The mass a field holds, g.
fn mass_g(field: &Text, what: &str, id: &str) -> Result<f64, Fault> {
    parse_g(field.get_ref()).map_err(|cause| Fault::at(field, format!("{what} of {id}: {cause}")))
}

fn weight(said: &Weight) -> Result<Listed, Fault> {
    let id = said.id.get_ref();
    let nominal_g = mass_g(&said.nominal, "nominal", id)?;
    let worth = worth(said, nominal_g)?;
    let density = said.density.as_ref().map(|field| {
        parse_kg_m3(field.get_ref())
            .map_err(|cause| Fault::at(field, format!("density of {id}: {cause}")))
    });
    Ok(Listed {
        id: id.clone(),
        nominal: said.nominal.get_ref().trim().into(),
        nominal_g,
        worth,
        drift_g: drift_g(said, nominal_g)?,
        density_kg_m3: density.transpose()?,
        note: said.note.clone(),
        filling: None,
    })
}

/// How far a weight may have moved since its mass was stated, g.
fn drift_g(said: &Weight, nominal_g: f64) -> Result<Option<f64>, Fault> {
    let Some(field) = &said.drift else {
        return Ok(None);
    };
    let id = said.id.get_ref();
    if said.certificate.is_none() && said.uncertainty.is_none() {
        let cause = format!(
            "weight {id} has a drift and neither certificate nor uncertainty: the limits of a class hold all the time, so leave the drift out"
        );
        return Err(Fault::at(field, cause));
    }
    let drift_g = mass_g(field, "drift", id)?;
    if drift_g > TYPING_ERROR * nominal_g {
        let cause = format!(
            "drift of {id}: {} is more than {} % of {}, which is probably a typing error",
            name(drift_g),
            TYPING_ERROR * 100.0,
            name(nominal_g)
        );
        return Err(Fault::at(field, cause));
    }
    Ok(Some(drift_g))
}

/// A substitution load, or the fillings of one, each a load of its own.
fn substitutions(said: &Substitution) -> Result<Vec<Listed>, Fault> {
    let id = said.id.get_ref();
    let load = |text: &str, id: String, filling: Option<Filling>| {
        let nominal_g = parse_g(text)
            .map_err(|cause| Fault::at(&said.about, format!("about of {id}: {cause}")))?;
        Ok(Listed {
            id,
            nominal: text.trim().into(),
            nominal_g,
            worth: Worth::ToBeFound,
            drift_g: None,
            density_kg_m3: None,
            note: said.note.clone(),
            filling,
        })
    };
    let fillings = match said.about.get_ref() {
        About::One(text) => return Ok(vec![load(text, id.clone(), None)?]),
        About::Fillings(fillings) => fillings,
    };
    if fillings.is_empty() {
        return Err(Fault::at(
            &said.about,
            format!("about of {id} is an empty list"),
        ));
    }
    let mut loads: Vec<Listed> = Vec::new();
    for (turn, text) in fillings.iter().enumerate() {
        let filling = Filling {
            vessel: id.clone(),
            turn,
        };
        let next = load(text, format!("{id} filling {}", turn + 1), Some(filling))?;
        if loads
            .last()
            .is_some_and(|last| next.nominal_g <= last.nominal_g)
        {
            return Err(Fault::at(
                &said.about,
                format!("the fillings of {id} must rise: a vessel is filled up, not emptied"),
            ));
        }
        loads.push(next);
    }
    Ok(loads)
}

fn worth(said: &Weight, nominal_g: f64) -> Result<Worth, Fault> {
    let id = said.id.get_ref();
    let class = match &said.class {
        Some(field) => {
            let known = class_mpe_g(field.get_ref(), nominal_g).map_err(|cause| {
                let is_class = field.get_ref().parse::<WeightClass>().is_ok();
                let field = if is_class { &said.nominal } else { field };
                Fault::at(field, format!("weight {id}: {cause}"))
            })?;
            Some(known)
        }
        None => None,
    };
    let expanded_g = match &said.uncertainty {
        Some(field) => Some(mass_g(field, "uncertainty", id)?),
        None => None,
    };
    let Some(field) = &said.certificate else {
        return match (class, expanded_g, &said.uncertainty) {
            (Some(_), Some(_), Some(field)) => Err(Fault::at(
                field,
                format!("weight {id} has a class and an uncertainty: give one"),
            )),
            (Some((class, mpe_g)), ..) => Ok(Worth::Class { class, mpe_g }),
            (None, Some(expanded_g), _) => Ok(Worth::Stated { expanded_g }),
            (None, None, _) => Ok(Worth::Unstated),
        };
    };
    let mass_g = mass_g(field, "certificate", id)?;
    let refuse = |cause: String| Err(Fault::at(field, cause));
    let Some(expanded_g) = expanded_g else {
        return refuse(format!(
            "weight {id} has a certificate without its uncertainty: add uncertainty = \"..\" (k = 2)"
        ));
    };
    let off_g = (mass_g - nominal_g).abs();
    if off_g > TYPING_ERROR * nominal_g * (1.0 + ROUNDING) {
        return refuse(format!(
            "certificate of {id}: {} is more than {} % from the nominal {}: one of the two is probably a typing error",
            name(mass_g),
            TYPING_ERROR * 100.0,
            name(nominal_g)
        ));
    }
    if let Some((class, mpe_g)) = class
        && off_g > (mpe_g + expanded_g) * (1.0 + ROUNDING)
    {
        return refuse(format!(
            "certificate of {id}: {} is {} from the nominal {}, but class {class} and the uncertainty allow {}: correct the wrong one, or leave the class out",
            name(mass_g),
            name(off_g),
            name(nominal_g),
            name(mpe_g + expanded_g)
        ));
    }
    Ok(Worth::Certificate {
        mass_g,
        expanded_g,
        class,
    })
}
