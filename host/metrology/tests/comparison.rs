//! Comparing two instruments: cases worked by hand, laws, and rates by
//! simulation with fixed seeds.

#[path = "common/cells.rs"]
mod cells;

use cells::Dice;
use scalewright_metrology::comparison::{
    Blame, Comparison, ComparisonError, Importance, PairAtLoad, Pattern, Reading, Weights,
    agreement, at_loads, compare, lines, normalised_error,
};

fn pair(load_g: f64, first: (f64, f64), second: (f64, f64), weights: Weights) -> PairAtLoad {
    let reading = |(indication_g, u_g)| Reading { indication_g, u_g };
    PairAtLoad {
        load_g,
        first: reading(first),
        second: reading(second),
        weights,
    }
}

/// Loads from 100 g to 1 kg on the same good weights, each instrument with an
/// error by load and an uncertainty of 0.05 g.
fn pairs(mut first: impl FnMut(f64) -> f64, second: impl Fn(f64) -> f64) -> Vec<PairAtLoad> {
    (1..=10)
        .map(|i| {
            let load = 100.0 * f64::from(i);
            let weights = Weights::Shared {
                mass_g: load,
                u_g: 0.01,
            };
            pair(
                load,
                (load + first(load), 0.05),
                (load + second(load), 0.05),
                weights,
            )
        })
        .collect()
}

fn compared(pairs: &[PairAtLoad]) -> Comparison {
    compare(pairs, |_| 0.5).expect("usable pairs")
}

/// By hand: difference 0.4; 0.3 and 0.4 make 0.5; with r = 0.5 the variance is
/// 0.09 + 0.16 - 2 * 0.5 * 0.12 = 0.13.
#[test]
fn normalised_errors_by_hand() {
    let e_n = |r| {
        normalised_error((10.4, 0.3), (10.0, 0.4), r)
            .expect("usable")
            .e_n
    };
    assert!((e_n(0.0) - 0.8).abs() < 1e-12);
    assert!((e_n(0.5) - 0.4 / 0.13f64.sqrt()).abs() < 1e-12);
    assert!((e_n(1.0) - 4.0).abs() < 1e-12);
    assert!((e_n(-1.0) - 0.4 / 0.7).abs() < 1e-12);
    let edge = normalised_error((1.0, 1.0), (0.0, 0.0), 0.0).expect("usable");
    assert!(edge.agrees() && edge.e_n == 1.0);
    for (first, second, r) in [
        ((1.0, 0.0), (0.0, 0.0), 0.0),
        ((1.0, 0.1), (0.0, 0.1), 1.0),
        ((1.0, -0.1), (0.0, 0.1), 0.0),
        ((1.0, f64::NAN), (0.0, 0.1), 0.0),
        ((f64::INFINITY, 0.1), (0.0, 0.1), 0.0),
        ((1.0, 0.1), (0.0, 0.1), 1.1),
        ((1.0, 0.1), (0.0, 0.1), f64::NAN),
    ] {
        assert!(normalised_error(first, second, r).is_err(), "{first:?} {r}");
    }
}

/// The weights' uncertainty cancels in the difference and not in the errors: 3,
/// 4 and 12 hundredths of a gram make 5, 12.37 and 12.65.
#[test]
fn shared_weights_cancel() {
    let shared = Weights::Shared {
        mass_g: 1000.0,
        u_g: 0.12,
    };
    let one = at_loads(&[pair(1000.0, (1000.3, 0.03), (999.9, 0.04), shared)]).expect("usable")[0];
    let (first, second) = one.errors.expect("known masses");
    assert!((one.u_g - 0.05).abs() < 1e-15);
    assert!((first.u_g - 0.0153f64.sqrt()).abs() < 1e-15);
    assert!((second.u_g - 0.016f64.sqrt()).abs() < 1e-15);
    assert!((first.error_g - 0.3).abs() < 1e-9 && (second.error_g + 0.1).abs() < 1e-9);
    assert_eq!(first.expanded_g, 2.0 * first.u_g);
    // The general law, and E_n by it.
    let variance = first.u_g.powi(2) + second.u_g.powi(2) - 2.0 * one.covariance_g2;
    assert!((variance.sqrt() - one.u_g).abs() < 1e-15);
    let correlation = one.covariance_g2 / first.u_g / second.u_g;
    let general = normalised_error(
        (first.error_g, first.expanded_g),
        (second.error_g, second.expanded_g),
        correlation,
    );
    assert!((general.expect("usable").e_n / one.normalised.e_n - 1.0).abs() < 1e-9);
    assert!((one.normalised.e_n - 4.0).abs() < 1e-8);

    // Weights of their own don't cancel, and their masses come off.
    let separate = Weights::Separate {
        first_g: (1000.2, 0.12),
        second_g: (999.9, 0.05),
    };
    let one =
        at_loads(&[pair(1000.0, (1000.3, 0.03), (999.9, 0.04), separate)]).expect("usable")[0];
    assert!((one.difference_g - 0.1).abs() < 1e-9);
    assert!((one.u_g - 0.0194f64.sqrt()).abs() < 1e-12);
    assert_eq!(one.covariance_g2, 0.0);

    let unknown = pair(1000.0, (1000.3, 0.03), (999.9, 0.04), Weights::Unknown);
    assert_eq!(at_loads(&[unknown]).expect("usable")[0].errors, None);
}

