//! Every load that the bodies at hand can make.

use super::{Problem, Worth};

/// Bodies combined; of more, the lightest stay out.
const MOST_BODIES: usize = 14;

/// Loads of one mass kept, those of the fewest bodies: enough to set each of a
/// few equal weights against the others.
const OF_ONE_MASS: usize = 4;

/// Loads in all; of more, evenly spaced ones are kept.
const MOST: usize = 3000;

/// A load that could be put on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Load {
    /// Positions of its bodies, rising.
    pub(crate) bodies: Vec<usize>,
    pub(crate) mass_g: f64,
}

/// Whether two fillings of one vessel are among the bodies.
fn poured_twice(problem: &Problem, bodies: &[usize]) -> bool {
    let vessels = bodies
        .iter()
        .filter_map(|body| problem.bodies[*body].filling);
    let mut vessels: Vec<usize> = vessels.map(|filling| filling.vessel).collect();
    let all = vessels.len();
    vessels.sort_unstable();
    vessels.dedup();
    vessels.len() < all
}

/// The loads up to Max, by rising mass.
pub(crate) fn loads(problem: &Problem) -> Vec<Load> {
    let mut order: Vec<usize> = (0..problem.bodies.len()).collect();
    let mass = |index: &usize| problem.bodies[*index].mass_g;
    // A substitution load is never left out: it is there to be used.
    let known = |index: &usize| problem.bodies[*index].worth != Worth::Unknown;
    order.sort_by(|a, b| known(a).cmp(&known(b)).then(mass(b).total_cmp(&mass(a))));
    order.truncate(MOST_BODIES);
    let mut all = Vec::new();
    for subset in 1u32..(1 << order.len()) {
        let mut bodies: Vec<usize> = (0..order.len())
            .filter(|bit| subset >> bit & 1 == 1)
            .map(|bit| order[bit])
            .collect();
        bodies.sort_unstable();
        let mass_g = bodies.iter().map(mass).sum();
        if poured_twice(problem, &bodies) {
            continue;
        }
        if mass_g <= problem.max_g * (1.0 + 1e-9) {
            all.push(Load { bodies, mass_g });
        }
    }
    let key = |choice: &Load| (choice.mass_g / problem.e_g * 1e3).round();
    all.sort_by(|a, b| {
        (key(a).total_cmp(&key(b)))
            .then(a.bodies.len().cmp(&b.bodies.len()))
            .then(a.bodies.cmp(&b.bodies))
    });
    let mut kept: Vec<Load> = Vec::new();
    for group in all.chunk_by(|a, b| key(a) == key(b)) {
        kept.extend(group.iter().take(OF_ONE_MASS).cloned());
    }
    if kept.len() > MOST {
        let step = kept.len() as f64 / MOST as f64;
        let few = |choice: &Load| choice.bodies.len() <= 2;
        let mut next = 0.0;
        kept = kept
            .into_iter()
            .enumerate()
            .filter(|(index, choice)| {
                let due = *index as f64 >= next;
                if due {
                    next += step;
                }
                due || few(choice)
            })
            .map(|(_, choice)| choice)
            .collect();
    }
    kept
}
