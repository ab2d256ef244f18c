//! The tests of a scale with one load again and again, in one place or several,
//! or nudged, against the numbers of OIML R 76-1:2006
//! (tests/reference/r76_rules.toml, marks there): on every limit and just past it.

mod common;
#[path = "common/scales.rs"]
mod scales;

use scales::{ZERO, fine, rule, scale};
use scalewright_metrology::performance::{
    DISCRIMINATION_D, Judgement, Nudge, Place, PlaceReading, Purpose, Reading, Shortfall,
    discrimination, eccentricity, repeatability, weighings_needed,
};
use scalewright_metrology::tolerance::AccuracyClass;

/// R 76-1, 3.6.1: the spread and each result within the permitted error.
#[test]
fn repeatability_judges_spread_and_each_result() {
    let shown = |all: &[f64]| all.iter().map(|g| Reading::shown(*g)).collect::<Vec<_>>();
    let judged = |all: &[f64]| {
        repeatability(&fine(), Some(5000.0), &shown(all), Purpose::Verification).expect("numbers")
    };
    // Permitted: 3 g.
    let on = judged(&[4998.5, 5001.5, 5000.0]);
    assert_eq!(
        (on.judgement, on.incomplete.as_slice()),
        (Judgement::Passes, [].as_slice())
    );
    assert_eq!((on.spread.observed_g, on.mean_g), (3.0, 5000.0));
    assert!((on.sd_g - 1.5).abs() < 1e-12, "divisor n - 1");
    assert_eq!(
        judged(&[4998.5, 5001.51, 5000.0]).judgement,
        Judgement::Fails
    );
    // No spread, but each result off.
    assert_eq!(judged(&[5003.0; 3]).judgement, Judgement::Passes);
    let off = judged(&[5003.01; 3]);
    assert_eq!(
        (off.spread.judgement, off.judgement),
        (Judgement::Passes, Judgement::Fails)
    );
    // Mass unknown: the spread alone, and said so.
    let readings = shown(&[4998.5, 5001.5, 5000.0]);
    let unknown = repeatability(&fine(), None, &readings, Purpose::Verification).expect("numbers");
    assert_eq!(unknown.largest_error, None);
    assert_eq!(unknown.incomplete, [Shortfall::MassUnknown]);
    assert_eq!(unknown.judgement, Judgement::PassesSoFar);
    // In steps of e: no spread seen is less than e for sure, one step is not.
    let coarse = scale("R76 III initial", 2.0, 6000.0, 40.0);
    for (last_g, judgement) in [
        (5000.0, Judgement::Passes),
        (5002.0, Judgement::Open),
        (5006.0, Judgement::Fails),
    ] {
        let readings = shown(&[5000.0, 5000.0, last_g]);
        let got = repeatability(&coarse, Some(5000.0), &readings, Purpose::Verification);
        assert_eq!(got.expect("numbers").judgement, judgement, "{last_g}");
    }
}

/// R 76-1, 8.3.3 and A.4.10.
#[test]
fn repeatability_asks_for_enough_weighings_and_load() {
    use AccuracyClass::{I, II, III, IIII};
    let n = |key: &str| rule("repeatability", key) as usize;
    for (class, key) in [
        (I, "verification_weighings_class_I_II"),
        (II, "verification_weighings_class_I_II"),
        (III, "verification_weighings_class_III_IIII"),
        (IIII, "verification_weighings_class_III_IIII"),
    ] {
        assert_eq!(
            weighings_needed(Some(class), Purpose::Verification, 6000.0),
            n(key)
        );
    }
    let type_n = |max_g| weighings_needed(Some(III), Purpose::TypeExamination, max_g);
    assert_eq!(type_n(999_999.0), n("type_weighings_below_1000_kg"));
    assert_eq!(type_n(1e6), n("type_weighings_from_1000_kg"));
    let near_max = rule("repeatability", "verification_load_share") * 6000.0;
    let told = |load_g: f64, times, purpose| {
        repeatability(
            &fine(),
            Some(load_g),
            &vec![Reading::shown(load_g); times],
            purpose,
        )
        .expect("numbers")
        .incomplete
    };
    assert_eq!(told(near_max, 3, Purpose::Verification), []);
    assert_eq!(
        told(near_max, 2, Purpose::Verification),
        [Shortfall::TooFewReadings { given: 2, asked: 3 }]
    );
    assert_eq!(
        told(2000.0, 3, Purpose::Verification),
        [Shortfall::LoadTooSmall {
            load_g: 2000.0,
            asked_g: near_max
        }]
    );
    assert_eq!(told(3000.0, 10, Purpose::TypeExamination), []);
    let class_ii = scale("R76 II initial", 0.1, 6000.0, 5.0);
    let readings = [Reading::shown(5000.0); 5];
    let five = repeatability(&class_ii, Some(5000.0), &readings, Purpose::Verification);
    let five = five.expect("numbers").incomplete;
    assert!(five.contains(&Shortfall::TooFewReadings { given: 5, asked: 6 }));
}

