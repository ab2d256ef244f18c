//! From captures to rows of factors over the unknowns.
//!
//! All masses are in parts of Max here. Each capture says
//!
//! ```text
//! m(c) - zero(t) - width * departure - sum creep_k * past_k - sum deviation_b = stated mass + error
//! ```
//!
//! Captures of one stated load have one variance; their rows are folded into
//! one Gram matrix a load, once, so that each trial of the scatter only adds a
//! few matrices up.

use nalgebra::{DMatrix, DVector, DVectorView};

use super::apart::{Pair, alone, beside};
use super::basis::{Basis, Place};
use super::gram::Grams;
use super::history::{CREEP_S, Past, past};
use super::layout::Layout;
use super::likelihood::Doubt;
use super::{JointRefusal, Problem, Worth};

/// Standard deviation of the loop's width before the captures speak, in parts
/// of Max: half a permissible error of a scale of 1000 intervals (own choice;
/// wide against any cell worth calibrating).
const LOOP_SD: f64 = 5e-4;

/// The same of each creep amplitude (own choice). Beside it, OIML R 60-1:2021,
/// 5.5.1 allows a cell of class C3 0.0245 % of the load in 30 minutes.
const CREEP_SD: f64 = 2e-4;

/// Codes of Max where only proportions count.
pub(super) const CODES: f64 = 1e6;

/// Captures of one stated load.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// The load, in parts of Max.
    pub(super) load: f64,
    pub(super) captures: usize,
    /// Sum of rows times what they leave of the stated mass, counted from the
    /// design's start, and of its squares.
    pub(super) right: DVector<f64>,
    pub(super) square: f64,
}

/// The whole problem in numbers.
#[derive(Debug, Clone)]
pub(super) struct Design {
    pub(super) basis: Basis,
    pub(super) layout: Layout,
    /// The row of each capture, one a column.
    rows: DMatrix<f64>,
    /// Stated mass of each capture, in parts of Max.
    pub(super) stated: DVector<f64>,
    /// Which group a capture belongs to.
    pub(super) group_of: Vec<usize>,
    pub(super) groups: Vec<Group>,
    /// Sums of row' row of the groups.
    pub(super) grams: Grams,
    /// Prior deviation of each unknown; `None` = nothing known. The curve's
    /// part is for tau = 1.
    pub(super) prior: Vec<Option<f64>>,
    /// Values of the unknowns nothing is known of, which the rest is counted
    /// from: near enough to keep digits.
    pub(super) start: DVector<f64>,
    /// Variance of a capture's mean by the converter's noise.
    pub(super) converter_var: f64,
    pub(super) past: Vec<Past>,
    /// Times of the zeros: (sitting, s).
    pub(super) zero_times: Vec<(u32, f64)>,
}

impl Design {
    pub(super) fn new(problem: &Problem) -> Result<Self, JointRefusal> {
        Self::on(problem, Basis::new)
    }

    /// The same with a curve that is nothing but a parabola.
    pub(super) fn of_a_parabola(problem: &Problem) -> Result<Self, JointRefusal> {
        Self::on(problem, Basis::without_supports)
    }

    fn on(
        problem: &Problem,
        basis: impl Fn(&[f64]) -> Option<Basis>,
    ) -> Result<Self, JointRefusal> {
        check(problem)?;
        let references = references(problem)?;
        let nets = nets(problem, &references);
        let loads = problem.weighings.iter().zip(&nets);
        let loaded: Vec<f64> = loads
            .filter(|(weighing, _)| !weighing.bodies.is_empty())
            .map(|(_, counts)| *counts)
            .collect();
        let basis = basis(&loaded).ok_or(JointRefusal::NoLoads)?;
        let past = past(problem);
        let zero_times: Vec<(u32, f64)> = problem
            .weighings
            .iter()
            .filter(|weighing| weighing.bodies.is_empty())
            .map(|weighing| (weighing.sitting, weighing.at_s))
            .collect();
        let layout = Layout {
            supports: basis.at.len(),
            bodies: problem.bodies.len(),
            zeros: zero_times.len(),
            with_loop: past.iter().filter(|past| past.from_above).count() >= 2,
            with_creep: problem.weighings.len() >= 8,
        };
        let stated: Vec<f64> = problem
            .weighings
            .iter()
            .map(|weighing| problem.stated_g(weighing) / problem.max_g)
            .collect();
        let (group_of, groups) = grouped(&stated, layout.len());
        let mut design = Self {
            rows: DMatrix::zeros(layout.len(), problem.weighings.len()),
            grams: Grams::new(layout.shape(), &DMatrix::zeros(layout.len(), 0), &[], 0),
            group_of,
            groups,
            prior: priors(problem, &layout),
            start: DVector::zeros(layout.len()),
            converter_var: converter_var(problem, &basis, &stated, &nets),
            stated: DVector::from_vec(stated),
            basis,
            layout,
            past,
            zero_times,
        };
        for (index, (weighing, counts)) in problem.weighings.iter().zip(&nets).enumerate() {
            let place = design.basis.place(*counts);
            let zeros = design.zero_shares(weighing.sitting, weighing.at_s);
            let past = design.past[index];
            let row = design.row(&place, &weighing.bodies, &zeros, &past);
            design.rows.set_column(index, &row);
        }
        design.grams = Grams::new(
            design.layout.shape(),
            &design.rows,
            &design.group_of,
            design.groups.len(),
        );
        design.fold(DVector::zeros(design.layout.len()));
        Ok(design)
    }

