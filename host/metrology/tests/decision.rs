//! Decisions under uncertainty: the probabilities against an integral and the
//! normal distribution of statrs, the promises of the rules by simulation.

#[path = "common/cells.rs"]
mod cells;
mod common;

use cells::Dice;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use scalewright_metrology::decision::{
    Conformity, DecisionRefusal, ErrorEstimate, FIT_SHARE, Risk, Rule, Standing, chances, decide,
    fitness, probability_within,
};
use scalewright_metrology::distribution::student_t_two_sided;
use statrs::distribution::{ContinuousCDF, Normal};

const LIMIT_G: f64 = 2.0;

fn found(error_g: f64, standard_g: f64) -> ErrorEstimate {
    ErrorEstimate {
        error_g,
        standard_g,
        expanded_g: 2.0 * standard_g,
    }
}

/// The integral of the normal density over plus or minus the limit, by
/// Simpson's rule.
fn integral(error_g: f64, u: f64) -> f64 {
    let n = 20_000;
    let h = 2.0 * LIMIT_G / f64::from(n);
    let density = |x: f64| {
        let z = (x - error_g) / u;
        (-0.5 * z * z).exp() / (u * (2.0 * std::f64::consts::PI).sqrt())
    };
    let sum: f64 = (0..=n)
        .map(|i| {
            let weight = match i {
                0 => 1.0,
                i if i == n => 1.0,
                i if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * density(-LIMIT_G + f64::from(i) * h)
        })
        .sum();
    sum * h / 3.0
}

#[test]
fn the_probability_is_the_integral_of_the_density() {
    for u in [0.05, 0.3, 1.0, 3.0] {
        for error_g in [-4.0, -2.0, -1.5, 0.0, 0.7, 1.9, 2.0, 2.1, 3.0] {
            let got = probability_within(error_g, u, LIMIT_G).expect("numbers");
            let expected = integral(error_g, u);
            assert!(
                (got - expected).abs() < 1e-9,
                "{error_g} {u}: {got} {expected}"
            );
            let normal = Normal::new(error_g, u).expect("normal");
            let library = normal.cdf(LIMIT_G) - normal.cdf(-LIMIT_G);
            assert!(
                (got - library).abs() < 1e-12,
                "{error_g} {u}: {got} {library}"
            );
        }
    }
}

/// Tables of the normal distribution (from memory): Phi(1), Phi(2), Phi(3).
#[test]
fn known_values_of_the_normal_distribution() {
    for (z, phi) in [
        (1.0, 0.841_344_746),
        (2.0, 0.977_249_868),
        (3.0, 0.998_650_102),
    ] {
        // The other limit is 40 deviations away.
        let got = probability_within(LIMIT_G - z * 0.1, 0.1, LIMIT_G).expect("numbers");
        assert!((got - phi).abs() < 1e-9, "{z}: {got}");
    }
    // Deep in the tail the risk keeps its digits: 1 - Phi(8) = 6.22096e-16.
    let deep = decide(found(1.2, 0.1), LIMIT_G, Rule::Simple).expect("numbers");
    let Risk::Consumer(risk) = deep.risk else {
        panic!("accepted: {deep:?}");
    };
    assert!((risk / 6.220_96e-16 - 1.0).abs() < 1e-4, "{risk}");
}

/// Both rules on, just within and just beyond each of their bounds.
#[test]
fn every_bound_of_the_rules() {
    use Conformity::{CannotBeTold, Conforms, DoesNotConform};
    let u = 0.25;
    for (error_g, simple, guarded, standing) in [
        (0.0, Conforms, Conforms, Standing::Within),
        (1.5, Conforms, Conforms, Standing::Within),
        (
            1.500_001,
            Conforms,
            CannotBeTold,
            Standing::WithinButReaching,
        ),
        (2.0, Conforms, CannotBeTold, Standing::WithinButReaching),
        (
            2.000_001,
            DoesNotConform,
            CannotBeTold,
            Standing::BeyondButReaching,
        ),
        (
            2.5,
            DoesNotConform,
            CannotBeTold,
            Standing::BeyondButReaching,
        ),
        (2.500_001, DoesNotConform, DoesNotConform, Standing::Beyond),
    ] {
        for error_g in [error_g, -error_g] {
            for (rule, conformity) in [(Rule::Simple, simple), (Rule::Guarded, guarded)] {
                let got = decide(found(error_g, u), LIMIT_G, rule).expect("numbers");
                assert_eq!(
                    (got.conformity, got.standing),
                    (conformity, standing),
                    "{error_g}"
                );
                let risk = match got.risk {
                    Risk::Consumer(risk) => 1.0 - risk,
                    Risk::Producer(risk) => risk,
                    Risk::Undecided => got.inside,
                };
                assert!((risk - got.inside).abs() < 1e-12);
                let decided = got.conformity != CannotBeTold;
                assert_eq!(decided, got.risk != Risk::Undecided);
            }
        }
    }
    // 0.1 + 0.2 is above 0.3 in f64, not on a scale.
    let sum = decide(found(0.1 + 0.2, 0.0), 0.3, Rule::Simple).expect("numbers");
    assert_eq!(sum.conformity, Conforms);
    // U above the limit: never accepted by guard bands.
    let coarse = decide(found(0.0, 1.1), LIMIT_G, Rule::Guarded).expect("numbers");
    assert_eq!(coarse.conformity, CannotBeTold);
}

#[test]
fn without_uncertainty_the_decision_is_sure() {
    for (error_g, inside) in [(0.0, 1.0), (2.0, 1.0), (2.1, 0.0)] {
        let got = decide(found(error_g, 0.0), LIMIT_G, Rule::Guarded).expect("numbers");
        assert_eq!(got.inside, inside);
        assert!(matches!(
            got.risk,
            Risk::Consumer(0.0) | Risk::Producer(0.0)
        ));
    }
}

/// What a rule promises for a true error is what happens in 200,000 tests: at
/// the limit simple acceptance passes one half, guard bands pass and fail 2.3 %.
#[test]
fn simulated_tests_end_as_promised() {
    const TESTS: u32 = 200_000;
    let mut dice = Dice(20_261_126);
    for (true_g, u) in [
        (2.0, 0.1),
        (-2.0, 0.1),
        (2.0, 0.6),
        (1.7, 0.3),
        (2.4, 0.3),
        (0.0, 1.5),
    ] {
        for rule in [Rule::Simple, Rule::Guarded] {
            let mut counts = [0u32; 3];
            for _ in 0..TESTS {
                let measured = found(true_g + u * dice.normal(), u);
                let got = decide(measured, LIMIT_G, rule).expect("numbers");
                counts[match got.conformity {
                    Conformity::Conforms => 0,
                    Conformity::DoesNotConform => 1,
                    Conformity::CannotBeTold => 2,
                }] += 1;
            }
            let said = chances(true_g, u, 2.0 * u, LIMIT_G, rule).expect("numbers");
            let said = [said.conforms, said.does_not_conform, said.cannot_be_told];
            for (count, p) in counts.into_iter().zip(said) {
                let seen = f64::from(count) / f64::from(TESTS);
                let error = (p * (1.0 - p) / f64::from(TESTS)).sqrt();
                // Four and a half deviations: 36 comparisons with one fixed seed.
                assert!(
                    (seen - p).abs() <= 4.5 * error + 1e-9,
                    "{true_g} {u} {rule:?}: {seen} seen, {p} said"
                );
            }
        }
    }
    // A scale on the limit, measured well.
    let on_limit = |rule| chances(2.0, 0.1, 0.2, LIMIT_G, rule).expect("numbers");
    assert!((on_limit(Rule::Simple).conforms - 0.5).abs() < 1e-12);
    assert!((on_limit(Rule::Guarded).conforms - 0.022_750_132).abs() < 1e-9);
    assert!((on_limit(Rule::Guarded).does_not_conform - 0.022_750_132).abs() < 1e-9);
}

/// The specific risk is the share of wrong decisions among those with that
/// result, when nothing was known of the scale before: true errors spread evenly
/// far beyond the limit.
#[test]
fn specific_risks_are_shares_of_wrong_decisions() {
    let mut dice = Dice(7);
    let u = 0.4;
    for (rule, centre_g) in [
        (Rule::Simple, 1.8),
        (Rule::Simple, 2.3),
        (Rule::Guarded, 1.1),
        (Rule::Guarded, 3.0),
    ] {
        let (mut wrong, mut told, mut expected) = (0u32, 0u32, 0.0);
        while told < 40_000 {
            let true_g = centre_g + 6.0 * u * (2.0 * dice.even() - 1.0);
            let measured = found(true_g + u * dice.normal(), u);
            if (measured.error_g - centre_g).abs() > 0.05 {
                continue;
            }
            let got = decide(measured, LIMIT_G, rule).expect("numbers");
            let within = true_g.abs() <= LIMIT_G;
            told += 1;
            match got.risk {
                Risk::Consumer(risk) => {
                    wrong += u32::from(!within);
                    expected += risk;
                }
                Risk::Producer(risk) => {
                    wrong += u32::from(within);
                    expected += risk;
                }
                Risk::Undecided => panic!("the case decides: {got:?}"),
            }
        }
        let p = expected / f64::from(told);
        let seen = f64::from(wrong) / f64::from(told);
        let error = (p * (1.0 - p) / f64::from(told)).sqrt();
        assert!(
            (seen - p).abs() < 4.5 * error,
            "{rule:?} {centre_g}: {seen} {p}"
        );
    }
}

/// With the coverage factor of 95 % one-sided, 1.645, guard bands pass 5 % at
/// the limit.
#[test]
fn the_guard_sets_the_share_of_false_passes() {
    let k = student_t_two_sided(0.9, f64::INFINITY).expect("a factor");
    let at_limit = chances(2.0, 0.1, 0.1 * k, LIMIT_G, Rule::Guarded).expect("numbers");
    assert!((at_limit.conforms - 0.05).abs() < 1e-9);
}

/// R 76-1, 3.7.1: a third of the permitted error (tests/reference/r76_rules.toml).
#[test]
fn a_third_is_fine_enough() {
    let text = common::reference("r76_rules.toml");
    let rules: toml::Table = text.parse().expect("toml");
    let third = rules["test_weights"]["error_max_fraction_of_mpe"].as_float();
    assert!((third.expect("a number") - FIT_SHARE).abs() < 1e-9);
    assert!(fitness(1.0 / 3.0, 1.0).expect("numbers").fit);
    let coarse = fitness(0.334, 1.0).expect("numbers");
    assert!(!coarse.fit && coarse.to_string().contains("better weights"));
    assert!(fitness(0.0, 1.0).expect("numbers").fit);
}

#[test]
fn numbers_that_decide_nothing_are_refused() {
    for bad in [f64::NAN, f64::INFINITY] {
        let error = decide(found(bad, 0.1), 1.0, Rule::Simple);
        assert!(matches!(error, Err(DecisionRefusal::Error(_))));
    }
    for bad in [f64::NAN, -0.1, f64::INFINITY] {
        let standard = decide(found(0.0, bad), 1.0, Rule::Simple);
        assert!(matches!(standard, Err(DecisionRefusal::Uncertainty(_))));
        let expanded = ErrorEstimate {
            expanded_g: bad,
            ..found(0.0, 0.1)
        };
        let expanded = decide(expanded, 1.0, Rule::Simple);
        assert!(matches!(expanded, Err(DecisionRefusal::Uncertainty(_))));
        assert!(fitness(bad, 1.0).is_err());
    }
    for bad in [f64::NAN, 0.0, -1.0, f64::INFINITY] {
        let limit = decide(found(0.0, 0.1), bad, Rule::Simple);
        assert!(matches!(limit, Err(DecisionRefusal::Limit(_))));
        assert!(fitness(0.1, bad).is_err());
        assert!(chances(0.0, 0.1, 0.2, bad, Rule::Simple).is_err());
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        prop::num::f64::ANY,
        -10.0..10.0f64,
        0.0..1e-300f64,
        prop::sample::select(vec![0.0, f64::MAX, f64::MIN_POSITIVE, 5e-324, 1.0]),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 5000,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_127),
        ..ProptestConfig::default()
    })]

    /// Whatever comes in: an answer with probabilities from 0 to 1 or a refusal;
    /// the sign of the error and the unit don't matter; guard bands only ever
    /// take a decision back.
    #[test]
    fn laws_of_a_decision(e in number(), u in number(), big_u in number(), limit in number()) {
        let measured = ErrorEstimate { error_g: e, standard_g: u, expanded_g: big_u };
        let simple = decide(measured, limit, Rule::Simple);
        let guarded = decide(measured, limit, Rule::Guarded);
        prop_assert_eq!(simple.is_ok(), guarded.is_ok());
        if let (Ok(simple), Ok(guarded)) = (simple, guarded) {
            prop_assert!((0.0..=1.0).contains(&simple.inside));
            match simple.risk {
                Risk::Consumer(risk) | Risk::Producer(risk) => {
                    prop_assert!((0.0..=1.0).contains(&risk));
                    // What is decided by the error is at least as likely as not,
                    // the far limit apart.
                    if let Risk::Producer(_) = simple.risk {
                        prop_assert!(risk <= 0.5 + 1e-6);
                    }
                }
                Risk::Undecided => prop_assert!(false, "simple acceptance always decides"),
            }
            prop_assert!(guarded.conformity == simple.conformity
                || guarded.conformity == Conformity::CannotBeTold);
            let other = decide(ErrorEstimate { error_g: -e, ..measured }, limit, Rule::Guarded);
            prop_assert_eq!(Ok(guarded), other);
            for rule in [Rule::Simple, Rule::Guarded] {
                let c = chances(e, u, big_u, limit, rule).expect("decided above");
                let sum = c.conforms + c.does_not_conform + c.cannot_be_told;
                prop_assert!((sum - 1.0).abs() < 1e-9, "{:?}", c);
            }
        } else {
            let why = decide(measured, limit, Rule::Simple).expect_err("refused");
            prop_assert!(why.to_string().len() > 20);
        }
    }

    #[test]
    fn the_unit_does_not_matter(e in -5.0..5.0f64, u in 0.01..2.0f64, limit in 0.1..4.0f64) {
        for rule in [Rule::Simple, Rule::Guarded] {
            let in_g = decide(found(e, u), limit, rule).expect("numbers");
            let in_mg = decide(found(1024.0 * e, 1024.0 * u), 1024.0 * limit, rule).expect("numbers");
            prop_assert_eq!(in_g.conformity, in_mg.conformity);
            prop_assert!((in_g.inside - in_mg.inside).abs() < 1e-12);
        }
    }
}