/// Differences 1, 2, 3: mean 2, s = 1, t for 2 degrees of freedom and 95 % is
/// 4.303 (NIST TN 1297 table B.1: 4.30), limits 0.04 and 3.96, their interval
/// t * sqrt(1/3 + 1.96^2/4) = 4.88.
#[test]
fn limits_of_agreement_by_hand() {
    let found = agreement(&[1.0, 2.0, 3.0]).expect("three");
    assert_eq!((found.bias.value, found.sd, found.n), (2.0, 1.0, 3));
    assert!((found.bias.high - 2.0 - 4.302_65 / 3f64.sqrt()).abs() < 1e-4);
    assert!((found.lower.value - 0.04).abs() < 1e-12);
    assert!((found.upper.value - 3.96).abs() < 1e-12);
    let half = 4.302_65 * (1.0f64 / 3.0 + 3.8416 / 4.0).sqrt();
    assert!((found.upper.high - 3.96 - half).abs() < 1e-4);
    assert!((found.lower.low - 0.04 + half).abs() < 1e-4);
    let too_few = ComparisonError::TooFew {
        given: 2,
        needed: 3,
    };
    assert_eq!(agreement(&[1.0, 2.0]), Err(too_few));
    assert!(agreement(&[1.0, f64::NAN, 2.0]).is_err());
    assert!(agreement(&[f64::MAX, -f64::MAX, 0.0]).is_err());
}

/// The 95 % intervals hold the truth in 95 % of 4000 simulated series. Four
/// standard deviations of that share are 1.4 %; the interval of a limit is
/// approximate and is given 2 % more.
#[test]
fn intervals_cover_what_they_say() {
    let mut dice = Dice(20_260_711);
    for n in [10, 40] {
        let (mut mean, mut upper, mut within) = (0, 0, 0.0);
        let runs = 4000;
        for _ in 0..runs {
            let series: Vec<f64> = (0..n).map(|_| 0.3 + 0.2 * dice.normal()).collect();
            let found = agreement(&series).expect("enough");
            mean += i32::from(found.bias.low <= 0.3 && 0.3 <= found.bias.high);
            let limit = 0.3 + 1.96 * 0.2;
            upper += i32::from(found.upper.low <= limit && limit <= found.upper.high);
            let share = |z: f64| 0.5 * (1.0 + common_erf(z / 2f64.sqrt()));
            within +=
                share((found.upper.value - 0.3) / 0.2) - share((found.lower.value - 0.3) / 0.2);
        }
        let share = |k: i32| f64::from(k) / f64::from(runs);
        assert!((share(mean) - 0.95).abs() < 0.014, "{n}: {}", share(mean));
        assert!((share(upper) - 0.95).abs() < 0.034, "{n}: {}", share(upper));
        // Limits from few differences hold a little less than 95 % of them.
        let within = within / f64::from(runs);
        assert!((0.90..0.951).contains(&within), "{n}: {within}");
    }
}

/// The error function to 1.5e-7: Abramowitz and Stegun, 7.1.26 (from memory).
fn common_erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let series = ((((1.061_405_429 * t - 1.453_152_027) * t + 1.421_413_741) * t - 0.284_496_736)
        * t
        + 0.254_829_592)
        * t;
    x.signum() * (1.0 - series * (-x * x).exp())
}