    /// Factors over the unknowns of a capture.
    pub(super) fn capture(&self, index: usize) -> DVectorView<'_, f64> {
        self.rows.column(index)
    }

    /// What a capture leaves of the stated mass, counted from the start.
    pub(super) fn left(&self, index: usize) -> f64 {
        self.stated[index] - self.capture(index).dot(&self.start)
    }

    /// Factors over the unknowns of a capture at `place`.
    pub(super) fn row(
        &self,
        place: &Place,
        bodies: &[usize],
        zeros: &[(usize, f64)],
        past: &Past,
    ) -> DVector<f64> {
        let layout = &self.layout;
        let mut row = self.curve_row(place);
        for body in bodies {
            row[layout.body(*body)] -= 1.0;
        }
        for (zero, share) in zeros {
            row[layout.zero(*zero)] -= share;
        }
        if let Some(width) = layout.width() {
            row[width] = -past.departure;
        }
        for (index, past) in past.creep.iter().enumerate() {
            if let Some(creep) = layout.creep(index) {
                row[creep] = -past;
            }
        }
        row
    }

    /// Factors over the unknowns of the curve at `place`.
    pub(super) fn curve_row(&self, place: &Place) -> DVector<f64> {
        let mut row = DVector::zeros(self.layout.len());
        row.rows_mut(self.layout.first_support(), self.layout.supports)
            .copy_from(&place.smooth);
        for (power, factor) in place.parabola.iter().enumerate() {
            row[self.layout.parabola(power)] = *factor;
        }
        row
    }

    /// The zeros that make up the zero at a time, and their shares: straight
    /// between two, unchanged beyond the first and the last of the sitting.
    pub(super) fn zero_shares(&self, sitting: u32, at_s: f64) -> Vec<(usize, f64)> {
        // Sittings follow one another.
        let first = self.zero_times.partition_point(|(of, _)| *of < sitting);
        let end = self.zero_times.partition_point(|(of, _)| *of <= sitting);
        let own = &self.zero_times[first..end];
        let after = own.partition_point(|(_, time)| *time <= at_s);
        let before = after.checked_sub(1);
        let time = |index: usize| own.get(index).map(|(_, time)| *time);
        match (before.and_then(time), time(after)) {
            (Some(a), Some(b)) if b > a => {
                let share = (at_s - a) / (b - a);
                vec![(first + after - 1, 1.0 - share), (first + after, share)]
            }
            (Some(_), _) => vec![(first + after - 1, 1.0)],
            (None, Some(_)) => vec![(first + after, 1.0)],
            (None, None) => Vec::new(),
        }
    }

    /// Standard uncertainty of a body by captures of this covariance alone, even
    /// if one of its rivals is wrong; `None` where they don't tell it.
    pub(super) fn told_apart(
        &self,
        problem: &Problem,
        covariance: &DMatrix<f64>,
        doubts: &[Doubt],
        body: usize,
    ) -> Option<f64> {
        problem.bodies.get(body)?;
        // In one capture alone a weight can't be told from a slip of the hand.
        let captures = problem.weighings.iter();
        if captures.filter(|one| one.bodies.contains(&body)).count() < 2 {
            return None;
        }
        let at = |body: usize| self.layout.body(body);
        // Of a body in doubt the doubt's own width was taken for its worth.
        let doubted = |body: usize| {
            doubts.iter().find_map(|doubt| match doubt {
                Doubt::Body(other, sd) if *other == body => Some(*sd),
                _ => None,
            })
        };
        let stated = |body: usize| doubted(body).or(self.prior[at(body)]).map(|sd| sd * sd);
        let own = covariance[(at(body), at(body))];
        let by_itself = alone(own, stated(body));
        let worst = problem.rivals(body).map(|other| {
            beside(Pair {
                own,
                other: covariance[(at(other), at(other))],
                both: covariance[(at(body), at(other))],
                own_stated: stated(body),
                other_stated: stated(other),
            })
        });
        let variance = worst.fold(by_itself, f64::max);
        variance.is_finite().then(|| variance.sqrt())
    }

    /// Net counts that Max would give, as far as the heaviest capture tells.
    pub(super) fn counts_of_max(&self) -> f64 {
        let heaviest = self.stated.max();
        if heaviest > 0.0 {
            self.basis.unit_counts / heaviest
        } else {
            self.basis.unit_counts
        }
    }

    /// Counts what the captures leave from `start`.
    pub(super) fn fold(&mut self, start: DVector<f64>) {
        self.start = start;
        for group in &mut self.groups {
            group.right.fill(0.0);
            group.square = 0.0;
        }
        for index in 0..self.stated.len() {
            let left = self.left(index);
            let group = &mut self.groups[self.group_of[index]];
            group.square += left * left;
            group.right.axpy(left, &self.rows.column(index), 1.0);
        }
    }
}

