//! A weighing in use and the minimum weight by hand; laws of budgets, lines,
//! bounds and minimum weights; garbage.

mod common;

use common::budgets::{in_use, point, share, u_of};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::budget::{
    AirDensity, Bound, Budget, BudgetRefusal, Buoyancy, Certificate, Density, ErrorPoint,
    Knowledge, LineThroughZero, Placing, Repeatability, Requirement, Weight, minimum_weight_g,
    minimum_weight_of_bound_g,
};
use scalewright_metrology::weights::WeightClass;

/// By hand, at 2000 g.
#[test]
fn a_weighing_in_use_by_hand() {
    let mut scale = in_use();
    let third = 3f64.sqrt();
    let relative = [
        1e-3 / third,
        1e-4 / third,
        1.5e-5 / third,
        1e-4 / third,
        2e-4,
    ];
    let fixed = [1.0 / 12f64.sqrt(), 1.0 / 12f64.sqrt(), 0.5, 0.5 / third];
    let sum: f64 = relative.iter().map(|w| (w * 2000.0).powi(2)).sum::<f64>()
        + fixed.iter().map(|u| u * u).sum::<f64>();
    let budget = scale.budget(2000.0).expect("a budget");
    assert!((budget.u_g() - sum.sqrt()).abs() < 1e-12);
    let stated = budget.statement().expect("a statement").expanded_g;
    // The error that is left, 2 g, is added in full.
    assert!((scale.expanded_g(2000.0).expect("U") - stated - 2.0).abs() < 1e-12);
    assert_eq!(scale.result_g(2000.0), 2000.0);
    scale.corrected = true;
    assert_eq!(scale.result_g(2000.0), 1998.0);
    assert!(scale.expanded_g(2000.0).expect("U") < stated);
    if let Some((_, placing)) = &mut scale.eccentricity {
        *placing = Placing::Centred;
    }
    let centred = u_of(&scale.budget(2000.0).expect("a budget"), "eccentricity");
    assert!((centred - 0.999 / third).abs() < 1e-12);
}

