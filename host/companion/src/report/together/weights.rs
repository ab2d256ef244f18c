//! Each weight as the captures found it, in words: as stated and what that is
//! worth, as found, how far off, and whether the captures would have told.
//!
//! Refuses: to judge; a weight is wrong or in doubt where the record says so.

use super::{CHECKED_E, K, both, name, places, with_u};
use crate::record::together::{Beforehand, Suspected, Together, Uncertain, Verdict, WeightFound};
use crate::report::number;

/// Below this, deviation and uncertainty are written in mg.
const IN_MG_BELOW_G: f64 = 0.5;

/// More names than this are counted instead.
const MOST_NAMES: usize = 2;

/// What is believed of a weight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::report) enum Standing {
    /// Nothing speaks against what is stated.
    Fine,
    /// It is one of several of which something is wrong.
    Doubted,
    /// It is not what is stated.
    Wrong,
}

/// One weight in words.
pub(in crate::report) struct Row {
    /// Its name.
    pub id: String,
    /// Its mass as stated, as "1 kg" or "about 2.3 kg".
    pub stated: String,
    /// What that is worth, as "within 50 mg".
    pub worth: String,
    /// As found with U, both in g, as "999.98 ± 0.05".
    pub found: String,
    /// How far from what is stated, as "-20 mg"; absent where nothing exact is
    /// stated.
    pub off: Option<String>,
    /// Captures it was part of.
    pub captures: usize,
    /// What the captures alone would have noticed, as "0.3 g"; absent where they
    /// don't tell it from others.
    pub told_to: Option<String>,
    /// Whether that is fine enough for the scale.
    pub checked: bool,
    /// What is believed of it.
    pub standing: Standing,
    /// That in words, where it isn't fine.
    pub remark: Option<String>,
}

/// All weights, in the order of the record.
pub(in crate::report) fn rows(found: &Together, e_g: f64) -> Vec<Row> {
    let row = |one: &WeightFound| {
        let (mass, expanded) = both(one.mass_g.value, K * one.mass_g.u);
        let rough = one.beforehand == Beforehand::Nothing;
        Row {
            id: one.id.clone(),
            stated: stated(one),
            worth: match one.beforehand {
                Beforehand::Within => format!("within {}", number::spread(one.may_be_off_g, 2)),
                Beforehand::Stated => format!("U = {}", number::spread(one.may_be_off_g, 2)),
                Beforehand::Nothing => number::UNKNOWN.to_owned(),
            },
            found: match one.mass_g.value.is_finite() {
                true => format!("{mass} ± {expanded}"),
                false => number::UNKNOWN.to_owned(),
            },
            off: (!rough).then(|| off(deviation_g(one), K * one.mass_g.u)),
            captures: one.captures,
            told_to: one
                .alone_u_g
                .filter(|u| u.is_finite())
                .map(|u| number::spread(K * u, 2)),
            checked: one.alone_u_g.is_some_and(|u| u <= CHECKED_E * e_g),
            standing: standing(found, one),
            remark: remark(found, one),
        }
    };
    found.weights.iter().map(row).collect()
}

/// What is believed of one weight.
pub(in crate::report) fn standing(found: &Together, one: &WeightFound) -> Standing {
    let doubted = found.verdicts.iter().any(|verdict| match verdict {
        Verdict::Undecided { between, .. } => between
            .iter()
            .any(|who| matches!(who, Suspected::Weight { id } if *id == one.id)),
        Verdict::Off { .. } => false,
    });
    match (one.wrong, doubted) {
        (true, _) => Standing::Wrong,
        (false, true) => Standing::Doubted,
        (false, false) => Standing::Fine,
    }
}

/// As found less as stated, g.
pub(in crate::report) fn deviation_g(one: &WeightFound) -> f64 {
    one.mass_g.value - one.stated_g
}