/// By hand, with u(d) = 1: x = 1, 2, 3 and d = 1, 2, 4. Slope through zero 17/14,
/// u = 1/sqrt(14); free: slope 1.5, offset -2/3, u = 1/sqrt(2).
#[test]
fn slopes_by_hand() {
    let u = 0.5f64.sqrt();
    let series: Vec<_> = [(1.0, 1.0), (2.0, 2.0), (3.0, 4.0)]
        .iter()
        .map(|(x, d)| pair(*x, (*d, u), (0.0, u), Weights::Unknown))
        .collect();
    let found = lines(&at_loads(&series).expect("usable")).expect("lines");
    assert!((found.through_zero.slope - 17.0 / 14.0).abs() < 1e-12);
    assert!((found.through_zero.u_slope - 1.0 / 14f64.sqrt()).abs() < 1e-12);
    assert!((found.constant.offset_g - 7.0 / 3.0).abs() < 1e-12);
    assert!((found.constant.u_offset_g - 1.0 / 3f64.sqrt()).abs() < 1e-12);
    let free = found.free.expect("three loads");
    assert!((free.slope - 1.5).abs() < 1e-12 && (free.offset_g + 2.0 / 3.0).abs() < 1e-12);
    assert!((free.u_slope - 0.5f64.sqrt()).abs() < 1e-12);
    // (X'X)^-1 = [[7/3, -1], [-1, 1/2]].
    assert!((free.u_offset_g - (7.0f64 / 3.0).sqrt()).abs() < 1e-12);
    assert!((free.covariance_g + 1.0).abs() < 1e-12);
    assert!((free.fit.chi_squared - 1.0 / 6.0).abs() < 1e-12 && free.fit.dof == 1);
    // Chi-squared tables: 3.841 is passed by 5 % with one degree of freedom.
    let mut fit = free.fit;
    fit.chi_squared = 3.841_459;
    assert!((fit.probability() - 0.05).abs() < 1e-6);
}

#[test]
fn every_pattern_is_told_from_the_others() {
    let none = |_: f64| 0.0;
    let told = |pairs: &[PairAtLoad]| compared(pairs).pattern;
    assert_eq!(told(&pairs(none, none)), Pattern::Agree);
    match told(&pairs(|_| 0.3, none)) {
        Pattern::Constant(line) => assert!((line.offset_g - 0.3).abs() < 1e-9),
        other => panic!("{other:?}"),
    }
    match told(&pairs(none, |load| 1e-3 * load)) {
        Pattern::Factor(line) => assert!((line.slope + 1e-3).abs() < 1e-12),
        other => panic!("{other:?}"),
    }
    match told(&pairs(|load| 1e-3 * load - 0.6, none)) {
        Pattern::ConstantAndFactor(line) => {
            assert!((line.slope - 1e-3).abs() < 1e-12 && (line.offset_g + 0.6).abs() < 1e-9);
        }
        other => panic!("{other:?}"),
    }
    let one_load = |load: f64| if load == 400.0 { 0.6 } else { 0.0 };
    let at_g = vec![400.0];
    assert_eq!(told(&pairs(one_load, none)), Pattern::SomeLoads { at_g });
    let bent = |load: f64| 4.0 * load / 1000.0 * (1.0 - load / 1000.0);
    assert_eq!(told(&pairs(bent, none)), Pattern::NoPattern);
    // One load tells a difference and nothing more.
    let single = &pairs(|_| 0.5, none)[..1];
    assert_eq!(told(single), Pattern::TooFewLoads);
    // Two neighbouring loads: a constant or a factor.
    let close = pairs(|_| 0.5, none);
    assert!(matches!(told(&close[8..]), Pattern::TwoExplanations(_)));
    // A difference of 3.3 u at the largest of loads 1, 2 and 4 only: an
    // exception leaves nothing and costs 2 ln 3 = 2.20, a factor leaves
    // 3.3^2 * 5/21 = 2.59 and costs ln 3 = 1.10. Less than 2 apart.
    let u = 0.5f64.sqrt();
    let at = |load, d| pair(load, (d, u), (0.0, u), Weights::Unknown);
    match told(&[at(1.0, 0.0), at(2.0, 0.0), at(4.0, 3.3)]) {
        Pattern::TwoExplanations(both) => {
            assert_eq!(both.0, Pattern::SomeLoads { at_g: vec![4.0] });
            assert!(matches!(both.1, Pattern::Factor(_)));
        }
        other => panic!("{other:?}"),
    }
    // Only an empty pan.
    let zero = [pair(0.0, (0.5, 0.05), (0.0, 0.05), Weights::Unknown)];
    assert_eq!(told(&zero), Pattern::TooFewLoads);
    let zero = [pair(0.0, (0.05, 0.05), (0.0, 0.05), Weights::Unknown)];
    assert_eq!(told(&zero), Pattern::Agree);
}

