//! What all captures say together, as sections of the report in the terminal.

use super::weights::{Row, Standing};
use super::{cell, sentences, small, weights};
use crate::record::outcome::Outcome;
use crate::report::columns::{Column, lay};
use crate::report::text_line::{Ink, Style, clean, cut, paint, width, wrap};
use crate::report::{number, words};

/// Columns a weight's name may take.
const LONGEST_NAME: usize = 16;

/// Every weight as found, and the verdicts above.
pub(in crate::report) fn weights(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    let Some(found) = &outcome.together else {
        return;
    };
    let e_g = outcome.scale.e;
    let rows = weights::rows(found, e_g);
    if rows.is_empty() && found.verdicts.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push("Weights and substitution loads".to_owned());
    for (index, sentence) in sentences(found, e_g).iter().enumerate() {
        let trouble = index < found.verdicts.len();
        let mark = if trouble {
            "! "
        } else {
            style.pick("· ", "- ")
        };
        lines.extend(wrap(style, mark, sentence));
    }
    if rows.is_empty() {
        return;
    }
    let none = || "-".to_owned();
    let column = |head, cell: &dyn Fn(&Row) -> String| {
        Column::new(head, rows.iter().map(|row| clean(style, &cell(row))))
    };
    let columns = vec![
        column("name", &|row| {
            cut(&clean(style, &row.id), LONGEST_NAME, style)
        })
        .of_words(),
        column("stated", &|row| row.stated.clone()).rank(2),
        column("worth", &|row| row.worth.clone()).of_words().rank(3),
        column(style.pick("found ± U, g", "found, U in g"), &|row| {
            row.found.clone()
        })
        .rank(1),
        column("off by", &|row| row.off.clone().unwrap_or_else(none)),
        column("in", &|row| row.captures.to_string()).rank(5),
        column("told to", &|row| {
            row.told_to.clone().unwrap_or_else(|| "no".to_owned())
        })
        .rank(4),
    ];
    let (table, name_columns) = lay(columns, style);
    let mut table = table.into_iter();
    lines.extend(table.next());
    for (row, line) in rows.iter().zip(table) {
        lines.push(line);
        let id = clean(style, &row.id);
        let whole = (width(&id) > name_columns).then_some(id);
        below(style, whole.as_deref(), Ink::Soft, lines);
        let ink = match row.standing {
            Standing::Wrong => Ink::Bad,
            Standing::Doubted | Standing::Fine => Ink::Heed,
        };
        below(style, row.remark.as_deref(), ink, lines);
    }
    let legend = "In, where shown: captures it took part in. Told to: a deviation that these \
                  captures alone would show (k = 2); no: they do not tell it from other weights.";
    lines.extend(
        wrap(style, "", legend)
            .iter()
            .map(|line| paint(style, Ink::Soft, line)),
    );
}

fn below(style: Style, text: Option<&str>, ink: Ink, lines: &mut Vec<String>) {
    let wrapped = text.map(|text| wrap(style, "      ", text));
    let wrapped = wrapped.unwrap_or_default();
    lines.extend(wrapped.iter().map(|line| paint(style, ink, line)));
}

/// What a small load reads on a big one.
pub(in crate::report) fn small(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    let Some(found) = &outcome.together else {
        return;
    };
    let e_g = outcome.scale.e;
    let rows = small::rows(found, e_g);
    if rows.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push("A small load on a big one".to_owned());
    let fine = number::resolution_g(e_g);
    let places = number::decimals(fine);
    let column = |head: &str, cell: &dyn Fn(&small::Read) -> String| {
        Column::new(head, rows.iter().map(cell))
    };
    let mut columns = vec![column("on top of", &|row| {
        number::mass(row.error.load_g, fine)
    })];
    if small::several(&rows) {
        columns.push(
            column("plus", &|row| {
                cut(&clean(style, &row.small), LONGEST_NAME, style)
            })
            .of_words(),
        );
    }
    columns.extend([
        column("reads, g", &|row| number::fixed(row.read_g, places)).rank(2),
        column("error, g", &|row| number::error_g(row.error.error_g, e_g)).rank(3),
        column("e", &|row| number::error_e(row.error.error_e)),
        column(style.pick("U, e", "U, e"), &|row| {
            number::uncertainty_e(row.error.expanded_u_e)
        })
        .rank(4),
        column(style.pick("limit ±e", "limit, e"), &|row| {
            number::trimmed(row.error.mpe_e, 2)
        })
        .rank(1),
        column("", &|row| {
            let ink = if row.error.pass { Ink::Good } else { Ink::Bad };
            paint(style, ink, words::verdict(&row.error, style.ascii))
        })
        .of_words(),
    ]);
    lines.extend(lay(columns, style).0);
    for sentence in small::sentences(found, e_g) {
        lines.extend(wrap(style, style.pick("· ", "- "), &sentence));
    }
}

/// Hysteresis, creep and scatter.
pub(in crate::report) fn cell(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    let Some(found) = &outcome.together else {
        return;
    };
    lines.push(String::new());
    lines.push("Hysteresis and creep".to_owned());
    for line in cell::lines(outcome, found) {
        let text = format!("{}: {}.", line.head, line.says);
        lines.extend(wrap(style, style.pick("· ", "- "), &text));
        let means = line
            .means
            .map(|means| wrap(style, "  ", &words::sentence(means)));
        let means = means.unwrap_or_default();
        lines.extend(means.iter().map(|line| paint(style, Ink::Soft, line)));
    }
}
