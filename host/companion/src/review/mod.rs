//! What a set of weights is good for: weights and, if known, the scale in;
//! numbers and remarks out.
//!
//! [`review`] lists what is known of each weight, [`Review::against`] holds the
//! set against a plan made for a scale. Each [`Remark`] says what was seen,
//! what it means and what to do. Knows no file, terminal or port, and prints
//! nothing.
//!
//! | File | Owns |
//! |---|---|
//! | `sums` | the loads that weights make together |
//! | `remarks` | what is to be said of the weights themselves |
//! | `against` | the set against a scale: reach, thirds, small loads |

mod against;
mod remarks;
mod sums;

pub use against::{Against, WorstLoad};

use serde::Serialize;

use crate::record::mass::is_avoirdupois;
use crate::record::weights::{Listed, UNSTATED_SHARE, Worth, name};
use crate::report::number;
use sums::sums;

/// How much a remark weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// As it should be.
    Good,
    /// Good to know.
    Note,
    /// It limits what a calibration can prove.
    Heed,
}

/// Something worth saying.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Remark {
    /// How much it weighs.
    pub level: Level,
    /// What it is about.
    pub topic: Topic,
    /// What was seen, with numbers.
    pub seen: String,
    /// What that means; may be empty.
    pub means: String,
    /// What to do; empty when nothing is to be done.
    #[serde(rename = "try")]
    pub advice: String,
}

/// What a remark is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// Pounds and ounces among grams.
    Units,
    /// Weights of which nothing is stated.
    Unstated,
    /// An uncertainty that is not usual.
    Uncertainty,
    /// Weights of one nominal value.
    Equal,
    /// Substitution loads.
    Substitution,
    /// How much of Max the weights make.
    Reach,
    /// Whether errors of loads stay within a third of the permissible error.
    Thirds,
    /// How many loads a calibration gets.
    Loads,
    /// The lightest load.
    Small,
}

impl Topic {
    /// A word for people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Units => "units",
            Self::Unstated => "unstated",
            Self::Uncertainty => "uncertainty",
            Self::Equal => "equal ones",
            Self::Substitution => "substitution",
            Self::Reach => "reach",
            Self::Thirds => "worth",
            Self::Loads => "loads",
            Self::Small => "small loads",
        }
    }
}

/// What is known of a weight's mass, in a word for programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Its class.
    Class,
    /// A certificate.
    Certificate,
    /// A stated uncertainty.
    Stated,
    /// Nothing.
    Unstated,
}

/// A weight.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WeightRow {
    /// Its name.
    pub id: String,
    /// Its nominal value as it was written.
    pub nominal: String,
    /// The same, g.
    pub nominal_g: f64,
    /// Conventional mass to reckon with, g.
    pub mass_g: f64,
    /// What that rests on.
    pub basis: Basis,
    /// The same for people.
    pub known: String,
    /// Its class after OIML R 111.
    pub class: Option<String>,
    /// The maximum permissible error of that class, g.
    pub class_mpe_g: Option<f64>,
    /// Expanded uncertainty as stated (k = 2), g.
    pub expanded_uncertainty_g: Option<f64>,
    /// Half width of what it may have drifted since, g.
    pub drift_half_width_g: Option<f64>,
    /// Density, kg/m3.
    pub density_kg_m3: Option<f64>,
    /// Half width of what the air may do to its reading, g.
    pub buoyancy_half_width_g: Option<f64>,
    /// Standard uncertainty with all of that, g.
    pub standard_uncertainty_g: f64,
    /// What somebody noted.
    pub note: Option<String>,
}

/// A substitution load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SubstitutionRow {
    /// Its name.
    pub id: String,
    /// The vessel it is a filling of.
    pub filling_of: Option<String>,
    /// Roughly how heavy it is, as it was written.
    pub about: String,
    /// The same, g.
    pub about_g: f64,
    /// The same for people as for weights.
    pub known: String,
    /// Standard uncertainty of that, g.
    pub standard_uncertainty_g: f64,
    /// What somebody noted.
    pub note: Option<String>,
}

/// All that is known of a set of weights.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Review {
    /// The weights, in the order of the file.
    pub weights: Vec<WeightRow>,
    /// The substitution loads.
    pub substitutions: Vec<SubstitutionRow>,
    /// Mass of all weights together, g.
    pub sum_g: f64,
    /// Standard uncertainty of that, g; weights of one set err alike, so theirs
    /// add up.
    pub sum_standard_uncertainty_g: f64,
    /// Rough mass of all substitution loads that can be on the pan together, g.
    pub substitution_sum_g: f64,
    /// How many different loads the weights make, by their nominal values.
    pub different_loads: usize,
    /// Whether there are more: counting ends somewhere.
    pub more_loads: bool,
    /// The set against a scale.
    pub scale: Option<Against>,
    /// What is worth saying.
    pub remarks: Vec<Remark>,
}

