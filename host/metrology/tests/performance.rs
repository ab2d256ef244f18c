//! The tests of a scale with many loads, against the numbers of OIML R 76-1:2006
//! (tests/reference/r76_rules.toml, marks there): on every limit and just past it.

mod common;
#[path = "common/scales.rs"]
mod scales;

use scales::{ZERO, at, fine, rule, rules, scale};
use scalewright_metrology::performance::{
    Extent, Instrument, Judgement, LoadReading, Reading, Shortfall, SmallOnBigReadings, Unusable,
    small_on_big, tare, weighing, zero_setting,
};
use scalewright_metrology::tolerance::Intervals;

/// Up to Max and down, over Min and both changes of class III: errors all 0.
fn whole_course() -> Vec<LoadReading> {
    [
        40.0, 200.0, 500.0, 1000.0, 2000.0, 3000.0, 4000.0, 4500.0, 5000.0, 6000.0, 4000.0, 1000.0,
    ]
    .map(|load_g| at(load_g, load_g))
    .to_vec()
}

/// R 76-1, A.4.4.3: the cases of the reference file.
#[test]
fn errors_before_rounding_are_those_published() {
    let rules = rules();
    let cases = rules["error_cases"].as_array().expect("cases");
    assert_eq!(cases.len(), 3);
    for case in cases {
        let n = |key: &str| case[key].as_float().expect("a number");
        let instrument = scale("R76 III initial", n("e"), 4.0 * n("L"), 0.0);
        let load = LoadReading {
            load_g: n("L"),
            reading: Reading::stepped_by(n("I"), n("dL")),
        };
        // An error of e/2 - dL at zero.
        let zero = LoadReading {
            load_g: 0.0,
            reading: Reading::stepped_by(0.0, n("e") / 2.0 - n("E0")),
        };
        let got = weighing(&instrument, Some(zero), &[load], Extent::Other).expect("numbers");
        assert_eq!(got.zero_error_g, Some(n("E0")));
        let errors = got.errors[0].before_rounding;
        assert_eq!((errors.e, errors.ec), (n("E"), n("Ec")));
        assert_eq!(got.errors[0].finding.slack_g, 0.0);
    }
}

/// Each step of class III, on the permitted error and one reading step past it.
#[test]
fn every_load_is_judged_by_its_own_step() {
    for (load_g, mpe_g) in [
        (1000.0, 1.0),
        (1000.1, 2.0),
        (4000.0, 2.0),
        (4000.1, 3.0),
        (6000.0, 3.0),
    ] {
        for sign in [1.0, -1.0] {
            for (past_g, judgement) in [(0.0, Judgement::Passes), (0.01, Judgement::Fails)] {
                let mut course = whole_course();
                course.push(at(load_g, load_g + sign * (mpe_g + past_g)));
                let got = weighing(&fine(), Some(ZERO), &course, Extent::InitialIntrinsicError)
                    .expect("numbers");
                assert_eq!(got.incomplete, []);
                assert_eq!(got.judgement, judgement, "{load_g} {sign} {past_g}");
            }
        }
    }
}

/// An error on its limit passes however many intervals the load has: 30 million
/// here, where f64 loses more than a billionth of the error.
#[test]
fn decimal_readings_on_a_limit_pass() {
    let scale = scale("R76 I initial", 0.001, 60_000.0, 0.1)
        .read_in_steps_of(0.000_1)
        .expect("finer");
    // In steps of 0.1 mg, each number rounded to f64 on its own.
    for k in (0..2000).map(|k| 300_000_000 + 997 * k) {
        let decimal = |steps: i32| f64::from(steps) / 10_000.0;
        let load_g = decimal(k);
        let on = [at(load_g, decimal(k + 15))];
        let got = weighing(&scale, Some(ZERO), &on, Extent::Other).expect("numbers");
        assert_eq!(
            got.errors[0].finding.judgement,
            Judgement::Passes,
            "{load_g}"
        );
        let past = [at(load_g, decimal(k + 16))];
        let got = weighing(&scale, Some(ZERO), &past, Extent::Other).expect("numbers");
        assert_eq!(got.judgement, Judgement::Fails, "{load_g}");
    }
}

