//! The uncertainty of a weighing result while the scale is in use.
//!
//! EURAMET cg-18 version 4.0, clauses 7.4 and 7.5 (from memory): the reading's
//! own share, the surroundings' share, the drift of the adjustment, and what
//! the calibration says of the error.

use super::contribution::{Contribution, Knowledge};
use super::line::LineThroughZero;
use super::point::{Eccentricity, Repeatability};
use super::refusal::{BudgetRefusal, finite, not_negative};
use super::{Budget, Statement};

/// Where loads are put.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placing {
    /// On the middle with care: half of what the test found.
    Centred,
    /// Anywhere on the pan: all of what the test found.
    Anywhere,
}

/// What the temperature does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temperature {
    /// Relative change of the indication for one kelvin.
    pub per_k: f64,
    /// Span of temperature in use, in K.
    pub span_k: f64,
}

/// A scale in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InUse {
    /// Interval to which zero or tare is read (d0), in g.
    pub zero_interval_g: f64,
    /// Interval to which the load is read (d), in g.
    pub interval_g: f64,
    /// Scatter of repeated loadings in use.
    pub repeatability: Repeatability,
    /// Eccentricity, if it was tested, and where loads are put.
    pub eccentricity: Option<(Eccentricity, Placing)>,
    /// Temperature, if it matters.
    pub temperature: Option<Temperature>,
    /// Half width of the relative effect of changing air; 1.5e-5 for 10 % of
    /// the air on steel, 0 where the scale is adjusted before use.
    pub air_relative: f64,
    /// Half width of the relative drift of the adjustment since calibration.
    pub adjustment_relative: f64,
    /// Half width of the drift of zero or tare during a weighing, in g.
    pub zero_drift_g: f64,
    /// The errors the calibration found.
    pub line: LineThroughZero,
    /// Whether the error of the line is taken off every reading.
    pub corrected: bool,
}

impl InUse {
    /// The budget of a weighing result at a reading, in g.
    ///
    /// ```text
    /// d0/sqrt(12), d/sqrt(12), s/sqrt(N)
    /// w R/sqrt(3)               eccentricity, w = largest difference/L_ecc, half of it if centred
    /// c dT R/sqrt(12)           temperature, over the span dT
    /// air R/sqrt(3), drift R/sqrt(3), zero drift/sqrt(3)
    /// u(a1) R                   the line of errors
    /// ```
    /// Where readings are corrected, W = R (1 - a1), and all but the last count
    /// (1 - a1) times.
    ///
    /// # Errors
    /// A number that can't be.
    pub fn budget(&self, reading_g: f64) -> Result<Budget, BudgetRefusal> {
        let load_g = finite("the reading", reading_g)?.abs();
        let within = |half| Knowledge::Rectangular { half };
        let of_load = |name: &str, relative: f64| {
            not_negative(name, relative)?;
            Contribution::with_sensitivity(name, within(relative), load_g)
        };
        let slope = finite("the slope of the line", self.line.slope)?;
        let part = if self.corrected { 1.0 - slope } else { 1.0 };
        let mut reading = vec![
            Contribution::new("rounding at zero", within(0.5 * self.zero_interval_g))?,
            Contribution::new("rounding at the load", within(0.5 * self.interval_g))?,
            self.repeatability.share()?,
        ];
        if let Some((found, placing)) = self.eccentricity {
            let all = found.relative()?;
            let relative = match placing {
                Placing::Centred => 0.5 * all,
                Placing::Anywhere => all,
            };
            reading.push(of_load("eccentricity", relative)?);
        }
        if let Some(Temperature { per_k, span_k }) = self.temperature {
            let span_k = not_negative("the span of temperature", span_k)?;
            reading.push(of_load("temperature", 0.5 * per_k.abs() * span_k)?);
        }
        reading.push(of_load("air buoyancy", self.air_relative)?);
        reading.push(of_load(
            "drift of the adjustment",
            self.adjustment_relative,
        )?);
        reading.push(Contribution::new(
            "drift of zero",
            within(self.zero_drift_g),
        )?);
        let mut all = Vec::with_capacity(reading.len() + 1);
        for one in reading {
            let (name, knowledge) = (one.name().to_owned(), one.knowledge());
            let sensitivity = one.sensitivity() * part;
            all.push(Contribution::with_sensitivity(
                name,
                knowledge,
                sensitivity,
            )?);
        }
        let sd = self.line.u_slope;
        let name = "line of errors";
        all.push(Contribution::with_sensitivity(
            name,
            Knowledge::Normal { sd },
            load_g,
        )?);
        Ok(Budget::new(all))
    }

    /// The weighing result W, in g: the reading, less the line's error if
    /// corrected.
    #[must_use]
    pub fn result_g(&self, reading_g: f64) -> f64 {
        let error_g = if self.corrected {
            self.line.error_g(reading_g)
        } else {
            0.0
        };
        reading_g - error_g
    }

    /// The expanded uncertainty of a weighing result, in g. Where readings are
    /// not corrected, the error that is left is added to it in full.
    ///
    /// ```text
    /// U(W) = k u(W) corrected,  k u(W) + |a1| R not corrected
    /// ```
    /// EURAMET cg-18 version 4.0, 7.5.2 (from memory).
    ///
    /// # Errors
    /// As [`InUse::budget`], or nothing uncertain.
    pub fn expanded_g(&self, reading_g: f64) -> Result<f64, BudgetRefusal> {
        let Statement { expanded_g, .. } = self.budget(reading_g)?.statement()?;
        let left_g = if self.corrected {
            0.0
        } else {
            self.line.error_g(reading_g).abs()
        };
        finite("the expanded uncertainty", expanded_g + left_g)
    }
}
