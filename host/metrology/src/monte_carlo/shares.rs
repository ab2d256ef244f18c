//! Shares of a budget, added up for a block of trials at a time.
//!
//! A block stays in the nearest cache while share after share is added to it,
//! so that each share is one plain loop.

use rand_xoshiro::rand_core::Rng;

use super::ziggurat::Ziggurat;
use crate::budget::{Contribution, Knowledge};

/// Trials of a block: eight kilobytes.
pub(super) const BLOCK: usize = 1024;

/// How one share is drawn, its sensitivity included.
enum Draw {
    /// Times a t or normal deviate.
    Deviate {
        scale_g: f64,
        shape: usize,
    },
    Rectangular {
        half_g: f64,
    },
    Triangular {
        half_g: f64,
    },
    ArcSine {
        half_g: f64,
    },
}

/// All shares, ready to be drawn.
pub(super) struct Shares {
    draws: Vec<Draw>,
    shapes: Vec<(f64, Ziggurat)>,
}

impl Shares {
    /// Takes the shares apart. Normal shares become one: their sum is normal
    /// exactly. Shares that can't move the result are left out.
    pub(super) fn new<'a>(all: impl IntoIterator<Item = &'a Contribution>) -> Option<Self> {
        let mut shares = Self {
            draws: Vec::new(),
            shapes: Vec::new(),
        };
        let mut normal_g = 0.0;
        for one in all {
            let size_g = |size: f64| size * one.sensitivity().abs();
            if one.u_g() == 0.0 {
                continue;
            }
            match one.knowledge() {
                Knowledge::Normal { sd } => normal_g = f64::hypot(normal_g, size_g(sd)),
                Knowledge::Estimated { sd, dof } => {
                    let shape = shares.shape(dof)?;
                    let scale_g = size_g(sd);
                    shares.draws.push(Draw::Deviate { scale_g, shape });
                }
                Knowledge::Rectangular { half } => shares.draws.push(Draw::Rectangular {
                    half_g: size_g(half),
                }),
                Knowledge::Triangular { half } => shares.draws.push(Draw::Triangular {
                    half_g: size_g(half),
                }),
                Knowledge::ArcSine { half } => shares.draws.push(Draw::ArcSine {
                    half_g: size_g(half),
                }),
            }
        }
        if normal_g > 0.0 {
            let shape = shares.shape(f64::INFINITY)?;
            let scale_g = normal_g;
            shares.draws.push(Draw::Deviate { scale_g, shape });
        }
        Some(shares)
    }

    /// Where the layers for these degrees of freedom are, laid on first use.
    fn shape(&mut self, dof: f64) -> Option<usize> {
        if let Some(place) = self.shapes.iter().position(|(one, _)| *one == dof) {
            return Some(place);
        }
        self.shapes.push((dof, Ziggurat::new(dof)?));
        Some(self.shapes.len() - 1)
    }

    /// Adds a draw of every share to each trial, in g.
    pub(super) fn add(&self, block: &mut [f64], rng: &mut impl Rng) {
        let mut numbers = [0; BLOCK];
        for draw in &self.draws {
            match draw {
                Draw::Deviate { scale_g, shape } => {
                    if let Some((_, ziggurat)) = self.shapes.get(*shape) {
                        // Numbers first: the generator's state then stays in
                        // registers, past the few draws that need more of it.
                        for number in &mut numbers {
                            *number = rng.next_u64();
                        }
                        for (sum, number) in block.iter_mut().zip(&numbers) {
                            *sum += scale_g * ziggurat.place(*number, rng);
                        }
                    }
                }
                Draw::Rectangular { half_g } => add_rectangular(block, *half_g, rng),
                Draw::Triangular { half_g } => {
                    add_rectangular(block, 0.5 * half_g, rng);
                    add_rectangular(block, 0.5 * half_g, rng);
                }
                Draw::ArcSine { half_g } => {
                    for sum in block.iter_mut() {
                        *sum += half_g * cosine(rng);
                    }
                }
            }
        }
    }
}

/// One number of 64 bits serves two trials: 32 bits part the width into four
/// thousand million places, of which no quantile of ten million trials knows.
fn add_rectangular(block: &mut [f64], half_g: f64, rng: &mut impl Rng) {
    let step_g = half_g * (1.0 / (1u64 << 31) as f64);
    // Half a place off zero, so that plus and minus come out alike.
    let place = |bits: u32| step_g * (f64::from(bits as i32) + 0.5);
    let (pairs, last) = block.as_chunks_mut::<2>();
    for [one, other] in pairs {
        let bits = rng.next_u64();
        *one += place(bits as u32);
        *other += place((bits >> 32) as u32);
    }
    for last in last {
        *last += place((rng.next_u64() >> 32) as u32);
    }
}

/// The cosine of an angle anywhere, of the double angle of a point in the disc
/// (J. von Neumann, 1951, from memory).
fn cosine(rng: &mut impl Rng) -> f64 {
    // A generator that never changes would never be inside.
    for _ in 0..1000 {
        let bits = rng.next_u64();
        let x = f64::from(bits as i32) + 0.5;
        let y = f64::from((bits >> 32) as i32) + 0.5;
        let (x2, y2) = (x * x, y * y);
        if x2 + y2 < (1u64 << 62) as f64 {
            return (x2 - y2) / (x2 + y2);
        }
    }
    0.0
}
