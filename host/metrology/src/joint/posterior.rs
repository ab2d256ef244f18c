//! The joint solution and what can be asked of it.

use nalgebra::{DMatrix, DVector};

use super::design::Design;
use super::determined;
use super::likelihood::{Belief, Doubt, Logs, Scatter};
use super::limits::{cut_off, limits_at, spread};
use super::search::{Column, Mode, Vote, mode, votes};
use super::spread::{Mixed, Spread};
use super::{JointRefusal, Problem, Worth};
use crate::candidates::LEAST_TO_CHOOSE;
use crate::curve::Curve;

/// With fewer loads than can choose a shape the curve bends as far as they
/// allow: at the scatter whose roughness is not exceeded with this probability.
/// Too little smoothing costs no more than the scatter of the captures, too
/// much the cell's true shape ([`crate::fit::smooth`]).
const FEW_LOADS: f64 = 0.98;

/// A value, its standard uncertainty and its 95 % limits, all in the unit of
/// what was asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
}

/// All captures of a session, solved together.
#[derive(Clone)]
pub struct Joint {
    pub(super) problem: Problem,
    pub(super) design: Design,
    belief: Belief,
    pub(super) doubts: Vec<Doubt>,
    pub(super) mode: Mode,
    pub(super) values: DVector<f64>,
    pub(super) covariance: DMatrix<f64>,
    /// Mean of tau squared over all votes.
    tau_square: f64,
    /// Standard uncertainties from a value to its 95 % limits.
    to_limits: f64,
}

impl Joint {
    /// Solves the problem, all captures and statements taken at their word.
    ///
    /// # Errors
    /// [`JointRefusal`].
    pub fn solve(problem: &Problem) -> Result<Self, JointRefusal> {
        let (design, belief) = prepared(problem)?;
        Self::doubting(problem.clone(), design, belief, Vec::new(), belief.centre)
    }

    pub(super) fn doubting(
        problem: Problem,
        design: Design,
        belief: Belief,
        doubts: Vec<Doubt>,
        from: Logs,
    ) -> Result<Self, JointRefusal> {
        let mode = mode(&design, &belief, &doubts, from).ok_or(JointRefusal::NotSolved)?;
        let columns = votes(&design, &belief, &doubts, &mode);
        let votes = columns.iter().flat_map(|column| &column.votes);
        let square = |vote: &Vote| vote.weight * (2.0 * vote.tau).exp();
        let tau_square = votes.map(square).sum();
        let mixed: Vec<Mixed> = columns
            .iter()
            .map(|column| {
                let votes = column.votes.iter();
                let votes: Vec<_> = votes.map(|vote| (vote.weight, &vote.smooth)).collect();
                Mixed::new(&column.captured.reduced, &votes)
            })
            .collect();
        let mut values = design.start.clone();
        for one in &mixed {
            for (value, mean) in values.iter_mut().zip(&one.mean) {
                *value += one.weight * mean;
            }
        }
        if design.layout.supports < LEAST_TO_CHOOSE {
            let logs = [roughest(&columns), mode.logs[1], mode.logs[2]];
            if let Some(solved) = design.solve(&belief, logs, &doubts) {
                values = solved.values(&design);
            }
        }
        let to_limits = limits_at(scatter_of_variance(&design, &columns));
        let from_start = &values - &design.start;
        let mut spread: Option<Spread> = None;
        for one in mixed {
            let off: Vec<f64> = one
                .mean
                .iter()
                .zip(&from_start)
                .map(|(a, b)| a - b)
                .collect();
            let sum = match &mut spread {
                Some(sum) => {
                    sum.add(&one.spread);
                    sum
                }
                None => spread.insert(one.spread),
            };
            sum.add_square(one.weight, &off);
        }
        let covariance = spread.ok_or(JointRefusal::NotSolved)?.matrix();
        Ok(Self {
            problem,
            design,
            belief,
            doubts,
            mode,
            values,
            covariance,
            tau_square,
            to_limits,
        })
    }

    /// The most likely scatter.
    #[must_use]
    pub fn scatter(&self) -> Scatter {
        Scatter::of(self.mode.logs)
    }

    /// Standard deviation of one capture of this load, g.
    #[must_use]
    pub fn capture_sd_g(&self, load_g: f64) -> f64 {
        let max_g = self.problem.max_g;
        self.design.variance(&self.scatter(), load_g / max_g).sqrt() * max_g
    }

    pub(super) fn of_row(&self, row: &DVector<f64>, left: f64) -> Estimate {
        let variance = (&self.covariance * row).dot(row) + left * self.tau_square;
        let max_g = self.problem.max_g;
        self.limited(
            row.dot(&self.values) * max_g,
            variance.max(0.0).sqrt() * max_g,
        )
    }

