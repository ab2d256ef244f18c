//! What the captures leave open, and which capture would settle it.
//!
//! Unknowns with a prior are never open. The others are as soon as a pivot of
//! the normal matrix is nothing but rounding; then the general solver of
//! [`crate::least_squares`] names everything that takes part.

use nalgebra::{Cholesky, DMatrix};

use super::design::{CODES, Design};
use super::history::Past;
use super::likelihood::{Belief, Scatter};
use super::{JointRefusal, Problem, Worth};
use crate::least_squares::{Statement, System, SystemRefusal};

/// Share of an unknown's own information below which what is left of it beside
/// the others is rounding.
const ROUNDING: f64 = 1e-11;

/// Such a share beside which no closer look is needed.
const CLEARLY: f64 = 1e-6;

/// Makes sure that the problem's loads determine everything. Codes are not
/// looked at: two captures of one load differ by nothing but scatter, and what
/// only scatter determines is open.
///
/// # Errors
/// [`JointRefusal::Open`], and whatever makes no sense at all.
pub(super) fn check(problem: &Problem) -> Result<(), JointRefusal> {
    let problem = &as_stated(problem);
    let kept = |design: &Design| {
        let belief = Belief::new(problem.e_g / problem.max_g, design.converter_var);
        let captured = design.captured([belief.centre[1], belief.centre[2]], &[]);
        captured.map_or(0.0, |captured| captured.reduced.kept)
    };
    // The supports have a prior and leave nothing open that is well known
    // without them.
    if kept(&Design::of_a_parabola(problem)?) > CLEARLY {
        return Ok(());
    }
    let design = Design::new(problem)?;
    if kept(&design) > ROUNDING {
        return Ok(());
    }
    let belief = Belief::new(problem.e_g / problem.max_g, design.converter_var);
    let scatter = Scatter::of(belief.centre);
    match system(problem, &design, &scatter).solve() {
        Ok(_) => Ok(()),
        Err(SystemRefusal::Open { unknowns }) => Err(JointRefusal::Open {
            unknowns,
            capture: settling(problem, &design, &scatter),
        }),
        Err(_) => Err(JointRefusal::NotSolved),
    }
}

/// The same loads with the codes of a straight cell.
fn as_stated(problem: &Problem) -> Problem {
    let mut stated = problem.clone();
    for weighing in &mut stated.weighings {
        weighing.counts = problem.stated_g(weighing) / problem.max_g * CODES;
        weighing.sd_counts = 0.0;
    }
    stated
}

fn is_whole(design: &Design, factor: &Cholesky<f64, nalgebra::Dyn>) -> bool {
    let l = factor.l_dirty();
    let open = design.prior.iter().enumerate();
    open.filter(|(_, prior)| prior.is_none()).all(|(j, _)| {
        let own: f64 = (0..=j).map(|k| l[(j, k)] * l[(j, k)]).sum();
        l[(j, j)] * l[(j, j)] > ROUNDING * own
    })
}

/// The same problem as plain statements, with names.
pub(super) fn system(problem: &Problem, design: &Design, scatter: &Scatter) -> System {
    let layout = &design.layout;
    let zeros = design.zero_times.iter();
    let mut unknowns: Vec<String> = zeros
        .map(|(_, at_s)| format!("zero at {at_s:.0} s"))
        .collect();
    unknowns.extend(problem.bodies.iter().map(|body| body.name.clone()));
    if layout.with_loop {
        unknowns.push("the width of the loop".into());
    }
    if layout.with_creep {
        unknowns.extend(["the fast creep".into(), "the slow creep".into()]);
    }
    unknowns.push("how steep the curve is".into());
    unknowns.push("how much the curve bends".into());
    let supports = 0..layout.supports;
    unknowns.extend(supports.map(|support| format!("the curve at place {}", support + 1)));
    let mut statements: Vec<Statement> = (0..design.stated.len())
        .map(|index| Statement {
            terms: terms(design.capture(index).iter().copied()),
            value: design.stated[index],
            sd: design.variance(scatter, design.stated[index]).sqrt(),
        })
        .collect();
    for index in 0..layout.len() {
        statements.extend(prior_sd(design, scatter, index).map(|sd| Statement {
            terms: vec![(index, 1.0)],
            value: 0.0,
            sd,
        }));
    }
    System {
        unknowns,
        statements,
    }
}

