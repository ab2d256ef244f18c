//! Whole sessions of a simulated cell, made from the model's own assumptions.
#![allow(dead_code)]

use scalewright_metrology::joint::{Body, Problem, Weighing, Worth};

use super::cells::Dice;

/// Max and e of the simulated scale, g.
pub const MAX_G: f64 = 6000.0;
pub const E_G: f64 = 2.0;

/// Codes of Max.
pub const CODES: f64 = 4e6;

/// What is true of a session.
pub struct Truth {
    /// True masses of the bodies, g.
    pub masses_g: Vec<f64>,
    /// Deviation of a capture as a share of its load.
    pub share: f64,
    /// The same whatever the load, g.
    pub own_g: f64,
}

/// Bodies named W1, W2, ... known to lie within a ten-thousandth.
pub fn bodies(masses_g: &[f64]) -> Vec<Body> {
    let body = |(index, mass_g): (usize, &f64)| Body {
        name: format!("W{}", index + 1),
        mass_g: *mass_g,
        worth: Worth::Within(0.5e-4 * mass_g),
        filling: None,
    };
    masses_g.iter().enumerate().map(body).collect()
}

/// Net codes of a load on a cell with a bend of a thousandth.
pub fn codes(load_g: f64) -> f64 {
    let u = load_g / MAX_G;
    CODES * (u + 0.004 * u * (1.0 - u) + 0.001 * u * (1.0 - u) * (1.0 - 2.0 * u))
}

/// The captures of `course` (bodies of each load), one a half minute.
pub fn session(bodies: &[Body], course: &[&[usize]], truth: &Truth, dice: &mut Dice) -> Problem {
    let weighings = course.iter().enumerate().map(|(index, load)| {
        let mass_g: f64 = load.iter().map(|body| truth.masses_g[*body]).sum();
        let felt_g = mass_g * (1.0 + truth.share * dice.normal()) + truth.own_g * dice.normal();
        Weighing {
            bodies: load.to_vec(),
            counts: 123_456.0 + codes(felt_g),
            sd_counts: 5.0,
            at_s: 30.0 * index as f64,
            rested_s: Some(8.0),
            sitting: 0,
        }
    });
    Problem {
        weighings: weighings.collect(),
        bodies: bodies.to_vec(),
        max_g: MAX_G,
        e_g: E_G,
    }
}