#[test]
fn the_error_at_zero_is_taken_off() {
    let mut course = whole_course();
    course.push(at(500.0, 501.3));
    let judged = |zero| weighing(&fine(), zero, &course, Extent::Other).expect("numbers");
    assert_eq!(judged(Some(ZERO)).judgement, Judgement::Fails);
    assert_eq!(judged(Some(at(0.0, 0.29))).judgement, Judgement::Fails);
    assert_eq!(judged(Some(at(0.0, 0.3))).judgement, Judgement::Passes);
    // All others read 0.4 g low then, which their limits allow.
    assert_eq!(judged(Some(at(20.0, 20.4))).judgement, Judgement::Passes);
    // Not determined, zero may be 0.25 e off: that decides it.
    let unknown = judged(None);
    assert_eq!(unknown.judgement, Judgement::Open);
    assert_eq!(unknown.incomplete, [Shortfall::ZeroErrorUnknown]);
}

#[test]
fn rounding_never_makes_the_verdict() {
    let coarse = scale("R76 III initial", 2.0, 6000.0, 40.0);
    // 2 g off in steps of 2 g: the error is between 1 and 3 g, 3 g permitted,
    // but zero may be another 1 g off.
    for (indication_g, judgement) in [
        (5000.0, Judgement::PassesSoFar),
        (5002.0, Judgement::Open),
        (5004.0, Judgement::Open),
        (5006.0, Judgement::Fails),
    ] {
        let load = [at(5000.0, indication_g)];
        let got = weighing(&coarse, Some(ZERO), &load, Extent::Other).expect("numbers");
        assert_eq!(got.judgement, judgement, "{indication_g}");
        let told = |s: &Shortfall| matches!(s, Shortfall::RoundingNotRemoved { .. });
        let open = judgement == Judgement::Open;
        assert_eq!(got.incomplete.iter().any(told), open, "{indication_g}");
    }
    // Steps of a fifth of e are fine enough, a little more is not.
    for (reads_to_g, slack_g) in [(0.4, 0.0), (0.41, 0.205)] {
        let read = coarse.clone().read_in_steps_of(reads_to_g).expect("finer");
        let got = weighing(&read, Some(ZERO), &[at(5000.0, 5000.0)], Extent::Other);
        let finding = got.expect("numbers").errors[0].finding;
        assert!((finding.slack_g - 2.0 * slack_g).abs() < 1e-12);
    }
}

/// R 76-1, A.4.4.1: ten loads, or five; Min, Max and the changes; back down.
#[test]
fn a_course_of_loads_says_what_it_left_out() {
    let missing = |loads: &[LoadReading], extent| {
        weighing(&fine(), Some(ZERO), loads, extent)
            .expect("numbers")
            .incomplete
    };
    let course = whole_course();
    let ten = rule("test_loads", "initial_intrinsic_error_min_loads") as usize;
    let five = rule("test_loads", "other_weighing_tests_min_loads") as usize;
    assert_eq!(missing(&course, Extent::InitialIntrinsicError), []);
    let nine: Vec<_> = course
        .iter()
        .copied()
        .filter(|l| l.load_g != 3000.0)
        .collect();
    assert_eq!(
        missing(&nine, Extent::InitialIntrinsicError),
        [Shortfall::TooFewLoads {
            given: 9,
            asked: ten
        }]
    );
    assert_eq!(missing(&nine, Extent::Other), []);
    let four: Vec<_> = [40.0, 1000.0, 4000.0, 6000.0, 1000.0]
        .map(|l| at(l, l))
        .to_vec();
    assert_eq!(
        missing(&four, Extent::Other),
        [Shortfall::TooFewLoads {
            given: 4,
            asked: five
        }]
    );
    for left_out in [40.0, 1000.0, 4000.0, 6000.0] {
        let some: Vec<_> = (whole_course().into_iter())
            .filter(|l| !is_near(l.load_g, left_out))
            .collect();
        let told = missing(&some, Extent::Other);
        assert!(
            told.contains(&Shortfall::LoadNotTried { asked_g: left_out }),
            "{told:?}"
        );
    }
    assert_eq!(
        missing(&course[..10], Extent::Other),
        [Shortfall::UnloadingNotTried]
    );
    let got = weighing(&fine(), Some(ZERO), &four, Extent::Other).expect("numbers");
    assert_eq!(got.judgement, Judgement::PassesSoFar);
}

