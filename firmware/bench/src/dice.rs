//! Chance, by seed: every random course on the bench comes from one ChaCha8
//! generator per purpose, so that a change in how one is used leaves the
//! others as they were.
//!
//! ChaCha is a published cipher whose output is the same on every machine;
//! that is what makes a seed a name for a whole rehearsal.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// What a course of chance is used for. Numbers are kept for ever: they are
/// part of what a seed means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Drawing the make of a cell.
    CellMake = 1,
    /// Drift and slow noise of a cell.
    CellCourse = 2,
    /// How each load comes to lie.
    Placement = 3,
    /// Noise of each conversion.
    Conversion = 4,
    /// True masses of weights.
    Weights = 5,
    /// The operator's times and mistakes.
    Operator = 6,
    /// Spikes of the ADC.
    Spikes = 7,
    /// The line towards the device.
    LineIn = 8,
    /// The line towards the host.
    LineOut = 9,
}

/// A seeded course of chance.
#[derive(Clone, Debug)]
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The course of `purpose` under `seed`.
    #[must_use]
    pub fn new(seed: u64, purpose: Purpose) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(purpose as u64);
        Self(generator)
    }

    /// A standard normal deviate (mean 0, standard deviation 1).
    #[inline]
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Evenly between `low` and `high`; `low` when they are the wrong way round.
    #[inline]
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low).max(0.0) * self.0.random::<f64>()
    }

    /// True with probability `p`.
    #[inline]
    pub fn happens(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    /// A whole number from 0 to `count` − 1; 0 when `count` is 0.
    pub fn pick(&mut self, count: usize) -> usize {
        if count == 0 {
            0
        } else {
            self.0.random_range(0..count)
        }
    }

    /// A random byte.
    pub fn byte(&mut self) -> u8 {
        self.0.random()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_seed_same_course_and_purposes_differ() {
        let draw = |seed, purpose| {
            let mut dice = Dice::new(seed, purpose);
            (0..8).map(|_| dice.normal()).collect::<Vec<_>>()
        };
        let first = draw(7, Purpose::CellCourse);
        assert_eq!(first, draw(7, Purpose::CellCourse));
        assert_ne!(first, draw(8, Purpose::CellCourse));
        assert_ne!(first, draw(7, Purpose::Placement));
    }

    #[test]
    fn a_normal_course_has_mean_nought_and_deviation_one() {
        let mut dice = Dice::new(1, Purpose::Conversion);
        let n = 100_000;
        let draws: Vec<f64> = (0..n).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n - 1);
        // Five standard errors: 5/sqrt(n) and 5·sqrt(2/n).
        assert!(mean.abs() < 0.016, "{mean}");
        assert!((variance - 1.0).abs() < 0.023, "{variance}");
    }
}
