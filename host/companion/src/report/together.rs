//! What all captures say together. Here in sentences: which weight is off and
//! by how much, what can't be decided and what would settle it. Below:
//!
//! | Module | Says |
//! |---|---|
//! | `weights` | each weight as found, in words |
//! | `small` | what a small load reads on a big one |
//! | `cell` | hysteresis, creep and scatter, in words |
//! | `page`, `terminal` | all three as sections of the two reports |

pub(super) mod cell;
pub(super) mod page;
pub(super) mod small;
pub(super) mod terminal;
pub(super) mod weights;

use super::number;
use crate::record::outcome::{CorrectionTried, Outcome};
use crate::record::together::{Beforehand, Suspected, Together, Uncertain, Verdict, WeightFound};

/// Coverage factor of what is printed after a ±.
const K: f64 = 2.0;

/// A weight counts as checked when a deviation of 2 e would be four standard
/// uncertainties.
const CHECKED_E: f64 = 0.5;

/// A weight lighter than this many e can't be wrong by 2 e and still be taken
/// for what it is called.
const HARMLESS_E: f64 = 4.0;

/// A value with its expanded uncertainty, as "5.6 g ± 0.6 g".
#[must_use]
pub fn with_u(found: Uncertain) -> String {
    if !found.value.is_finite() {
        return number::UNKNOWN.to_owned();
    }
    let (value, expanded) = both(found.value, K * found.u);
    format!("{value} g ± {expanded} g")
}

/// Whether taking hysteresis off in the scale helps, by its verification.
#[must_use]
pub fn correction(tried: &CorrectionTried) -> String {
    cell::correction(tried)
}

/// A value and its expanded uncertainty: two digits of the uncertainty, and the
/// value to the same place.
fn both(value: f64, expanded: f64) -> (String, String) {
    let places = places(expanded);
    (
        number::fixed(value, places),
        number::fixed(expanded.abs(), places),
    )
}

/// Decimals that show two digits of an expanded uncertainty.
fn places(expanded: f64) -> usize {
    let size = expanded.abs();
    if size > 0.0 && size.is_finite() {
        number::decimals(10f64.powf(size.log10().floor() - 1.0))
    } else {
        number::decimals(1e-3)
    }
}

/// Positions of the captures that are believed wrong and were left out of the
/// table, among all captures.
pub(super) fn left_out(outcome: &Outcome) -> Vec<usize> {
    let verdicts = outcome.together.iter().flat_map(|found| &found.verdicts);
    verdicts
        .filter_map(|verdict| match verdict {
            Verdict::Off {
                suspected: Suspected::Capture { index, .. },
                ..
            } => Some(*index),
            _ => None,
        })
        .collect()
}

/// The verdicts in words; when nothing is wrong, what that rests on.
#[must_use]
pub fn sentences(found: &Together, e_g: f64) -> Vec<String> {
    let mut out: Vec<String> = found
        .verdicts
        .iter()
        .map(|verdict| match verdict {
            Verdict::Off {
                suspected,
                by_g,
                table_u_g,
            } => off(found, suspected, *by_g, *table_u_g),
            Verdict::Undecided { between, settling } => {
                undecided(found, between, settling.as_deref())
            }
        })
        .collect();
    if out.is_empty() {
        out.extend(all_well(found, e_g));
    }
    let jugs = found
        .weights
        .iter()
        .filter(|one| one.beforehand == Beforehand::Nothing);
    out.extend(jugs.map(|jug| format!("{} weighs {}.", jug.id, with_u(jug.mass_g))));
    if found.repeated == 0 && !found.weights.is_empty() {
        out.push(
            "No load was captured twice: how well one comes back is believed, not measured. Capture one of them again.".into(),
        );
    }
    out
}

/// A mass in short, as "1 kg".
fn name(mass_g: f64) -> String {
    match mass_g.is_finite() {
        true => crate::record::weights::name(mass_g),
        false => number::UNKNOWN.to_owned(),
    }
}

/// A weight with its stated mass, as "W3 (1 kg)".
fn called(found: &Together, id: &str) -> String {
    let weight = found.weights.iter().find(|weight| weight.id == id);
    weight.map_or_else(|| id.to_owned(), weights::called)
}

fn off(found: &Together, suspected: &Suspected, by_g: Uncertain, table_u_g: f64) -> String {
    let size = with_u(Uncertain {
        value: by_g.value.abs(),
        ..by_g
    });
    let within = number::significant(K * table_u_g, 2);
    match suspected {
        Suspected::Weight { id } => {
            let way = if by_g.value < 0.0 { "light" } else { "heavy" };
            let weight = found.weights.iter().find(|weight| weight.id == *id);
            let mass = weight.map_or(0.0, |weight| weight.stated_g);
            format!(
                "{} is {size} too {way}, whatever is stated of it; the scale with its new table is within {within} g at {}. The calibration reckons with its mass as found; set the weight aside, or state that mass in the weights file.",
                called(found, id),
                name(mass)
            )
        }
        Suspected::Capture {
            weights, mass_g, ..
        } => {
            let way = if by_g.value < 0.0 { "little" } else { "much" };
            format!(
                "The capture of {} ({}) read {size} too {way}, as no other capture does: another load lay there, or something touched it. It was left out of the table.",
                weights.join(" + "),
                name(*mass_g)
            )
        }
        Suspected::Scale => "The scale itself is uneven.".into(),
    }
}

