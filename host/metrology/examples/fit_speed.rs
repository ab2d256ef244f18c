//! Times the fits on the 40 points of NIST StRD Pontius and prints one JSON
//! line: seconds per fit and residual sum of squares, x = deflection, y = load.
//!
//! ```text
//! cargo run --release -p scalewright-metrology --example fit_speed [segments] [repeats]
//! ```
//! `free_knots` fits that many continuous straight segments, breakpoints
//! included, and is what a general-purpose package is compared with. `smooth`
//! is the whole of ours: gathering, fit with the choice of smoothing, reach
//! and laying into 32 knots (its curve passes through zero, the other doesn't).

mod timing;

use std::hint::black_box;

use scalewright_metrology::curve::{Curve, Knots, counts_at};
use scalewright_metrology::fit::{free_knots, smooth::Smooth};
use scalewright_metrology::laying::lay;
use scalewright_metrology::observation::{Gathered, Observation};
use timing::seconds;

const DATA: &str = include_str!("../../../tests/reference/strd/Pontius.dat");
/// Knots rise in counts; the deflection as it stands would do as well.
const COUNTS_PER_DEFLECTION: f64 = 2e6;

fn smooth_knots(observations: &[Observation]) -> Option<(Knots, Smooth)> {
    let gathered = Gathered::new(observations, 0.0).ok()?;
    let smooth = Smooth::fit(&gathered).ok()?;
    let last = gathered.points.last()?.counts;
    let reach = counts_at(&smooth, 3.009e6, last)?;
    let laid = lay(&smooth, reach, 32, 0.0).ok()?;
    Some((laid.knots, smooth))
}

/// Median seconds of one call.
fn median(repeats: usize, call: impl FnMut()) -> f64 {
    seconds(repeats, call).0
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let segments: usize = arguments.next().map_or(Ok(4), |a| a.parse())?;
    let repeats: usize = arguments.next().map_or(Ok(500), |a| a.parse())?;
    // Lines 61 to 100: y (deflection), x (load).
    let rows: Vec<(f64, f64)> = DATA
        .lines()
        .skip(60)
        .filter_map(|l| {
            let mut words = l.split_whitespace();
            Some((words.next()?.parse().ok()?, words.next()?.parse().ok()?))
        })
        .collect();
    let (x, y): (Vec<f64>, Vec<f64>) = rows.iter().copied().unzip();
    let observations: Vec<Observation> = rows
        .iter()
        .map(|(deflection, load)| Observation {
            load: (load / 1000.0) as usize,
            counts: deflection * COUNTS_PER_DEFLECTION,
            mass_g: *load,
            sd_counts: 0.0,
            rising: true,
            saturated: false,
        })
        .collect();

    let line = free_knots::fit(&x, &y, segments)?;
    let free_seconds = median(repeats, || {
        let _ = black_box(free_knots::fit(black_box(&x), black_box(&y), segments));
    });
    let (knots, smooth) = smooth_knots(&observations).ok_or("the smooth curve can't be formed")?;
    let smooth_seconds = median(repeats, || {
        let _ = black_box(smooth_knots(black_box(&observations)));
    });
    let squares = |curve: &dyn Curve| -> f64 {
        (observations.iter())
            .map(|o| (curve.mass_g(o.counts) - o.mass_g).powi(2))
            .sum()
    };
    println!(
        "{{\"observations\":{},\"free_knots\":{{\"segments\":{segments},\"seconds\":{free_seconds:e},\"rss\":{:e},\"knots\":{:?}}},\"smooth\":{{\"seconds\":{smooth_seconds:e},\"rss\":{:e},\"rss_laid\":{:e},\"knots\":{},\"effective_parameters\":{}}}}}",
        rows.len(),
        line.residual_squares,
        line.knots.iter().map(|k| [k.0, k.1]).collect::<Vec<_>>(),
        squares(&smooth),
        squares(&knots),
        knots.points.len(),
        smooth.effective_parameters,
    );
    Ok(())
}
