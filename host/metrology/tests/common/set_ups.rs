//! Budgets of calibrations, drawn from a seed, and what trials make of them.
//! Each user takes part of it.
#![allow(dead_code)]

use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
use scalewright_metrology::monte_carlo::{generator, propagate};

/// Trials of each budget: they leave a fifth of a percent open in U.
const TRIALS: usize = 500_000;

/// Seeds that are looked at to find set-ups.
const SEEDS: u64 = 100_000;

/// A budget and the seed it comes from.
pub struct SetUp {
    seed: u64,
    budget: Budget,
}

/// Numbers to choose set-ups by, apart from the generator under test.
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Rectangular, normal, triangular and estimated shares of a calibration, the
/// last with at least so many degrees of freedom.
fn set_up(seed: u64, least_dof: f64) -> Option<SetUp> {
    let mut dice = Dice(seed);
    let mut shares = vec![
        Knowledge::Rectangular { half: 0.5 },
        Knowledge::Rectangular { half: 0.5 },
        Knowledge::Estimated {
            sd: dice.between(0.1, 1.0),
            dof: dice.between(least_dof, least_dof + 30.0).floor(),
        },
        Knowledge::Normal {
            sd: dice.between(0.05, 1.0),
        },
    ];
    for _ in 0..dice.between(1.0, 6.0) as usize {
        let half = dice.between(0.02, 1.2);
        shares.push(match dice.between(0.0, 3.0) as usize {
            0 => Knowledge::Triangular { half },
            _ => Knowledge::Rectangular { half },
        });
    }
    let shares = shares
        .into_iter()
        .map(|one| Contribution::new("share", one));
    let shares: Vec<Contribution> = shares.collect::<Result<_, _>>().ok()?;
    let budget = Budget::new(shares);
    Some(SetUp { seed, budget })
}

/// Excess kurtosis of the shares with limits, as parts of the whole: what makes
/// Student's factor too large.
fn flatness(budget: &Budget) -> f64 {
    let of = |one: &Contribution| match one.knowledge() {
        Knowledge::Rectangular { .. } => 1.2,
        Knowledge::Triangular { .. } => 0.6,
        _ => 0.0,
    };
    let parts = budget.shares().into_iter().zip(budget.contributions());
    parts.map(|(part, one)| part * part * of(one)).sum()
}

/// The first so many set-ups for which the conditions of JCGM 100:2008 G.6.6
/// hold: many shares, none dominant, readings enough.
pub fn where_the_budget_holds(count: usize) -> Vec<SetUp> {
    let all = (0..SEEDS).filter_map(|seed| set_up(seed, 15.0));
    let holds = all.filter(|one| flatness(&one.budget) < 0.25);
    holds.take(count).collect()
}

/// The first so many set-ups, whether it holds or not.
pub fn any(count: usize) -> Vec<SetUp> {
    let all = (0..SEEDS).filter_map(|seed| set_up(seed, 15.0));
    all.take(count).collect()
}

/// U of the budget over U of its trials, both for a coverage of 95.45 %.
pub fn budget_by_trials(one: &SetUp) -> Option<f64> {
    let said = propagate(&one.budget, 0.0, TRIALS, &mut generator(one.seed)).ok()?;
    let stated = one.budget.statement().ok()?.expanded_g;
    Some(stated / said.symmetric.half_width_g())
}
