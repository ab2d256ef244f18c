//! Whatever readings come in, no test of a scale panics, and laws hold: a refusal
//! has words, a verdict agrees with its findings, signs and units don't matter.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::performance::{
    CreepRule, Extent, Finding, Instrument, Judgement, LoadReading, LoadedSpell, Nudge, Place,
    PlaceReading, Purpose, Reading, Shortfall, SmallOnBigReadings, TimedReading, Unusable, creep,
    discrimination, eccentricity, repeatability, small_on_big, tare, weighing, zero_drift,
    zero_return, zero_setting,
};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme};

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        1 => prop::num::f64::ANY,
        2 => prop::sample::select(vec![
            0.0, -0.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN,
            f64::MIN_POSITIVE, 5e-324, -1.0,
        ]),
        30 => 0.0..7000.0f64,
        10 => 0.0..3.0f64,
    ]
}

fn reading() -> impl Strategy<Value = Reading> {
    (number(), prop::option::weighted(0.1, number())).prop_map(|(indication_g, added_g)| Reading {
        indication_g,
        added_g,
    })
}

fn instrument() -> impl Strategy<Value = Instrument> {
    let scheme = prop::sample::select(vec![
        "R76 III initial",
        "R76 I in service",
        "HB44 IIII acceptance",
        "0.1 % of load",
        "up to 1 kg: 1 g; up to 10 kg: 3 g",
    ]);
    let numbers = (
        1e-3..10.0f64,
        0.1..1.0f64,
        1.0..9e3f64,
        0.0..1.0f64,
        1e-4..1.0f64,
    );
    (scheme, numbers).prop_map(|(scheme, (e_g, d, max_g, min, step))| {
        let scheme: Scheme = scheme.parse().expect("scheme");
        let intervals = Intervals::new(e_g, d * e_g).expect("intervals");
        Instrument::new(scheme, intervals, max_g, 0.9 * min * max_g)
            .and_then(|scale| scale.read_in_steps_of(step * d * e_g))
            .expect("a scale")
    })
}

fn timed() -> impl Strategy<Value = Vec<TimedReading>> {
    let rising = prop::collection::vec((0.1..3000.0f64, reading()), 0..9).prop_map(|all| {
        let mut at_s = 0.0;
        (all.into_iter())
            .map(|(step_s, reading)| {
                at_s += step_s;
                TimedReading { at_s, reading }
            })
            .collect()
    });
    let any = prop::collection::vec(
        (number(), reading()).prop_map(|(at_s, reading)| TimedReading { at_s, reading }),
        0..9,
    );
    prop_oneof![4 => rising, 1 => any]
}

/// A verdict is no better than any finding, and a gap never stands beside a
/// plain pass.
fn agrees(judgement: Judgement, incomplete: &[Shortfall], findings: &[Finding]) {
    for finding in findings {
        assert!(judgement >= finding.judgement, "{judgement:?} {finding:?}");
        assert!(finding.limit_g > 0.0 && finding.slack_g >= 0.0);
    }
    assert!(judgement != Judgement::Passes || incomplete.is_empty());
    for gap in incomplete {
        assert!(gap.to_string().len() > 20, "{gap}");
    }
}