/// A deviation to the place that its expanded uncertainty allows.
pub(in crate::report) fn off(deviation_g: f64, expanded_g: f64) -> String {
    if !deviation_g.is_finite() {
        return number::UNKNOWN.to_owned();
    }
    // f64::max passes over what is no number.
    let (factor, unit) = match deviation_g.abs().max(expanded_g.abs()) < IN_MG_BELOW_G {
        true => (1e3, "mg"),
        false => (1.0, "g"),
    };
    let digits = places(expanded_g * factor);
    format!("{} {unit}", number::signed(deviation_g * factor, digits))
}

/// What one sees of all weights at a glance, in a sentence.
pub(in crate::report) fn headline(found: &Together) -> String {
    let known: Vec<&WeightFound> = found
        .weights
        .iter()
        .filter(|one| one.beforehand != Beforehand::Nothing)
        .collect();
    let are = |which: Standing| -> Vec<&&WeightFound> {
        let same = known.iter().filter(|one| standing(found, one) == which);
        same.collect()
    };
    let (wrong, doubted, fine) = (
        are(Standing::Wrong),
        are(Standing::Doubted),
        are(Standing::Fine),
    );
    let mut parts = Vec::new();
    match wrong.len() {
        0 => {}
        1..=MOST_NAMES => parts.extend(
            wrong
                .iter()
                .map(|one| format!("{} is {}", one.id, too_what(found, one))),
        ),
        many => parts.push(format!("{many} weights are wrong")),
    }
    match doubted.len() {
        0 => {}
        1 => parts.push("1 weight is in doubt".to_owned()),
        many => parts.push(format!("{many} weights are in doubt")),
    }
    let fine = match (fine.len(), parts.is_empty()) {
        (0, _) => None,
        (1, true) => Some("what is stated of the one weight".to_owned()),
        (many, true) => Some(format!("what is stated of these {many} weights")),
        (1, false) => Some("what is stated of the other one".to_owned()),
        (many, false) => Some(format!("what is stated of the other {many}")),
    };
    parts.extend(fine.map(|what| format!("nothing speaks against {what}")));
    let text = parts.join("; ");
    match text.is_empty() {
        true => String::new(),
        false => format!("{}.", super::super::words::capital(&text)),
    }
}

fn stated(one: &WeightFound) -> String {
    if !one.stated_g.is_finite() {
        return number::UNKNOWN.to_owned();
    }
    match one.beforehand {
        Beforehand::Nothing => {
            format!(
                "about {}",
                number::mass(one.stated_g, one.stated_g / 1000.0)
            )
        }
        // To two digits of what it is worth: 999.98 g with U = 10 mg.
        _ => number::mass(one.stated_g, (one.may_be_off_g / 10.0).min(1e-3)),
    }
}

fn remark(found: &Together, one: &WeightFound) -> Option<String> {
    match standing(found, one) {
        Standing::Fine => None,
        Standing::Doubted => Some("in doubt: it may be the one that is off".to_owned()),
        Standing::Wrong => Some(format!("wrong: {}", too_what(found, one))),
    }
}

/// How wrong a weight is, as "5.60 g ± 0.60 g too light".
fn too_what(found: &Together, one: &WeightFound) -> String {
    let told = found.verdicts.iter().find_map(|verdict| match verdict {
        Verdict::Off {
            suspected: Suspected::Weight { id },
            by_g,
            ..
        } if *id == one.id => Some(*by_g),
        _ => None,
    });
    let by_g = told.unwrap_or(Uncertain {
        value: deviation_g(one),
        u: one.mass_g.u,
    });
    let way = if by_g.value < 0.0 { "light" } else { "heavy" };
    let size = with_u(Uncertain {
        value: by_g.value.abs(),
        ..by_g
    });
    format!("{size} too {way}")
}

/// A weight with its stated mass, as "W3 (1 kg)"; just its name when that says
/// the mass or none is stated.
pub(in crate::report) fn called(one: &WeightFound) -> String {
    let mass = name(one.stated_g);
    match one.beforehand {
        Beforehand::Nothing => one.id.clone(),
        _ if one.id.contains(&mass) || !one.stated_g.is_finite() => one.id.clone(),
        _ => format!("{} ({mass})", one.id),
    }
}
