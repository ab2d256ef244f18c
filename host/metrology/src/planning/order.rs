//! The order in which chosen loads go on, and what it takes.

use crate::joint::{Problem, Worth};

/// Shares of the heaviest load at which the way down is captured.
const WAY_DOWN: [f64; 5] = [0.8, 0.6, 0.4, 0.2, 0.1];

/// Shares of Max at which a small weight is added to a big load.
const BASES: [f64; 3] = [0.3, 0.6, 0.95];

/// The small weight is the lightest of at least so many e.
const SMALL_E: f64 = 5.0;

/// Time a load takes: to notice the prompt, for each body moved, to settle and
/// be averaged, s (from sessions on the bench; common practice).
const PROMPT_S: f64 = 6.0;
const MOVE_S: f64 = 2.5;
const SETTLE_S: f64 = 6.0;

/// A small weight on a big load, as two places in the course.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Additivity {
    /// The small weight's position among the bodies.
    pub small: usize,
    /// Place of the big load in the course.
    pub base: usize,
    /// Place of both together.
    pub both: usize,
}

/// Loads in the order in which they go on.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// The bodies of each load; the first and the last are empty.
    pub loads: Vec<Vec<usize>>,
    /// Where a small weight goes on top of a big load.
    pub additivity: Vec<Additivity>,
}

/// Time from one load to the next, s.
pub(super) fn seconds(problem: &Problem, before: &[usize], load: &[usize]) -> f64 {
    let off = before.iter().filter(|body| !load.contains(body)).count();
    let on = load.iter().filter(|body| !before.contains(body)).count();
    // The same load once more is taken off and put on again.
    let again = if before == load { 2 * load.len() } else { 0 };
    let heavy = problem.max_g.max(1.0).log10().max(1.0) / 3.0;
    PROMPT_S + SETTLE_S + MOVE_S * heavy * (off + on + again) as f64
}

/// Orders the loads: empty, up by mass with small-on-big pairs among them, down
/// by taking off, empty.
pub(super) fn order(problem: &Problem, mut up: Vec<Vec<usize>>) -> Course {
    let mass =
        |load: &[usize]| -> f64 { load.iter().map(|body| problem.bodies[*body].mass_g).sum() };
    let small = small_weight(problem);
    if let Some(small) = small {
        if !up.contains(&vec![small]) {
            up.push(vec![small]);
        }
        for share in BASES {
            let room = |load: &&Vec<usize>| {
                !load.contains(&small) && mass(load) + problem.bodies[small].mass_g <= problem.max_g
            };
            let target = share * problem.max_g;
            let base = up
                .iter()
                .filter(room)
                .filter(|load| mass(load) > 0.15 * problem.max_g)
                .min_by(|a, b| {
                    (mass(a) - target)
                        .abs()
                        .total_cmp(&(mass(b) - target).abs())
                })
                .cloned();
            if let Some(mut both) = base {
                both.push(small);
                both.sort_unstable();
                if !up.contains(&both) {
                    up.push(both);
                }
            }
        }
    }
    // Water poured in does not come out to the same mass again: all loads with
    // one filling come before the first with the next.
    let stage = |load: &[usize]| -> usize {
        let fillings = load.iter().filter_map(|body| problem.bodies[*body].filling);
        fillings.map(|filling| filling.turn).max().unwrap_or(0)
    };
    up.sort_by(|a, b| {
        (stage(a).cmp(&stage(b)))
            .then(mass(a).total_cmp(&mass(b)))
            .then(a.cmp(b))
    });
    let top = up.last().cloned().unwrap_or_default();
    // The heaviest load goes on once before the others: the cell is exercised
    // (OIML R 76-1 asks for a preload, clause from memory), and the load on
    // which most depends is captured twice.
    let mut loads: Vec<Vec<usize>> = vec![Vec::new()];
    if stage(&top) == 0 {
        loads.extend([top.clone(), Vec::new()]);
    }
    for of_one_filling in up.chunk_by(|a, b| stage(a) == stage(b)) {
        // Each load once, going up; repetitions on the way back.
        let (again, first): (Vec<_>, Vec<_>) = of_one_filling
            .iter()
            .enumerate()
            .partition(|(index, load)| of_one_filling[..*index].contains(load));
        loads.extend(first.into_iter().map(|(_, load)| load.clone()));
        for (_, load) in again.into_iter().rev() {
            repeat(&mut loads, load);
        }
    }
    let mut at = top.clone();
    for share in WAY_DOWN {
        let Some(next) = part(problem, &at, share * mass(&top)) else {
            break;
        };
        loads.push(next.clone());
        at = next;
    }
    loads.push(Vec::new());
    let additivity = small.map_or_else(Vec::new, |small| pairs(&loads, small));
    Course { loads, additivity }
}

/// Adds a load once more; when it is the one on the pan, after the one before,
/// since it must come anew.
fn repeat(loads: &mut Vec<Vec<usize>>, load: &Vec<usize>) {
    if loads.last() == Some(load) {
        let other = loads.iter().rev().find(|other| *other != load).cloned();
        loads.extend(other.filter(|other| !other.is_empty()));
    }
    loads.push(load.clone());
}

/// The lightest weight that a scale shows well.
fn small_weight(problem: &Problem) -> Option<usize> {
    let bodies = problem.bodies.iter().enumerate();
    let shown = bodies.filter(|(_, body)| {
        body.worth != Worth::Unknown
            && body.mass_g >= SMALL_E * problem.e_g
            && body.mass_g <= 0.2 * problem.max_g
    });
    shown
        .min_by(|a, b| a.1.mass_g.total_cmp(&b.1.mass_g))
        .map(|(index, _)| index)
}

/// The part of a load nearest to `target_g` that is lighter than all of it and
/// not nothing.
fn part(problem: &Problem, of: &[usize], target_g: f64) -> Option<Vec<usize>> {
    // With more bodies than this the lightest stay together on the pan.
    let count = of.len().min(12);
    let mut order = of.to_vec();
    order.sort_by(|a, b| {
        problem.bodies[*b]
            .mass_g
            .total_cmp(&problem.bodies[*a].mass_g)
    });
    let bodies = |subset: u32| -> Vec<usize> {
        let mut bodies: Vec<usize> = (0..count)
            .filter(|bit| subset >> bit & 1 == 1)
            .map(|bit| order[bit])
            .collect();
        bodies.sort_unstable();
        bodies
    };
    let whole = (1u32 << count) - 1;
    (1..whole)
        .map(|subset| {
            let bodies = bodies(subset);
            let mass_g: f64 = bodies.iter().map(|body| problem.bodies[*body].mass_g).sum();
            // Fewer pieces to lift decide between loads as near.
            let off = (mass_g - target_g).abs() + 1e-4 * problem.max_g * bodies.len() as f64;
            (off, bodies)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, bodies)| bodies)
}

fn pairs(loads: &[Vec<usize>], small: usize) -> Vec<Additivity> {
    let mut out = Vec::new();
    for (both, load) in loads.iter().enumerate() {
        if load.len() < 2 || !load.contains(&small) {
            continue;
        }
        let base: Vec<usize> = load.iter().copied().filter(|body| *body != small).collect();
        // The nearest capture of the base: least drift and creep between.
        let found = loads
            .iter()
            .enumerate()
            .filter(|(_, other)| **other == base)
            .min_by_key(|(index, _)| index.abs_diff(both));
        if let Some((base, _)) = found {
            out.push(Additivity { small, base, both });
        }
    }
    out
}