/// R 76-1, 3.6.2: a third of Max on four places, each within its error.
#[test]
fn eccentricity_judges_each_place() {
    let load_g = 6000.0 / rule("eccentricity", "load_divisor_up_to_4_supports");
    let place = |place, off_g: f64| PlaceReading {
        place,
        reading: Reading::shown(load_g + off_g),
    };
    let with = |off_g: f64| {
        [
            place(Place::Centre, 0.5),
            place(Place::Segment(1), 1.0),
            place(Place::Segment(2), -0.6),
            place(Place::Segment(3), off_g),
            place(Place::Segment(4), 0.2),
            place(Place::Centre, 0.7),
        ]
    };
    let judged = |readings: &[PlaceReading], supports| {
        eccentricity(&fine(), Some(ZERO), load_g, readings, supports, 0.0).expect("numbers")
    };
    // 2000 g is in the second step: 2 g.
    let on = judged(&with(-2.0), 4);
    assert_eq!(
        (on.judgement, on.incomplete.as_slice()),
        (Judgement::Passes, [].as_slice())
    );
    assert_eq!(on.asked_g, load_g);
    assert!((on.from_centre_g.expect("a centre") - 2.6).abs() < 1e-9);
    assert_eq!(judged(&with(-2.01), 4).judgement, Judgement::Fails);
    let cornered = judged(&with(0.0)[1..5], 1);
    assert_eq!(
        (cornered.judgement, cornered.from_centre_g),
        (Judgement::Passes, None)
    );
    let places = rule("eccentricity", "places_up_to_4_supports") as usize;
    let three = judged(&with(0.0)[..4], 4).incomplete;
    assert_eq!(
        three,
        [Shortfall::TooFewPlaces {
            given: 3,
            asked: places
        }]
    );
    // Five supports: (Max + additive tare)/4 on five places.
    let five = eccentricity(&fine(), Some(ZERO), load_g, &with(0.0), 5, 4000.0).expect("numbers");
    assert_eq!(five.asked_g, 2500.0);
    assert_eq!(
        five.incomplete,
        [
            Shortfall::TooFewPlaces { given: 4, asked: 5 },
            Shortfall::LoadTooSmall {
                load_g,
                asked_g: 2500.0
            },
        ]
    );
    assert!(eccentricity(&fine(), None, load_g, &with(0.0), 4, -1.0).is_err());
}

/// R 76-1, 3.8.2.2: 1.4 d must move the indication.
#[test]
fn discrimination_judges_what_a_nudge_proves() {
    assert_eq!(rule("discrimination", "step_d"), DISCRIMINATION_D);
    let coarse = scale("R76 III initial", 2.0, 6000.0, 40.0);
    let nudge = |load_g: f64, weight_g: f64, moved_g: f64| Nudge {
        load_g,
        weight_g,
        before_g: load_g,
        after_g: load_g + moved_g,
    };
    let rest = [nudge(40.0, 2.8, 2.0), nudge(6000.0, -2.8, -2.0)];
    for (weight_g, moved_g, judgement) in [
        (2.8, 2.0, Judgement::Passes),
        (2.8, 0.0, Judgement::Fails),
        (2.8, 1.9, Judgement::Fails),
        // The wrong way.
        (-2.8, 2.0, Judgement::Fails),
        (-2.8, -2.0, Judgement::Passes),
        // A lighter nudge that was seen, a heavier one that was not: proof enough.
        (2.0, 2.0, Judgement::Passes),
        (5.0, 0.0, Judgement::Fails),
        // The other two prove nothing.
        (2.0, 0.0, Judgement::Open),
        (5.0, 4.0, Judgement::Open),
    ] {
        let all = [rest[0], nudge(3000.0, weight_g, moved_g), rest[1]];
        let got = discrimination(&coarse, &all).expect("numbers");
        assert_eq!(got.judgement, judgement, "{weight_g} {moved_g}");
        assert!(got.required);
    }
    let told = discrimination(&coarse, &rest).expect("numbers");
    assert_eq!(
        told.incomplete,
        [Shortfall::LoadNotTried { asked_g: 3000.0 }]
    );
    assert_eq!(told.judgement, Judgement::PassesSoFar);
    let from_g = rule("discrimination", "required_from_d_mg") / 1000.0;
    for (e_g, required) in [(from_g, true), (0.002, false)] {
        let scale = scale("R76 I initial", e_g, 2000.0, 0.5);
        let got = discrimination(&scale, &[nudge(1000.0, 1.4 * e_g, e_g)]).expect("numbers");
        assert_eq!(got.required, required, "{e_g}");
    }
}
