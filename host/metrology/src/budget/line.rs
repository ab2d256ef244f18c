//! A formula over the range: the line of errors through zero, and a straight
//! bound of their expanded uncertainties.

use super::refusal::{BudgetRefusal, finite, positive};

/// One calibrated load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorPoint {
    /// Indication, in g.
    pub indication_g: f64,
    /// Error of indication, in g.
    pub error_g: f64,
    /// Its standard uncertainty, in g.
    pub u_g: f64,
    /// Its expanded uncertainty, in g.
    pub expanded_g: f64,
}

/// Errors taken as proportional to the indication.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineThroughZero {
    /// Slope a1: error for one g of indication.
    pub slope: f64,
    /// Its standard uncertainty.
    pub u_slope: f64,
    /// Whether the points lie on it.
    pub check: LineCheck,
}

/// Whether points lie on their line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineCheck {
    /// Sum of squared departures, each by its variance.
    pub chi2: f64,
    /// Degrees of freedom: points less one.
    pub dof: f64,
    /// Whether every departure is within the point's expanded uncertainty.
    pub within_expanded: bool,
}

impl LineCheck {
    /// Whether chi2 is as near to its expectation as chance makes it.
    ///
    /// ```text
    /// |chi2 - nu| <= beta sqrt(2 nu)
    /// ```
    /// with beta 1, 2 or 3 as the caller chooses: EURAMET cg-18 version 4.0,
    /// appendix C (from memory). A chi2 far below says that the uncertainties
    /// are too large, or that the points share most of them.
    #[must_use]
    pub fn is_near_expectation(&self, beta: f64) -> bool {
        (self.chi2 - self.dof).abs() <= beta * (2.0 * self.dof).sqrt()
    }
}

impl LineThroughZero {
    /// The line through zero by weighted least squares.
    ///
    /// ```text
    /// p = 1/u(E)^2,  a1 = sum(p I E)/sum(p I^2),  u^2(a1) = 1/sum(p I^2),
    /// chi2 = sum p (E - a1 I)^2,  nu = n - 1
    /// ```
    /// EURAMET cg-18 version 4.0, appendix C (from memory). Points of no
    /// indication say nothing of the slope and are left out.
    ///
    /// # Errors
    /// Fewer than two points, or a number that can't be.
    pub fn fit(points: &[ErrorPoint]) -> Result<Self, BudgetRefusal> {
        let mut used: Vec<&ErrorPoint> = Vec::new();
        for one in points {
            finite("the indication of a point", one.indication_g)?;
            finite("the error of a point", one.error_g)?;
            positive("the standard uncertainty of a point", one.u_g)?;
            positive("the expanded uncertainty of a point", one.expanded_g)?;
            if one.indication_g != 0.0 {
                used.push(one);
            }
        }
        if used.len() < 2 {
            let (given, needed) = (used.len(), 2);
            return Err(BudgetRefusal::TooFewPoints { given, needed });
        }
        // Of the best known point, so that no square leaves the range of f64.
        let strength = |one: &ErrorPoint| one.indication_g.abs() / one.u_g;
        let best = (used.iter()).fold(0.0, |most: f64, one| most.max(strength(one)));
        let sum = |of: &dyn Fn(&ErrorPoint) -> f64| used.iter().map(|one| of(one)).sum::<f64>();
        let weight = |one: &ErrorPoint| (strength(one) / best).powi(2);
        let slope = sum(&|one| weight(one) * (one.error_g / one.indication_g)) / sum(&weight);
        let u_slope = 1.0 / (best * sum(&weight).sqrt());
        let off = |one: &ErrorPoint| one.error_g - slope * one.indication_g;
        let chi2 = sum(&|one| (off(one) / one.u_g).powi(2));
        finite("the slope", slope)?;
        finite("the uncertainty of the slope", u_slope)?;
        finite("chi squared", chi2)?;
        Ok(Self {
            slope,
            u_slope,
            check: LineCheck {
                chi2,
                dof: (used.len() - 1) as f64,
                within_expanded: used.iter().all(|one| off(one).abs() <= one.expanded_g),
            },
        })
    }

    /// The error at a reading, in g.
    #[must_use]
    pub fn error_g(&self, reading_g: f64) -> f64 {
        self.slope * reading_g
    }

    /// Standard uncertainty of that error, in g, for a reading known to
    /// `u_reading_g`.
    ///
    /// ```text
    /// u^2(E) = a1^2 u^2(R) + R^2 u^2(a1)
    /// ```
    #[must_use]
    pub fn u_error_g(&self, reading_g: f64, u_reading_g: f64) -> f64 {
        f64::hypot(self.slope * u_reading_g, reading_g * self.u_slope)
    }
}

/// A straight line that no expanded uncertainty passes.
///
/// ```text
/// U(load) <= base + rise * load
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// At no load, in g.
    pub base_g: f64,
    /// For one g of load.
    pub rise: f64,
}

impl Bound {
    /// The lowest rising line on or above all `(load_g, expanded_g)`, lowest on
    /// average over these points; it starts at zero or above.
    ///
    /// Since a budget bends upwards over the load (its variance is the sum of a
    /// constant and a square), the line also holds between the points; the
    /// fall of Student's factor is the exception, by a percent or two. Ours;
    /// the guide draws a line by eye or computer (from memory).
    ///
    /// # Errors
    /// No point, or numbers below zero.
    pub fn over(points: &[(f64, f64)]) -> Result<Self, BudgetRefusal> {
        for (load_g, expanded_g) in points {
            super::refusal::not_negative("the load of a point", *load_g)?;
            super::refusal::not_negative("the expanded uncertainty of a point", *expanded_g)?;
        }
        let flat = points.iter().map(|(_, u)| *u).reduce(f64::max);
        let (given, needed) = (0, 1);
        let flat = flat.ok_or(BudgetRefusal::TooFewPoints { given, needed })?;
        let level = Self {
            base_g: flat,
            rise: 0.0,
        };
        // The best line touches two points, or one and the axis's beginning.
        let mut ends = points.to_vec();
        ends.push((0.0, 0.0));
        let slack = |line: &Self| -> f64 { points.iter().map(|(l, _)| line.at_g(*l)).sum() };
        let mut best = (slack(&level), level);
        for (index, a) in ends.iter().enumerate() {
            for b in ends.iter().skip(index + 1) {
                let rise = (b.1 - a.1) / (b.0 - a.0);
                let base_g = (a.1 - rise * a.0).max(0.0);
                let line = Self { base_g, rise };
                let usable = rise.is_finite() && rise >= 0.0 && base_g.is_finite();
                // A point the line was drawn through may lie above by rounding.
                let holds = |(l, u): &(f64, f64)| line.at_g(*l) >= u * (1.0 - 1e-12);
                if usable && points.iter().all(holds) && slack(&line) < best.0 {
                    best = (slack(&line), line);
                }
            }
        }
        Ok(best.1)
    }

    /// The bound at a load, in g.
    #[must_use]
    pub fn at_g(&self, load_g: f64) -> f64 {
        self.base_g + self.rise * load_g
    }
}