/// Reviews the weights of a file.
#[must_use]
pub fn review(listed: &[Listed]) -> Review {
    let of = |substitution: bool| {
        listed
            .iter()
            .filter(move |one| matches!(one.worth, Worth::ToBeFound) == substitution)
    };
    let weights: Vec<WeightRow> = of(false).map(weight_row).collect();
    let substitutions: Vec<SubstitutionRow> = of(true).map(substitution_row).collect();
    let sums = sums(weights.iter().map(|one| one.nominal_g), f64::INFINITY);
    Review {
        sum_g: weights.iter().map(|one| one.mass_g).sum(),
        sum_standard_uncertainty_g: weights.iter().map(|one| one.standard_uncertainty_g).sum(),
        substitution_sum_g: most_at_once_g(&substitutions),
        different_loads: sums.loads_g.len(),
        more_loads: sums.more,
        scale: None,
        remarks: remarks::remarks(&weights, &substitutions),
        weights,
        substitutions,
    }
}

/// Rough mass of what can be on the pan at once, g: of a vessel its last filling.
fn most_at_once_g(substitutions: &[SubstitutionRow]) -> f64 {
    let last = |(index, one): (usize, &SubstitutionRow)| {
        let later = substitutions.get(index + 1..).unwrap_or_default();
        let refilled = one.filling_of.is_some()
            && later.iter().any(|other| other.filling_of == one.filling_of);
        (!refilled).then_some(one.about_g)
    };
    substitutions.iter().enumerate().filter_map(last).sum()
}

fn weight_row(one: &Listed) -> WeightRow {
    let (basis, class, expanded_g) = match one.worth {
        Worth::Class { class, mpe_g } => (Basis::Class, Some((class, mpe_g)), None),
        Worth::Stated { expanded_g } => (Basis::Stated, None, Some(expanded_g)),
        Worth::Certificate {
            expanded_g, class, ..
        } => (Basis::Certificate, class, Some(expanded_g)),
        Worth::Unstated | Worth::ToBeFound => (Basis::Unstated, None, None),
    };
    WeightRow {
        id: one.id.clone(),
        nominal: one.nominal.clone(),
        nominal_g: one.nominal_g,
        mass_g: one.mass_g(),
        basis,
        known: words(one.worth),
        class: class.map(|(class, _)| class.to_string()),
        class_mpe_g: class.map(|(_, mpe_g)| mpe_g),
        expanded_uncertainty_g: expanded_g,
        drift_half_width_g: one.drift_g,
        density_kg_m3: one.density_kg_m3,
        buoyancy_half_width_g: one.buoyancy_g(),
        standard_uncertainty_g: one.u_g(),
        note: one.note.clone(),
    }
}

fn substitution_row(one: &Listed) -> SubstitutionRow {
    SubstitutionRow {
        id: one.id.clone(),
        filling_of: one.filling.as_ref().map(|filling| filling.vessel.clone()),
        about: one.nominal.clone(),
        about_g: one.nominal_g,
        known: words(one.worth),
        standard_uncertainty_g: one.u_g(),
        note: one.note.clone(),
    }
}

/// What is known of a mass, for people.
fn words(worth: Worth) -> String {
    match worth {
        Worth::Class { class, mpe_g } => format!("{class}: within {}", name(mpe_g)),
        Worth::Stated { expanded_g } => format!("stated, U = {}", number::spread(expanded_g, 3)),
        Worth::Certificate { expanded_g, .. } => {
            format!("certificate, U = {}", number::spread(expanded_g, 3))
        }
        Worth::Unstated => format!("nothing stated: {} % assumed", UNSTATED_SHARE * 100.0),
        Worth::ToBeFound => "substitution load, mass to be found".into(),
    }
}

impl WeightRow {
    /// Whether the mass to reckon with is not read off the nominal value.
    #[must_use]
    pub fn has_another_mass(&self) -> bool {
        self.basis == Basis::Certificate || is_avoirdupois(&self.nominal)
    }
}

/// A mass that is known roughly: to a thousandth of it.
#[must_use]
pub fn rough(mass_g: f64) -> String {
    number::mass(mass_g, mass_g / 1000.0)
}

/// Names as people list them: "a", "a and b", "a, b and c"; of many the first
/// six.
fn listing(names: &[String]) -> String {
    const MOST: usize = 6;
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [some @ .., last] if names.len() <= MOST => format!("{} and {last}", some.join(", ")),
        _ => {
            let first = names.get(..MOST).unwrap_or_default().join(", ");
            format!("{first} and {} more", names.len() - MOST)
        }
    }
}
