//! The device's correction of hysteresis on a cell whose memory is not the one
//! the device assumes: three plays of other widths and unequal shares.

mod common;

use common::in_process;
use scalewright_bench::adc::{code_of, gain_of};
use scalewright_bench::{BenchSpec, CellSpec, StoredTable};
use scalewright_protocol::hysteresis::gain;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

/// Loads of a session, g: up and down once over all, then over a part.
const FULL: [f64; 11] = [
    0.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0,
];
const PART: usize = 7;

/// A poor cell with the widest loop of its kind, 0.05 % of Max (2.5 g, half of
/// e), and nothing else that differs from one time to the next. It swings.
fn cell(seed: u64) -> CellSpec {
    CellSpec {
        hysteresis: 5e-4,
        creep: [(0.0, 45.0), (0.0, 700.0)],
        drift_g_per_h: 0.0,
        walk_g_per_sqrt_h: 0.0,
        noise_g: 0.0,
        slow_noise_g: 0.0,
        eccentric: (0.0, 0.0),
        repeatability: 0.0,
        ..CellSpec::poor(seed)
    }
}

/// The middle curve in 26 knots, as far as Max + 9 e (OIML R 76-1:2006 clause
/// 4.2.3).
fn middle(cell: &CellSpec, settings: &Settings) -> StoredTable {
    let straight = CellSpec {
        hysteresis: 0.0,
        ..cell.clone()
    };
    let gain = gain_of(settings.input);
    let code = |load_g: f64| code_of(straight.settled_mv_per_v(load_g), gain);
    let zero_counts = code(0.0);
    let reach_g = f64::from(settings.overload_above()) * f64::from(settings.quantum_ug) * 1e-6;
    let knots = (0..=25).map(|n| {
        let load_g = reach_g * f64::from(n) / 25.0;
        Knot {
            counts: code(load_g) - zero_counts,
            mass: (load_g * 1e6 / f64::from(settings.quantum_ug)).round() as i32,
        }
    });
    StoredTable {
        zero_counts,
        knots: knots.collect(),
    }
}

/// Largest difference between going up and coming down at one load, g: over all,
/// and over a part of the range after that.
fn largest_g(seed: u64, width: u32) -> (f64, f64) {
    let mut spec = BenchSpec::poor(seed);
    spec.cell = cell(seed);
    spec.settings.loop_gain = gain(width, spec.settings.max);
    spec.stored = Some(middle(&spec.cell, &spec.settings));
    let mut laptop = in_process(spec);
    let desk = laptop.link.desk();
    let mut walk = |loads: &[f64]| -> f64 {
        let mut read = |load_g: f64| {
            desk.place_g(load_g);
            let state = laptop.pass(6_000);
            f64::from(state.mass.expect("calibrated")) * 1e-3
        };
        let up: Vec<f64> = loads.iter().map(|load_g| read(*load_g)).collect();
        let down: Vec<f64> = loads.iter().rev().map(|load_g| read(*load_g)).collect();
        let pairs = up.iter().zip(down.iter().rev());
        pairs
            .map(|(up, down)| (down - up).abs())
            .fold(0.0, f64::max)
    };
    (walk(&FULL), walk(&FULL[..PART]))
}

#[test]
fn up_and_down_differ_three_times_less_with_the_right_width() {
    for seed in [1, 2, 3] {
        // Quanta of 1 mg: 2.5 g.
        let (plain, part) = largest_g(seed, 0);
        let (corrected, corrected_part) = largest_g(seed, 2_500);
        println!("{seed}: {plain:.3} {corrected:.3}, in part {part:.3} {corrected_part:.3}");
        assert!((2.3..2.6).contains(&plain), "the loop ordered: {plain} g");
        assert!(corrected * 3.0 <= plain, "{plain} g, now {corrected} g");
        assert!(
            corrected_part * 3.0 <= part,
            "{part} g, now {corrected_part} g"
        );
    }
}
