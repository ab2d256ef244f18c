//! NIST StRD Pontius through the joint solution: four loads and zero of one
//! run, judged at all loads of the other.

mod common;

use common::strd_rows;
use scalewright_metrology::joint::{Body, Joint, Problem, Weighing, Worth};

const FULL_SCALE: f64 = 3e6;
const COUNTS_PER_DEFLECTION: f64 = 2e6;
const E: f64 = 1000.0;
const FOUR: [f64; 4] = [750e3, 1500e3, 2250e3, 3000e3];

fn problem(run: &[(f64, f64)], loads: &[f64]) -> Problem {
    let mut weighings = vec![Weighing {
        bodies: Vec::new(),
        counts: 0.0,
        sd_counts: 0.0,
        at_s: 0.0,
        rested_s: None,
        sitting: 0,
    }];
    let mut bodies = Vec::new();
    for (counts, mass_g) in run.iter().filter(|row| loads.contains(&row.1)) {
        bodies.push(Body {
            name: format!("{mass_g}"),
            mass_g: *mass_g,
            worth: Worth::Stated(0.0),
            filling: None,
        });
        weighings.push(Weighing {
            bodies: vec![bodies.len() - 1],
            counts: *counts,
            at_s: 60.0 * bodies.len() as f64,
            ..weighings[0].clone()
        });
    }
    Problem {
        bodies,
        weighings,
        max_g: FULL_SCALE,
        e_g: E,
    }
}

#[test]
fn four_loads_and_zero_predict_the_other_run() {
    let rows = strd_rows("Pontius.dat", 61);
    let all: Vec<(f64, f64)> = rows
        .iter()
        .map(|row| (row[0] * COUNTS_PER_DEFLECTION, row[1]))
        .collect();
    let (one, two) = all.split_at(20);
    // The best candidate of figure 1(b), in parts of full scale.
    for (known, other, best) in [(one, two, 2.168e-4), (two, one, 1.643e-4)] {
        let joint = Joint::solve(&problem(known, &FOUR)).expect("clean data");
        let worst = other
            .iter()
            .map(|(counts, mass)| (joint.curve(*counts).value - mass).abs() / FULL_SCALE)
            .fold(0.0, f64::max);
        println!("{:.4}e-4", worst * 1e4);
        assert!(worst <= best, "{worst}");
    }
}