/// Standard deviation of what is believed of an unknown beforehand; that of the
/// curve goes with its roughness.
fn prior_sd(design: &Design, scatter: &Scatter, index: usize) -> Option<f64> {
    let of_the_curve = index >= design.layout.first_support();
    let tau = if of_the_curve { scatter.tau } else { 1.0 };
    design
        .prior
        .get(index)
        .copied()
        .flatten()
        .map(|sd| sd * tau)
}

fn terms(row: impl Iterator<Item = f64>) -> Vec<(usize, f64)> {
    let terms = row.enumerate().filter(|(_, factor)| *factor != 0.0);
    terms.collect()
}

/// The simplest load whose capture would leave nothing open, if one is enough.
fn settling(problem: &Problem, design: &Design, scatter: &Scatter) -> Option<Vec<usize>> {
    let known = |body: &usize| problem.bodies[*body].worth != Worth::Unknown;
    let mut order: Vec<usize> = (0..problem.bodies.len()).collect();
    // Known weights first, the heaviest first: they say most.
    order.sort_by(|a, b| {
        let mass = |body: &usize| problem.bodies[*body].mass_g;
        known(b).cmp(&known(a)).then(mass(b).total_cmp(&mass(a)))
    });
    let pairs = order.iter().enumerate();
    let pairs = pairs.flat_map(|(i, a)| order[i + 1..].iter().map(|b| vec![*a, *b]));
    let mut loads = order.iter().map(|body| vec![*body]).chain(pairs);
    let mut h = DMatrix::zeros(design.layout.len(), design.layout.len());
    for index in 0..design.stated.len() {
        let row = design.capture(index);
        h.ger(
            1.0 / design.variance(scatter, design.stated[index]),
            &row,
            &row,
            1.0,
        );
    }
    for index in 0..design.layout.len() {
        if let Some(sd) = prior_sd(design, scatter, index) {
            h[(index, index)] += sd.powi(-2);
        }
    }
    loads.find(|load| {
        let mass_g: f64 = load.iter().map(|body| problem.bodies[*body].mass_g).sum();
        if mass_g > problem.max_g {
            return false;
        }
        let share = mass_g / problem.max_g;
        let zeros = design
            .zero_times
            .last()
            .map(|_| (design.zero_times.len() - 1, 1.0));
        let place = design.basis.place(share * CODES);
        let zeros: Vec<(usize, f64)> = zeros.into_iter().collect();
        let row = design.row(&place, load, &zeros, &Past::default());
        let mut with = h.clone();
        with.ger(1.0 / design.variance(scatter, share), &row, &row, 1.0);
        Cholesky::new(with).is_some_and(|factor| is_whole(design, &factor))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The way by normal equations over whitened unknowns gives what the
    /// general solver gives by singular values over the plain ones.
    #[test]
    fn the_structured_way_agrees_with_the_general_solver() {
        let problem = crate::joint::sample::session();
        let (design, belief) = crate::joint::posterior::prepared(&problem).expect("whole");
        let solved = design.solve(&belief, belief.centre, &[]).expect("solved");
        let scatter = Scatter::of(belief.centre);
        let general = system(&problem, &design, &scatter).solve().expect("solved");
        let values = solved.values(&design);
        let covariance = solved.covariance();
        // The general solver's unknowns of the curve are for tau = 1 as well.
        for j in 0..values.len() {
            let sd = general.sd(j).expect("there");
            assert!((values[j] - general.values[j]).abs() < 1e-7 * sd, "{j}");
            for k in 0..values.len() {
                let scale = sd * general.sd(k).expect("there");
                let off = covariance[(j, k)] - general.covariance[(j, k)];
                assert!(off.abs() < 1e-7 * scale, "{j} {k}");
            }
        }
    }
}
