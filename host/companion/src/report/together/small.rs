//! What a small load reads on top of a big one (additivity), in words. It is
//! what people notice first of a scale: a spoonful more in a full bowl.

use super::K;
use crate::record::outcome::VerificationRow;
use crate::record::together::{SmallOnBigRow, Together};
use crate::report::{number, words};

/// One row, ready to be shown.
#[derive(Clone, Debug)]
pub(in crate::report) struct Read {
    /// Name of the small weight.
    pub small: String,
    /// Its mass as found.
    pub small_mass: String,
    /// What it read, g.
    pub read_g: f64,
    /// Error of that and how far it may be off, as of a load of a verification;
    /// `load_g` is the load under it.
    pub error: VerificationRow,
}

/// All rows, lightest load below first.
pub(in crate::report) fn rows(found: &Together, e_g: f64) -> Vec<Read> {
    let read = |row: &SmallOnBigRow| {
        let error_g = row.read_g - row.small_g;
        Read {
            small: row.small.clone(),
            small_mass: mass(row.small_g, row.permitted_g),
            read_g: row.read_g,
            error: VerificationRow {
                load_g: row.base_g,
                error_g,
                error_e: error_g / e_g,
                mpe_e: row.permitted_g / e_g,
                expanded_u_e: K * row.u_g / e_g,
                pass: error_g.abs() <= row.permitted_g,
                from_above: false,
            },
        }
    };
    found.small_on_big.iter().map(read).collect()
}

/// Whether more than one weight served as the small one.
pub(in crate::report) fn several(rows: &[Read]) -> bool {
    rows.iter()
        .any(|row| Some(&row.small) != rows.first().map(|first| &first.small))
}

/// One sentence for each small weight: that it reads the same everywhere, or
/// where it doesn't.
pub(in crate::report) fn sentences(found: &Together, e_g: f64) -> Vec<String> {
    let all = rows(found, e_g);
    let mut out = Vec::new();
    let mut told: Vec<&str> = Vec::new();
    for row in &all {
        if told.contains(&row.small.as_str()) {
            continue;
        }
        told.push(&row.small);
        let same: Vec<&Read> = all
            .iter()
            .filter(|other| other.small == row.small && sound(other))
            .collect();
        out.extend(sentence(&same, e_g));
    }
    if out.is_empty() && !all.is_empty() {
        out.push("What a small load reads on a big one is not known.".to_owned());
    }
    out
}

fn sound(row: &Read) -> bool {
    row.error.error_e.is_finite() && row.error.mpe_e.is_finite()
}

fn sentence(rows: &[&Read], e_g: f64) -> Option<String> {
    let by = |key: fn(&Read) -> f64| {
        let all = rows.iter().copied();
        all.max_by(|a, b| key(a).total_cmp(&key(b)))
    };
    let top = by(|row| row.error.load_g)?;
    // Of a row judged by a narrower limit a smaller error may be the worse.
    let worst = by(|row| row.error.error_e.abs() / row.error.mpe_e)?;
    let fine = number::resolution_g(e_g);
    let load = |row: &Read| number::mass(row.error.load_g, fine);
    let permitted = number::trimmed(worst.error.mpe_e * e_g, number::decimals(fine));
    let small = &worst.small_mass;
    let failed = rows.iter().filter(|row| !row.error.pass).count();
    if failed > 0 {
        let way = if worst.error.error_g < 0.0 {
            "little"
        } else {
            "much"
        };
        let more = match failed {
            1 => String::new(),
            _ => format!("; beyond that at {failed} of {} loads", rows.len()),
        };
        return Some(format!(
            "A {small} weight added to {} reads {} g, {} g too {way}: permitted are ±{permitted} g{more}.",
            load(worst),
            number::fixed(worst.read_g, number::decimals(fine)),
            number::size_g(worst.error.error_g, e_g),
        ));
    }
    let (onto, within) = match rows.len() {
        1 => (load(top), "with an error of"),
        _ => (format!("loads up to {}", load(top)), "within"),
    };
    let largest = by(|row| row.error.error_g.abs())?.error.error_g.abs();
    let mut text = format!(
        "A {small} weight added to {onto} reads {small} {within} {} g: permitted are ±{permitted} g.",
        // No finer than what is worth saying of this scale.
        number::significant(largest.max(fine), 2),
    );
    let unproven = rows
        .iter()
        .filter(|row| words::is_unproven(&row.error))
        .count();
    if unproven > 0 {
        text.push_str(&format!(
            " At {unproven} of {} loads the uncertainty reaches beyond that: the pass is likely, not proven.",
            rows.len()
        ));
    }
    Some(text)
}

/// The small weight's mass, a tenth of the permitted error fine.
fn mass(small_g: f64, permitted_g: f64) -> String {
    number::mass(small_g, permitted_g / 10.0)
}
