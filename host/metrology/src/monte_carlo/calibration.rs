//! Trials of a calibration as it goes: every reading really rounded.
//!
//! A budget takes rounding as one rectangular share. That is right for a
//! reading anywhere in its interval; it is too much for the mean of loadings
//! that scatter over an interval or more, and wrong either way where it is
//! known how far the unrounded reading is from a step. These trials tell.

use rand_distr::{ChiSquared, Distribution};
use rand_xoshiro::rand_core::Rng;

use super::shares::Shares;
use super::ziggurat::Ziggurat;
use super::{Propagated, TrialRefusal, evaluate, has_deviation};
use crate::budget::{BudgetRefusal, CalibrationPoint, Contribution, Knowledge};

/// Where a scale stands before it rounds, in g. `None`: anywhere within an
/// interval alike, the same for all loadings of a trial.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reading {
    /// At zero.
    pub zero_g: Option<f64>,
    /// At the load.
    pub load_g: Option<f64>,
}

/// The errors a calibration of this point would report, again and again, from
/// `trials` draws, about the error the point has.
///
/// Each trial draws what acts before rounding (eccentricity, drift of zero,
/// the table), then each loading's scatter, rounds each loading, takes the
/// mean and adds what acts on the reference mass. Zero is rounded once. The
/// standard deviation that the loadings of a trial share is drawn from what
/// the estimate leaves open.
///
/// # Errors
/// A point without a budget, or see [`TrialRefusal`], wrapped as the reason.
pub fn calibrate(
    point: &CalibrationPoint,
    reading: Reading,
    trials: usize,
    rng: &mut impl Rng,
) -> Result<Propagated, CalibrateRefusal> {
    let estimate_g = point.error_g()?;
    let parts = point.parts()?;
    for (what, value) in [
        ("the reading before rounding at zero", reading.zero_g),
        ("the reading before rounding at the load", reading.load_g),
    ] {
        if let Some(value) = value.filter(|one| !one.is_finite()) {
            return Err(TrialRefusal::Number { what, value }.into());
        }
    }
    let loadings = Loadings::new(point, &parts.repeatability)?;
    let [unrounded, after] = [&parts.unrounded, &parts.after]
        .map(|all| Shares::new(all.iter()).ok_or(TrialRefusal::OutOfRange));
    let (unrounded, after) = (unrounded?, after?);
    let spread = has_deviation(std::slice::from_ref(&parts.repeatability))
        && has_deviation(&parts.unrounded)
        && has_deviation(&parts.after);
    let zero_d = point.zero_interval_g;
    Ok(evaluate(estimate_g, trials, spread, |block| {
        unrounded.add(block, rng);
        for sum in block.iter_mut() {
            let zero_g = match reading.zero_g {
                Some(zero_g) => rounded(zero_g, zero_d) - zero_g,
                None => zero_d * (place(rng) - 0.5),
            };
            let stands_g = reading.load_g.unwrap_or(point.interval_g * place(rng));
            *sum = loadings.mean(stands_g, *sum, rng) - stands_g - zero_g;
        }
        after.add(block, rng);
    })?)
}

/// Why a calibration can't be tried.
#[derive(Debug, Clone, PartialEq)]
pub enum CalibrateRefusal {
    /// The point has no budget.
    Budget(BudgetRefusal),
    /// There are no trials.
    Trials(TrialRefusal),
}

impl From<BudgetRefusal> for CalibrateRefusal {
    fn from(refusal: BudgetRefusal) -> Self {
        Self::Budget(refusal)
    }
}

impl From<TrialRefusal> for CalibrateRefusal {
    fn from(refusal: TrialRefusal) -> Self {
        Self::Trials(refusal)
    }
}

impl std::fmt::Display for CalibrateRefusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Budget(refusal) => refusal.fmt(f),
            Self::Trials(refusal) => refusal.fmt(f),
        }
    }
}

impl std::error::Error for CalibrateRefusal {}

/// How the loadings of a trial scatter and are rounded.
struct Loadings {
    sd_g: f64,
    interval_g: f64,
    averaged: u32,
    /// Of one loading alone: t, which has the open deviation in it.
    alone: Ziggurat,
    normal: Ziggurat,
    chi_squared: ChiSquared<f64>,
    dof: f64,
}

impl Loadings {
    fn new(point: &CalibrationPoint, share: &Contribution) -> Result<Self, TrialRefusal> {
        let Knowledge::Estimated { dof, .. } = share.knowledge() else {
            return Err(TrialRefusal::OutOfRange);
        };
        // Infinite degrees of freedom leave nothing open: any large number.
        let open = dof.min(1e12);
        Ok(Self {
            sd_g: point.repeatability.sd_g,
            interval_g: point.interval_g,
            averaged: point.repeatability.averaged,
            alone: Ziggurat::new(dof).ok_or(TrialRefusal::OutOfRange)?,
            normal: Ziggurat::new(f64::INFINITY).ok_or(TrialRefusal::OutOfRange)?,
            chi_squared: ChiSquared::new(open).map_err(|_| TrialRefusal::OutOfRange)?,
            dof: open,
        })
    }

    /// Mean of the rounded readings of a scale that stands at `stands_g` and
    /// `off_g` from there, in g.
    fn mean(&self, stands_g: f64, off_g: f64, rng: &mut impl Rng) -> f64 {
        let at_g = stands_g + off_g;
        if self.averaged == 1 {
            return rounded(at_g + self.sd_g * self.alone.draw(rng), self.interval_g);
        }
        let sd_g = self.sd_g * (self.dof / self.chi_squared.sample(rng)).sqrt();
        let sum: f64 = (0..self.averaged)
            .map(|_| rounded(at_g + sd_g * self.normal.draw(rng), self.interval_g))
            .sum();
        sum / f64::from(self.averaged)
    }
}

fn rounded(value_g: f64, interval_g: f64) -> f64 {
    if interval_g > 0.0 {
        (value_g / interval_g).round() * interval_g
    } else {
        value_g
    }
}

/// From 0 to 1, without 1.
fn place(rng: &mut impl Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
}
