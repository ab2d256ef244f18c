//! Times the joint solution of a long session and the search for a plan, and
//! prints one JSON object: the session in full, so that another program can
//! solve the very same numbers, our answers and the seconds they took.
//!
//! ```text
//! cargo run --release -p scalewright-metrology --example joint_speed [repeats]
//! ```
//! The session: 200 captures of 32 loads made of 20 weights, up and down, the
//! empty pan before each round and at the end. `seconds` is all of
//! `Joint::solve`, from captures to the full covariance; `plan` is the choice
//! of a course from a set of ten weights.

mod timing;

use std::collections::BTreeMap;
use std::error::Error;
use std::hint::black_box;

use scalewright_metrology::joint::{
    Body, Estimate, Grade, Joint, Memory, Problem, Scatter, Weighing, Worth,
};
use scalewright_metrology::planning::course;
use scalewright_metrology::tolerance::AccuracyClass;
use timing::seconds;

const MAX_G: f64 = 20_000.0;
const E_G: f64 = 10.0;
/// Codes of Max, and of the empty pan.
const SPAN_COUNTS: f64 = 4e6;
const EMPTY_COUNTS: f64 = 123_456.0;

const CAPTURES: usize = 200;
/// Captures from one empty pan to the next, that one left out: five loads
/// going up and four coming down.
const UP: usize = 5;
const DOWN: usize = 4;
const LOADS: usize = 32;
const LOAD_STEP_G: f64 = 600.0;
/// On top of the steps in turn, so that every weight is used.
const EXTRA_G: [f64; 6] = [0.0, 20.0, 40.0, 50.0, 70.0, 90.0];

/// Two of each, or four.
const WEIGHTS_G: [f64; 20] = [
    5000.0, 5000.0, 2000.0, 2000.0, 2000.0, 2000.0, 1000.0, 1000.0, 500.0, 500.0, 200.0, 200.0,
    200.0, 200.0, 100.0, 100.0, 50.0, 50.0, 20.0, 20.0,
];
/// Half width of what is stated of a weight, as a share of its mass.
const STATED_SHARE: f64 = 5e-5;

/// What is true of the cell.
const LOOP_G: f64 = 2.0;
const DRIFT_G_PER_S: f64 = 2e-4;
const SCATTER_SHARE: f64 = 5e-5;
const SCATTER_G: f64 = 0.3;

/// Places between the loads at which the curves are compared.
const BETWEEN: usize = 20;

const PLAN_G: [f64; 10] = [
    2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 10.0,
];
const PLAN_MAX_G: f64 = 6000.0;
const PLAN_E_G: f64 = 2.0;

/// Even and normal numbers with a seed (splitmix64, then Box-Muller).
struct Dice(u64);

