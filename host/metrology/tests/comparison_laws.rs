//! Laws of comparing two instruments, held over any pairs.

use proptest::prelude::*;
use scalewright_metrology::comparison::{
    Comparison, PairAtLoad, Pattern, Reading, Weights, agreement, compare,
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

fn compared(pairs: &[PairAtLoad]) -> Comparison {
    compare(pairs, |_| 0.5).expect("usable pairs")
}

/// Swaps first and second.
fn swapped(pair: &PairAtLoad) -> PairAtLoad {
    PairAtLoad {
        first: pair.second,
        second: pair.first,
        weights: match pair.weights {
            Weights::Separate { first_g, second_g } => Weights::Separate {
                first_g: second_g,
                second_g: first_g,
            },
            same => same,
        },
        ..*pair
    }
}

/// The same in another unit.
fn scaled(pair: &PairAtLoad, factor: f64) -> PairAtLoad {
    let reading = |r: Reading| Reading {
        indication_g: r.indication_g * factor,
        u_g: r.u_g * factor,
    };
    let both = |(a, b): (f64, f64)| (a * factor, b * factor);
    PairAtLoad {
        load_g: pair.load_g * factor,
        first: reading(pair.first),
        second: reading(pair.second),
        weights: match pair.weights {
            Weights::Unknown => Weights::Unknown,
            Weights::Shared { mass_g, u_g } => Weights::Shared {
                mass_g: mass_g * factor,
                u_g: u_g * factor,
            },
            Weights::Separate { first_g, second_g } => Weights::Separate {
                first_g: both(first_g),
                second_g: both(second_g),
            },
        },
    }
}

/// The kind of a pattern, without its numbers.
fn kind(pattern: &Pattern) -> String {
    match pattern {
        Pattern::TwoExplanations(both) => format!("{} or {}", kind(&both.0), kind(&both.1)),
        Pattern::SomeLoads { at_g } => format!("{} loads", at_g.len()),
        other => format!("{other:?}")
            .chars()
            .take_while(|c| c.is_alphabetic())
            .collect(),
    }
}

fn weights() -> impl Strategy<Value = Weights> {
    let known = || (0.0..2000.0, 0.0..0.5);
    prop_oneof![
        Just(Weights::Unknown),
        known().prop_map(|(mass_g, u_g)| Weights::Shared { mass_g, u_g }),
        (known(), known()).prop_map(|(first_g, second_g)| Weights::Separate { first_g, second_g }),
    ]
}

fn sensible() -> impl Strategy<Value = Vec<PairAtLoad>> {
    let reading = || (0.0..2000.0, 0.001..1.0);
    let one = (0.0..2000.0, reading(), reading(), weights());
    proptest::collection::vec(one, 1..12).prop_map(|all| {
        let each = all.into_iter();
        each.map(|(load, first, second, weights)| pair(load, first, second, weights))
            .collect()
    })
}

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -1e3..1e3,
        Just(0.0),
        Just(f64::NAN),
        Just(1.0)
    ]
}

fn garbage() -> impl Strategy<Value = Vec<PairAtLoad>> {
    let one = proptest::array::uniform9(anything()).prop_map(|v| {
        let weights = match v[0].to_bits() % 3 {
            0 => Weights::Unknown,
            1 => Weights::Shared {
                mass_g: v[5],
                u_g: v[6].abs(),
            },
            _ => Weights::Separate {
                first_g: (v[5], v[6].abs()),
                second_g: (v[7], v[8].abs()),
            },
        };
        pair(v[0], (v[1], v[2].abs()), (v[3], v[4].abs()), weights)
    });
    proptest::collection::vec(one, 0..6)
}

proptest! {
    /// Swapping the instruments changes the sign of every difference and nothing else.
    #[test]
    fn a_swap_changes_the_sign(all in sensible()) {
        let swapped: Vec<_> = all.iter().map(swapped).collect();
        let (one, other) = (compared(&all), compared(&swapped));
        for (a, b) in one.loads.iter().zip(&other.loads) {
            prop_assert_eq!(a.difference_g, -b.difference_g);
            prop_assert_eq!(a.normalised.e_n, -b.normalised.e_n);
            prop_assert_eq!(a.u_g, b.u_g);
            prop_assert_eq!(a.errors.map(|e| e.0), b.errors.map(|e| e.1));
        }
        prop_assert_eq!(kind(&one.pattern), kind(&other.pattern));
        prop_assert_eq!(one.importance, other.importance);
        if let (Some(a), Some(b)) = (one.agreement, other.agreement) {
            prop_assert!((a.upper.high + b.lower.low).abs() <= 1e-9 * a.upper.high.abs().max(1.0));
        }
        if let (Some(a), Some(b)) = (one.lines, other.lines) {
            prop_assert_eq!(a.through_zero.slope, -b.through_zero.slope);
        }
    }

    /// Another unit (a power of two, so that nothing is rounded) changes no
    /// number without a unit and no verdict.
    #[test]
    fn units_change_nothing(all in sensible(), power in -20i32..20) {
        let factor = 2f64.powi(power);
        let scaled: Vec<_> = all.iter().map(|p| scaled(p, factor)).collect();
        let one = compared(&all);
        let other = compare(&scaled, |_| 0.5 * factor).expect("usable pairs");
        for (a, b) in one.loads.iter().zip(&other.loads) {
            prop_assert_eq!(a.normalised, b.normalised);
            prop_assert_eq!(a.u_g * factor, b.u_g);
        }
        prop_assert_eq!(kind(&one.pattern), kind(&other.pattern));
        if let (Some(a), Some(b)) = (one.lines, other.lines) {
            prop_assert_eq!(a.through_zero.slope, b.through_zero.slope);
            prop_assert_eq!(a.constant.offset_g * factor, b.constant.offset_g);
        }
        let same = std::mem::discriminant(&one.importance) == std::mem::discriminant(&other.importance);
        prop_assert!(same);
    }

    #[test]
    fn garbage_never_panics(all in garbage(), permitted in anything()) {
        if let Ok(found) = compare(&all, |_| permitted) {
            for load in &found.loads {
                prop_assert!(load.u_g > 0.0 && load.normalised.e_n.is_finite());
            }
            for sentence in found.in_words("one", "other") {
                prop_assert!(sentence.ends_with('.') && !sentence.contains("NaN"));
            }
        }
        let differences: Vec<f64> = all.iter().map(|p| p.load_g).collect();
        let _ = agreement(&differences);
    }
}
