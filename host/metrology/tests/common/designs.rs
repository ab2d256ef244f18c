//! Published weighing designs, read from their file and put to the general
//! solver.

use scalewright_metrology::least_squares::{Solution, Statement, System};
use toml::{Table, Value};

/// The file as a table.
pub fn parsed(text: &str) -> Table {
    text.parse().expect("TOML")
}

/// A number of the file, whole or not.
pub fn number(value: &Value) -> f64 {
    let whole = value.as_integer().map(|n| n as f64);
    value.as_float().or(whole).expect("a number")
}

/// A list of them.
pub fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(number)
        .collect()
}

/// A list of lists.
pub fn rows(value: &Value) -> Vec<Vec<f64>> {
    value
        .as_array()
        .expect("rows")
        .iter()
        .map(numbers)
        .collect()
}

fn terms(row: &[f64]) -> Vec<(usize, f64)> {
    let all = row.iter().copied().enumerate();
    all.filter(|(_, factor)| *factor != 0.0).collect()
}

/// The design with these differences, and `restraint` for its sum.
pub fn solved(design: &Value, differences: &[f64], restraint: f64) -> Solution {
    let x = rows(&design["X"]);
    let mut statements: Vec<Statement> = x
        .iter()
        .zip(differences)
        .map(|(row, value)| Statement {
            terms: terms(row),
            value: *value,
            sd: 1.0,
        })
        .collect();
    statements.push(Statement {
        terms: terms(&numbers(&design["restraint"])),
        value: restraint,
        sd: 0.0,
    });
    let unknowns = (0..x[0].len()).map(|n| format!("W{}", n + 1)).collect();
    let system = System {
        unknowns,
        statements,
    };
    system.solve().expect("a design determines its weights")
}