fn undecided(found: &Together, between: &[Suspected], settling: Option<&[String]>) -> String {
    let names: Vec<String> = between
        .iter()
        .map(|suspected| match suspected {
            Suspected::Weight { id } => called(found, id),
            Suspected::Capture {
                weights, mass_g, ..
            } => format!("the capture of {} ({})", weights.join(" + "), name(*mass_g)),
            Suspected::Scale => "the scale itself".into(),
        })
        .collect();
    let who = match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => names.join(""),
    };
    let next = match settling {
        Some(weights) => format!("Capture {}: that tells.", weights.join(" + ")),
        None => "No load that these weights make would tell; borrow another weight.".into(),
    };
    format!("Something is off, and these captures can't tell whether it is {who}. {next}")
}

/// What "nothing is wrong" is worth.
fn all_well(found: &Together, e_g: f64) -> Vec<String> {
    let known: Vec<&WeightFound> = found
        .weights
        .iter()
        .filter(|one| one.beforehand != Beforehand::Nothing)
        .collect();
    let heavy = |one: &&&WeightFound| one.stated_g >= HARMLESS_E * e_g;
    let seen = |one: &&&WeightFound| one.alone_u_g.is_some_and(|u| u <= CHECKED_E * e_g);
    let checked = known.iter().filter(heavy).filter(seen).count();
    let unseen: Vec<String> = known
        .iter()
        .filter(heavy)
        .filter(|one| !seen(one))
        .map(|one| called(found, &one.id))
        .collect();
    let mut out = Vec::new();
    if checked > 0 {
        let many = if checked == 1 {
            "weight agrees"
        } else {
            "weights agree"
        };
        out.push(format!(
            "{checked} {many} with what is stated: one that is off by 2 e ({}) would have been noticed.",
            name(2.0 * e_g)
        ));
    }
    if !unseen.is_empty() {
        let rest = match unseen.split_last() {
            _ if unseen.len() > 4 => format!("{} of the weights", unseen.len()),
            Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
            _ => unseen.join(""),
        };
        let it = if unseen.len() == 1 { "it" } else { "them" };
        out.push(format!(
            "These captures do not check {rest}: what is stated of {it} is believed."
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weight(id: &str, stated_g: f64) -> WeightFound {
        WeightFound {
            id: id.into(),
            stated_g,
            beforehand: Beforehand::Within,
            may_be_off_g: 0.05,
            mass_g: Uncertain {
                value: stated_g,
                u: 0.01,
            },
            between_g: (stated_g - 0.02, stated_g + 0.02),
            alone_u_g: Some(0.3),
            captures: 3,
            wrong: false,
        }
    }

    fn found(verdicts: Vec<Verdict>) -> Together {
        Together {
            weights: vec![weight("W3", 1000.0), weight("1 kg b", 1000.0)],
            verdicts,
            ..Together::default()
        }
    }

    #[test]
    fn a_light_weight_is_said_with_size_and_uncertainty() {
        let verdict = Verdict::Off {
            suspected: Suspected::Weight { id: "W3".into() },
            by_g: Uncertain {
                value: -5.6,
                u: 0.3,
            },
            table_u_g: 0.25,
        };
        let text = sentences(&found(vec![verdict]), 2.0).join(" ");
        assert!(
            text.contains("W3 (1 kg) is 5.60 g ± 0.60 g too light"),
            "{text}"
        );
        assert!(text.contains("within 0.50 g at 1 kg"), "{text}");
    }

    #[test]
    fn what_is_undecided_names_all_and_what_would_settle_it() {
        let verdict = Verdict::Undecided {
            between: vec![
                Suspected::Weight { id: "W3".into() },
                Suspected::Weight {
                    id: "1 kg b".into(),
                },
                Suspected::Scale,
            ],
            settling: Some(vec!["W3".into(), "W4".into()]),
        };
        let text = sentences(&found(vec![verdict]), 2.0).join(" ");
        assert!(
            text.contains("W3 (1 kg), 1 kg b or the scale itself"),
            "{text}"
        );
        assert!(text.contains("Capture W3 + W4: that tells"), "{text}");
    }

    #[test]
    fn when_nothing_is_wrong_it_says_what_that_is_worth() {
        let mut all = found(Vec::new());
        if let Some(one) = all.weights.get_mut(1) {
            one.alone_u_g = None;
        }
        let text = sentences(&all, 2.0).join(" ");
        assert!(text.contains("1 weight agrees"), "{text}");
        assert!(text.contains("do not check 1 kg b"), "{text}");
    }
}
