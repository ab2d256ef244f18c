//! The weight behind errors that two instruments show alike. All numbers are
//! made here: no published case is known.

use proptest::prelude::*;
use scalewright_metrology::comparison::{SharedLoad, shared_weight};

/// A set with 2, 1, 0.5, 0.2, 0.2 and 0.1 kg.
const SET_G: [f64; 6] = [2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0];

/// Loads of it.
const LOADS: [&[usize]; 10] = [
    &[5],
    &[3],
    &[3, 4],
    &[2],
    &[2, 3],
    &[1],
    &[1, 2],
    &[0],
    &[0, 2],
    &[0, 1],
];

/// What two bent scales show with these weights, without noise.
fn loads(off_g: &[f64; 6], curve: impl Fn(f64) -> (f64, f64), u_g: f64) -> Vec<SharedLoad> {
    LOADS
        .iter()
        .map(|on| {
            let load_g = on.iter().map(|i| SET_G[*i]).sum::<f64>();
            let off: f64 = on.iter().map(|i| off_g[*i]).sum();
            let (first, second) = curve(load_g);
            SharedLoad {
                load_g,
                first_g: (first + off, u_g),
                second_g: (second + off, u_g),
                weights: on.to_vec(),
            }
        })
        .collect()
}

fn bent(load_g: f64) -> (f64, f64) {
    let x = load_g / 3000.0;
    (0.4 * x - 0.2 * x * x, -1.5 * x + 0.8 * x * x)
}

#[test]
fn a_planted_weight_is_named_with_its_deviation() {
    for (weight, off_g) in [(0, -5.0), (1, 4.0), (2, 3.0)] {
        let mut off = [0.0; 6];
        off[weight] = off_g;
        let found = shared_weight(&loads(&off, bent, 0.3), &[0.2; 6]).expect("one is wrong");
        assert_eq!((found.weight, &found.rivals[..]), (weight, &[][..]));
        // No noise, curves within the model: exact but for rounding.
        assert!((found.off_g - off_g).abs() < 1e-6, "{found:?}");
    }
}

#[test]
fn bent_scales_with_good_weights_accuse_none() {
    assert_eq!(shared_weight(&loads(&[0.0; 6], bent, 0.3), &[0.2; 6]), None);
}

#[test]
fn one_scale_alone_accuses_no_weight() {
    let mut off = [0.0; 6];
    off[1] = 5.0;
    let mut all = loads(&off, bent, 0.3);
    for (load, right) in all.iter_mut().zip(loads(&[0.0; 6], bent, 0.3)) {
        load.second_g = right.second_g;
    }
    assert_eq!(shared_weight(&all, &[0.2; 6]), None);
}

#[test]
fn what_a_weight_may_be_off_is_no_news() {
    let mut off = [0.0; 6];
    off[1] = 5.0;
    assert!(shared_weight(&loads(&off, bent, 0.3), &[4.0; 6]).is_some());
    assert_eq!(shared_weight(&loads(&off, bent, 0.3), &[6.0; 6]), None);
}

/// The limit that the documentation states.
#[test]
fn weights_that_always_lie_together_are_named_together() {
    let mut off = [0.0; 6];
    off[1] = 5.0;
    let mut all = loads(&off, bent, 0.3);
    for load in &mut all {
        if load.weights.contains(&1) {
            load.weights.push(6);
        }
    }
    let found = shared_weight(&all, &[0.2; 7]).expect("one of two");
    let mut named = found.rivals.clone();
    named.push(found.weight);
    named.sort_unstable();
    assert_eq!(named, [1, 6]);
}

/// The limit that the documentation states: a common share is a slope.
#[test]
fn a_share_that_all_weights_are_off_by_stays_unseen() {
    let off = SET_G.map(|g| 1e-3 * g);
    assert_eq!(shared_weight(&loads(&off, bent, 0.3), &[0.2; 6]), None);
}

proptest! {
    /// Chance of naming a weight that is right: at most that stated, here with
    /// wide room since each instrument alone must see it too.
    #[test]
    fn noise_alone_rarely_accuses(seed in prop::collection::vec(-1.0f64..1.0, 20)) {
        let mut all = loads(&[0.0; 6], bent, 1.0);
        for (load, two) in all.iter_mut().zip(seed.chunks(2)) {
            // Within one standard uncertainty: never enough.
            load.first_g.0 += two[0];
            load.second_g.0 += two[1];
        }
        prop_assert_eq!(shared_weight(&all, &[0.0; 6]), None);
    }

    #[test]
    fn any_numbers_give_an_answer(
        values in prop::collection::vec((any::<f64>(), any::<f64>(), any::<f64>(), any::<f64>(),
            prop::collection::vec(0usize..9, 0..4)), 0..14)
    ) {
        let all: Vec<SharedLoad> = values.into_iter().map(|(load_g, a, u, b, weights)| SharedLoad {
            load_g, first_g: (a, u), second_g: (b, u), weights,
        }).collect();
        let _ = shared_weight(&all, &[0.1; 6]);
        let _ = shared_weight(&all, &[]);
    }
}
