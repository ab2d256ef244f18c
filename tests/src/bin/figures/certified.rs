//! Figure 1: NIST StRD "Pontius", as a regression and as a cell on the bench.

use scalewright_metrology::regression::{PolynomialModel, fit_polynomial};
use scalewright_tests::pontius::{DATA, Found, calibrate, rows};

use crate::row::{Bound, Sheet};

/// Correct significant digits, as StRD counts them; a double holds 16.
fn digits(got: f64, certified: f64) -> f64 {
    let error = ((got - certified) / certified).abs();
    if error == 0.0 { 16.0 } else { -error.log10() }
}

/// Certified coefficients with their deviations, and the residual deviation,
/// from the head of the file.
fn certified() -> (Vec<(f64, f64)>, Option<f64>) {
    let mut coefficients = Vec::new();
    let mut residual = None;
    for line in DATA.lines().take(60) {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["B0" | "B1" | "B2", value, sd] => {
                coefficients.extend(value.parse().ok().zip(sd.parse().ok()));
            }
            ["Standard", "Deviation", value] => residual = value.parse().ok(),
            _ => {}
        }
    }
    (coefficients, residual)
}

/// Prints figure 1(a).
pub fn regression(sheet: &mut Sheet) {
    Sheet::part("1a  NIST StRD Pontius, certified quadratic: digits reproduced");
    let (y, x): (Vec<f64>, Vec<f64>) = rows().into_iter().unzip();
    let model = PolynomialModel {
        degree: 2,
        through_origin: false,
    };
    let (coefficients, residual) = certified();
    let (fit, residual) = match (fit_polynomial(&x, &y, None, model), residual) {
        (Ok(fit), Some(residual)) if coefficients.len() == 3 => (fit, residual),
        (Ok(_), _) => return sheet.failed("Pontius", "the certified values can't be read"),
        (Err(fault), _) => return sheet.failed("Pontius", &fault.to_string()),
    };
    let worst = |got: &[f64], known: &mut dyn Iterator<Item = f64>| {
        got.iter()
            .zip(known)
            .map(|(got, known)| digits(*got, known))
            .fold(f64::INFINITY, f64::min)
    };
    let values = worst(&fit.coefficients, &mut coefficients.iter().map(|c| c.0));
    let deviations = worst(
        &fit.standard_deviations,
        &mut coefficients.iter().map(|c| c.1),
    );
    let floor = Bound::AtLeast(9.0);
    for (name, value) in [
        ("worst coefficient", values),
        ("worst standard deviation", deviations),
        (
            "residual standard deviation",
            digits(fit.residual_sd, residual),
        ),
    ] {
        sheet.row(name, value, "digits", floor, Bound::Beside);
    }
}

/// Prints figure 1(b).
pub fn cell(sheet: &mut Sheet) {
    Sheet::part("1b  Pontius as a cell on the bench: largest error as the device reports it");
    for (on, title) in [(0, "run 1 on run 2"), (1, "run 2 on run 1")] {
        match calibrate(on) {
            Ok(found) => print_cell(sheet, title, &found),
            Err(fault) => sheet.failed(title, &fault.to_string()),
        }
    }
}

fn print_cell(sheet: &mut Sheet, title: &str, found: &Found) {
    let unit = "of Max";
    let ours = format!("{title}: our table, {} points", found.points);
    let (floor, aim) = (Bound::AtMost(2.75e-4), Bound::AtMost(2.46e-4));
    sheet.row(&ours, found.ours, unit, floor, aim);
    for (name, value) in [
        ("  single span set at 600 kg", found.low_span),
        ("  single span set at full load", found.full_span),
        ("  straight segments", found.segments),
        ("  shape-preserving cubic, not stored", found.cubic),
        ("  difference between the runs", found.between_runs),
    ] {
        sheet.beside(name, value, unit);
    }
}
