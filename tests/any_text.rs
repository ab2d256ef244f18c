//! Any text, number or changed file at all: readers and the planner answer
//! with a value that makes sense or a reason, and never panic.

mod support;

use proptest::prelude::*;
use scalewright::record::density::parse_kg_m3;
use scalewright::record::journal;
use scalewright::record::mass::parse_g;
use scalewright::record::place;
use scalewright::record::weights;
use scalewright::report;
use scalewright::review::review;
use scalewright::session::event::Entry;
use scalewright::session::plan::{Plan, PlannedWeight, ScaleSpec};
use support::{GOOD_WEIGHTS, RICH_WEIGHTS, session_text, too_wide};

/// A valid text with some characters replaced, left out or put in.
fn mutated(text: &'static str) -> impl Strategy<Value = String> {
    let change = (any::<prop::sample::Index>(), 0..3u8, any::<char>());
    prop::collection::vec(change, 1..6).prop_map(move |changes| {
        let mut characters: Vec<char> = text.chars().collect();
        for (at, kind, new) in changes {
            if characters.is_empty() {
                break;
            }
            let at = at.index(characters.len());
            match kind {
                0 => characters[at] = new,
                1 => drop(characters.remove(at)),
                _ => characters.insert(at, new),
            }
        }
        characters.into_iter().collect()
    })
}

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => 0.001..20_000.0f64,
        1 => any::<f64>(),
        1 => prop::sample::select(vec![0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300, 1e300]),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_text_as_mass_is_a_mass_or_a_reason(text in any::<String>()) {
        if let Ok(mass_g) = parse_g(&text) {
            prop_assert!(mass_g.is_finite() && mass_g > 0.0);
        }
    }

    #[test]
    fn any_number_with_a_unit_is_a_mass_or_a_reason(
        text in "[0-9+.,-]{0,8}[0-9]{0,400}\\.?[0-9]{0,20} ?(g|kg|mg|t|lb|%|µg)?"
    ) {
        if let Ok(mass_g) = parse_g(&text) {
            prop_assert!(mass_g.is_finite() && mass_g > 0.0, "{mass_g} of {text}");
        }
    }

    #[test]
    fn any_number_as_density_is_possible_or_a_reason(
        text in "[0-9+.,-]{0,8}[0-9]{0,400}\\.?[0-9]{0,20} ?(g/cm3|kg/m3|kg/m³|g)?"
    ) {
        if let Ok(density) = parse_kg_m3(&text) {
            prop_assert!((500.0..=23_000.0).contains(&density), "{density} of {text}");
        }
    }

    #[test]
    fn any_text_as_place_is_on_the_ground_or_a_reason(
        text in "[-+NS ]?[0-9.,;-]{0,12}[°' ]?[NSEW]?,?[0-9.-]{0,6} ?(m|ft|km|m/s2|mGal|°)?|\\PC*"
    ) {
        match place::parse(&text) {
            Ok(spot) => {
                prop_assert!((9.7..=9.9).contains(&spot.gravity.g_m_s2), "{spot:?} of {text}");
                prop_assert!(spot.latitude_deg.is_none_or(|l| l.abs() <= 90.0));
                prop_assert!(spot.height_m.is_none_or(|h| (-500.0..=9000.0).contains(&h)));
            }
            Err(cause) => prop_assert!(!cause.is_empty()),
        }
    }

    #[test]
    fn any_text_as_weights_is_weights_or_a_reason(text in any::<String>()) {
        let _ = weights::parse(&text, "it");
        let _ = weights::from_list(&text, Some("M1"));
    }

    #[test]
    fn changed_weights_are_weights_or_a_reason_with_a_line(text in mutated(GOOD_WEIGHTS)) {
        match weights::parse(&text, "it") {
            Ok(found) => {
                prop_assert!(!found.is_empty());
                for weight in found {
                    prop_assert!(weight.mass_g > 0.0 && weight.u_g > 0.0);
                }
            }
            Err(fault) => {
                let last = text.matches('\n').count() + 1;
                prop_assert!(fault.line.is_none_or(|line| (1..=last).contains(&line)));
                prop_assert!(!fault.cause.contains('\n'));
            }
        }
    }

    #[test]
    fn changed_weights_that_can_be_read_can_be_shown(text in mutated(RICH_WEIGHTS)) {
        if let Ok(listed) = weights::parse_list(&text, "it") {
            let shown = report::weights(&review(&listed), report::Style::PLAIN);
            prop_assert_eq!(too_wide(&shown), [""; 0]);
            prop_assert!(!shown.contains('\u{1b}') && !shown.contains("NaN"), "{}", shown);
        }
    }

    #[test]
    fn any_text_as_session_is_refused(text in any::<String>()) {
        prop_assert!(journal::parse::<Entry>(&text, "it").is_err());
    }

    #[test]
    fn any_scale_and_weights_make_a_sound_plan_or_a_reason(
        max_g in any_number(),
        e_g in any_number(),
        d_g in any_number(),
        class in prop::sample::select(vec!["I", "II", "III", "IIII", "", "3"]),
        masses in prop::collection::vec((any_number(), any_number()), 0..20),
    ) {
        let scale = ScaleSpec { max_g, e_g, d_g, class: class.into() };
        sound(Plan::new(scale, planned(&masses)))?;
    }

    #[test]
    fn any_weights_for_a_good_scale_make_a_sound_plan_or_a_reason(
        masses in prop::collection::vec((any_number(), any_number()), 0..14),
    ) {
        let scale = ScaleSpec { max_g: 6000.0, e_g: 2.0, d_g: 1.0, class: "III".into() };
        sound(Plan::new(scale, planned(&masses)))?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn a_changed_session_is_refused_or_unchanged_in_meaning(text in mutated(session_text())) {
        let original = journal::parse::<Entry>(session_text(), "it").expect("sound");
        // What still reads may lack only its end.
        if let Ok(found) = journal::parse(&text, "it") {
            prop_assert!(found.entries.len() + 1 >= original.entries.len());
            prop_assert!(original.entries.starts_with(&found.entries));
        }
    }
}

fn planned(masses: &[(f64, f64)]) -> Vec<PlannedWeight> {
    let weight = |(index, (mass_g, u_g)): (usize, &(f64, f64))| {
        PlannedWeight::new(format!("W{}", index + 1), *mass_g, *u_g)
    };
    masses.iter().enumerate().map(weight).collect()
}

/// Loads in a plan rise, stay within Max, and none serves twice.
fn sound(plan: Result<Plan, scalewright::session::plan::PlanFault>) -> Result<(), TestCaseError> {
    match plan {
        Ok(plan) => {
            let top = plan.scale.max_g * 1.000_01;
            for loads in [&plan.fit, &plan.verify] {
                for pair in loads.windows(2) {
                    prop_assert!(pair[0].mass_g < pair[1].mass_g);
                }
                for load in loads.iter() {
                    prop_assert!(load.mass_g > 0.0 && load.mass_g <= top, "{load:?}");
                }
            }
            let shared = plan.fit.iter().any(|load| plan.verify.contains(load));
            prop_assert!(plan.fit.len() >= 3 && !shared);
        }
        Err(fault) => prop_assert!(!fault.to_string().is_empty()),
    }
    Ok(())
}
