//! Trials of calibrations whose readings really round.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::budget::{
    Buoyancy, CalibrationPoint, Contribution, Knowledge, Repeatability, Weight,
};
use scalewright_metrology::monte_carlo::{Reading, calibrate, generator, propagate};
use scalewright_metrology::weights::WeightClass;

fn point(sd_g: f64, averaged: u32) -> CalibrationPoint {
    CalibrationPoint {
        indication_g: 2001.0,
        weights: vec![Weight::of_class(2000.0, WeightClass::M1)],
        zero_interval_g: 1.0,
        interval_g: 1.0,
        repeatability: Repeatability {
            sd_g,
            dof: 9.0,
            averaged,
        },
        eccentricity: None,
        buoyancy: Buoyancy::NotAdjusted,
        convection_g: 0.0,
        zero_drift_g: 0.2,
        table_u_g: 0.1,
        others: Vec::new(),
    }
}

/// A single reading anywhere in its interval: rounding is a rectangular share,
/// exactly.
#[test]
fn a_single_reading_anywhere_is_what_the_budget_says() {
    let one = point(0.6, 1);
    let rounded = calibrate(&one, Reading::default(), 1_000_000, &mut generator(3));
    let rounded = rounded.expect("trials");
    let budget = one.budget().expect("a budget");
    let said = propagate(&budget, 1.0, 1_000_000, &mut generator(4)).expect("trials");
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < 0.005;
    assert!(near(
        rounded.sd_g.expect("a deviation"),
        said.sd_g.expect("a deviation")
    ));
    assert!(near(
        rounded.symmetric.half_width_g(),
        said.symmetric.half_width_g()
    ));
    assert!((rounded.mean_g - 1.0).abs() < 0.005);
}

/// Five loadings that scatter by an interval each are rounded independently:
/// by hand, (s^2 nu/(nu - 2) + d^2/12)/N and the rest.
#[test]
fn scatter_averages_rounding_out() {
    let one = point(1.0, 5);
    let said = calibrate(&one, Reading::default(), 1_000_000, &mut generator(3));
    let said = said.expect("trials");
    let budget = one.budget().expect("a budget");
    let others: f64 = (budget.contributions().iter())
        .filter(|one| !["repeatability", "rounding at the load"].contains(&one.name()))
        .map(|one| one.u_g().powi(2))
        .sum();
    let known = ((9.0 / 7.0 + 1.0 / 12.0) / 5.0 + others).sqrt();
    assert!((said.sd_g.expect("a deviation") / known - 1.0).abs() < 0.005);
    assert!(said.symmetric.half_width_g() < budget.statement().expect("U").expanded_g);
}

/// A scale that hardly scatters, known to stand on the middle of an interval or
/// on a step.
#[test]
fn where_the_reading_stands_matters_when_nothing_scatters() {
    let mut one = point(1e-3, 1);
    one.zero_drift_g = 0.0;
    one.table_u_g = 0.0;
    let at = |load_g| {
        let reading = Reading {
            zero_g: Some(0.0),
            load_g: Some(load_g),
        };
        calibrate(&one, reading, 200_000, &mut generator(3)).expect("trials")
    };
    let weights_g = f64::hypot(0.1 / 3f64.sqrt(), (0.03 + 0.025) / 3f64.sqrt());
    let middle = at(2001.0);
    assert!((middle.sd_g.expect("a deviation") / weights_g - 1.0).abs() < 0.01);
    assert!((middle.mean_g - 1.0).abs() < 1e-3);
    // Half an interval up or down, as chance will.
    let step = at(2000.5).sd_g.expect("a deviation");
    assert!(
        (step / f64::hypot(0.5, weights_g) - 1.0).abs() < 0.01,
        "{step}"
    );
    // A quarter off the middle: always the same quarter.
    assert!((at(2000.75).mean_g - 1.25).abs() < 1e-3);
    let exact = CalibrationPoint {
        interval_g: 0.0,
        zero_interval_g: 0.0,
        ..one.clone()
    };
    let exact = calibrate(&exact, Reading::default(), 200_000, &mut generator(3)).expect("trials");
    assert!((exact.sd_g.expect("a deviation") / weights_g - 1.0).abs() < 0.01);
}

#[test]
fn a_reading_that_is_no_number_is_refused() {
    let load_g = Some(f64::INFINITY);
    let bad = Reading {
        zero_g: None,
        load_g,
    };
    let refused = calibrate(&point(1.0, 1), bad, 1000, &mut generator(1));
    let said = refused.expect_err("no number").to_string();
    assert!(said.contains("rounding at the load"), "{said}");
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_126),
        ..ProptestConfig::default()
    })]

    #[test]
    fn nothing_panics(
        sizes in prop::array::uniform4(prop_oneof![
            prop::num::f64::ANY, 0.0..10.0f64, Just(0.0), Just(1e300), Just(5e-324)
        ]),
        dof in prop_oneof![prop::num::f64::ANY, 1.0..20.0f64, Just(f64::INFINITY)],
        averaged in 0..6u32,
        trials in 900..3000usize,
        zero_g in prop::option::of(prop::num::f64::ANY),
        load_g in prop::option::of(prop::num::f64::ANY),
        seed in any::<u64>(),
    ) {
        let mut one = point(sizes[0], averaged);
        one.repeatability.dof = dof;
        one.interval_g = sizes[1];
        one.zero_interval_g = sizes[2];
        let half = sizes[3];
        one.others.extend(Contribution::new("other", Knowledge::ArcSine { half }));
        let reading = Reading { zero_g, load_g };
        if let Ok(said) = calibrate(&one, reading, trials, &mut generator(seed)) {
            prop_assert!(said.symmetric.width_g().is_finite());
        }
    }
}