/// As near as the evaluation calls near.
fn is_near(load_g: f64, asked_g: f64) -> bool {
    (load_g - asked_g).abs() <= 0.1 * asked_g
}

/// R 76-1, 4.6.3 and 3.5.3.3: 0.25 e after taring, the net load's error.
#[test]
fn tare_judges_the_setting_and_the_net_loads() {
    let setting_g = rule("tare", "accuracy_e") * 2.0;
    let net = |off_g: f64| -> Vec<LoadReading> {
        [40.0, 500.0, 1000.0, 2000.0, 3000.0]
            .map(|l| at(l, l + if l == 1000.0 { off_g } else { 0.0 }))
            .to_vec()
    };
    let judged = |after_g: f64, off_g: f64| {
        tare(&fine(), 3000.0, at(0.0, after_g), &net(off_g)).expect("numbers")
    };
    assert_eq!(judged(setting_g, 0.0).judgement, Judgement::Passes);
    assert_eq!(judged(-setting_g - 0.01, 0.0).judgement, Judgement::Fails);
    // Gross 4000 g, net 1000 g: 1 g is permitted, not 2 g; corrected for zero.
    assert_eq!(judged(0.0, 1.0).judgement, Judgement::Passes);
    assert_eq!(judged(0.0, 1.01).judgement, Judgement::Fails);
    assert_eq!(judged(0.2, 1.2).judgement, Judgement::Passes);
    let few = tare(&fine(), 3000.0, ZERO, &net(0.0)[..4]).expect("numbers");
    assert_eq!(
        few.incomplete,
        [Shortfall::TooFewLoads { given: 4, asked: 5 }]
    );
    let beyond = tare(&fine(), 5000.0, ZERO, &net(0.0));
    assert!(matches!(
        beyond,
        Err(Unusable::BeyondMax { load_g: 7000.0, .. })
    ));
}

/// R 76-1, 4.5.2: 0.25 e, away from zero tracking.
#[test]
fn zero_setting_is_judged_beyond_tracking() {
    let limit_g = rule("zero_accuracy", "zero_error_after_setting_max_e") * 2.0;
    let judged = |after, tracking| zero_setting(&fine(), after, tracking).expect("numbers");
    assert_eq!(judged(at(0.0, limit_g), false).judgement, Judgement::Passes);
    assert_eq!(
        judged(at(0.0, limit_g + 0.01), false).judgement,
        Judgement::Fails
    );
    assert_eq!(
        judged(at(20.0, 20.0 - limit_g), true).judgement,
        Judgement::Passes
    );
    let hidden = judged(ZERO, true);
    assert_eq!(hidden.judgement, Judgement::PassesSoFar);
    assert_eq!(
        hidden.incomplete,
        [Shortfall::TrackingHides { asked_g: 20.0 }]
    );
    // Steps of e can't show a quarter of it, small weights can.
    let coarse = scale("R76 III initial", 2.0, 6000.0, 40.0);
    let plain = zero_setting(&coarse, ZERO, false).expect("numbers");
    assert_eq!(plain.judgement, Judgement::Open);
    let stepped = LoadReading {
        load_g: 0.0,
        reading: Reading::stepped_by(0.0, 0.6),
    };
    let stepped = zero_setting(&coarse, stepped, false).expect("numbers");
    assert_eq!(stepped.judgement, Judgement::Passes);
    assert!((stepped.error_g - 0.4).abs() < 1e-12);
}

