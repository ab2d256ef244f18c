//! The tests of a scale that take time: creep, zero return, zero drift, against
//! OIML R 76-1:2006 and, for cells, R 60-1:2021 (tests/reference/r76_rules.toml
//! and r60.toml, marks there).

mod common;

use scalewright_metrology::performance::{
    Creep, CreepRule, Instrument, Judgement, LoadedSpell, Reading, Shortfall, TimedReading,
    Unusable, creep, zero_drift, zero_return,
};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals};

fn number(file: &str, table: &str, key: &str) -> f64 {
    let text: toml::Table = common::reference(file).parse().expect("toml");
    text[table][key].as_float().expect("a number")
}

/// Class III, e = 2 g, Max 6 kg.
fn coarse() -> Instrument {
    let scheme = "R76 III initial".parse().expect("scheme");
    let intervals = Intervals::new(2.0, 2.0).expect("intervals");
    Instrument::new(scheme, intervals, 6000.0, 40.0).expect("a scale")
}

/// The same read in steps of 0.001 g.
fn fine() -> Instrument {
    coarse().read_in_steps_of(0.001).expect("finer")
}

fn timed(all: &[(f64, f64)]) -> Vec<TimedReading> {
    all.iter()
        .map(|&(at_s, g)| TimedReading {
            at_s,
            reading: Reading::shown(g),
        })
        .collect()
}

/// Creep from 6000 g: (s, change in g).
fn crept(changes: &[(f64, f64)], rule: CreepRule) -> Creep {
    let readings: Vec<(f64, f64)> = changes.iter().map(|(s, g)| (*s, 6000.0 + g)).collect();
    creep(&fine(), 6000.0, &timed(&readings), rule).expect("numbers")
}

/// R 76-1, 3.9.4.1: 0.5 e in 30 min, 0.2 e between 15 and 30 min, e = 2 g.
#[test]
fn creep_of_a_scale_on_both_limits() {
    let half_g = 2.0 * number("r76_rules.toml", "creep", "within_30_min_e");
    let late_g = 2.0 * number("r76_rules.toml", "creep", "between_15_and_30_min_e");
    for sign in [1.0, -1.0] {
        let judged = |at_15: f64, at_30: f64| {
            let changes = [(5.0, 0.0), (900.0, sign * at_15), (1800.0, sign * at_30)];
            crept(&changes, CreepRule::Scale)
        };
        let on = judged(half_g - late_g, half_g);
        assert_eq!(
            (on.judgement, on.incomplete.as_slice()),
            (Judgement::Passes, [].as_slice())
        );
        assert!((on.change_g - sign * half_g).abs() < 1e-9);
        assert_eq!(on.four_hours, None);
        let past = judged(half_g - late_g + 0.001, half_g + 0.001);
        assert_eq!(past.half_hour.judgement, Judgement::Fails);
        assert_eq!(past.late.map(|f| f.judgement), Some(Judgement::Passes));
        let late = judged(half_g - late_g - 0.001, half_g);
        assert_eq!(late.half_hour.judgement, Judgement::Passes);
        assert_eq!(late.late.map(|f| f.judgement), Some(Judgement::Fails));
        // Either may still keep the 4 h rule.
        for open in [past, late] {
            assert_eq!(open.judgement, Judgement::Open);
            assert_eq!(open.incomplete, [Shortfall::FourHoursNotSeen]);
        }
        // A creep that turns back counts by its largest.
        let back = judged(half_g + 0.2, 0.0);
        assert_eq!(back.half_hour.judgement, Judgement::Fails);
    }
}

/// R 76-1, 3.9.4.1: otherwise the permitted error (here 3 g) over 4 h.
#[test]
fn creep_falls_back_on_four_hours() {
    let judged = |at_4_h: f64, end_s: f64| {
        let changes = [(5.0, 0.0), (900.0, 1.0), (1800.0, 1.5), (end_s, at_4_h)];
        crept(&changes, CreepRule::Scale)
    };
    let kept = judged(3.0, 14_400.0);
    assert_eq!(
        (kept.judgement, kept.incomplete.as_slice()),
        (Judgement::Passes, [].as_slice())
    );
    assert_eq!(judged(3.01, 14_400.0).judgement, Judgement::Fails);
    // Three hours decide a fail, not a pass.
    assert_eq!(judged(3.0, 10_800.0).judgement, Judgement::Open);
    assert_eq!(judged(3.01, 10_800.0).judgement, Judgement::Fails);
    // The error belongs to the 30 min as well.
    let early = crept(&[(5.0, 0.0), (60.0, 3.01)], CreepRule::Scale);
    assert_eq!(early.judgement, Judgement::Fails);
}

