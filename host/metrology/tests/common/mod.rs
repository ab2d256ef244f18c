//! Reads the reference files and makes small test tables. Each test binary
//! uses part of it.
#![allow(dead_code)]

pub mod budgets;

use scalewright_metrology::candidates::Realise;
use scalewright_metrology::curve::Knots;

/// The text of a file in tests/reference.
pub fn reference(name: &str) -> String {
    let path = format!(
        "{}/../../tests/reference/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Rows of numbers of an StRD file from line `first` (counted from 1) on.
pub fn strd_rows(name: &str, first: usize) -> Vec<Vec<f64>> {
    reference(&format!("strd/{name}"))
        .lines()
        .skip(first - 1)
        .map(|l| {
            l.split_whitespace()
                .map(|w| w.parse().expect("number"))
                .collect()
        })
        .filter(|row: &Vec<f64>| !row.is_empty())
        .collect()
}

/// Values of an StRD univariate file: all after its line of dashes.
pub fn strd_values(name: &str) -> Vec<f64> {
    reference(&format!("strd/{name}"))
        .lines()
        .skip_while(|l| !l.trim_start().starts_with("-----"))
        .skip(1)
        .flat_map(str::split_whitespace)
        .map(|w| w.parse().expect("number"))
        .collect()
}

/// Certified coefficients with their standard deviations, and the residual
/// standard deviation, read from the header of an StRD regression file.
pub fn strd_certified(name: &str) -> (Vec<(f64, f64)>, f64) {
    let text = reference(&format!("strd/{name}"));
    let number = |w: &str| w.parse::<f64>().expect("number");
    let mut coefficients = Vec::new();
    let mut residual = f64::NAN;
    for line in text.lines().take(60) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let is_coefficient = |w: &str| {
            w.strip_prefix('B')
                .is_some_and(|d| d.len() == 1 && d.parse::<u8>().is_ok())
        };
        match words.as_slice() {
            [name, value, sd] if is_coefficient(name) => {
                coefficients.push((number(value), number(sd)));
            }
            ["Standard", "Deviation", value] => residual = number(value),
            _ => {}
        }
    }
    assert!(!coefficients.is_empty() && residual.is_finite(), "{name}");
    (coefficients, residual)
}

/// Rows of a csv with `#` comments and one header line; empty cells are NaN.
pub fn csv(name: &str) -> Vec<Vec<String>> {
    reference(name)
        .lines()
        .filter(|l| !l.starts_with('#') && !l.trim().is_empty())
        .skip(1)
        .map(|l| l.split(',').map(|c| c.trim().to_owned()).collect())
        .collect()
}

/// Correct significant digits, as StRD counts them: -log10 of the relative error.
pub fn digits(got: f64, certified: f64) -> f64 {
    let error = if certified == 0.0 {
        got.abs()
    } else {
        ((got - certified) / certified).abs()
    };
    if error == 0.0 { 16.0 } else { -error.log10() }
}

/// A table that rounds masses of knots and of answers to a quantum.
pub struct Rounded {
    pub quantum_g: f64,
}

impl Realise for Rounded {
    fn realise(&self, knots: &Knots) -> Result<Box<dyn Fn(f64) -> f64>, String> {
        let q = self.quantum_g;
        let round = move |m: f64| (m / q).round() * q;
        let points = knots
            .points
            .iter()
            .map(|p| (p.0.round(), round(p.1)))
            .collect();
        let table = Knots::new(points).map_err(|e| e.to_string())?;
        Ok(Box::new(move |counts| round(table.lookup(counts))))
    }
}
