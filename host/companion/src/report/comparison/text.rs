//! The comparison in the terminal: both error curves, load by load, then the
//! answers, and last the verdict.

use super::words;
use crate::record::comparison::{ComparedLoad, ComparisonRecord, ErrorLine};
use crate::record::proof::Verdict;
use crate::report::columns::{Column, lay};
use crate::report::number;
use crate::report::text_chart::Chart;
use crate::report::text_line::{Ink, Style, clean, cut, pad, paint, set, wrap};
use crate::report::words::sentence;

/// Columns the names of weights may take.
const LONGEST_NAMES: usize = 16;

/// Two charts stand side by side from this many columns on.
const SIDE_BY_SIDE: usize = 76;

type Of = fn(&ComparedLoad) -> &ErrorLine;

/// The report as lines of at most `style.columns` columns.
pub fn table(record: &ComparisonRecord, style: Style) -> String {
    let mut lines = Vec::new();
    let head = format!(
        "{} against {}, {} loads in common",
        record.ours.name,
        record.theirs.name,
        record.rows.len()
    );
    lines.extend(wrap(style, "", &head));
    curves(record, style, &mut lines);
    loads(record, style, &mut lines);
    lines.push(String::new());
    let point = style.pick("· ", "- ");
    let mut say = |mark: &str, text: &str| lines.extend(wrap(style, mark, text));
    for text in [words::weight(record), words::weight_why(record)]
        .into_iter()
        .flatten()
    {
        say("! ", &text);
    }
    say(point, &record.pattern);
    say(point, &words::agreement(record));
    say(point, &record.blame);
    say(point, &record.importance);
    say(point, &words::side(record, &record.ours, |row| &row.ours));
    say(
        point,
        &words::side(record, &record.theirs, |row| &row.theirs),
    );
    let doubts: Vec<String> = [words::unpaired(record), record.remarks.clone()].concat();
    if !doubts.is_empty() {
        lines.push(String::new());
        lines.push("Noticed".into());
        for text in doubts {
            lines.extend(wrap(style, point, &sentence(&text)));
        }
    }
    lines.push(String::new());
    for line in wrap(style, "", &words::headline(record)) {
        lines.push(paint(style, Ink::Strong, &line));
    }
    set(style, &lines)
}

fn curves(record: &ComparisonRecord, style: Style, lines: &mut Vec<String>) {
    let columns = usize::from(style.columns);
    let beside = columns >= SIDE_BY_SIDE;
    let room = if beside {
        columns.min(80) / 2 - 1
    } else {
        columns.min(70)
    };
    let e_g = record.scale.e;
    let mpe = |load_g: f64| words::permitted_g(record, load_g).unwrap_or(f64::NAN) / e_g;
    let points = |of: Of| -> Vec<(f64, f64, f64)> {
        let rows = record.rows.iter();
        rows.map(|row| {
            (
                row.load_g,
                of(row).error_g / e_g,
                of(row).expanded_u_g / e_g,
            )
        })
        .collect()
    };
    let chart = |points: &[(f64, f64, f64)], mark: &'static str| -> Vec<String> {
        Chart {
            curve: &[],
            points,
            mpe: &mpe,
            max_g: Some(record.scale.max),
            columns: room.saturating_sub(10).max(8),
            mark,
            ink: None,
        }
        .lines(style)
    };
    let ours = chart(&points(|row| &row.ours), style.pick("●", "O"));
    let theirs = chart(&points(|row| &row.theirs), style.pick("◆", "o"));
    let title = "Error of indication in e over load, bars: U (k = 2); dotted: permitted";
    lines.push(String::new());
    lines.extend(wrap(style, "", title));
    let head = |name: &str| {
        format!(
            "{}{}",
            " ".repeat(9),
            cut(&clean(style, name), room - 10, style)
        )
    };
    let (left, right) = (head(&record.ours.name), head(&record.theirs.name));
    if beside {
        lines.push(pad(&left, room + 1, false) + &right);
        for (ours, theirs) in ours.iter().zip(&theirs) {
            lines.push(pad(ours, room + 1, false) + theirs);
        }
    } else {
        lines.push(left);
        lines.extend(ours);
        lines.push(right);
        lines.extend(theirs);
    }
}

fn loads(record: &ComparisonRecord, style: Style, lines: &mut Vec<String>) {
    let e_g = record.scale.e;
    let places = number::decimals(number::resolution_g(e_g));
    let column = |head: &str, cell: &dyn Fn(&ComparedLoad) -> String| {
        Column::new(head, record.rows.iter().map(cell))
    };
    let judged = |of: Of| {
        move |row: &ComparedLoad| {
            let ink = match of(row).verdict {
                Verdict::Fails => Ink::Bad,
                Verdict::Open => Ink::Heed,
                Verdict::Passes | Verdict::PassesSoFar => Ink::Good,
            };
            paint(style, ink, words::mark(of(row).verdict, style.ascii))
        }
    };
    let error = |of: Of| move |row: &ComparedLoad| number::error_g(of(row).error_g, e_g);
    let u = |of: Of| move |row: &ComparedLoad| number::size_g(of(row).expanded_u_g, e_g);
    let columns = vec![
        column("load", &|row| words::mass(record, row.load_g)),
        column("", &|row| {
            let mark = if row.holds_wrong_weight { "!" } else { "" };
            let names = clean(style, &row.weights.join("+"));
            cut(&format!("{names}{mark}"), LONGEST_NAMES, style)
        })
        .of_words()
        .rank(4),
        column("ours, g", &error(|row| &row.ours)),
        column("U", &u(|row| &row.ours)).rank(3),
        column("", &judged(|row| &row.ours)),
        column("theirs, g", &error(|row| &row.theirs)),
        column("U", &u(|row| &row.theirs)).rank(3),
        column("", &judged(|row| &row.theirs)),
        column(style.pick("limit ±g", "limit, g"), &|row| {
            words::limits(row, places)
        })
        .rank(1),
        column("apart, g", &|row| number::error_g(row.difference_g, e_g)),
        column("U", &|row| number::size_g(row.difference_u_g, e_g)).rank(2),
        column("E_n", &|row| number::signed(row.e_n, 1)),
    ];
    lines.push(String::new());
    lines.extend(lay(columns, style).0);
    let marks = match style.ascii {
        true => "ok: within the limit; no: beyond it; ?: can't be told.",
        false => "\u{2713}: within the limit; \u{2717}: beyond it; ?: can't be told.",
    };
    for text in [
        format!(
            "Ours: {}. Theirs: {}. {marks}",
            record.ours.name, record.theirs.name
        ),
        words::uncertainties(record),
        words::judged(record),
    ] {
        let wrapped = wrap(style, "", &text);
        lines.extend(wrapped.iter().map(|line| paint(style, Ink::Soft, line)));
    }
}
