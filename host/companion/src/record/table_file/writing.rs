//! A table as the text of a file, in a shape that is pleasant to edit.

use super::SavedTable;
use crate::quantise::quantum_g;
use crate::record::weights::name;

/// The file of a table.
#[must_use]
pub fn write(table: &SavedTable) -> String {
    let scale = &table.scale;
    let mut lines = vec![
        "# A calibration table of Scalewright, to be read and edited: one point a line,".to_owned(),
        "# net counts (above the zero reference) and the mass they mean.".to_owned(),
        "#   scalewright table push FILE      says what it would change, then asks".to_owned(),
        String::new(),
    ];
    let mut add = |key: &str, value: Option<String>, note: &str| {
        if let Some(value) = value {
            lines.push(
                format!("{:<32}{note}", format!("{key} = {value}"))
                    .trim_end()
                    .to_owned(),
            );
        }
    };
    let text = |text: &String| Some(quoted(text));
    let grams = |g: f64| Some(quoted(&name(g)));
    add(
        "scale",
        table.device.as_ref().and_then(text),
        "# its counts mean nothing elsewhere",
    );
    add("saved", table.saved.as_ref().and_then(text), "");
    add("change", table.change.map(|change| change.to_string()), "");
    add("max", grams(scale.max), "");
    add("e", grams(scale.e), "");
    add("d", grams(scale.d), "");
    add("class", text(&scale.class), "");
    let step = exact_g(1, table.quantum_ug);
    add(
        "step",
        Some(quoted(&step)),
        "# masses are whole steps in the scale",
    );
    let zero = table.zero_counts.map(|zero| zero.to_string());
    add("zero_counts", zero, "# zero reference");
    let hysteresis = table.hysteresis_g.map(|g| {
        let quanta = (g / quantum_g(table.quantum_ug)).round();
        quoted(&exact_g(quanta as i32, table.quantum_ug))
    });
    add(
        "hysteresis",
        hysteresis,
        "# width of the loop that is taken off",
    );
    lines.push("points = [".to_owned());
    let wide = |texts: &[String]| texts.iter().map(String::len).max().unwrap_or(0);
    let counts: Vec<String> = table
        .knots
        .iter()
        .map(|knot| knot.counts.to_string())
        .collect();
    let masses: Vec<String> = (table.knots.iter())
        .map(|knot| quoted(&exact_g(knot.mass, table.quantum_ug)))
        .collect();
    let (left, right) = (wide(&counts), wide(&masses));
    for (counts, mass) in counts.iter().zip(&masses) {
        lines.push(format!("  [{counts:>left$}, {mass:>right$}],"));
    }
    lines.push("]\n".to_owned());
    lines.join("\n")
}

/// So many quanta in g, with every digit.
fn exact_g(quanta: i32, quantum_ug: u32) -> String {
    let ug = i64::from(quanta) * i64::from(quantum_ug);
    let places = (0..6).find(|zeros| !quantum_ug.is_multiple_of(10u32.pow(zeros + 1)));
    let places = 6 - places.unwrap_or(6) as usize;
    let sign = if ug < 0 { "-" } else { "" };
    let (whole, part) = (ug.unsigned_abs() / 1_000_000, ug.unsigned_abs() % 1_000_000);
    let part = format!("{part:06}");
    match places {
        0 => format!("{sign}{whole} g"),
        _ => format!("{sign}{whole}.{} g", part.get(..places).unwrap_or(&part)),
    }
}

/// A text in quotes that is read as itself.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars().filter(|letter| !letter.is_control()) {
        if matches!(letter, '"' | '\\') {
            out.push('\\');
        }
        out.push(letter);
    }
    out + "\""
}