/// Common practice: on a big load as alone, within the error of the small one.
#[test]
fn a_small_load_weighs_the_same_on_a_big_one() {
    let shown = Reading::shown;
    let judged = |on_big_g: f64, alone_g: Option<f64>, big_g: f64| {
        let readings = SmallOnBigReadings {
            big: shown(big_g + 2.0),
            both: shown(big_g + 2.0 + on_big_g),
            alone: alone_g.map(|g| (shown(0.1), shown(0.1 + g))),
        };
        small_on_big(&fine(), 100.0, big_g, &readings).expect("numbers")
    };
    // 100 g: 1 g is permitted. The small load reads 0.4 g high everywhere.
    assert_eq!(
        judged(101.4, Some(100.4), 5000.0).judgement,
        Judgement::Passes
    );
    let past = judged(101.41, Some(100.4), 5000.0);
    assert_eq!(past.judgement, Judgement::Fails);
    assert!((past.difference_g - 1.01).abs() < 1e-9 && (past.on_big_g - 101.41).abs() < 1e-9);
    // Not weighed alone: by its mass.
    assert_eq!(judged(101.4, None, 5000.0).judgement, Judgement::Fails);
    let so_far = judged(101.0, None, 5000.0);
    assert_eq!(so_far.judgement, Judgement::PassesSoFar);
    assert_eq!(so_far.incomplete, [Shortfall::NotComparedAlone]);
    let light = judged(100.0, Some(100.0), 2000.0);
    let asked_g = 3000.0;
    assert_eq!(
        light.incomplete,
        [Shortfall::LoadTooSmall {
            load_g: 2000.0,
            asked_g
        }]
    );
}

/// The same tests by other schemes: Handbook 44, a share, an own table.
#[test]
fn any_scheme_sets_the_limits() {
    for (scheme, permitted_g) in [
        ("HB44 III maintenance", 6.0),
        ("0.2 % of load", 10.0),
        ("up to 1 kg: 1 g; up to 6 kg: 4 g", 4.0),
    ] {
        let scale = scale(scheme, 2.0, 6000.0, 40.0)
            .read_in_steps_of(0.01)
            .expect("finer");
        for (past_g, judgement) in [(0.0, Judgement::PassesSoFar), (0.01, Judgement::Fails)] {
            let load = [at(5000.0, 5000.0 - permitted_g - past_g)];
            let got = weighing(&scale, Some(ZERO), &load, Extent::Other).expect("numbers");
            assert_eq!(got.judgement, judgement, "{scheme} {past_g}");
        }
    }
}

/// A table that ends below Max, capacities and steps that can't be.
#[test]
fn an_instrument_makes_sense() {
    let intervals = Intervals::new(2.0, 1.0).expect("intervals");
    let new = |scheme: &str, max_g, min_g| {
        Instrument::new(scheme.parse().expect("scheme"), intervals, max_g, min_g)
    };
    let short = new("up to 1 kg: 1 g", 6000.0, 40.0).expect_err("too short a table");
    assert!(short.to_string().contains("up to Max"), "{short}");
    for (max_g, min_g) in [
        (0.0, 0.0),
        (-1.0, 0.0),
        (10.0, 10.0),
        (10.0, -1.0),
        (f64::NAN, 0.0),
    ] {
        let refused = new("R76 III initial", max_g, min_g);
        assert!(
            matches!(refused, Err(Unusable::Capacity { .. })),
            "{max_g} {min_g}"
        );
    }
    for step_g in [0.0, -1.0, 1.1, f64::NAN] {
        let scale = new("R76 III initial", 6000.0, 40.0).expect("a scale");
        let refused = scale.read_in_steps_of(step_g);
        assert!(
            matches!(refused, Err(Unusable::ReadingInterval { .. })),
            "{step_g}"
        );
    }
    let scale = new("R76 III initial", 6000.0, 40.0).expect("a scale");
    let stepped = LoadReading {
        load_g: 100.0,
        reading: Reading::stepped_by(100.0, 1.2),
    };
    let added = weighing(&scale, None, &[stepped], Extent::Other);
    assert!(matches!(added, Err(Unusable::Added { place: 1, .. })));
    let heavy = weighing(&scale, None, &[at(6018.1, 6018.1)], Extent::Other);
    assert!(matches!(heavy, Err(Unusable::BeyondMax { .. })));
}
