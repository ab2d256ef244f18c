//! What a session will be worth, before anything is on the pan.
//!
//! The covariance of a linear problem needs no values: the same design as for
//! the solution, with the codes a straight cell would give and the scatter a
//! grade of cell allows, says how well curve and bodies will be known.

use nalgebra::DMatrix;

use super::design::{CODES, Design};
use super::likelihood::{Belief, Scatter};
use super::{JointRefusal, Problem, Weighing};

/// What can be expected of a cell and of the converter behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grade {
    /// The scatter, in parts of Max.
    pub scatter: Scatter,
    /// Standard uncertainty of a capture's mean by the converter's noise, g.
    pub converter_g: f64,
}

/// How well a session will determine what it is made for.
#[derive(Debug, Clone)]
pub struct Forecast {
    design: Design,
    covariance: DMatrix<f64>,
    grade: Grade,
    problem: Problem,
}

/// One load to come: its bodies and when.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// Positions in the list of bodies; none is the empty pan.
    pub bodies: Vec<usize>,
    /// When it will be captured, s.
    pub at_s: f64,
}

impl Forecast {
    /// What a course of loads will tell. `problem` gives bodies and scale; its
    /// weighings are not looked at.
    ///
    /// # Errors
    /// [`JointRefusal`], as the solution itself would.
    pub fn new(problem: &Problem, course: &[Planned], grade: Grade) -> Result<Self, JointRefusal> {
        let weighings = course.iter().map(|planned| {
            let mut weighing = Weighing {
                bodies: planned.bodies.clone(),
                counts: 0.0,
                sd_counts: grade.converter_g / problem.max_g * CODES,
                at_s: planned.at_s,
                rested_s: None,
                sitting: 0,
            };
            weighing.counts = problem.stated_g(&weighing) / problem.max_g * CODES;
            weighing
        });
        let problem = Problem {
            weighings: weighings.collect(),
            ..problem.clone()
        };
        let design = Design::new(&problem)?;
        let belief = Belief::new(problem.e_g / problem.max_g, design.converter_var);
        let solved = design
            .solve(&belief, grade.scatter.logs(), &[])
            .ok_or(JointRefusal::NotSolved)?;
        Ok(Self {
            covariance: solved.covariance(),
            design,
            grade,
            problem,
        })
    }

    /// Standard uncertainty of the curve at a load, g.
    #[must_use]
    pub fn u_g(&self, load_g: f64) -> f64 {
        let place = self.design.basis.place(load_g / self.problem.max_g * CODES);
        let row = self.design.curve_row(&place);
        let left = place.left * self.grade.scatter.tau.powi(2);
        let variance = (&self.covariance * &row).dot(&row) + left;
        variance.max(0.0).sqrt() * self.problem.max_g
    }

    /// Standard deviation of the error of indication of one weighing at a
    /// load, g: the curve, the load's own scatter and the converter's noise.
    #[must_use]
    pub fn error_sd_g(&self, load_g: f64) -> f64 {
        let scatter = &self.grade.scatter;
        let own = scatter.own * self.problem.max_g;
        let share = scatter.share * load_g;
        (self.u_g(load_g).powi(2) + own * own + share * share + self.grade.converter_g.powi(2))
            .sqrt()
    }

    /// Standard uncertainty with which the captures alone determine a body, g,
    /// whatever is stated of it and even if one other body is wrong; `None` when
    /// they don't.
    #[must_use]
    pub fn body_u_g(&self, body: usize) -> Option<f64> {
        self.design
            .told_apart(&self.problem, &self.covariance, &[], body)
            .map(|u| u * self.problem.max_g)
    }
}