    /// The curve at net counts, g.
    #[must_use]
    pub fn curve(&self, net_counts: f64) -> Estimate {
        let place = self.design.basis.place(net_counts);
        self.of_row(&self.design.curve_row(&place), place.left)
    }

    /// What a body differs from its stated mass by, g; `None` when there is no
    /// such body. Of a weight known to lie within limits the value and its
    /// uncertainty are those of the distribution cut off there, unless it is
    /// in doubt.
    #[must_use]
    pub fn deviation(&self, body: usize) -> Option<Estimate> {
        let of = self.problem.bodies.get(body)?;
        let all = self.single(self.design.layout.body(body))?;
        let doubted = |doubt: &Doubt| matches!(doubt, Doubt::Body(other, _) if *other == body);
        Some(match of.worth {
            Worth::Within(half) if half > 0.0 && !self.doubts.iter().any(doubted) => {
                cut_off(all, half)
            }
            _ => all,
        })
    }

    /// Mass of a body, g; `None` when there is no such body.
    #[must_use]
    pub fn mass(&self, body: usize) -> Option<Estimate> {
        let stated = self.problem.bodies.get(body)?.mass_g;
        let by = self.deviation(body)?;
        Some(Estimate {
            value: stated + by.value,
            u: by.u,
            low: stated + by.low,
            high: stated + by.high,
        })
    }

    /// Greatest width of the full hysteresis loop, unloading above loading, g;
    /// `None` when the session never came from above.
    #[must_use]
    pub fn loop_width(&self) -> Option<Estimate> {
        self.single(self.design.layout.width()?)
    }

    /// Creep after a long while as a share of the load, what settles within a
    /// minute and what takes ten times as long; `None` with few captures.
    #[must_use]
    pub fn creep(&self) -> Option<[Estimate; 2]> {
        let max_g = self.problem.max_g;
        let share = |index: usize| {
            let one = self.single(self.design.layout.creep(index)?)?;
            Some(self.limited(one.value / max_g, one.u / max_g))
        };
        Some([share(0)?, share(1)?])
    }

    /// What a capture differs from the solution by, g: positive when it read
    /// too much. `None` when there is no such capture.
    #[must_use]
    pub fn residual_g(&self, capture: usize) -> Option<f64> {
        let stated = self.design.stated.get(capture)?;
        let fitted = self.design.capture(capture).dot(&self.values);
        Some((fitted - stated) * self.problem.max_g)
    }

    /// Standard uncertainty with which the captures alone determine a body, g,
    /// whatever is stated of it and even if one other body is wrong; `None` when
    /// they don't, or there is no such body.
    #[must_use]
    pub fn alone_u_g(&self, body: usize) -> Option<f64> {
        self.design
            .told_apart(&self.problem, &self.covariance, &self.doubts, body)
            .map(|u| u * self.problem.max_g)
    }

    /// How far each of these captures lies from what all others say, g: positive
    /// where it reads too much. All are left out together, the scatter stays.
    /// `None` for captures there are none of, or that nothing else determines.
    ///
    /// With H the part of the hat matrix that belongs to them, the residuals
    /// left out are `(I - H)^-1` times the plain ones (R. D. Cook, S. Weisberg,
    /// "Residuals and Influence in Regression", 1982, 2.2; from memory).
    #[must_use]
    pub fn left_out_g(&self, captures: &[usize]) -> Option<Vec<f64>> {
        let count = captures.len();
        let all = self.design.stated.len();
        if captures.iter().any(|capture| *capture >= all) {
            return None;
        }
        let rows = DMatrix::from_fn(count, self.design.layout.len(), |i, j| {
            self.design.capture(captures[i])[j]
        });
        let scatter = self.scatter();
        let solved = self
            .design
            .solve(&self.belief, self.mode.logs, &self.doubts)?;
        let spread = &rows * solved.covariance() * rows.transpose();
        let keep = DMatrix::from_fn(count, count, |i, j| {
            let v = self
                .design
                .variance(&scatter, self.design.stated[captures[j]]);
            f64::from(u8::from(i == j)) - spread[(i, j)] / v
        });
        let values = solved.values(&self.design);
        let plain = DVector::from_fn(count, |i, _| {
            let fitted = rows.row(i).transpose().dot(&values);
            (fitted - self.design.stated[captures[i]]) * self.problem.max_g
        });
        let out = keep.lu().solve(&plain)?;
        let found: Vec<f64> = out.iter().copied().collect();
        found.iter().all(|g| g.is_finite()).then_some(found)
    }

    pub(super) fn limited(&self, value: f64, u: f64) -> Estimate {
        spread(value, u, self.to_limits)
    }

