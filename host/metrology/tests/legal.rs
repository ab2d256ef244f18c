//! Tolerances against 2014/31/EU Annex I = OIML R 76-1:2006, and OIML R 111-1:2004.

mod common;

use common::csv;
use scalewright_metrology::tolerance::{
    AccuracyClass, ClassRefusal, Stage, before_rounding, check_class, is_scale_interval,
    may_indicate, mpe_e,
};
use scalewright_metrology::weights::{WeightClass, buoyancy_half_width_g, mpe_mg};

const CLASSES: [AccuracyClass; 4] = [
    AccuracyClass::I,
    AccuracyClass::II,
    AccuracyClass::III,
    AccuracyClass::IIII,
];

/// 2014/31/EU Annex I table 3 = R 76-1 table 6, in service doubled (3.5.2): on
/// every bound, one hundredth of e below and above, for both stages.
#[test]
fn permissible_errors_at_every_step() {
    let rows = csv("r76_mpe.csv");
    assert_eq!(rows.len(), 12);
    let mut steps = 0;
    for row in &rows {
        let class: AccuracyClass = row[0].parse().expect("class");
        let from: f64 = row[1].parse().expect("from");
        for (stage, column) in [(Stage::Initial, 3), (Stage::InService, 4)] {
            let mpe: f64 = row[column].parse().expect("mpe");
            // Just above the lower bound, which belongs to the row below.
            assert_eq!(mpe_e(class, stage, from + 0.01), mpe, "{class} {from}");
            assert_eq!(mpe_e(class, stage, -(from + 0.01)), mpe, "{class} {from}");
            if from == 0.0 {
                assert_eq!(mpe_e(class, stage, 0.0), mpe);
            }
            if let Ok(to) = row[2].parse::<f64>() {
                assert_eq!(mpe_e(class, stage, to), mpe, "{class} {to}");
                assert_eq!(mpe_e(class, stage, to - 0.01), mpe, "{class} {to}");
                steps += 1;
            }
        }
    }
    assert_eq!(steps, 2 * (2 + 3 * 3));
    assert!(mpe_e(AccuracyClass::III, Stage::Initial, f64::NAN).is_nan());
}

/// A load put together from weights stays on its step, although the sum of the
/// weights comes out a rounding above it.
#[test]
fn rounding_does_not_leave_the_step() {
    for (weight, e) in [(0.0005, 1e-5), (0.001, 2e-5)] {
        let load: f64 = [weight; 10].iter().sum();
        let load_over_e = load / e;
        assert!(load_over_e > 500.0, "the case must be above the step");
        let mpe = mpe_e(AccuracyClass::III, Stage::Initial, load_over_e);
        assert_eq!(mpe, 0.5, "{load_over_e}");
    }
}

#[test]
fn classes_read_and_print() {
    for class in CLASSES {
        assert_eq!(class.to_string().parse(), Ok(class));
    }
    assert_eq!("iii".parse(), Ok(AccuracyClass::III));
    let refused = "V".parse::<AccuracyClass>().expect_err("no such class");
    assert!(refused.to_string().contains("I, II, III or IIII"));
}

/// 2014/31/EU Annex I table 1 = R 76-1 table 3, both ends of every row.
#[test]
fn class_limits() {
    for row in csv("r76_classes.csv") {
        let class: AccuracyClass = row[0].parse().expect("class");
        let e: f64 = row[1].parse().expect("e");
        let n_min: f64 = row[3].parse().expect("n");
        let min_e: f64 = row[5].parse().expect("Min");
        let limits = check_class(class, e, n_min * e).expect("lower end");
        assert_eq!((limits.n_min, limits.min_capacity_e), (n_min, min_e));
        assert!(matches!(
            check_class(class, e, (n_min - 1.0) * e),
            Err(ClassRefusal::TooFewIntervals { .. })
        ));
        if let Ok(n_max) = row[4].parse::<f64>() {
            assert!(check_class(class, e, n_max * e).is_ok());
            assert!(matches!(
                check_class(class, e, (n_max + 1.0) * e),
                Err(ClassRefusal::TooManyIntervals { .. })
            ));
        } else {
            assert!(check_class(class, e, 1e7 * e).is_ok());
        }
        // The row's last e, where it has one.
        if let Ok(e_max) = row[2].parse::<f64>() {
            let limits = check_class(class, e_max, n_min * e_max).expect("last e of the row");
            assert_eq!(limits.n_min, n_min);
        }
    }
    assert!(matches!(
        check_class(AccuracyClass::III, 0.05, 100.0),
        Err(ClassRefusal::IntervalTooFine { .. })
    ));
    assert!(matches!(
        check_class(AccuracyClass::III, 3.0, 6000.0),
        Err(ClassRefusal::IntervalForm { .. })
    ));
    assert!(check_class(AccuracyClass::III, f64::NAN, 1.0).is_err());
    assert!(check_class(AccuracyClass::III, 1.0, f64::INFINITY).is_err());
}

