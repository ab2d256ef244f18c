//! Every load that the bodies at hand can make.

use crate::joint::{Problem, Worth};

/// Bodies combined; of more, the lightest stay out.
const MOST_BODIES: usize = 14;

/// Loads of one mass kept, those of the fewest bodies: enough to set each of a
/// few equal weights against the others.
const OF_ONE_MASS: usize = 4;

/// Loads in all; of more, evenly spaced ones are kept.
const MOST: usize = 3000;

/// A load that could be put on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    /// Positions of its bodies, rising.
    pub(super) bodies: Vec<usize>,
    pub(super) mass_g: f64,
}

/// The loads up to Max, by rising mass.
pub(super) fn choices(problem: &Problem) -> Vec<Choice> {
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
        if mass_g <= problem.max_g * (1.0 + 1e-9) {
            all.push(Choice { bodies, mass_g });
        }
    }
    let key = |choice: &Choice| (choice.mass_g / problem.e_g * 1e3).round();
    all.sort_by(|a, b| {
        (key(a).total_cmp(&key(b)))
            .then(a.bodies.len().cmp(&b.bodies.len()))
            .then(a.bodies.cmp(&b.bodies))
    });
    let mut kept: Vec<Choice> = Vec::new();
    for group in all.chunk_by(|a, b| key(a) == key(b)) {
        kept.extend(group.iter().take(OF_ONE_MASS).cloned());
    }
    if kept.len() > MOST {
        let step = kept.len() as f64 / MOST as f64;
        let few = |choice: &Choice| choice.bodies.len() <= 2;
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
