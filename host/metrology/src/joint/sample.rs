//! A small session for tests of the parts.

use super::{Body, Problem, Weighing, Worth};

/// Four bodies of all kinds, up and down, none of it quite as stated.
pub(super) fn session() -> Problem {
    let masses_g = [2000.0, 1000.0, 500.0, 1700.0];
    let bodies = masses_g.iter().enumerate().map(|(index, mass_g)| Body {
        name: format!("W{index}"),
        mass_g: *mass_g,
        worth: match index {
            3 => Worth::Unknown,
            2 => Worth::Stated(0.05),
            _ => Worth::Within(0.1),
        },
        filling: None,
    });
    let course: [&[usize]; 13] = [
        &[],
        &[2],
        &[1],
        &[1, 2],
        &[3],
        &[0],
        &[0, 2],
        &[0, 1, 2],
        &[0, 1, 2, 3],
        &[0, 1],
        &[0],
        &[1],
        &[],
    ];
    let weighings = course.iter().enumerate().map(|(index, bodies)| {
        let load: f64 = bodies.iter().map(|body| masses_g[*body]).sum();
        // Some hundredths of e of anything, so that nothing is nought.
        let off = 0.3 * (index as f64 * 1.7).sin();
        Weighing {
            bodies: bodies.to_vec(),
            counts: 500.0 * (load + off) + 2e-4 * load * (6000.0 - load),
            sd_counts: 20.0,
            at_s: 25.0 * index as f64,
            rested_s: None,
            sitting: 0,
        }
    });
    Problem {
        bodies: bodies.collect(),
        weighings: weighings.collect(),
        max_g: 6000.0,
        e_g: 2.0,
    }
}