/// Which captures are of one load, and the loads.
fn grouped(stated: &[f64], unknowns: usize) -> (Vec<usize>, Vec<Group>) {
    let mut groups: Vec<Group> = Vec::new();
    let mut group_of = Vec::with_capacity(stated.len());
    for load in stated {
        let same = |group: &Group| (group.load - load).abs() <= 1e-6 * load.max(1e-3);
        let at = groups.iter().position(same).unwrap_or_else(|| {
            groups.push(Group {
                load: *load,
                captures: 0,
                right: DVector::zeros(unknowns),
                square: 0.0,
            });
            groups.len() - 1
        });
        groups[at].captures += 1;
        group_of.push(at);
    }
    (group_of, groups)
}

fn check(problem: &Problem) -> Result<(), JointRefusal> {
    let positive = |value: f64| value.is_finite() && value > 0.0;
    if !(positive(problem.max_g) && positive(problem.e_g)) {
        return Err(JointRefusal::Scale);
    }
    for body in &problem.bodies {
        let usable = match body.worth {
            Worth::Within(u) | Worth::Stated(u) => u.is_finite() && u >= 0.0,
            Worth::Unknown => true,
        };
        let mass = body.mass_g / problem.max_g;
        if !(usable && positive(body.mass_g) && mass < 1e3) {
            return Err(JointRefusal::Body {
                name: body.name.clone(),
            });
        }
    }
    let mut before: Option<(u32, f64)> = None;
    for (index, weighing) in problem.weighings.iter().enumerate() {
        let numbers = [weighing.counts, weighing.at_s, weighing.sd_counts];
        let finite = numbers.iter().all(|number| number.abs() < 1e12);
        let rested = weighing.rested_s.is_none_or(|s| s.is_finite() && s >= 0.0);
        let in_order = before.is_none_or(|(sitting, at_s)| {
            weighing.sitting > sitting || weighing.sitting == sitting && weighing.at_s >= at_s
        });
        let bodies = &weighing.bodies;
        let there = bodies.iter().all(|body| *body < problem.bodies.len());
        let once = (1..bodies.len()).all(|i| !bodies[..i].contains(&bodies[i]));
        if !(finite && rested && in_order && there && once && weighing.sd_counts >= 0.0) {
            return Err(JointRefusal::Weighing { index });
        }
        before = Some((weighing.sitting, weighing.at_s));
    }
    Ok(())
}

/// The first zero of each sitting.
fn references(problem: &Problem) -> Result<Vec<(u32, f64)>, JointRefusal> {
    let mut references: Vec<(u32, f64)> = Vec::new();
    for weighing in &problem.weighings {
        let sitting = weighing.sitting;
        if references.iter().any(|(known, _)| *known == sitting) {
            continue;
        }
        let zero = problem
            .weighings
            .iter()
            .find(|one| one.sitting == sitting && one.bodies.is_empty())
            .ok_or(JointRefusal::NoZero { sitting })?;
        references.push((sitting, zero.counts));
    }
    Ok(references)
}

fn nets(problem: &Problem, references: &[(u32, f64)]) -> Vec<f64> {
    let reference = |sitting: u32| {
        let found = references.iter().find(|(known, _)| *known == sitting);
        found.map_or(0.0, |(_, counts)| *counts)
    };
    problem
        .weighings
        .iter()
        .map(|weighing| weighing.counts - reference(weighing.sitting))
        .collect()
}

fn priors(problem: &Problem, layout: &Layout) -> Vec<Option<f64>> {
    let mut prior = vec![None; layout.len()];
    prior[layout.first_support()..].fill(Some(1.0));
    for (index, body) in problem.bodies.iter().enumerate() {
        // A weight said to be exact is known to a part in 10^9 of Max.
        let known = body.worth.u_g().map(|u| (u / problem.max_g).max(1e-9));
        prior[layout.body(index)] = known;
    }
    if let Some(width) = layout.width() {
        prior[width] = Some(LOOP_SD);
    }
    for index in 0..CREEP_S.len() {
        if let Some(creep) = layout.creep(index) {
            prior[creep] = Some(CREEP_SD);
        }
    }
    prior
}

/// Pooled over all captures: the deviation of one capture's 16 samples is
/// itself known to a fifth only.
fn converter_var(problem: &Problem, basis: &Basis, stated: &[f64], nets: &[f64]) -> f64 {
    let known: Vec<f64> = problem
        .weighings
        .iter()
        .map(|weighing| weighing.sd_counts.powi(2))
        .filter(|var| *var > 0.0)
        .collect();
    let top = stated
        .iter()
        .zip(nets)
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map_or(1.0, |(mass, counts)| mass / counts * basis.unit_counts);
    let slope = top / basis.unit_counts;
    crate::statistics::mean(&known).unwrap_or(0.0) * slope * slope
}
