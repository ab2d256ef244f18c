//! A review of weights in the terminal: one line a weight, their sum, and what
//! is to be said of them.
//!
//! Guarantees no line wider than the style's columns and no escape sequence
//! from the file. A name too long for its column is cut there and stands whole
//! below.

use super::number;
use super::text_line::{Ink, Style, clean, cut, pad, paint, set, width, wrap};
use crate::record::mass::is_avoirdupois;
use crate::record::weights::name;
use crate::review::{Level, Remark, Review, rough};

/// What stands before each cell of the table.
const GAP: &str = "  ";

/// Most columns of each cell.
const LONGEST: [usize; 5] = [16, 16, 14, 36, 8];

/// Columns a name keeps whatever the others take.
const SHORTEST_NAME: usize = 6;

/// Which cell holds the mass used; without any the column is left out.
const USED: usize = 2;

/// Columns before the words of a remark.
const WORD: usize = 12;

/// One line of the table, cell by cell, with what stands below it.
struct Row {
    cells: [String; 5],
    below: Vec<String>,
}

/// The review as lines of at most `style.columns` columns.
pub fn weights(review: &Review, style: Style) -> String {
    let mut lines = Vec::new();
    table(review, style, &mut lines);
    lines.push(String::new());
    sums(review, style, &mut lines);
    if !review.remarks.is_empty() {
        lines.push(String::new());
    }
    for one in &review.remarks {
        remark(one, style, &mut lines);
    }
    set(style, &lines)
}

fn rows(review: &Review) -> Vec<Row> {
    let mass = |text: &str, metric: String| match is_avoirdupois(text) {
        true => text.to_owned(),
        false => metric,
    };
    let weights = review.weights.iter().map(|one| {
        let u_g = one.standard_uncertainty_g;
        let used = match one.has_another_mass() {
            // Two digits of the uncertainty.
            true => number::mass(one.mass_g, u_g / 10.0),
            false => String::new(),
        };
        let air = one.density_kg_m3.zip(one.buoyancy_half_width_g);
        let air = air.map(|(density, half_g)| {
            format!(
                "density {} kg/m3: the air may move its reading by {}",
                number::trimmed(density, 1),
                number::spread(half_g, 2)
            )
        });
        let drift = one.drift_half_width_g.map(|half_g| {
            format!(
                "may have drifted by {} since its mass was stated",
                number::spread(half_g, 2)
            )
        });
        Row {
            cells: [
                one.id.clone(),
                mass(&one.nominal, name(one.nominal_g)),
                used,
                one.known.clone(),
                number::spread(u_g, 2),
            ],
            below: drift
                .into_iter()
                .chain(air)
                .chain(one.note.clone())
                .collect(),
        }
    });
    let substitutions = review.substitutions.iter().map(|one| Row {
        cells: [
            one.id.clone(),
            format!("about {}", mass(&one.about, rough(one.about_g))),
            String::new(),
            one.known.clone(),
            number::spread(one.standard_uncertainty_g, 2),
        ],
        below: one.note.clone().into_iter().collect(),
    });
    weights.chain(substitutions).collect()
}

fn table(review: &Review, style: Style, lines: &mut Vec<String>) {
    let mut rows = rows(review);
    let mut titles = ["name", "nominal", "mass used", "what is known", "u"].map(String::from);
    if !review.weights.iter().any(|one| one.has_another_mass()) {
        titles[USED].clear();
    }
    let mut widths = titles.each_ref().map(|title| width(title));
    for row in &mut rows {
        for cell in &mut row.cells {
            *cell = clean(style, cell);
        }
        for ((most, cell), limit) in widths.iter_mut().zip(&row.cells).zip(LONGEST) {
            *most = width(cell).min(limit).max(*most);
        }
    }
    // What is too much is taken from the names.
    let gaps = widths.iter().filter(|one| **one > 0).count() * GAP.len();
    let all = widths.iter().sum::<usize>() + gaps;
    let [names, ..] = &mut widths;
    let over = all.saturating_sub(style.columns.into());
    *names = names.saturating_sub(over).max(SHORTEST_NAME);
    lines.push(paint(style, Ink::Soft, &line(&titles, widths, style)));
    for row in &rows {
        lines.push(line(&row.cells, widths, style));
        let [id, ..] = &row.cells;
        let id = Some(id).filter(|id| width(id) > widths[0]);
        let below = id.into_iter().chain(&row.below);
        for text in below.filter(|text| !text.trim().is_empty()) {
            let below = wrap(style, "      ", text);
            lines.extend(below.iter().map(|line| paint(style, Ink::Soft, line)));
        }
    }
}

/// Cells side by side; masses and uncertainties stand to the right.
fn line(cells: &[String; 5], widths: [usize; 5], style: Style) -> String {
    let mut line = String::new();
    for (column, (cell, width)) in cells.iter().zip(widths).enumerate() {
        if width > 0 {
            line.push_str(GAP);
            let right = matches!(column, 1 | USED | 4);
            line.push_str(&pad(&cut(cell, width, style), width, right));
        }
    }
    line
}

fn sums(review: &Review, style: Style, lines: &mut Vec<String>) {
    let u_g = review.sum_standard_uncertainty_g;
    let mut text = format!(
        "Sum {}, u = {}; {}{} different loads.",
        number::mass(review.sum_g, u_g / 10.0),
        number::spread(u_g, 2),
        if review.more_loads { "more than " } else { "" },
        review.different_loads
    );
    if !review.substitutions.is_empty() {
        let about = rough(review.substitution_sum_g);
        text += &format!(" Substitution loads: about {about}.");
    }
    lines.extend(wrap(style, "", &text));
    let legend = "u: standard uncertainty (k = 1). U: expanded, as stated (k = 2).";
    for line in wrap(style, "", legend) {
        lines.push(paint(style, Ink::Soft, &line));
    }
}

fn remark(one: &Remark, style: Style, lines: &mut Vec<String>) {
    let (mark, ink) = match one.level {
        Level::Good => (style.pick(" ✓", "ok"), Ink::Good),
        Level::Note => (style.pick(" ·", " -"), Ink::Soft),
        Level::Heed => (" !", Ink::Heed),
    };
    // Wrapped below blanks, since colour is no text to `wrap`.
    let head = format!("  {mark}  {:WORD$}  ", one.topic.word());
    let indent = " ".repeat(width(&head));
    for (index, line) in wrap(style, &indent, &one.seen).iter().enumerate() {
        let rest = line.get(indent.len()..).unwrap_or_default();
        lines.push(match index {
            0 => {
                let mark = paint(style, ink, mark);
                format!("  {mark}  {:WORD$}  {rest}", one.topic.word())
            }
            _ => line.clone(),
        });
    }
    for (word, text) in [("means", &one.means), ("try", &one.advice)] {
        if !text.is_empty() {
            let head = format!("        {word:WORD$}");
            lines.extend(wrap(style, &head, text));
        }
    }
}