#[test]
fn the_one_that_is_off_is_named() {
    let none = |_: f64| 0.0;
    let off = |load: f64| 1e-3 * load;
    let all: Vec<f64> = (2..=10).map(|i| 100.0 * f64::from(i)).collect();
    let first = compared(&pairs(off, none));
    assert!(matches!(&first.blame, Blame::First { at_g } if *at_g == all));
    assert!(matches!(
        compared(&pairs(none, off)).blame,
        Blame::Second { .. }
    ));
    // Both off by the same agree with each other.
    let both = compared(&pairs(off, off));
    assert_eq!(both.pattern, Pattern::Agree);
    assert!(matches!(both.blame, Blame::Both { .. }));
    assert_eq!(compared(&pairs(none, none)).blame, Blame::Neither);
    // Poor weights show that they differ, not from whom it comes.
    let mut poor = pairs(off, none);
    for pair in &mut poor {
        pair.weights = Weights::Shared {
            mass_g: pair.load_g,
            u_g: 1.0,
        };
    }
    let poor = compared(&poor);
    assert!(matches!(poor.pattern, Pattern::Factor(_)));
    assert_eq!(poor.blame, Blame::Open);
    let [how, who, matters] = first.in_words("A", "B");
    assert_eq!(
        how,
        "They differ: A reads (1.000 ± 0.072) g per kg above B."
    );
    assert!(who.starts_with("A is off: it disagrees with the weights at 200 g, 300 g"));
    assert!(matters.starts_with("The difference matters"), "{matters}");
}

#[test]
fn a_difference_matters_or_not() {
    let none = |_: f64| 0.0;
    let seen = |difference: f64| compared(&pairs(move |_| difference, none)).importance;
    // U = 2 * 0.0707 = 0.141, permitted 0.5.
    assert_eq!(seen(0.3), Importance::DoesNotMatter);
    assert!(matches!(seen(0.4), Importance::Open { at_g } if at_g.len() == 10));
    assert!(matches!(seen(0.6), Importance::Open { at_g } if at_g.len() == 10));
    assert!(matches!(seen(-0.7), Importance::Matters { at_g } if at_g.len() == 10));
    // Many loads are counted, few are named.
    let said = seen(0.6).in_words();
    assert!(
        said.contains("can't be told at 10 loads between 100 g and 1000 g: "),
        "{said}"
    );
    let at_g = vec![200.0, 500.0, 700.0];
    let said = Importance::Matters { at_g }.in_words();
    assert!(said.ends_with("at 200 g, 500 g and 700 g."), "{said}");
    for bad in [0.0, -1.0, f64::NAN] {
        let refused = compare(&pairs(none, none), |_| bad);
        assert!(
            matches!(refused, Err(ComparisonError::Permitted { .. })),
            "{bad}"
        );
    }
    // A permitted error that grows with the load.
    let grows = compare(
        &pairs(|_| 0.4, none),
        |load| if load <= 500.0 { 0.2 } else { 1.0 },
    );
    let at_g: Vec<f64> = (1..=5).map(|i| 100.0 * f64::from(i)).collect();
    assert_eq!(
        grows.expect("usable").importance,
        Importance::Matters { at_g }
    );
}

/// Rates over 2000 simulated comparisons each: two equal instruments are called
/// different seldom (two tests at 1 % and one at 1 % make 3 % at most), and a
/// difference four times its uncertainty is named rightly.
#[test]
fn patterns_are_rarely_mistaken() {
    let mut dice = Dice(71);
    let mut told = |first: &dyn Fn(f64) -> f64| {
        let noisy = pairs(|load| first(load) + 0.05 * dice.normal(), |_| 0.0);
        // The second's noise is drawn into the first: u(d) is 0.05 then.
        let own: Vec<_> = noisy
            .into_iter()
            .map(|mut p| {
                p.first.u_g = 0.05 * 0.96f64.sqrt();
                p.second.u_g = 0.01;
                p
            })
            .collect();
        compared(&own).pattern
    };
    let runs = 2000;
    let mut rate = |first: &dyn Fn(f64) -> f64, right: &dyn Fn(&Pattern) -> bool| {
        (0..runs).filter(|_| right(&told(first))).count() as f64 / f64::from(runs)
    };
    let agree = rate(&|_| 0.0, &|p| *p == Pattern::Agree);
    assert!((0.965..1.0).contains(&agree), "{agree}");
    let constant = rate(&|_| 0.2, &|p| matches!(p, Pattern::Constant(_)));
    assert!(constant > 0.9, "{constant}");
    let factor = rate(&|load| 3e-4 * load, &|p| matches!(p, Pattern::Factor(_)));
    assert!(factor > 0.9, "{factor}");
    let some = rate(
        &|load| if load == 300.0 { 0.4 } else { 0.0 },
        &|p| matches!(p, Pattern::SomeLoads { at_g } if at_g == &[300.0]),
    );
    assert!(some > 0.9, "{some}");
}
