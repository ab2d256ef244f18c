//! NIST StRD certified values: linear regression and univariate sets.
//! Source: NIST/ITL Statistical Reference Datasets; files in tests/reference/strd.

mod common;

use common::{digits, strd_certified, strd_rows};
use scalewright_metrology::regression::{PolynomialModel, fit_polynomial};
use scalewright_metrology::statistics::{lag1_autocorrelation, mean, sample_sd};

/// Fits a set and returns the worst digits of coefficients, their deviations
/// and the residual deviation.
fn fit_digits(name: &str, degree: usize, through_origin: bool) -> (f64, f64, f64) {
    let rows = strd_rows(name, 61);
    let y: Vec<f64> = rows.iter().map(|r| r[0]).collect();
    let x: Vec<f64> = rows.iter().map(|r| r[1]).collect();
    let (certified, residual) = strd_certified(name);
    let model = PolynomialModel {
        degree,
        through_origin,
    };
    let fit = fit_polynomial(&x, &y, None, model).expect("certified data");
    let skip = usize::from(through_origin);
    assert_eq!(fit.coefficients.len() - skip, certified.len());
    let mut worst = (16.0f64, 16.0f64);
    for (k, (value, sd)) in certified.iter().enumerate() {
        worst.0 = worst.0.min(digits(fit.coefficients[k + skip], *value));
        worst.1 = worst.1.min(digits(fit.standard_deviations[k + skip], *sd));
    }
    let result = (worst.0, worst.1, digits(fit.residual_sd, residual));
    println!("{name}: {result:.1?}");
    result
}

/// Figure 1(a) of the main job: at least 9 digits of everything.
#[test]
fn pontius_load_cell() {
    let (c, sd, s) = fit_digits("Pontius.dat", 2, false);
    assert!(c > 11.0 && sd > 11.0 && s > 11.0, "{c} {sd} {s}");
}

#[test]
fn norris_line() {
    let (c, sd, s) = fit_digits("Norris.dat", 1, false);
    assert!(c > 11.0 && sd > 11.0 && s > 11.0, "{c} {sd} {s}");
}

#[test]
fn lines_through_zero() {
    for name in ["NoInt1.dat", "NoInt2.dat"] {
        let (c, sd, s) = fit_digits(name, 1, true);
        assert!(c > 13.0 && sd > 13.0 && s > 13.0, "{name} {c} {sd} {s}");
    }
}

/// Wampler's polynomials of degree 5 lose digits to the condition of powers;
/// what is asserted is what f64 keeps, not what is certified.
#[test]
fn wampler_polynomials() {
    // Exact data: the certified deviations are 0, so they count in absolute size.
    let (c, sd, s) = fit_digits("Wampler1.dat", 5, false);
    assert!(c > 8.0 && sd > 8.0 && s > 8.0, "{c} {sd} {s}");
    let (c, sd, s) = fit_digits("Wampler4.dat", 5, false);
    assert!(c > 7.5 && sd > 11.0 && s > 11.0, "{c} {sd} {s}");
}

/// Certified: sample mean, deviation, lag-1 autocorrelation; honest digits for
/// f64 input, since 10000000.2 itself carries only 16.
#[test]
fn univariate_sets() {
    // name, count, mean, sd, r1, least digits of each
    type Set = (&'static str, usize, f64, f64, f64, [f64; 3]);
    let sets: [Set; 5] = [
        // The last two from the file's header.
        (
            "Michelso.dat",
            100,
            299.852_4,
            0.079_010_547_819_051_8,
            0.535_199_668_621_283,
            [15.0, 13.0, 13.0],
        ),
        (
            "NumAcc1.dat",
            3,
            10_000_002.0,
            1.0,
            -0.5,
            [15.0, 15.0, 15.0],
        ),
        ("NumAcc2.dat", 1001, 1.2, 0.1, -0.999, [15.0, 14.0, 14.0]),
        (
            "NumAcc3.dat",
            1001,
            1_000_000.2,
            0.1,
            -0.999,
            [15.0, 9.0, 9.0],
        ),
        (
            "NumAcc4.dat",
            1001,
            10_000_000.2,
            0.1,
            -0.999,
            [15.0, 8.0, 8.0],
        ),
    ];
    for (name, count, certified_mean, certified_sd, certified_r1, least) in sets {
        let values = common::strd_values(name);
        assert_eq!(values.len(), count, "{name}");
        let got = [
            digits(mean(&values).expect("data"), certified_mean),
            digits(sample_sd(&values).expect("data"), certified_sd),
            digits(lag1_autocorrelation(&values).expect("data"), certified_r1),
        ];
        println!("{name} n={}: {got:.1?}", values.len());
        for (got, least) in got.iter().zip(least) {
            assert!(*got >= least, "{name}: {got} below {least}");
        }
    }
}
