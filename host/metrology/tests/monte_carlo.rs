//! Trials of budgets against closed forms and against what budgets state.

mod common;
#[path = "common/set_ups.rs"]
mod set_ups;

use common::reference;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
use scalewright_metrology::monte_carlo::{
    Propagated, TrialRefusal, USUAL_TRIALS, generator, propagate,
};

const P: f64 = 0.9545;

fn share(knowledge: Knowledge) -> Contribution {
    Contribution::new("share", knowledge).expect("a share")
}

fn tried(shares: &[Knowledge], trials: usize, seed: u64) -> Propagated {
    let budget = Budget::new(shares.iter().map(|one| share(*one)).collect());
    propagate(&budget, 0.0, trials, &mut generator(seed)).expect("trials")
}

/// Half widths for a coverage of 95.45 % in closed form, COMPUTED HERE:
/// rectangular p a; triangular a (1 - sqrt(1 - p)); arc sine a sin(p pi/2).
#[test]
fn single_shares_have_their_closed_form() {
    let half = 2.0;
    let normal = 2.0 * 2.000_002_4; // NIST TN 1297 table B.1: 2.000
    for (knowledge, width, sd) in [
        (
            Knowledge::Rectangular { half },
            half * P,
            half / 3f64.sqrt(),
        ),
        (
            Knowledge::Triangular { half },
            half * (1.0 - (1.0 - P).sqrt()),
            half / 6f64.sqrt(),
        ),
        (
            Knowledge::ArcSine { half },
            half * (P * std::f64::consts::FRAC_PI_2).sin(),
            half / 2f64.sqrt(),
        ),
        (Knowledge::Normal { sd: half }, normal, half),
    ] {
        let said = tried(&[knowledge], 2_000_000, 11);
        let found = said.symmetric.half_width_g();
        // Five times what two million trials leave open.
        assert!(
            (found / width - 1.0).abs() < 0.004,
            "{knowledge:?}: {found}"
        );
        let found = said.sd_g.expect("a deviation");
        assert!((found / sd - 1.0).abs() < 0.003, "{knowledge:?}: {found}");
        assert!(
            said.mean_g.abs() < 4.0 * sd / 2e6f64.sqrt(),
            "{knowledge:?}"
        );
        assert!(said.shortest.width_g() <= said.symmetric.width_g());
    }
}

/// The scaled t has Student's own factor at every number of degrees of
/// freedom, and s sqrt(nu/(nu - 2)) for a deviation where there is one
/// (JCGM 101:2008, 6.4.9.4). VERIFIED: tests/reference/student_t.csv.
#[test]
fn an_estimated_deviation_is_drawn_as_student_s_t() {
    let mut seen = 0;
    for row in reference("student_t.csv").lines() {
        let fields: Vec<f64> = row.split(',').filter_map(|f| f.parse().ok()).collect();
        let (Some(dof), Some(t)) = (fields.first(), row.split(',').nth(2)) else {
            continue;
        };
        let Ok(t) = t.parse::<f64>() else { continue };
        let sd = 0.4;
        let said = tried(&[Knowledge::Estimated { sd, dof: *dof }], 1_000_000, 5);
        let near = if *dof < 3.0 { 0.03 } else { 0.01 };
        let found = said.symmetric.half_width_g() / sd;
        assert!((found / t - 1.0).abs() < near, "{dof}: {found}, not {t}");
        assert_eq!(said.sd_g.is_some(), *dof > 2.0);
        // Below five the deviation of a deviation does not exist.
        if *dof >= 6.0 {
            let known = sd * (dof / (dof - 2.0)).sqrt();
            assert!(
                (said.sd_g.expect("a deviation") / known - 1.0).abs() < 0.01,
                "{dof}"
            );
        }
        seen += 1;
    }
    assert!(seen >= 25, "{seen}");
}

/// Where the conditions of JCGM 100:2008 G.6.6 hold (many shares, none
/// dominant, readings enough), budget and trials agree.
#[test]
fn budget_and_trials_agree_where_the_budget_may_be_used() {
    let all = set_ups::where_the_budget_holds(100);
    assert_eq!(all.len(), 100);
    let ratio = |one| set_ups::budget_by_trials(one).expect("trials");
    let worst = all.iter().map(|one| (ratio(one) - 1.0).abs());
    let worst = worst.fold(0.0, f64::max);
    assert!(worst < 0.02, "{worst}");
}