#[test]
fn the_minimum_weight_is_just_enough() {
    let scale = in_use();
    let asked = Requirement {
        relative: 0.02,
        safety: 2.0,
    };
    let found = minimum_weight_g(asked, 3000.0, |g| scale.expanded_g(g)).expect("a weight");
    let enough = |g: f64| scale.expanded_g(g).expect("U") <= g * 0.01;
    assert!(enough(found) && !enough(found * (1.0 - 1e-9)), "{found}");
    let asked = Requirement {
        relative: 1e-4,
        safety: 1.0,
    };
    let refused = minimum_weight_g(asked, 3000.0, |g| scale.expanded_g(g));
    assert!(matches!(refused, Err(BudgetRefusal::Unreachable { .. })));
    for (relative, safety) in [(0.0, 1.0), (f64::NAN, 1.0), (0.1, 0.5), (5e-324, 3.0)] {
        let asked = Requirement { relative, safety };
        assert!(minimum_weight_g(asked, 3000.0, |_| Ok(0.1)).is_err());
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        2 => prop::num::f64::ANY,
        1 => prop::sample::select(vec![
            0.0, -0.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN_POSITIVE,
            5e-324, 1e308, 1e-308, 1.0, 1e160, 1e-160,
        ]),
        4 => 0.0..1e4f64,
    ]
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_126),
        ..ProptestConfig::default()
    })]

    #[test]
    fn nothing_panics(
        n in prop::collection::vec(number(), 24),
        averaged in any::<u32>(),
        class in prop::sample::select(vec![None, Some(WeightClass::M1), Some(WeightClass::E2)]),
        air in 0..3,
    ) {
        let density = AirDensity { kg_m3: n[0], u_kg_m3: n[1] };
        let mut one = point(n[2], &[n[3], 500.0]);
        one.weights[0] = Weight {
            nominal_g: n[3],
            class,
            certificate: (n[4] < 1e3)
                .then_some(Certificate { mass_g: n[5], expanded_g: n[6], k: n[7] }),
            drift_g: n[8],
            density: Some(Density { kg_m3: n[9], u_kg_m3: n[10] }),
        };
        one.weights[1].density = Some(Density { kg_m3: 8000.0, u_kg_m3: 100.0 });
        one.buoyancy = match air {
            0 => Buoyancy::AdjustedJustBefore,
            1 => Buoyancy::NotAdjusted,
            _ => Buoyancy::Measured { air: density, at_adjustment: Some(density) },
        };
        one.zero_interval_g = n[11];
        one.interval_g = n[12];
        one.repeatability = Repeatability { sd_g: n[13], dof: n[14], averaged };
        one.convection_g = n[15];
        one.zero_drift_g = n[16];
        one.table_u_g = n[17];
        if let Ok(stated) = one.budget().and_then(|budget| budget.statement()) {
            prop_assert!(stated.expanded_g.is_finite() && stated.k >= 1.9);
            prop_assert!(one.reference_g().is_ok_and(f64::is_finite));
        }
        let mut scale = in_use();
        scale.repeatability = one.repeatability;
        scale.interval_g = n[12];
        scale.line.slope = n[18];
        scale.line.u_slope = n[19];
        scale.corrected = n[20] > 1.0;
        if let Ok(u) = scale.expanded_g(n[21]) {
            prop_assert!(u.is_finite());
        }
        let asked = Requirement { relative: n[22], safety: n[23] };
        let _ = minimum_weight_g(asked, n[21], |g| scale.expanded_g(g));
        let bound = Bound { base_g: n[12], rise: n[18] };
        let _ = minimum_weight_of_bound_g(asked, n[21], bound);
        let points: Vec<ErrorPoint> = n
            .chunks_exact(4)
            .map(|p| ErrorPoint { indication_g: p[0], error_g: p[1], u_g: p[2], expanded_g: p[3] })
            .collect();
        if let Ok(line) = LineThroughZero::fit(&points) {
            prop_assert!(line.slope.is_finite() && line.u_slope > 0.0);
        }
        let pairs: Vec<(f64, f64)> = n.chunks_exact(2).map(|p| (p[0], p[1])).collect();
        let _ = Bound::over(&pairs);
    }

    /// Kilograms for grams change nothing but the unit.
    #[test]
    fn the_unit_does_not_matter(
        sizes in prop::collection::vec((0.01..10.0f64, 1.0..50.0f64), 1..8),
        unit in 1e-3..1e3f64,
    ) {
        let budget = |unit: f64| {
            let shares = sizes.iter().enumerate().map(|(i, (size, dof))| {
                share("one", match i % 3 {
                    0 => Knowledge::Estimated { sd: size * unit, dof: *dof },
                    1 => Knowledge::Rectangular { half: size * unit },
                    _ => Knowledge::Normal { sd: size * unit },
                })
            });
            Budget::new(shares.collect()).statement().expect("a statement")
        };
        let (one, other) = (budget(1.0), budget(unit));
        prop_assert!((other.u_g / (one.u_g * unit) - 1.0).abs() < 1e-12);
        prop_assert!((other.dof.exact / one.dof.exact - 1.0).abs() < 1e-9
            || one.dof.exact.is_infinite());
    }

    /// No point passes the bound, and no line through it lies lower on average
    /// than one point allows: it touches.
    #[test]
    fn a_bound_is_above_all_points_and_touches(
        points in prop::collection::vec((0.0..1e4f64, 0.0..5.0f64), 1..12),
    ) {
        let bound = Bound::over(&points).expect("a bound");
        let slack: Vec<f64> = points.iter().map(|(l, u)| bound.at_g(*l) - u).collect();
        prop_assert!(slack.iter().all(|s| *s >= -1e-9), "{bound:?}");
        prop_assert!(slack.iter().any(|s| *s <= 1e-9), "{bound:?}");
        prop_assert!(bound.base_g >= 0.0 && bound.rise >= 0.0);
        let asked = Requirement { relative: bound.rise + 0.01, safety: 1.0 };
        let largest_g = 1e6;
        let closed = minimum_weight_of_bound_g(asked, largest_g, bound).expect("a weight");
        let bracketed =
            minimum_weight_g(asked, largest_g, |g| Ok(bound.at_g(g))).expect("a weight");
        prop_assert!((closed - bracketed).abs() <= 1e-6 * closed.max(1.0));
    }

    /// Between the points, the bound still holds for a budget's own curve.
    #[test]
    fn a_bound_holds_between_points(base in 0.01..2.0f64, rise in 0.0..0.01f64) {
        let u = |load: f64| f64::hypot(base, rise * load);
        let points: Vec<(f64, f64)> =
            (0..6).map(|i| 600.0 * f64::from(i)).map(|l| (l, u(l))).collect();
        let bound = Bound::over(&points).expect("a bound");
        for i in 0..=300 {
            let load = 10.0 * f64::from(i);
            prop_assert!(bound.at_g(load) >= u(load) * (1.0 - 1e-12));
        }
    }
}
