//! Published values outside StRD: Student t, Welch-Satterthwaite, GUM H.3,
//! the inverse use of the Pontius fit.

mod common;

use common::{csv, digits, strd_rows};
use scalewright_metrology::distribution::{
    DistributionError, student_t_two_sided, welch_satterthwaite,
};
use scalewright_metrology::regression::{
    PolynomialFit, PolynomialModel, RegressionError, fit_polynomial,
};

const LINE: PolynomialModel = PolynomialModel {
    degree: 1,
    through_origin: false,
};

/// NIST TN 1297 table B.1 = JCGM 100:2008 table G.2, every row of the file.
#[test]
fn student_t_table() {
    let rows = csv("student_t.csv");
    assert!(rows.len() > 50);
    for row in rows {
        let nu: f64 = row[0].parse().expect("nu");
        for (coverage, printed, full) in [(0.9545, &row[1], &row[2]), (0.95, &row[3], &row[4])] {
            let t = student_t_two_sided(coverage, nu).expect("in domain");
            let full: f64 = full.parse().expect("t");
            assert!((t - full).abs() < 6e-7, "nu {nu}: {t} {full}");
            if let Ok(p) = printed.parse::<f64>() {
                let unit = 10f64.powi(-(printed.split('.').nth(1).map_or(0, str::len) as i32));
                assert!((t - p).abs() <= 0.5 * unit * 1.000_001, "nu {nu}: {t} {p}");
            }
        }
    }
    // The normal limit, same table: 2.000 and 1.960.
    let limit = student_t_two_sided(0.9545, f64::INFINITY).expect("normal");
    assert!((limit - 2.000).abs() < 5e-4, "{limit}");
    assert!(student_t_two_sided(0.95, f64::INFINITY).is_ok_and(|t| (t - 1.960).abs() < 5e-4));
    assert!(student_t_two_sided(0.95, 1e6).is_ok_and(|t| (t - 1.959_966).abs() < 1e-5));
}

/// Where no table reaches: t grows with coverage, shrinks with nu, stays finite,
/// and for nu = 1 and 2 meets the closed forms (tan, and the quadratic one).
#[test]
fn student_t_over_its_domain() {
    let coverages = [
        1e-12,
        1e-6,
        0.1,
        0.5,
        0.6827,
        0.9,
        0.99,
        0.999_999,
        1.0 - 1e-12,
    ];
    let nus = [0.1, 0.5, 1.0, 2.0, 3.5, 30.0, 1e4, 1e8, 2e9, f64::INFINITY];
    for pair in coverages.windows(2) {
        for nu in nus {
            let [low, high] = [pair[0], pair[1]].map(|c| student_t_two_sided(c, nu));
            let (low, high) = (low.expect("in domain"), high.expect("in domain"));
            assert!(
                low >= 0.0 && low < high && high.is_finite(),
                "{nu} {pair:?} {low} {high}"
            );
        }
    }
    for p in [0.1, 0.5, 0.9, 0.99] {
        let cauchy = (std::f64::consts::FRAC_PI_2 * p).tan();
        let two = p * (2.0 / (1.0 - p * p)).sqrt();
        // Both sides of the change from distribution function to series.
        let sides = [1e4, 1.000_001e4].map(|nu| student_t_two_sided(p, nu).expect("in domain"));
        assert!((sides[0] / sides[1] - 1.0).abs() < 2e-9, "{p} {sides:?}");
        for (nu, exact) in [(1.0, cauchy), (2.0, two)] {
            let t = student_t_two_sided(p, nu).expect("in domain");
            assert!((t / exact - 1.0).abs() < 1e-9, "{nu} {p}: {t} {exact}");
        }
    }
}

#[test]
fn coverage_outside_its_domain_is_refused() {
    for bad in [0.0, 1.0, 95.45, -0.1, f64::NAN] {
        assert!(matches!(
            student_t_two_sided(bad, 5.0),
            Err(DistributionError::Coverage(_))
        ));
    }
    for bad in [0.0, -1.0, f64::NAN] {
        assert!(student_t_two_sided(0.95, bad).is_err());
    }
}