/// R 76-1, 4.2.2.1 = 2014/31/EU Annex I, 2.2.1.
#[test]
fn scale_interval_form() {
    for k in -7..=7 {
        for m in [1.0, 2.0, 5.0] {
            let text = format!("{m}e{k}");
            assert!(is_scale_interval(text.parse().expect("number")), "{text}");
        }
        for m in [1.5, 2.5, 3.0, 4.0, 6.0, 9.99] {
            assert!(!is_scale_interval(m * 10f64.powi(k)), "{m}e{k}");
        }
    }
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(!is_scale_interval(bad));
    }
}

/// 2014/31/EU Annex I, 9: no indication above Max + 9 e.
#[test]
fn range_of_indication() {
    assert!(may_indicate(6018.0, 6000.0, 2.0));
    assert!(!may_indicate(6018.1, 6000.0, 2.0));
    assert!(!may_indicate(f64::NAN, 6000.0, 2.0));
}

/// R 76-1, A.4.4.3: I, e, dL, L, E0 -> P, E, Ec.
#[test]
fn errors_before_rounding() {
    let cases = [
        // An examination answer for a steel scale: verified.
        ((20000.0, 10.0, 9.0, 20000.0, 0.0), (19996.0, -4.0, -4.0)),
        // The example of A.4.4.3: from memory, arithmetic checked.
        ((1000.0, 5.0, 1.5, 1000.0, 0.5), (1001.0, 1.0, 0.5)),
        // An article on the zero error by JJG 539: verified.
        ((50.0, 5.0, 2.0, 50.0, 0.0), (50.5, 0.5, 0.5)),
    ];
    for ((i, e, added, load, zero), (p, error, corrected)) in cases {
        let got = before_rounding(i, e, added, load, zero);
        assert_eq!((got.p, got.e, got.ec), (p, error, corrected));
    }
}

/// OIML R 111-1:2004 table 1, every cell of the file, and the empty ones.
#[test]
fn weight_tolerances() {
    let classes = ["E2", "F1", "F2", "M1", "M2", "M3"];
    let rows = csv("r111_mpe_mg.csv");
    assert_eq!(rows.len(), 24);
    for row in rows {
        let nominal: f64 = row[0].parse().expect("nominal");
        for (i, name) in classes.iter().enumerate() {
            let class: WeightClass = name.parse().expect("class");
            assert_eq!(class.to_string(), *name);
            let expected = row.get(i + 1).and_then(|c| c.parse().ok());
            assert_eq!(mpe_mg(class, nominal), expected, "{name} {nominal}");
        }
    }
    for bad in [0.0, 3.0, -1.0, 1e5, f64::NAN] {
        assert_eq!(mpe_mg(WeightClass::M1, bad), None);
    }
    assert_eq!(mpe_mg(WeightClass::M1, 0.1 + 0.1), Some(0.6));
    assert!("m1".parse::<WeightClass>().is_ok());
    assert!("E9".parse::<WeightClass>().is_err());
}

/// The whole way over true mass and two air densities, against the short
/// formula: `m = m_c (1 - 1.2/8000) / (1 - 1.2/rho)` (OIML D 28:2004, from
/// memory), read in air `a` by a scale adjusted there with weights of
/// 8000 kg/m3. Aluminium, platinum, water, steel, brass, cast iron.
#[test]
fn air_moves_a_reading_as_far_as_said() {
    for density in [2700.0, 21_500.0, 1000.0, 7850.0, 8400.0, 7200.0] {
        let said = buoyancy_half_width_g(1000.0, density);
        for air in [1.08, 1.32] {
            let conventional = 1000.0;
            let mass = conventional * (1.0 - 1.2 / 8000.0) / (1.0 - 1.2 / density);
            let reading = mass * (1.0 - air / density) / (1.0 - air / 8000.0);
            let moved = (reading - conventional).abs();
            assert!(
                (moved / said - 1.0).abs() < 0.002,
                "{density}, {air}: {moved} {said}"
            );
        }
    }
    // (m_c - m)/m is ten times as far; published explainers of D 28 print about
    // 3e-4 for aluminium and 1e-4 for platinum.
    for (density, printed) in [(2700.0, 3e-4), (21_500.0, 1e-4)] {
        let tenfold = 10.0 * buoyancy_half_width_g(1.0, density);
        assert!((tenfold / printed - 1.0).abs() < 0.07, "{density}");
    }
    for none in [0.0, -1.0, f64::NAN] {
        assert!(buoyancy_half_width_g(1.0, none).is_nan());
    }
}
