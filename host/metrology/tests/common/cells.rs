//! Simulated cells with a seed of their own, for rules that have to hold over
//! many cells and not on one. Each test binary uses part of it.
#![allow(dead_code)]

/// A small generator of even and normal numbers (splitmix64, then Box-Muller).
pub struct Dice(pub u64);

impl Dice {
    /// Even between 0 and 1.
    pub fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normal with deviation 1.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.even().max(1e-300).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// Departure from a straight line over relative load, for three coefficients.
pub type Bend = fn(f64, [f64; 3]) -> f64;

/// The kinds of cell: name and bend.
pub const CELLS: [(&str, Bend); 6] = [
    ("straight", |_, _| 0.0),
    ("parabola", |u, c| 4.0 * c[0] * u * (1.0 - u)),
    ("cubic", |u, c| {
        2.0 * c[0] * u * (1.0 - u) + 5.0 * c[1] * u * (1.0 - u) * (1.0 - 2.0 * u)
    }),
    ("quartic", |u, c| {
        let bend = 3.0 * c[1] * (1.0 - 2.0 * u) + 20.0 * c[2] * (u - 0.3) * (u - 0.75);
        u * (1.0 - u) * (2.0 * c[0] + bend)
    }),
    ("waved", |u, c| {
        2.0 * c[0] * u * (1.0 - u) + 0.5 * c[1] * (3.0 * std::f64::consts::PI * u).sin()
    }),
    ("soft start", |u, c| {
        let dip = (-12.0 * u).exp() - 1.0 + u * (1.0 - (-12f64).exp());
        2.0 * c[0] * u * (1.0 - u) + 0.5 * c[1] * dip
    }),
];

/// Counts of full scale.
pub const SPAN_COUNTS: f64 = 4e6;

/// Net counts of a cell at relative load `u`: bend, scatter and zero error
/// are in parts of full scale.
pub fn counts(bend: Bend, c: [f64; 3], u: f64, scatter: f64, zero: f64, dice: &mut Dice) -> f64 {
    SPAN_COUNTS * (u + bend(u, c) + scatter * dice.normal() - zero)
}