/// A public training page's example of JCGM 100:2008 formula G.2b. It prints
/// 19 because it rounds u_c first; the exact value rounds down to 18.
#[test]
fn welch_satterthwaite_example() {
    let got = welch_satterthwaite(&[(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]).expect("usable");
    assert!((got.exact - 18.998_742).abs() < 1e-6, "{}", got.exact);
    assert_eq!(got.floor, 18);
    let endless = welch_satterthwaite(&[(0.1, f64::INFINITY)]).expect("usable");
    assert_eq!((endless.exact, endless.floor), (f64::INFINITY, u32::MAX));
    assert!(welch_satterthwaite(&[]).is_err());
    assert!(welch_satterthwaite(&[(0.0, 4.0)]).is_err());
    assert!(welch_satterthwaite(&[(-1.0, 4.0)]).is_err());
}

/// JCGM 100:2008 H.3: published -0.1712(29), 0.00218(67), r = -0.930,
/// b(30) = -0.1494(41); the long values are computed from table H.6 at 40 digits.
#[test]
fn gum_h3_line() {
    let rows = csv("gum_h3.csv");
    let number = |w: &String| w.parse::<f64>().expect("number");
    let t: Vec<f64> = rows.iter().map(|r| number(&r[0]) - 20.0).collect();
    let b: Vec<f64> = rows.iter().map(|r| number(&r[1])).collect();
    let fit = fit_polynomial(&t, &b, None, LINE).expect("table H.6");
    let close = |got: f64, exact: f64| assert!(digits(got, exact) > 10.0, "{got} {exact}");
    close(fit.coefficients[0], -0.171_203_790_131_35);
    close(fit.coefficients[1], 0.002_182_697_739_887_28);
    close(fit.standard_deviations[0], 0.002_877_597_835_16);
    close(fit.standard_deviations[1], 0.000_667_938_773_228);
    close(fit.residual_sd, 0.003_497_563_963_51);
    assert_eq!(fit.dof, 9);
    let r = fit.covariance[0][1] / (fit.standard_deviations[0] * fit.standard_deviations[1]);
    close(r, -0.930_429_603_093);
    let at_30 = fit.predict(10.0);
    close(at_30.y, -0.149_376_812_732);
    close(at_30.u, 0.004_138_595_752_85);
    // Without the covariance the answer is wrong by a factor of 1.8.
    let dropped = fit.standard_deviations[0].hypot(10.0 * fit.standard_deviations[1]);
    assert!((dropped - 0.007_272_880_4).abs() < 1e-9);
}

fn pontius() -> PolynomialFit {
    let rows = strd_rows("Pontius.dat", 61);
    let y: Vec<f64> = rows.iter().map(|r| r[0]).collect();
    let x: Vec<f64> = rows.iter().map(|r| r[1]).collect();
    let parabola = PolynomialModel {
        degree: 2,
        through_origin: false,
    };
    fit_polynomial(&x, &y, None, parabola).expect("certified data")
}

/// NIST e-Handbook 4.6.1.10: deflection 1.239722 is load 1705106; interval
/// 1704513 to 1705698 (4.6.1.11, from memory), recomputed at 40 digits.
#[test]
fn load_from_deflection() {
    let fit = pontius();
    let t = student_t_two_sided(0.95, fit.dof as f64).expect("dof 37");
    assert!((t - 2.026_192_463_029_11).abs() < 1e-9);
    let got = fit.invert(1.239_722, t, 0.0, 3e6).expect("in range");
    assert_eq!(got.x.round(), 1_705_106.0);
    assert!((got.x - 1_705_105.568_851_7).abs() < 1e-4, "{}", got.x);
    assert!((got.u - 292.270_035_9).abs() < 1e-5, "{}", got.u);
    assert!((got.interval.0 - 1_704_513.372_94).abs() < 1e-2);
    assert!((got.interval.1 - 1_705_697.763_62).abs() < 1e-2);
    assert!((fit.slope(got.x) - 7.212_801_012_2e-7).abs() < 1e-16);
}

/// The other root, 229899180, lies beyond the turn of the parabola.
#[test]
fn the_other_root_is_rejected() {
    let fit = pontius();
    assert!(matches!(
        fit.invert(1.239_722, 2.0, 0.0, 3e8),
        Err(RegressionError::TwoSolutions)
    ));
    assert!(matches!(
        fit.invert(9.0, 2.0, 0.0, 3e6),
        Err(RegressionError::NoSolution { .. })
    ));
}

/// Weights change nothing when equal, and a heavy point pulls the line.
#[test]
fn weights_are_relative() {
    let (x, y) = ([1.0, 2.0, 3.0, 4.0], [1.0, 2.1, 2.9, 4.2]);
    let plain = fit_polynomial(&x, &y, None, LINE).expect("plain");
    let equal = fit_polynomial(&x, &y, Some(&[7.0; 4]), LINE).expect("equal");
    assert!((plain.coefficients[1] - equal.coefficients[1]).abs() < 1e-14);
    assert!((plain.standard_deviations[1] - equal.standard_deviations[1]).abs() < 1e-14);
    let pulled = fit_polynomial(&x, &y, Some(&[1.0, 1.0, 1.0, 1e9]), LINE).expect("pulled");
    assert!((pulled.value(4.0) - 4.2).abs() < 1e-8);
}
