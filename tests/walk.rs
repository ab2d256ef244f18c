//! A calibration at the scale's own keys and one at the laptop make the same table of
//! the same captures.

use scalewright_bench::physics::CellSpec;
use scalewright_tests::walks::walk;

/// Loads of four sets of weights, g, in the order in which they are put on.
const SETS: [&[f64]; 4] = [
    &[1000.0, 2000.0, 3000.0, 4000.0, 5000.0, 6000.0],
    &[500.0, 2000.0, 4000.0],
    &[6000.0, 1000.0, 3000.0],
    &[200.0, 1000.0, 2000.0, 3000.0, 5000.0],
];

#[test]
fn the_same_captures_make_the_same_table() {
    for seed in 0..12 {
        for loads_g in SETS {
            let walked = walk(&CellSpec::studio(seed), seed, loads_g)
                .unwrap_or_else(|why| panic!("cell {seed}, {loads_g:?}: {why}"));
            assert_eq!(
                walked.by_scale, walked.by_laptop,
                "cell {seed}, {loads_g:?}"
            );
        }
    }
}

/// It is worth something: from 2 to 3 e of a scale set with one load to within half an
/// e, wherever loads reach (OIML R 76-1:2006 table 6: 0.5 e up to 500 e, 1 e to 2000 e,
/// 1.5 e above).
#[test]
fn a_walk_with_loads_up_to_max_is_good_for_class_iii() {
    for seed in 0..12 {
        let walked = walk(&CellSpec::studio(seed), seed, SETS[0]).expect("a walk");
        assert!(walked.worst_g < 1.0, "cell {seed}: {} g", walked.worst_g);
    }
}
