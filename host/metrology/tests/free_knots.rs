//! The fitted breakpoints against enumeration and against exact data.

mod common;

use common::strd_rows;
use scalewright_metrology::fit::free_knots::fit;
use scalewright_metrology::regression::RegressionError;

/// What is left of y's sum of squares after the columns, by Gram-Schmidt: our
/// own check, sharing nothing with the fit but the model.
fn left_over(mut columns: Vec<Vec<f64>>, y: &[f64]) -> f64 {
    let mut r = y.to_vec();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    for j in 0..columns.len() {
        let (done, rest) = columns.split_at_mut(j);
        let column = &mut rest[0];
        let before = dot(column, column);
        for _ in 0..2 {
            for other in done.iter() {
                let share = dot(other, column);
                column
                    .iter_mut()
                    .zip(other)
                    .for_each(|(a, b)| *a -= share * b);
            }
        }
        let size = dot(column, column).sqrt();
        if size * size <= 1e-14 * before {
            column.iter_mut().for_each(|v| *v = 0.0);
            continue;
        }
        column.iter_mut().for_each(|v| *v /= size);
        let share = dot(column, &r);
        r.iter_mut()
            .zip(column.iter())
            .for_each(|(a, b)| *a -= share * b);
    }
    dot(&r, &r)
}

/// Sum of squares for given breakpoints.
fn squares(x: &[f64], y: &[f64], breaks: &[f64]) -> f64 {
    let mut columns = vec![vec![1.0; x.len()], x.to_vec()];
    columns.extend(
        breaks
            .iter()
            .map(|b| x.iter().map(|x| (x - b).max(0.0)).collect()),
    );
    left_over(columns, y)
}

/// Deflection scaled to 0..1 and load in units of 3e6: the numbers of Pontius.
fn pontius() -> (Vec<f64>, Vec<f64>) {
    let rows = strd_rows("Pontius.dat", 61);
    let mut rows: Vec<(f64, f64)> = rows.iter().map(|r| (r[0], r[1] / 3e6)).collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    rows.into_iter().unzip()
}

/// The least sum of squares of all, proved: breakpoints somewhere in three
/// given gaps can't do better than free steps and slope changes there, and of
/// all 10,660 choices of gaps only the fit's own allows as little as the fit.
#[test]
fn four_segments_are_the_global_optimum() {
    let (x, y) = pontius();
    let got = fit(&x, &y, 4).expect("Pontius");
    let n = x.len();
    let tail = |from: usize, line: bool| -> Vec<f64> {
        (0..n)
            .map(|i| {
                if i < from {
                    0.0
                } else if line {
                    x[i]
                } else {
                    1.0
                }
            })
            .collect()
    };
    let mut rivals = 0;
    for a in 1..n {
        for b in a..n {
            for c in b..n {
                let mut columns = vec![tail(0, false), tail(0, true)];
                for gap in [a, b, c] {
                    columns.extend([tail(gap, false), tail(gap, true)]);
                }
                if left_over(columns, &y) < got.residual_squares * (1.0 + 1e-9) {
                    rivals += 1;
                    let inside = [a, b, c].into_iter().zip(&got.knots[1..4]);
                    for (gap, knot) in inside {
                        assert!(x[gap - 1] <= knot.0 && knot.0 <= x[gap], "{a} {b} {c}");
                    }
                }
            }
        }
    }
    assert_eq!(rivals, 1);
}

/// Two and three segments: every choice of positions, three to a gap, is no
/// better than the fit.
#[test]
fn no_enumerated_breakpoints_are_better() {
    let (x, y) = pontius();
    let places: Vec<f64> = (x.windows(2))
        .flat_map(|pair| [0.1, 0.5, 0.9].map(|share| pair[0] + share * (pair[1] - pair[0])))
        .collect();
    let two = fit(&x, &y, 2).expect("Pontius").residual_squares;
    let three = fit(&x, &y, 3).expect("Pontius").residual_squares;
    assert!(three < two);
    for (i, a) in places.iter().enumerate() {
        assert!(two <= squares(&x, &y, &[*a]) * (1.0 + 1e-9), "{a}");
        for b in &places[i + 1..] {
            assert!(
                three <= squares(&x, &y, &[*a, *b]) * (1.0 + 1e-9),
                "{a} {b}"
            );
        }
    }
}

/// The reported sum of squares is that of the reported knots.
#[test]
fn reported_squares_belong_to_the_knots() {
    let (x, y) = pontius();
    let got = fit(&x, &y, 4).expect("Pontius");
    let breaks: Vec<f64> = got.knots[1..4].iter().map(|k| k.0).collect();
    let own = squares(&x, &y, &breaks);
    assert!((own / got.residual_squares - 1.0).abs() < 1e-6, "{own}");
    let lines = scalewright_metrology::curve::Knots {
        points: got.knots.clone(),
    };
    let direct: f64 = x
        .iter()
        .zip(&y)
        .map(|(x, y)| (lines.lookup(*x) - y).powi(2))
        .sum();
    assert!(
        (direct / got.residual_squares - 1.0).abs() < 1e-6,
        "{direct}"
    );
}

/// Data made of segments give their breakpoints back.
#[test]
fn exact_segments_are_found() {
    let truth = [(1.7, 3.0), (4.2, -5.0), (8.05, 4.0)];
    let x: Vec<f64> = (0..41).map(|i| i as f64 * 0.25).collect();
    let y: Vec<f64> = (x.iter())
        .map(|x| 2.0 + x + truth.iter().map(|(b, c)| c * (x - b).max(0.0)).sum::<f64>())
        .collect();
    let got = fit(&x, &y, 4).expect("exact");
    for (knot, (b, _)) in got.knots[1..].iter().zip(truth) {
        assert!((knot.0 - b).abs() < 1e-6, "{:?}", got.knots);
    }
    assert!(got.residual_squares < 1e-12, "{}", got.residual_squares);
}

#[test]
fn unfit_data_are_refused() {
    let x = [0.0, 1.0, 2.0];
    assert!(matches!(
        fit(&x, &[0.0; 2], 1),
        Err(RegressionError::Lengths { .. })
    ));
    assert!(matches!(
        fit(&x, &[0.0, f64::NAN, 1.0], 1),
        Err(RegressionError::NotUsable { at: 1 })
    ));
    assert!(matches!(
        fit(&x, &[0.0; 3], 0),
        Err(RegressionError::TooFew { .. })
    ));
    assert!(matches!(
        fit(&x, &[0.0; 3], 7),
        Err(RegressionError::TooFew { .. })
    ));
    assert!(matches!(
        fit(&[1.0; 9], &[1.0; 9], 2),
        Err(RegressionError::Undetermined)
    ));
}
