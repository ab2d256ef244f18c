//! Propagation of distributions by drawing, after JCGM 101:2008 (from memory).
//!
//! Owns the draws of every shape of [`Knowledge`],
//! a budget's trials ([`propagate`]), the trials of a calibration with its
//! readings really rounded ([`calibrate`]), and coverage intervals.
//! Guarantees: the same generator in the same state gives the same numbers.
//! Refuses unseeded randomness: the generator is the caller's; [`generator`]
//! makes one from a seed.
//!
//! A deviation estimated from n readings is drawn as Student's t, scaled by
//! the estimate (JCGM 101:2008, 6.4.9): below three degrees of freedom its
//! standard deviation does not exist, and the standard deviation of the trials
//! is left out, while the intervals stay right.

mod calibration;
mod shares;
mod tails;
mod ziggurat;

pub use calibration::{CalibrateRefusal, Reading, calibrate};

use std::fmt;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use crate::budget::{Budget, COVERAGE, Contribution, Knowledge};
use shares::{BLOCK, Shares};

/// Fewest trials: below, a tail of 2.3 % has no twenty of them.
pub const LEAST_TRIALS: usize = 1_000;

/// Most trials: eighty megabytes.
pub const MOST_TRIALS: usize = 10_000_000;

/// Trials for an answer to two digits: JCGM 101:2008, 7.2.2 (from memory) asks
/// for ten thousand times 1/(1 - p), which is 220 000 for 95.45 %.
pub const USUAL_TRIALS: usize = 220_000;

/// Why there are no trials.
#[derive(Debug, Clone, PartialEq)]
pub enum TrialRefusal {
    /// Fewer or more than can be evaluated.
    Trials {
        /// How many were asked for.
        asked: usize,
    },
    /// Nothing is uncertain, so every trial would be the same.
    NothingVaries,
    /// A number that is not finite or not above zero.
    Number {
        /// What it was to be.
        what: &'static str,
        /// The number.
        value: f64,
    },
    /// Trials passed the range of f64.
    OutOfRange,
}

impl fmt::Display for TrialRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Trials { asked } => write!(
                f,
                "{asked} trials can't be evaluated: ask for {LEAST_TRIALS} to {MOST_TRIALS}, {USUAL_TRIALS} are usual"
            ),
            Self::NothingVaries => write!(
                f,
                "nothing in the budget is uncertain, so there is nothing to draw; name what is"
            ),
            Self::Number { what, value } => {
                write!(f, "{what} is {value}, which is not usable; correct it")
            }
            Self::OutOfRange => write!(
                f,
                "the trials pass the range of numbers; a share of the budget is far too large, or has too few degrees of freedom"
            ),
        }
    }
}

impl std::error::Error for TrialRefusal {}

/// Ends of a coverage interval, in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end, in g.
    pub low_g: f64,
    /// Upper end, in g.
    pub high_g: f64,
}

impl Interval {
    /// Distance between the ends, in g.
    #[must_use]
    pub fn width_g(&self) -> f64 {
        self.high_g - self.low_g
    }

    /// Half of the distance, in g: what compares with an expanded uncertainty.
    #[must_use]
    pub fn half_width_g(&self) -> f64 {
        0.5 * self.width_g()
    }
}

/// What the trials say of a result, all in g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Propagated {
    /// How many trials there were.
    pub trials: usize,
    /// Their mean, in g; of little worth where `sd_g` is `None`.
    pub mean_g: f64,
    /// Their standard deviation, in g; `None` where the distribution has none.
    pub sd_g: Option<f64>,
    /// Interval of 95.45 % with as many trials below as above.
    pub symmetric: Interval,
    /// Shortest interval of 95.45 %.
    pub shortest: Interval,
}

/// A generator for these functions: xoshiro256++ of D. Blackman and S. Vigna,
/// from a seed.
#[must_use]
pub fn generator(seed: u64) -> Xoshiro256PlusPlus {
    Xoshiro256PlusPlus::seed_from_u64(seed)
}