impl Dice {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.even().max(1e-300).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

fn bodies(masses_g: &[f64]) -> Vec<Body> {
    let body = |(index, mass_g): (usize, &f64)| Body {
        name: format!("W{}", index + 1),
        mass_g: *mass_g,
        worth: Worth::Within(STATED_SHARE * mass_g),
        filling: None,
    };
    masses_g.iter().enumerate().map(body).collect()
}

fn mass_g(masses_g: &[f64], load: &[usize]) -> f64 {
    load.iter().map(|body| masses_g[*body]).sum()
}

/// Which of its loads, from 0, each capture of the session has; `None` is the
/// empty pan.
fn levels() -> Vec<Option<usize>> {
    let first = |place: usize| place * LOADS / UP;
    let round = |round: usize| {
        let up = (0..UP).map(move |place| first(place) + round % 7);
        let down = (0..DOWN)
            .rev()
            .map(move |place| first(place) + (round + 3) % 7);
        std::iter::once(None).chain(up.chain(down).map(|level| Some(level.min(LOADS - 1))))
    };
    let mut levels: Vec<Option<usize>> = (0..).flat_map(round).take(CAPTURES - 1).collect();
    levels.push(None);
    levels
}

/// The weights that make a load: a part of what is on the pan when that can be,
/// so that it comes from above; else the heaviest that fit, equal ones by lot.
fn weights_for(load_g: f64, on_pan: &[usize], dice: &mut Dice) -> Vec<usize> {
    let part = |subset: u32| -> Vec<usize> {
        let bits = 0..on_pan.len();
        bits.filter(|bit| subset >> bit & 1 == 1)
            .map(|bit| on_pan[bit])
            .collect()
    };
    let exact = |load: &Vec<usize>| (mass_g(&WEIGHTS_G, load) - load_g).abs() < 1e-9;
    if let Some(found) = (1..1u32 << on_pan.len()).map(part).find(exact) {
        return found;
    }
    let mut order: Vec<(f64, f64, usize)> = (0..WEIGHTS_G.len())
        .map(|body| (-WEIGHTS_G[body], dice.even(), body))
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut left_g = load_g;
    let mut load = Vec::new();
    for (_, _, body) in order {
        if WEIGHTS_G[body] <= left_g + 1e-9 {
            left_g -= WEIGHTS_G[body];
            load.push(body);
        }
    }
    load.sort_unstable();
    load
}

fn codes(load_g: f64) -> f64 {
    let u = load_g / MAX_G;
    SPAN_COUNTS * (u + 0.004 * u * (1.0 - u) + 0.001 * u * (1.0 - u) * (1.0 - 2.0 * u))
}

fn session() -> Problem {
    let mut dice = Dice(20);
    let true_g: Vec<f64> = WEIGHTS_G
        .iter()
        .map(|mass_g| mass_g * (1.0 + STATED_SHARE * (2.0 * dice.even() - 1.0)))
        .collect();
    let mut memory = Memory::exercised();
    let mut on_pan: Vec<usize> = Vec::new();
    let mut weighings = Vec::with_capacity(CAPTURES);
    for (index, level) in levels().into_iter().enumerate() {
        let load = match level {
            Some(level) => {
                let load_g = LOAD_STEP_G * (level + 1) as f64 + EXTRA_G[level % EXTRA_G.len()];
                weights_for(load_g, &on_pan, &mut dice)
            }
            None => Vec::new(),
        };
        let stays: Vec<usize> = load
            .iter()
            .copied()
            .filter(|body| on_pan.contains(body))
            .collect();
        let share = mass_g(&WEIGHTS_G, &load) / MAX_G;
        memory.follow(mass_g(&WEIGHTS_G, &stays) / MAX_G);
        memory.follow(share);
        let at_s = 30.0 * index as f64;
        let felt_g = mass_g(&true_g, &load) * (1.0 + SCATTER_SHARE * dice.normal())
            + SCATTER_G * dice.normal()
            + DRIFT_G_PER_S * at_s
            + LOOP_G * memory.departure(share);
        weighings.push(Weighing {
            bodies: load.clone(),
            counts: EMPTY_COUNTS + codes(felt_g),
            sd_counts: 5.0,
            at_s,
            rested_s: Some(8.0),
            sitting: 0,
        });
        on_pan = load;
    }
    Problem {
        bodies: bodies(&WEIGHTS_G),
        weighings,
        max_g: MAX_G,
        e_g: E_G,
    }
}

/// Net counts at which the curves are compared: the mean of each load's
/// captures, where the curve has its supports, and places between them.
fn places(problem: &Problem) -> Vec<f64> {
    let zero = problem.weighings[0].counts;
    let mut of_load: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
    for weighing in problem
        .weighings
        .iter()
        .filter(|one| !one.bodies.is_empty())
    {
        let key = problem.stated_g(weighing).round() as u64;
        let (sum, count) = of_load.entry(key).or_default();
        *sum += weighing.counts - zero;
        *count += 1.0;
    }
    let supports: Vec<f64> = of_load.values().map(|(sum, count)| sum / count).collect();
    let between = (0..BETWEEN).map(|index| {
        let at = index * (supports.len() - 1) / BETWEEN;
        0.6 * supports[at] + 0.4 * supports[at + 1]
    });
    supports.iter().copied().chain(between).collect()
}

/// The same problem with normal knowledge of the weights: the solution takes
/// limits as a normal distribution of the same deviation and cuts that off only
/// when asked for a weight.
fn uncut(problem: &Problem) -> Problem {
    let mut uncut = problem.clone();
    for body in &mut uncut.bodies {
        body.worth = body.worth.u_g().map_or(Worth::Unknown, Worth::Stated);
    }
    uncut
}

fn estimates(all: impl Iterator<Item = Estimate>) -> String {
    let (values, us): (Vec<f64>, Vec<f64>) = all.map(|one| (one.value, one.u)).unzip();
    format!("{{\"value\":{values:?},\"u\":{us:?}}}")
}

fn problem_json(problem: &Problem) -> String {
    let all = || problem.weighings.iter();
    let column = |of: fn(&Weighing) -> f64| -> Vec<f64> { all().map(of).collect() };
    let loads: Vec<&[usize]> = all().map(|one| one.bodies.as_slice()).collect();
    let stated = problem.bodies.iter();
    let half_g: Vec<f64> = stated
        .map(|body| match body.worth {
            Worth::Within(half_g) => half_g,
            Worth::Stated(_) | Worth::Unknown => f64::MAX,
        })
        .collect();
    format!(
        "{{\"max_g\":{:?},\"e_g\":{:?},\"mass_g\":{:?},\"within_g\":{half_g:?},\"loads\":{loads:?},\"counts\":{:?},\"sd_counts\":{:?},\"at_s\":{:?},\"rested_s\":{:?}}}",
        problem.max_g,
        problem.e_g,
        problem.bodies.iter().map(|b| b.mass_g).collect::<Vec<_>>(),
        column(|one| one.counts),
        column(|one| one.sd_counts),
        column(|one| one.at_s),
        column(|one| one.rested_s.unwrap_or(0.0)),
    )
}

fn plan_seconds(repeats: usize) -> Result<(f64, usize), Box<dyn Error>> {
    let problem = Problem {
        bodies: bodies(&PLAN_G),
        weighings: Vec::new(),
        max_g: PLAN_MAX_G,
        e_g: PLAN_E_G,
    };
    let grade = Grade {
        scatter: Scatter {
            tau: 0.03,
            own: 1e-5,
            share: 7e-5,
        },
        converter_g: 0.05,
    };
    let found = course(&problem, AccuracyClass::III, grade)?;
    let (median, _) = seconds(repeats, || {
        let _ = black_box(course(black_box(&problem), AccuracyClass::III, grade));
    });
    Ok((median, found.loads.len()))
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let repeats: usize = arguments.next().map_or(Ok(51), |a| a.parse())?;
    let problem = session();
    let joint = Joint::solve(&problem)?;
    let (median, best) = seconds(repeats, || {
        let _ = black_box(Joint::solve(black_box(&problem)));
    });
    let places = places(&problem);
    let curve = estimates(places.iter().map(|counts| joint.curve(*counts)));
    let normal = Joint::solve(&uncut(&problem))?;
    let weights = estimates((0..problem.bodies.len()).filter_map(|body| normal.deviation(body)));
    let loop_width = estimates(joint.loop_width().into_iter());
    let creep = estimates(joint.creep().into_iter().flatten());
    let scatter = joint.scatter();
    let (plan_s, plan_loads) = plan_seconds(repeats.min(9))?;
    println!(
        "{{\"seconds\":{median:e},\"best_seconds\":{best:e},\"problem\":{},\"places\":{places:?},\"answers\":{{\"scatter\":[{:?},{:?},{:?}],\"curve\":{curve},\"weights\":{weights},\"loop\":{loop_width},\"creep\":{creep}}},\"plan\":{{\"weights\":{},\"loads\":{plan_loads},\"seconds\":{plan_s:e}}}}}",
        problem_json(&problem),
        scatter.tau,
        scatter.own,
        scatter.share,
        PLAN_G.len(),
    );
    Ok(())
}