/// A test of five minutes: what it can say and what it can't.
#[test]
fn a_short_creep_test_is_marked() {
    let short = crept(&[(5.0, 0.0), (300.0, 0.9)], CreepRule::Scale);
    assert_eq!(short.judgement, Judgement::PassesSoFar);
    assert_eq!(short.half_hour.judgement, Judgement::Passes);
    assert_eq!(short.late, None);
    let marked = Shortfall::TimeTooShort {
        lasted_s: 300.0,
        asked_s: 1800.0,
    };
    assert_eq!(short.incomplete, [marked]);
    assert!(marked.to_string().contains("5 min of 30 min"), "{marked}");
    let exceeded = crept(&[(5.0, 0.0), (300.0, 1.1)], CreepRule::Scale);
    assert_eq!(exceeded.half_hour.judgement, Judgement::Fails);
    assert_eq!(exceeded.judgement, Judgement::Open);
    // Whole, but unread at 15 min.
    let gap = crept(&[(5.0, 0.0), (600.0, 0.1), (1800.0, 0.1)], CreepRule::Scale);
    assert_eq!(gap.incomplete, [Shortfall::ReadingMissing { at_s: 900.0 }]);
    assert_eq!(gap.judgement, Judgement::PassesSoFar);
}

#[test]
fn creep_tells_of_light_loads_late_starts_and_coarse_readings() {
    let whole = [(5.0, 3000.0), (900.0, 3000.0), (1800.0, 3000.0)];
    let light = creep(&fine(), 3000.0, &timed(&whole), CreepRule::Scale).expect("numbers");
    let asked_g = 6000.0;
    assert_eq!(
        light.incomplete,
        [Shortfall::LoadTooSmall {
            load_g: 3000.0,
            asked_g
        }]
    );
    let whole = [(5.0, 6000.0), (900.0, 6000.0), (1800.0, 6000.0)];
    let plain = creep(&coarse(), 6000.0, &timed(&whole), CreepRule::Scale).expect("numbers");
    assert_eq!(plain.judgement, Judgement::Open);
    assert!(matches!(
        plain.incomplete[..],
        [Shortfall::RoundingNotRemoved { .. }]
    ));
    // R 60-2, table 1: the first reading is due after 10 s and more.
    let text: toml::Table = common::reference("r60.toml").parse().expect("toml");
    let rows = text["reading_time"].as_array().expect("rows");
    assert_eq!(rows.len(), 6);
    for row in rows {
        let n = |key: &str| row[key].as_integer().expect("a number") as f64;
        let (load_g, due_s) = (1000.0 * n("up_to_kg"), n("seconds"));
        let scheme = "R76 III initial".parse().expect("scheme");
        let e_g = load_g / 2000.0;
        let intervals = Intervals::new(e_g, e_g).expect("intervals");
        let scale = Instrument::new(scheme, intervals, load_g, 0.0).expect("a scale");
        let scale = scale.read_in_steps_of(e_g / 100.0).expect("finer");
        for (first_s, late) in [(due_s, false), (due_s + 1.0, true)] {
            let readings = timed(&[(first_s, load_g), (900.0, load_g), (1800.0, load_g)]);
            let got = creep(&scale, load_g, &readings, CreepRule::Scale).expect("numbers");
            let at_s = first_s;
            let told = Shortfall::FirstReadingLate {
                at_s,
                asked_s: due_s,
            };
            assert_eq!(got.incomplete.contains(&told), late, "{load_g} {first_s}");
        }
    }
}

/// R 60-1, 5.5.1 and its example: class C, 3000 v, 0.735 v and 0.1575 v.
#[test]
fn creep_of_a_cell_is_the_published_example() {
    let (half_v, late_v) = (
        number("r60.toml", "creep", "example_30_min_v"),
        number("r60.toml", "creep", "example_20_to_30_min_v"),
    );
    let mpe_v = 0.7 * 1.5;
    let share = number("r60.toml", "creep", "within_30_min_times_mpe");
    assert!((share * mpe_v - half_v).abs() < 1e-12);
    let judged = |at_20: f64, at_30: f64| {
        let changes = [(5.0, 0.0), (1200.0, 2.0 * at_20), (1800.0, 2.0 * at_30)];
        crept(&changes, CreepRule::LoadCell(AccuracyClass::III))
    };
    let on = judged(half_v - late_v, half_v);
    assert_eq!(
        (on.judgement, on.incomplete.as_slice()),
        (Judgement::Passes, [].as_slice())
    );
    assert!((on.half_hour.limit_g - 2.0 * half_v).abs() < 1e-12);
    assert!((on.late.expect("read").limit_g - 2.0 * late_v).abs() < 1e-12);
    // A cell has no 4 h rule.
    assert_eq!(judged(half_v, half_v + 0.001).judgement, Judgement::Fails);
    assert_eq!(
        judged(half_v - late_v - 0.001, half_v).judgement,
        Judgement::Fails
    );
}