/// The distribution of a result of `estimate_g` with the shares of `budget`,
/// from `trials` draws.
///
/// # Errors
/// See [`TrialRefusal`].
///
/// ```
/// use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
/// use scalewright_metrology::monte_carlo::{generator, propagate};
/// // One rectangular share: 95.45 % lie within 0.9545 of the half width.
/// let share = Contribution::new("rounding", Knowledge::Rectangular { half: 0.5 })?;
/// let said = propagate(&Budget::new(vec![share]), 3.0, 100_000, &mut generator(1))?;
/// assert!((said.mean_g - 3.0).abs() < 0.005);
/// assert!((said.symmetric.half_width_g() - 0.47725).abs() < 0.002);
/// assert!(propagate(&Budget::default(), 3.0, 100_000, &mut generator(1)).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn propagate(
    budget: &Budget,
    estimate_g: f64,
    trials: usize,
    rng: &mut impl Rng,
) -> Result<Propagated, TrialRefusal> {
    if budget.u_g() == 0.0 {
        return Err(TrialRefusal::NothingVaries);
    }
    let shares = Shares::new(budget.contributions()).ok_or(TrialRefusal::OutOfRange)?;
    let spread = has_deviation(budget.contributions());
    evaluate(estimate_g, trials, spread, |block| shares.add(block, rng))
}

/// Whether the sum of these shares has a standard deviation.
fn has_deviation(shares: &[Contribution]) -> bool {
    !(shares.iter()).any(|one| {
        matches!(one.knowledge(), Knowledge::Estimated { dof, .. } if dof <= 2.0) && one.u_g() > 0.0
    })
}

/// Fills blocks of departures from `estimate_g` by `add` and evaluates them.
fn evaluate(
    estimate_g: f64,
    trials: usize,
    has_deviation: bool,
    mut add: impl FnMut(&mut [f64]),
) -> Result<Propagated, TrialRefusal> {
    if !(LEAST_TRIALS..=MOST_TRIALS).contains(&trials) {
        return Err(TrialRefusal::Trials { asked: trials });
    }
    if !estimate_g.is_finite() {
        let what = "the estimate";
        let value = estimate_g;
        return Err(TrialRefusal::Number { what, value });
    }
    let mut departures_g = vec![0.0; trials];
    let (mut sum, mut squares) = (0.0, 0.0);
    for block in departures_g.chunks_mut(BLOCK) {
        add(block);
        // A sum for each block, so that a small one never meets a large one;
        // departures are near zero, so their squares lose nothing to the mean.
        sum += lanes(block, |x| x);
        squares += lanes(block, |x| x * x);
    }
    let (intervals, count) = (tails::intervals(&departures_g, COVERAGE), trials as f64);
    let mean = sum / count;
    let variance = ((squares - sum * mean) / (count - 1.0)).max(0.0);
    let (symmetric, shortest) = intervals.ok_or(TrialRefusal::OutOfRange)?;
    let shifted = |one: Interval| Interval {
        low_g: estimate_g + one.low_g,
        high_g: estimate_g + one.high_g,
    };
    let said = Propagated {
        trials,
        mean_g: estimate_g + mean,
        sd_g: has_deviation.then(|| variance.sqrt()),
        symmetric: shifted(symmetric),
        shortest: shifted(shortest),
    };
    let ends = [said.symmetric, said.shortest];
    let finite = ends.iter().all(|one| one.width_g().is_finite());
    if finite && said.mean_g.is_finite() && said.sd_g.is_none_or(f64::is_finite) {
        Ok(said)
    } else {
        Err(TrialRefusal::OutOfRange)
    }
}

/// The sum over a block in eight lanes: additions needn't wait for each other.
fn lanes(block: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    let mut sums = [0.0; 8];
    let chunks = block.chunks_exact(8);
    let rest: f64 = chunks.remainder().iter().map(|x| of(*x)).sum();
    for chunk in chunks {
        for (sum, x) in sums.iter_mut().zip(chunk) {
            *sum += of(*x);
        }
    }
    sums.iter().sum::<f64>() + rest
}