/// Where they don't, they part in the direction they should.
#[test]
fn budget_and_trials_part_where_they_must() {
    // One rectangular share: k = 2 gives 2/(p sqrt(3)) = 1.2097 times too much.
    let alone = Budget::new(vec![share(Knowledge::Rectangular { half: 0.5 })]);
    let said = propagate(&alone, 0.0, 1_000_000, &mut generator(1)).expect("trials");
    let stated = alone.statement().expect("a statement").expanded_g;
    let ratio = stated / said.symmetric.half_width_g();
    assert!(
        alone.dominant().is_some() && (ratio - 1.2097).abs() < 0.002,
        "{ratio}"
    );
    // With a tenth of it besides: 2 % of the width blurred, still 1.2.
    let mut blurred = alone;
    blurred.push(share(Knowledge::Normal { sd: 0.03 }));
    let said = propagate(&blurred, 0.0, 1_000_000, &mut generator(1)).expect("trials");
    let stated = blurred.statement().expect("a statement").expanded_g;
    let ratio = stated / said.symmetric.half_width_g();
    assert!(
        blurred.dominant().is_some() && (1.15..1.21).contains(&ratio),
        "{ratio}"
    );
    // Few readings beside limits. Below three degrees of freedom the t has no
    // deviation at all, and a budget that counts s as it stands says far too
    // little; from ten on they agree again. Ratios COMPUTED HERE.
    let few = |dof| {
        let shares = [
            Knowledge::Estimated { sd: 0.5, dof },
            Knowledge::Rectangular { half: 0.9 },
        ];
        let budget = Budget::new(shares.map(share).to_vec());
        let said = propagate(&budget, 0.0, 1_000_000, &mut generator(2)).expect("trials");
        budget.statement().expect("a statement").expanded_g / said.symmetric.half_width_g()
    };
    for (dof, ratio) in [
        (1.0, 0.29),
        (2.0, 0.71),
        (3.0, 0.85),
        (4.0, 0.91),
        (9.0, 0.99),
    ] {
        assert!((few(dof) - ratio).abs() < 0.01, "{dof}: {}", few(dof));
    }
}

#[test]
fn the_same_seed_says_the_same() {
    let shares = [
        Knowledge::Estimated { sd: 1.0, dof: 3.0 },
        Knowledge::ArcSine { half: 1.0 },
    ];
    assert_eq!(tried(&shares, 10_001, 9), tried(&shares, 10_001, 9));
    assert_ne!(tried(&shares, 10_001, 9), tried(&shares, 10_001, 10));
}

#[test]
fn what_cannot_be_tried_is_refused() {
    let budget = Budget::new(vec![share(Knowledge::Normal { sd: 1.0 })]);
    for trials in [0, 999, 10_000_001, usize::MAX] {
        let refused = propagate(&budget, 0.0, trials, &mut generator(1));
        assert_eq!(refused, Err(TrialRefusal::Trials { asked: trials }));
    }
    let refused = propagate(&budget, f64::NAN, USUAL_TRIALS, &mut generator(1));
    assert!(refused.is_err());
    let huge = Budget::new(vec![share(Knowledge::Normal { sd: 1e307 })]);
    let refused = propagate(&huge, 0.0, 1000, &mut generator(1));
    assert_eq!(refused, Err(TrialRefusal::OutOfRange));
}

/// A generator that gives one number for ever ends all the same.
#[test]
fn a_broken_generator_does_not_hang() {
    use rand_xoshiro::rand_core::{Infallible, TryRng};
    struct Stuck(u64);
    impl TryRng for Stuck {
        type Error = Infallible;
        fn try_next_u32(&mut self) -> Result<u32, Infallible> {
            Ok(self.0 as u32)
        }
        fn try_next_u64(&mut self) -> Result<u64, Infallible> {
            Ok(self.0)
        }
        fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Infallible> {
            bytes.fill(self.0 as u8);
            Ok(())
        }
    }
    let shares = [
        Knowledge::Estimated { sd: 1.0, dof: 1.0 },
        Knowledge::Normal { sd: 1.0 },
        Knowledge::ArcSine { half: 1.0 },
    ];
    let budget = Budget::new(shares.map(share).to_vec());
    for number in [
        0,
        1,
        0x55,
        1 << 63,
        u64::MAX,
        0x7fff_ffff_ffff_ff00,
        0x7fff_ffff_ffff_ffff,
    ] {
        let _ = propagate(&budget, 0.0, 1000, &mut Stuck(number));
    }
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
        sizes in prop::collection::vec(
            (prop_oneof![prop::num::f64::ANY, 0.0..10.0f64, Just(0.0), Just(1e300), Just(5e-324)],
             prop_oneof![prop::num::f64::ANY, 1.0..20.0f64, Just(f64::INFINITY)], 0..5usize),
            0..8),
        estimate in prop::num::f64::ANY,
        trials in 900..3000usize,
        seed in any::<u64>(),
    ) {
        let shares: Vec<Contribution> = (sizes.iter())
            .filter_map(|(size, dof, kind)| {
                let knowledge = match kind {
                    0 => Knowledge::Normal { sd: *size },
                    1 => Knowledge::Estimated { sd: *size, dof: *dof },
                    2 => Knowledge::Rectangular { half: *size },
                    3 => Knowledge::Triangular { half: *size },
                    _ => Knowledge::ArcSine { half: *size },
                };
                Contribution::with_sensitivity("one", knowledge, -*dof).ok()
            })
            .collect();
        let budget = Budget::new(shares);
        if let Ok(said) = propagate(&budget, estimate, trials, &mut generator(seed)) {
            prop_assert!(said.shortest.width_g() <= said.symmetric.width_g());
            prop_assert!(said.mean_g.is_finite());
        }
    }
}