    fn single(&self, index: usize) -> Option<Estimate> {
        let variance = self.covariance.get((index, index))?;
        let max_g = self.problem.max_g;
        Some(self.limited(self.values[index] * max_g, variance.max(0.0).sqrt() * max_g))
    }
}

/// The design, counted from a first solution, and the belief that goes with it.
pub(super) fn prepared(problem: &Problem) -> Result<(Design, Belief), JointRefusal> {
    determined::check(problem)?;
    let mut design = Design::new(problem)?;
    let belief = Belief::new(problem.e_g / problem.max_g, design.converter_var);
    let rough = design
        .solve(&belief, belief.centre, &[])
        .ok_or(JointRefusal::NotSolved)?;
    // Only what has no prior may be moved without changing the question.
    let mut start = rough.values(&design);
    for (value, prior) in start.iter_mut().zip(&design.prior) {
        if prior.is_some() {
            *value = 0.0;
        }
    }
    design.fold(start);
    Ok((design, belief))
}

/// How much the variance of a capture at half of Max differs from vote to vote,
/// as its variance over the square of its mean.
fn scatter_of_variance(design: &Design, columns: &[Column]) -> f64 {
    let each: Vec<(f64, f64)> = columns
        .iter()
        .map(|column| {
            let [own, share] = column.captured.logs;
            let weight = column.votes.iter().map(|vote| vote.weight).sum();
            // The variance of a capture has no part in tau.
            (
                weight,
                design.variance(&Scatter::of([0.0, own, share]), 0.5),
            )
        })
        .collect();
    let mean: f64 = each.iter().map(|(weight, v)| weight * v).sum();
    let square: f64 = each
        .iter()
        .map(|(weight, v)| weight * (v - mean).powi(2))
        .sum();
    square / (mean * mean)
}

/// Log of the roughness that [`FEW_LOADS`] of the votes do not exceed.
fn roughest(columns: &[Column]) -> f64 {
    let votes = columns.iter().flat_map(|column| &column.votes);
    let mut by_roughness: Vec<(f64, f64)> = votes.map(|vote| (vote.tau, vote.weight)).collect();
    by_roughness.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut sum = 0.0;
    let mut at = 0.0;
    for (roughness, weight) in by_roughness {
        at = roughness;
        sum += weight;
        if sum >= FEW_LOADS {
            break;
        }
    }
    at
}

impl Curve for Joint {
    fn mass_g(&self, counts: f64) -> f64 {
        self.curve(counts).value
    }

    fn u_g(&self, counts: f64) -> Option<f64> {
        Some(self.curve(counts).u)
    }
}

impl std::fmt::Debug for Joint {
    /// The scatter alone: the matrices would fill pages.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Joint")
            .field("scatter", &self.scatter())
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::joint::{Body, Weighing};

    /// Captures left out by formula read as when they are given no weight.
    #[test]
    fn what_is_left_out_has_no_say() {
        let masses_g = [2000.0, 1000.0, 500.0];
        let body = |(index, mass_g): (usize, &f64)| Body {
            name: format!("W{index}"),
            mass_g: *mass_g,
            worth: Worth::Within(0.05),
            filling: None,
        };
        let course: [&[usize]; 10] = [
            &[],
            &[2],
            &[1],
            &[1, 2],
            &[0],
            &[0, 2],
            &[0, 1, 2],
            &[0, 1],
            &[1],
            &[],
        ];
        let weighing = |(index, bodies): (usize, &&[usize])| {
            let load: f64 = bodies.iter().map(|body| masses_g[*body]).sum();
            let off = 0.4 * (index as f64 * 2.3).sin();
            Weighing {
                bodies: bodies.to_vec(),
                counts: 700.0 * (load + off),
                sd_counts: 20.0,
                at_s: 30.0 * index as f64,
                rested_s: None,
                sitting: 0,
            }
        };
        let problem = Problem {
            bodies: masses_g.iter().enumerate().map(body).collect(),
            weighings: course.iter().enumerate().map(weighing).collect(),
            max_g: 4000.0,
            e_g: 2.0,
        };
        let joint = Joint::solve(&problem).expect("whole");
        let out = [2, 8];
        let found = joint.left_out_g(&out).expect("others determine it");
        let doubts = out.map(|capture| Doubt::Capture(capture, 1e3));
        let solved = joint.design.solve(&joint.belief, joint.mode.logs, &doubts);
        let values = solved.expect("solved").values(&joint.design);
        for (capture, found) in out.into_iter().zip(found) {
            let fitted = joint.design.capture(capture).dot(&values);
            let wanted = (fitted - joint.design.stated[capture]) * 4000.0;
            assert!((found - wanted).abs() < 1e-5, "{found} {wanted}");
        }
        assert_eq!(joint.left_out_g(&[99]), None);
    }
}
