//! Times the Monte Carlo of a budget of ten shares and prints one JSON object:
//! the shares, so that another program can draw the very same, our answers and
//! the seconds they took.
//!
//! ```text
//! cargo run --release -p scalewright-metrology --example monte_carlo_speed [trials] [repeats]
//! ```
//! `seconds` is all of `propagate`: laying the ziggurats, drawing, mean and
//! deviation, both coverage intervals. One thread.

mod timing;

use std::error::Error;
use std::hint::black_box;

use scalewright_metrology::budget::{Budget, Contribution, Knowledge};
use scalewright_metrology::monte_carlo::{Propagated, generator, propagate};
use timing::seconds;

/// A scale of 3000 g, d = 1 g, at 2 kg; in g, all different.
fn shares() -> [(&'static str, Knowledge); 10] {
    use Knowledge::{Estimated, Normal, Rectangular, Triangular};
    [
        ("rounding at zero", Rectangular { half: 0.5 }),
        ("rounding at the load", Rectangular { half: 0.51 }),
        ("repeatability", Estimated { sd: 0.45, dof: 9.0 }),
        ("eccentricity", Rectangular { half: 0.8 }),
        ("certificates of the weights", Normal { sd: 0.05 }),
        ("air buoyancy", Rectangular { half: 0.055 }),
        ("drift of the weights", Rectangular { half: 0.06 }),
        ("convection", Triangular { half: 0.1 }),
        ("drift of zero", Rectangular { half: 0.4 }),
        ("fit of the table", Normal { sd: 0.2 }),
    ]
}

fn share_json((name, knowledge): &(&str, Knowledge)) -> String {
    let (shape, size, dof) = match knowledge {
        Knowledge::Normal { sd } => ("normal", sd, 0.0),
        Knowledge::Estimated { sd, dof } => ("estimated", sd, *dof),
        Knowledge::Rectangular { half } => ("rectangular", half, 0.0),
        Knowledge::Triangular { half } => ("triangular", half, 0.0),
        Knowledge::ArcSine { half } => ("arc sine", half, 0.0),
    };
    format!("{{\"name\":{name:?},\"shape\":{shape:?},\"size\":{size:?},\"dof\":{dof:?}}}")
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let trials: usize = arguments.next().map_or(Ok(200_000), |a| a.parse())?;
    let repeats: usize = arguments.next().map_or(Ok(101), |a| a.parse())?;
    let contributions: Result<Vec<Contribution>, _> = shares()
        .into_iter()
        .map(|(name, knowledge)| Contribution::new(name, knowledge))
        .collect();
    let budget = Budget::new(contributions?);
    let stated = budget.statement()?;
    // One generator for all, so that every repeat has trials of its own.
    let mut rng = generator(20);
    let mut all: Vec<Propagated> = Vec::new();
    for _ in 0..repeats {
        all.push(propagate(&budget, 0.0, trials, &mut rng)?);
    }
    let (median, best) = seconds(repeats, || {
        let _ = black_box(propagate(black_box(&budget), 0.0, trials, &mut rng));
    });
    let column = |of: fn(&Propagated) -> f64| all.iter().map(of).collect::<Vec<f64>>();
    println!(
        "{{\"trials\":{trials},\"seconds\":{median:e},\"best_seconds\":{best:e},\"shares\":[{}],\"budget\":{{\"u\":{:?},\"k\":{:?},\"expanded\":{:?}}},\"mean\":{:?},\"u\":{:?},\"symmetric\":{:?},\"shortest\":{:?}}}",
        shares()
            .iter()
            .map(share_json)
            .collect::<Vec<_>>()
            .join(","),
        stated.u_g,
        stated.k,
        stated.expanded_g,
        column(|one| one.mean_g),
        column(|one| one.sd_g.unwrap_or(f64::NAN)),
        column(|one| one.symmetric.half_width_g()),
        column(|one| one.shortest.half_width_g()),
    );
    Ok(())
}
