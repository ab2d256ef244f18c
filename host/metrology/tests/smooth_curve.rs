//! What the smooth curve promises: a quadratic cell is kept exactly, smoothing
//! follows the loads, its uncertainty is honest, and the rule that sets the
//! smoothing holds over many simulated cells.

#[path = "common/cells.rs"]
mod cells;

use cells::{CELLS, Dice, SPAN_COUNTS, counts};
use scalewright_metrology::curve::{Curve, counts_at};
use scalewright_metrology::fit::ShapeRefusal;
use scalewright_metrology::fit::polynomial::fit_quadratic;
use scalewright_metrology::fit::segmented;
use scalewright_metrology::fit::smooth::Smooth;
use scalewright_metrology::laying::lay;
use scalewright_metrology::observation::{Gathered, Observation};

const MAX_G: f64 = 6000.0;

fn capture(load: usize, counts: f64, mass_g: f64) -> Observation {
    Observation {
        load,
        counts,
        mass_g,
        sd_counts: 0.0,
        rising: true,
        saturated: false,
    }
}

fn gather(points: &[(f64, f64)]) -> Gathered {
    let all: Vec<Observation> = (points.iter().enumerate())
        .map(|(i, (c, m))| capture(i, *c, *m))
        .collect();
    Gathered::new(&all, 0.0).expect("clean points")
}

/// Mass as a quadratic of counts: kept everywhere, beyond the loads too, and
/// called a parabola of two parameters or near it.
#[test]
fn a_quadratic_cell_is_kept_exactly() {
    let truth = |c: f64| 1.5e-3 * c + 3e-12 * c * c;
    for n in [2, 3, 5, 10, 40] {
        let points: Vec<(f64, f64)> = (1..=n)
            .map(|i| SPAN_COUNTS * i as f64 / n as f64)
            .map(|c| (c, truth(c)))
            .collect();
        let smooth = Smooth::fit(&gather(&points)).expect("a parabola");
        for k in 0..=60 {
            let c = SPAN_COUNTS * k as f64 / 50.0;
            let off = (smooth.mass_g(c) - truth(c)).abs();
            assert!(off < 1e-9 * MAX_G, "n {n}, {c} counts: {off} g");
        }
        let slope = smooth.slope(1e6);
        assert!((slope - (1.5e-3 + 6e-6)).abs() < 1e-11, "{slope}");
    }
}

#[test]
fn one_load_is_refused() {
    assert!(matches!(
        Smooth::fit(&gather(&[(1e6, 1500.0)])),
        Err(ShapeRefusal::TooFewLoads {
            given: 1,
            needed: 2
        })
    ));
}

/// Captures that scatter are smoothed when the loads are repeated, since the
/// scatter is then known; the same means without repeats are followed.
#[test]
fn repeats_teach_the_scatter() {
    let wobble = [800.0, 500.0, -500.0, -800.0, 0.0];
    let mean = |i: usize| SPAN_COUNTS * i as f64 / 5.0 + wobble[i - 1];
    let once: Vec<Observation> = (1..=5)
        .map(|i| capture(i, mean(i), MAX_G * i as f64 / 5.0))
        .collect();
    let twice: Vec<Observation> = once
        .iter()
        .flat_map(|o| {
            [-1500.0, 1500.0].map(|d| Observation {
                counts: o.counts + d,
                ..*o
            })
        })
        .collect();
    let parameters = |all: &[Observation]| {
        let gathered = Gathered::new(all, 0.0).expect("clean");
        Smooth::fit(&gathered).expect("fits").effective_parameters
    };
    let (once, twice) = (parameters(&once), parameters(&twice));
    println!("effective parameters: once {once:.2}, repeated {twice:.2}");
    assert!(once > twice + 0.5, "{once} {twice}");
}

/// The rule for the amount of smoothing against its extremes, on cells drawn
/// with a fixed seed: largest error at 20 other loads, rms over the cells. Per
/// kind it stays near the better of no smoothing and full smoothing, which is
/// what "the least smoothing the loads don't contradict" has to achieve. The
/// bounds are its measured worst ratios, rounded up.
#[test]
fn the_rule_is_near_the_better_extreme() {
    let mut dice = Dice(7);
    for (n, bound) in [(4, 1.25), (6, 1.15), (10, 1.10), (20, 1.10)] {
        for (name, bend) in CELLS {
            for scatter in [2e-5, 2e-4] {
                let mut sums = [0.0; 3];
                for _ in 0..120 {
                    let c = [0; 3].map(|_| 3e-3 * (2.0 * dice.even() - 1.0));
                    let zero = 0.5 * scatter * dice.normal();
                    let points: Vec<(f64, f64)> = (1..=n)
                        .map(|i| i as f64 / n as f64)
                        .map(|u| (counts(bend, c, u, scatter, zero, &mut dice), MAX_G * u))
                        .collect();
                    let gathered = gather(&points);
                    let smooth = Smooth::fit(&gathered).expect("fits");
                    let stiff = fit_quadratic(&gathered).expect("fits").curve;
                    let loose = segmented::fit(&gathered).expect("fits").curve;
                    let zero = 0.5 * scatter * dice.normal();
                    let mut worst = [0.0f64; 3];
                    for k in 1..=20 {
                        let u = k as f64 / 20.0;
                        let x = counts(bend, c, u, scatter, zero, &mut dice);
                        let curves: [&dyn Curve; 3] = [&smooth, stiff.as_ref(), loose.as_ref()];
                        for (w, curve) in worst.iter_mut().zip(curves) {
                            *w = w.max((curve.mass_g(x) / MAX_G - u).abs());
                        }
                    }
                    sums.iter_mut().zip(worst).for_each(|(s, w)| *s += w * w);
                }
                let rms = sums.map(|s| (s / 120.0).sqrt() * 1e4);
                let ratio = rms[0] / rms[1].min(rms[2]);
                println!(
                    "{n:2} {name:10} {scatter:e}: smooth {:.2} parabola {:.2} segments {:.2} e-4, ratio {ratio:.2}",
                    rms[0], rms[1], rms[2]
                );
                assert!(ratio < bound, "{n} {name} {scatter}: {ratio}");
            }
        }
    }
}