fn refused(why: &Unusable) {
    assert!(why.to_string().len() > 20, "{why}");
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 4000,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_128),
        ..ProptestConfig::default()
    })]

    #[test]
    fn loads_take_anything(
        scale in instrument(),
        zero in prop::option::of((number(), reading())),
        loads in prop::collection::vec((number(), reading()), 0..8),
        tare_g in number(),
        supports in any::<u8>(),
        places in prop::collection::vec((any::<u8>(), reading()), 0..8),
    ) {
        let load = |(load_g, reading)| LoadReading { load_g, reading };
        let zero = zero.map(load);
        let loads: Vec<LoadReading> = loads.into_iter().map(load).collect();
        match weighing(&scale, zero, &loads, Extent::InitialIntrinsicError) {
            Ok(got) => {
                let findings: Vec<Finding> = got.errors.iter().map(|e| e.finding).collect();
                agrees(got.judgement, &got.incomplete, &findings);
                let worst = findings.iter().map(|f| f.judgement).max();
                prop_assert_eq!(worst.map(|w| w.max(Judgement::PassesSoFar)),
                    Some(got.judgement.max(Judgement::PassesSoFar)));
            }
            Err(why) => refused(&why),
        }
        if let Some(after) = zero {
            match tare(&scale, tare_g, after, &loads) {
                Ok(got) => agrees(got.judgement, &got.incomplete, &[got.setting]),
                Err(why) => refused(&why),
            }
            for tracking in [true, false] {
                match zero_setting(&scale, after, tracking) {
                    Ok(got) => agrees(got.judgement, &got.incomplete, &[got.finding]),
                    Err(why) => refused(&why),
                }
            }
        }
        let places: Vec<PlaceReading> = (places.into_iter())
            .map(|(n, reading)| PlaceReading {
                place: if n < 50 { Place::Centre } else { Place::Segment(n) },
                reading,
            })
            .collect();
        let load_g = loads.first().map_or(100.0, |l| l.load_g);
        match eccentricity(&scale, zero, load_g, &places, supports, tare_g) {
            Ok(got) => {
                let findings: Vec<Finding> = got.errors.iter().map(|e| e.finding).collect();
                agrees(got.judgement, &got.incomplete, &findings);
            }
            Err(why) => refused(&why),
        }
    }

    #[test]
    fn series_take_anything(
        scale in instrument(),
        load_g in prop::option::of(number()),
        readings in prop::collection::vec(reading(), 0..9),
        nudges in prop::collection::vec((number(), number(), number(), number()), 0..5),
        type_examination in any::<bool>(),
        other in (number(), number(), prop::option::of((reading(), reading()))),
    ) {
        let purpose = if type_examination { Purpose::TypeExamination } else { Purpose::Verification };
        match repeatability(&scale, load_g, &readings, purpose) {
            Ok(got) => agrees(got.judgement, &got.incomplete, &[got.spread]),
            Err(why) => refused(&why),
        }
        let nudges: Vec<Nudge> = (nudges.into_iter())
            .map(|(load_g, weight_g, before_g, after_g)| Nudge { load_g, weight_g, before_g, after_g })
            .collect();
        match discrimination(&scale, &nudges) {
            Ok(got) => agrees(got.judgement, &got.incomplete, &[]),
            Err(why) => refused(&why),
        }
        if let [big, both, ..] = readings.as_slice() {
            let (small_g, big_g, alone) = other;
            let pair = SmallOnBigReadings { big: *big, both: *both, alone };
            match small_on_big(&scale, small_g, big_g, &pair) {
                Ok(got) => agrees(got.judgement, &got.incomplete, &[got.finding]),
                Err(why) => refused(&why),
            }
        }
    }

    #[test]
    fn times_take_anything(
        scale in instrument(),
        load_g in number(),
        lasted_s in number(),
        readings in timed(),
        cell in any::<bool>(),
    ) {
        let rule = if cell { CreepRule::LoadCell(AccuracyClass::III) } else { CreepRule::Scale };
        match creep(&scale, load_g, &readings, rule) {
            // What breaks the 30 min rule may still keep the one of 4 h.
            Ok(got) => agrees(got.judgement, &got.incomplete, &[]),
            Err(why) => refused(&why),
        }
        match zero_drift(&scale, &readings) {
            Ok(got) => agrees(got.judgement, &got.incomplete, &[got.finding]),
            Err(why) => refused(&why),
        }
        if let [before, after, ..] = readings.as_slice() {
            let spell = LoadedSpell { load_g, lasted_s };
            match zero_return(&scale, spell, before.reading, *after) {
                Ok(got) => agrees(got.judgement, &got.incomplete, &[got.finding]),
                Err(why) => refused(&why),
            }
        }
    }

    /// The same test in a unit 1024 times smaller, and with all errors turned
    /// round, ends alike.
    #[test]
    fn neither_unit_nor_sign_matters(
        offs in prop::collection::vec(-4.0..4.0f64, 2..6),
        step in prop::sample::select(vec![0.01, 0.4, 1.0, 2.0]),
    ) {
        let judged = |unit: f64, sign: f64| {
            let intervals = Intervals::new(2.0 * unit, 2.0 * unit).expect("intervals");
            let scheme = "R76 III initial".parse().expect("scheme");
            let scale = Instrument::new(scheme, intervals, 6000.0 * unit, 40.0 * unit)
                .and_then(|scale| scale.read_in_steps_of(step * unit))
                .expect("a scale");
            let readings: Vec<Reading> = (offs.iter())
                .map(|off| Reading::shown((5000.0 + sign * off) * unit))
                .collect();
            let series = repeatability(&scale, Some(5000.0 * unit), &readings, Purpose::Verification);
            let zero = LoadReading { load_g: 0.0, reading: Reading::shown(0.0) };
            let loads: Vec<LoadReading> = (readings.iter())
                .map(|r| LoadReading { load_g: 5000.0 * unit, reading: *r })
                .collect();
            let course = weighing(&scale, Some(zero), &loads, Extent::Other);
            (series.expect("numbers").judgement, course.expect("numbers").judgement)
        };
        let plain = judged(1.0, 1.0);
        prop_assert_eq!(plain, judged(1024.0, 1.0));
        prop_assert_eq!(plain, judged(1.0, -1.0));
    }

    /// Readings that a scale with true errors would show in coarse steps never
    /// end in a verdict that its true errors contradict.
    #[test]
    fn rounding_never_contradicts_the_truth(
        truths in prop::collection::vec(-6.0..6.0f64, 1..5),
        zero_g in -0.5..0.5f64,
    ) {
        let intervals = Intervals::new(2.0, 2.0).expect("intervals");
        let scheme: Scheme = "R76 III initial".parse().expect("scheme");
        let scale = Instrument::new(scheme, intervals, 6000.0, 40.0).expect("a scale");
        let shown = |g: f64| Reading::shown((g / 2.0).round() * 2.0);
        let zero = LoadReading { load_g: 0.0, reading: shown(zero_g) };
        let loads: Vec<LoadReading> = (truths.iter())
            .map(|truth| LoadReading { load_g: 5000.0, reading: shown(5000.0 + truth) })
            .collect();
        let got = weighing(&scale, Some(zero), &loads, Extent::Other).expect("numbers");
        for (error, truth) in got.errors.iter().zip(&truths) {
            let within = (truth - zero_g).abs() <= 3.0;
            match error.finding.judgement {
                Judgement::Passes => prop_assert!(within),
                Judgement::Fails => prop_assert!(!within),
                _ => {}
            }
        }
    }
}
