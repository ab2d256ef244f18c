//! The uncertainty budget of a calibration and of a weighing in use.
//!
//! Owns the law of propagation for independent shares (JCGM 100:2008, 5.1.2),
//! the shares of an error of indication ([`CalibrationPoint`]), the line
//! through zero ([`LineThroughZero`]), a weighing in use ([`InUse`]) and the
//! minimum weight. Formulas follow EURAMET cg-18 version 4.0, all of it **from
//! memory**: check against the guide before a certificate cites it.
//! What is correlated is added linearly before it becomes one share; shares
//! are independent of each other. Refuses by [`BudgetRefusal`].
//!
//! Student's factor suits sums of many shares, or of normal ones. When
//! [`Budget::dominant`] names a share, ask [`crate::monte_carlo`].

mod contribution;
mod in_use;
mod line;
mod minimum;
mod point;
mod refusal;
mod weight;

pub use contribution::{Contribution, Knowledge};
pub use in_use::{InUse, Placing, Temperature};
pub use line::{Bound, ErrorPoint, LineCheck, LineThroughZero};
pub use minimum::{Requirement, minimum_weight_g, minimum_weight_of_bound_g};
pub use point::{Buoyancy, CalibrationPoint, Eccentricity, Repeatability};
pub use refusal::BudgetRefusal;
pub use weight::{AirDensity, Certificate, Density, Weight};

use crate::distribution::{EffectiveDof, student_t_two_sided, welch_satterthwaite};

/// Coverage of an expanded uncertainty: 95.45 %, two standard deviations of a
/// normal distribution (EURAMET cg-18 and JCGM 100:2008, table G.2).
pub const COVERAGE: f64 = 0.9545;

/// A share is dominant when the others together are at most this part of it:
/// EA-4/02 M:2013, S9 and S10 (from memory).
pub const DOMINANT_REST: f64 = 0.3;

/// Shares of the uncertainty of one result, independent of each other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    contributions: Vec<Contribution>,
}

/// What a budget states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Statement {
    /// Combined standard uncertainty, in g.
    pub u_g: f64,
    /// Its effective degrees of freedom.
    pub dof: EffectiveDof,
    /// Coverage factor for [`COVERAGE`].
    pub k: f64,
    /// Expanded uncertainty U = k u, in g.
    pub expanded_g: f64,
}

impl Budget {
    /// A budget of these shares.
    #[must_use]
    pub fn new(contributions: Vec<Contribution>) -> Self {
        Self { contributions }
    }

    /// The shares, in the order given.
    #[must_use]
    pub fn contributions(&self) -> &[Contribution] {
        &self.contributions
    }

    /// Adds a share.
    pub fn push(&mut self, contribution: Contribution) {
        self.contributions.push(contribution);
    }

    /// Combined standard uncertainty, in g; 0 without shares.
    ///
    /// ```text
    /// u^2 = sum (c_i u(x_i))^2        (JCGM 100:2008, formula 10)
    /// ```
    #[must_use]
    pub fn u_g(&self) -> f64 {
        // hypot keeps to the range of f64 where squares don't.
        (self.contributions.iter()).fold(0.0, |u, one| f64::hypot(u, one.u_g()))
    }

    /// Each share's part of the combined variance, between 0 and 1, in the
    /// order of the shares; all 0 when nothing is uncertain.
    #[must_use]
    pub fn shares(&self) -> Vec<f64> {
        let u = self.u_g();
        let part = |one: &Contribution| {
            if u > 0.0 {
                (one.u_g() / u).powi(2)
            } else {
                0.0
            }
        };
        self.contributions.iter().map(part).collect()
    }

    /// The share that is not normal and so large that all others together are
    /// at most [`DOMINANT_REST`] of it: then Student's factor is too large, and
    /// the Monte Carlo tells by how much.
    #[must_use]
    pub fn dominant(&self) -> Option<&Contribution> {
        let largest = (self.contributions.iter()).max_by(|a, b| a.u_g().total_cmp(&b.u_g()))?;
        let rest = (self.contributions.iter())
            .filter(|one| !std::ptr::eq(*one, largest))
            .fold(0.0, |u, one| f64::hypot(u, one.u_g()));
        let limits = matches!(
            largest.knowledge(),
            Knowledge::Rectangular { .. }
                | Knowledge::Triangular { .. }
                | Knowledge::ArcSine { .. }
        );
        (limits && largest.u_g() > 0.0 && rest <= DOMINANT_REST * largest.u_g()).then_some(largest)
    }

    /// Combined and expanded uncertainty with the coverage factor of Student's
    /// t at [`COVERAGE`], effective degrees of freedom rounded down.
    ///
    /// JCGM 100:2008, G.4.1 and G.6.4.
    ///
    /// # Errors
    /// Nothing above zero to combine, or a sum beyond f64.
    ///
    /// ```
    /// use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
    /// let budget = Budget::new(vec![
    ///     Contribution::new("readings", Knowledge::Estimated { sd: 0.3, dof: 9.0 })?,
    ///     Contribution::new("weights", Knowledge::Normal { sd: 0.4 })?,
    /// ]);
    /// let stated = budget.statement()?;
    /// assert!((stated.u_g - 0.5).abs() < 1e-12 && stated.dof.floor == 69);
    /// assert!(Budget::default().statement().is_err());
    /// # Ok::<(), scalewright_metrology::budget::BudgetRefusal>(())
    /// ```
    pub fn statement(&self) -> Result<Statement, BudgetRefusal> {
        let u_g = self.u_g();
        refusal::finite("the combined standard uncertainty", u_g)?;
        let pairs: Vec<(f64, f64)> = (self.contributions.iter())
            .map(|one| (one.u_g(), one.knowledge().dof()))
            .collect();
        let dof = welch_satterthwaite(&pairs)?;
        // Shares have one degree of freedom or more, so has their sum; f64 may
        // round the quotient to just below.
        let k = student_t_two_sided(COVERAGE, whole(dof))?;
        let expanded_g = refusal::finite("the expanded uncertainty", k * u_g)?;
        Ok(Statement {
            u_g,
            dof,
            k,
            expanded_g,
        })
    }
}

/// Degrees of freedom for the factor: rounded down, and infinite ones as such.
fn whole(dof: EffectiveDof) -> f64 {
    if dof.floor == u32::MAX {
        f64::INFINITY
    } else {
        f64::from(dof.floor.max(1))
    }
}