/// How often the true curve lies within two of its standard uncertainties, on
/// cells whose loads are captured twice.
#[test]
fn uncertainty_covers_the_true_curve() {
    let mut dice = Dice(11);
    for n in [4, 6, 10, 20] {
        let (mut inside, mut all) = (0, 0);
        for (_, bend) in CELLS {
            for _ in 0..60 {
                let c = [0; 3].map(|_| 1e-3 * (2.0 * dice.even() - 1.0));
                let captures: Vec<Observation> = (1..=n)
                    .flat_map(|i| [i, i])
                    .map(|i| {
                        let u = i as f64 / n as f64;
                        capture(i, counts(bend, c, u, 1e-4, 0.0, &mut dice), MAX_G * u)
                    })
                    .collect();
                let gathered = Gathered::new(&captures, 0.0).expect("rises");
                let smooth = Smooth::fit(&gathered).expect("fits");
                for k in 1..=20 {
                    let u = k as f64 / 20.0;
                    let x = counts(bend, c, u, 0.0, 0.0, &mut dice);
                    let off = (smooth.mass_g(x) - MAX_G * u).abs();
                    let u_g = smooth.u_g(x).expect("more than two loads");
                    all += 1;
                    inside += u32::from(off <= 2.0 * u_g);
                }
            }
        }
        let share = f64::from(inside) / f64::from(all);
        println!("{n} loads twice: {share:.3} inside 2 u");
        assert!(share > 0.9, "{n}: {share}");
    }
}

/// Laying: exact zero, few knots for a straight cell, and for a bent one a
/// deviation that falls with the square of the segments.
#[test]
fn laying_spends_knots_where_they_matter() {
    let truth = |c: f64| 1.5e-3 * c * (1.0 + 3e-3 * (1.0 - c / SPAN_COUNTS));
    let points: Vec<(f64, f64)> = (1..=10)
        .map(|i| SPAN_COUNTS * i as f64 / 10.0)
        .map(|c| (c, truth(c)))
        .collect();
    let smooth = Smooth::fit(&gather(&points)).expect("fits");
    let reach = counts_at(&smooth, 6018.0, SPAN_COUNTS).expect("rises");
    assert!((smooth.mass_g(reach) - 6018.0).abs() < 1e-6);
    let at = |knots, tolerance| lay(&smooth, reach, knots, tolerance).expect("rises");
    let (sixteen, thirty_two) = (at(16, 0.0), at(32, 0.0));
    assert_eq!(sixteen.knots.points[0], (0.0, 0.0));
    assert_eq!(thirty_two.knots.points.last().map(|p| p.0), Some(reach));
    // Chord of a parabola over s segments, split in two by moving the knots:
    // bend / s^2 / 2, with bend = 3e-3 * 6018 / 4 g; the first segment costs a little.
    let ideal = |s: f64| 3e-3 * 6018.0 / 4.0 / (s * s) / 2.0 * (reach / SPAN_COUNTS).powi(2);
    for (laid, s) in [(&sixteen, 15.0), (&thirty_two, 31.0)] {
        let ratio = laid.deviation_g / ideal(s);
        println!(
            "{s} segments: {:.2e} g, {ratio:.2} of the ideal",
            laid.deviation_g
        );
        assert!(ratio < 1.1, "{ratio}");
    }
    let few = at(32, 0.02);
    println!("{} knots keep 0.02 g", few.knots.points.len());
    assert!(few.deviation_g <= 0.02 && few.knots.points.len() <= 13);
    let straight: Vec<(f64, f64)> = (1..=5)
        .map(|i| (1e6 * i as f64, 1500.0 * i as f64))
        .collect();
    let line = Smooth::fit(&gather(&straight)).expect("fits");
    assert_eq!(
        lay(&line, 5e6, 32, 1e-6).expect("rises").knots.points.len(),
        2
    );
}