/// R 76-1, 3.9.4.2: 0.5 e after 30 min under load; R 60-1, 5.5.2 for cells.
#[test]
fn zero_return_on_its_limit() {
    let limit_g = 2.0 * number("r76_rules.toml", "zero_return", "after_30_min_loaded_e");
    let spell = LoadedSpell {
        load_g: 6000.0,
        lasted_s: 1800.0,
    };
    let judged = |spell, zero_g: f64, at_s: f64| {
        let after = timed(&[(at_s, zero_g + 0.3)])[0];
        zero_return(&fine(), spell, Reading::shown(0.3), after).expect("numbers")
    };
    for sign in [1.0, -1.0] {
        let on = judged(spell, sign * limit_g, 10.0);
        assert_eq!(
            (on.judgement, on.incomplete.as_slice()),
            (Judgement::Passes, [].as_slice())
        );
        assert!((on.change_g - sign * limit_g).abs() < 1e-12);
        assert_eq!(
            judged(spell, sign * (limit_g + 0.01), 10.0).judgement,
            Judgement::Fails
        );
    }
    let short = judged(
        LoadedSpell {
            lasted_s: 300.0,
            ..spell
        },
        0.9,
        10.0,
    );
    assert_eq!(short.judgement, Judgement::PassesSoFar);
    let light = judged(
        LoadedSpell {
            load_g: 3000.0,
            ..spell
        },
        0.9,
        10.0,
    );
    assert!(matches!(
        light.incomplete[..],
        [Shortfall::LoadTooSmall { .. }]
    ));
    let late = judged(spell, 0.9, 13.0);
    assert!(matches!(
        late.incomplete[..],
        [Shortfall::FirstReadingLate { .. }]
    ));
    // R 60-3: 0.5 (1 - (x - 1)), x from 1 to 1.5.
    let max_v = number("r60.toml", "dead_load_output_return", "max_v");
    for (at_s, x) in [
        (5.0, 1.0),
        (10.0, 1.0),
        (12.5, 1.25),
        (15.0, 1.5),
        (99.0, 1.5),
    ] {
        let got = judged(spell, 0.0, at_s).cell_limit_e;
        assert!(
            (got - max_v * (1.0 - (x - 1.0))).abs() < 1e-12,
            "{at_s}: {got}"
        );
    }
}

#[test]
fn zero_drift_counts_from_the_first_zero() {
    // 0.5 e = 1 g is permitted at zero.
    let judged = |all: &[(f64, f64)]| zero_drift(&fine(), &timed(all)).expect("numbers");
    let on = judged(&[(0.0, 0.2), (600.0, 1.2), (1200.0, 0.8), (1800.0, 0.6)]);
    assert_eq!(
        (on.judgement, on.incomplete.as_slice()),
        (Judgement::Passes, [].as_slice())
    );
    assert!((on.finding.observed_g - 1.0).abs() < 1e-12 && (on.change_g - 0.4).abs() < 1e-12);
    // 0.25 e = 0.5 g around the last: 0.2 is within, 1.2 is not, 0.8 is.
    assert_eq!(on.settled_at_s, Some(1200.0));
    let past = judged(&[(0.0, 0.2), (600.0, 1.21), (1800.0, 0.2)]);
    assert_eq!(
        (past.judgement, past.settled_at_s),
        (Judgement::Fails, None)
    );
    // In steps of e both zeros hide half a step: 2 g together.
    let plain = zero_drift(&coarse(), &timed(&[(0.0, 0.0), (1800.0, 0.0)])).expect("numbers");
    assert_eq!(plain.judgement, Judgement::Open);
    assert_eq!(plain.finding.slack_g, 2.0);
    let short = judged(&[(0.0, 0.0), (600.0, 0.1)]);
    assert_eq!(short.judgement, Judgement::PassesSoFar);
    assert_eq!(short.slope_g_per_h, None);
    // 0.1 g every 360 s is 1 g an hour.
    let line: Vec<(f64, f64)> = (0..6)
        .map(|i| (f64::from(i) * 360.0, f64::from(i) * 0.1))
        .collect();
    assert!((judged(&line).slope_g_per_h.expect("a slope") - 1.0).abs() < 1e-9);
}

#[test]
fn readings_out_of_order_are_refused() {
    for (all, place) in [
        (vec![(5.0, 1.0), (5.0, 1.0)], 2),
        (vec![(-1.0, 1.0), (5.0, 1.0)], 1),
        (vec![(5.0, 1.0), (6.0, 1.0), (4.0, 1.0)], 3),
    ] {
        let expected = Unusable::TimeNotRising { place };
        assert_eq!(
            creep(&fine(), 6000.0, &timed(&all), CreepRule::Scale),
            Err(expected)
        );
        assert_eq!(zero_drift(&fine(), &timed(&all)), Err(expected));
    }
    let none = creep(
        &fine(),
        6000.0,
        &timed(&[(5.0, 1.0), (9000.0, 1.0)]),
        CreepRule::Scale,
    );
    assert!(matches!(none, Err(Unusable::TooFew { .. })));
}
