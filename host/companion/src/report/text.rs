//! The report at the end of a run in the terminal: what the scale is, the
//! error before and after as a picture and as a table, why the curve was
//! chosen, what was noticed and left open, and last, where the eye ends, the
//! verdict.
//!
//! Guarantees: no line wider than the style's columns, no escape sequence from
//! outside, every mark of colour doubled by a word or a sign.

use super::band::Band;
use super::text_chart::Chart;
use super::text_line::{Ink, Style, clean, fit, pad, paint, set, width, wrap};
use super::together::terminal as together;
use super::{number, words};
use crate::record::outcome::{CandidateLine, Outcome, VerificationRow};

/// Two charts stand side by side from this many columns on.
const SIDE_BY_SIDE: usize = 76;

/// Columns a candidate's name may take.
const LONGEST_NAME: u16 = 30;

/// Columns of the bars beside the candidates.
const BAR: usize = 16;

/// The report as lines of at most `style.columns` columns.
pub fn table(outcome: &Outcome, style: Style) -> String {
    let mut lines = Vec::new();
    head(outcome, style, &mut lines);
    curves(outcome, style, &mut lines);
    loads(outcome, style, &mut lines);
    together::weights(outcome, style, &mut lines);
    together::small(outcome, style, &mut lines);
    together::cell(outcome, style, &mut lines);
    candidates(outcome, style, &mut lines);
    list(style, "Noticed", &outcome.findings, &mut lines);
    list(style, "Not tested", &outcome.not_tested, &mut lines);
    lines.push(String::new());
    for line in wrap(style, "", &words::headline(outcome)) {
        lines.push(paint(style, Ink::Strong, &line));
    }
    for line in wrap(style, "", words::CAUTION) {
        lines.push(paint(style, Ink::Soft, &line));
    }
    set(style, &lines)
}

fn head(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    let device = &outcome.device;
    let text = format!(
        "Scale {} ({}, firmware {}): {}",
        words::or_unknown(&device.id),
        words::or_unknown(&device.board),
        words::or_unknown(&device.firmware),
        words::scale_line(outcome)
    );
    lines.extend(wrap(style, "", &text));
    let text = format!("Noise {}.", words::noise_line(outcome));
    lines.extend(wrap(style, "", &text));
    if let Some(rehearsal) = words::rehearsal(outcome) {
        lines.extend(wrap(style, "", &rehearsal));
    }
}

/// The error over load, before and after, each on a scale of its own.
fn curves(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    let columns = usize::from(style.columns);
    let side_by_side = columns >= SIDE_BY_SIDE;
    let room = if side_by_side {
        columns.min(80) / 2 - 1
    } else {
        columns.min(70)
    };
    let chart_columns = room.saturating_sub(10).max(8);
    let band = Band::of(&outcome.scale);
    let mpe = |load_g: f64| band.map_or(f64::NAN, |band| band.mpe_e(load_g));
    let points = |rows: &[VerificationRow], with_u: bool| -> Vec<(f64, f64, f64)> {
        let bar = |row: &VerificationRow| if with_u { row.expanded_u_e } else { 0.0 };
        rows.iter()
            .map(|row| (row.load_g, row.error_e, bar(row)))
            .collect()
    };
    let chart = |curve, points, mark, ink| Chart {
        curve,
        points,
        mpe: &mpe,
        max_g: Some(outcome.scale.max),
        columns: chart_columns,
        mark,
        ink,
    };
    let old = points(&outcome.before.rows, false);
    let new = points(&outcome.after.rows, true);
    let before = chart(&outcome.before_curve, &old, style.pick("◆", "o"), None);
    let after = chart(&[], &new, style.pick("●", "O"), Some(Ink::After));

    let sound = |points: &[(f64, f64, f64)]| points.iter().any(|point| point.1.is_finite());
    if outcome.before_curve.is_empty() && !sound(&old) && !sound(&new) {
        return;
    }
    lines.push(String::new());
    let title = "Error of indication in e over load; dotted: the permissible error";
    lines.extend(wrap(style, "", title));
    let heads = ["before".to_owned(), "after, bars: U (k = 2)".to_owned()];
    let [before_head, after_head] = heads.map(|head| format!("{}{head}", " ".repeat(9)));
    let (before, after) = (before.lines(style), after.lines(style));
    if side_by_side {
        lines.push(pad(&before_head, room + 1, false) + &after_head);
        for (left, right) in before.iter().zip(&after) {
            lines.push(pad(left, room + 1, false) + right);
        }
    } else {
        lines.push(before_head);
        lines.extend(before);
        lines.push(after_head);
        lines.extend(after);
    }
}

/// How much of the table there is room for, from all to least.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Columns {
    All,
    WithoutU,
    OnlyE,
    Marks,
}

/// A group of columns under one heading.
struct Group {
    head: &'static str,
    columns: Vec<Vec<String>>,
}

/// Load by load: before, after, permitted, uncertainty; with less room fewer
/// columns, first without U, then without grams.
fn loads(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    lines.push(String::new());
    let pairs = words::pairs(outcome);
    if pairs.is_empty() {
        lines.push("No load was verified.".to_owned());
        return;
    }
    let most = usize::from(style.columns);
    let mut drawn = Vec::new();
    for columns in [
        Columns::All,
        Columns::WithoutU,
        Columns::OnlyE,
        Columns::Marks,
    ] {
        drawn = grid(&groups(outcome, &pairs, style, columns), style);
        if drawn.iter().all(|line| width(line) <= most) {
            break;
        }
    }
    lines.extend(drawn);
    for text in [
        Some(format!(
            "Before: {}. After: {}. Limit: the error permitted. U: how well the error after is known (k = 2); an error larger than its U is the scale's own.",
            words::or_unknown(&outcome.before.title),
            words::or_unknown(&outcome.after.title)
        )),
        words::ways_explained(outcome, style.ascii),
        words::unproven(outcome),
    ] {
        let wrapped = text.map(|text| wrap(style, "", &text)).unwrap_or_default();
        lines.extend(wrapped.iter().map(|line| paint(style, Ink::Soft, line)));
    }
}

fn groups(outcome: &Outcome, pairs: &[words::Pair], style: Style, shown: Columns) -> Vec<Group> {
    let grams = shown < Columns::OnlyE;
    let e_g = outcome.scale.e;
    let fine = number::resolution_g(e_g);
    let column = |head: &str, cell: &dyn Fn(&words::Pair) -> String| -> Vec<String> {
        let cells = pairs.iter().map(cell);
        [head.to_owned()].into_iter().chain(cells).collect()
    };
    let none = || "-".to_owned();
    let judged = |name, row: fn(&words::Pair) -> Option<VerificationRow>| {
        let error_e =
            |pair: &words::Pair| row(pair).map_or_else(none, |r| number::error_e(r.error_e));
        let error_g =
            |pair: &words::Pair| row(pair).map_or_else(none, |r| number::error_g(r.error_g, e_g));
        let verdict = |pair: &words::Pair| {
            row(pair).map_or_else(none, |row| {
                let ink = if row.pass { Ink::Good } else { Ink::Bad };
                let word = words::verdict(&row, style.ascii);
                let mark = word.split(' ').next().unwrap_or(word);
                let shown = if shown == Columns::Marks { mark } else { word };
                paint(style, ink, shown)
            })
        };
        let mut columns = vec![column("e", &error_e)];
        if grams {
            columns.push(column("g", &error_g));
        }
        columns.push(column("", &verdict));
        Group {
            head: name,
            columns,
        }
    };
    let mut permitted = vec![column(style.pick("±e", "e"), &|pair| {
        number::trimmed(pair.mpe_e, 2)
    })];
    if grams {
        let places = number::decimals(fine);
        permitted.push(column(style.pick("±g", "g"), &|pair| {
            number::trimmed(pair.mpe_e * e_g, places)
        }));
    }
    let mut all = vec![
        Group {
            head: "",
            columns: vec![column("load", &|pair| {
                format!(
                    "{}{}",
                    number::mass(pair.load_g, fine),
                    words::way(pair.from_above, style.ascii)
                )
            })],
        },
        judged("before", |pair| pair.before),
        judged("after", |pair| pair.after),
        Group {
            head: "limit",
            columns: permitted,
        },
    ];
    if shown == Columns::All {
        let cell = |pair: &words::Pair| {
            pair.after
                .map_or_else(none, |row| number::uncertainty_e(row.expanded_u_e))
        };
        all.push(Group {
            head: "U",
            columns: vec![column("e", &cell)],
        });
    }
    all
}

/// Groups of columns as lines, everything set to the right.
fn grid(groups: &[Group], style: Style) -> Vec<String> {
    let rows = groups
        .iter()
        .flat_map(|g| &g.columns)
        .map(Vec::len)
        .max()
        .unwrap_or(0);
    let mut lines = vec![String::new(); rows + 1];
    for group in groups {
        let mut block = vec![String::new(); rows];
        for column in &group.columns {
            let wide = column.iter().map(|cell| width(cell)).max().unwrap_or(0);
            for (line, cell) in block.iter_mut().zip(column) {
                line.push_str("  ");
                line.push_str(&pad(cell, wide, true));
            }
        }
        let wide = block.iter().map(|line| width(line)).max().unwrap_or(0);
        let wide = wide.max(width(group.head) + 2);
        // Over the middle of its numbers, the two blanks before them aside.
        let beside = wide.saturating_sub(width(group.head) + 2) / 2;
        let heading = paint(style, Ink::Strong, group.head);
        let heading = pad(&format!("{heading}{}", " ".repeat(beside)), wide, true);
        for (line, part) in lines.iter_mut().zip([heading].into_iter().chain(block)) {
            line.push_str(&pad(&part, wide, true));
        }
    }
    lines
}

/// All ways of fitting with bars on a logarithmic scale, and why one won.
fn candidates(outcome: &Outcome, style: Style, lines: &mut Vec<String>) {
    if outcome.candidates.is_empty() {
        return;
    }
    lines.push(String::new());
    let title = "Ways of fitting: error in e (rms) at each load left out in turn, log bars";
    lines.extend(wrap(style, "", title));
    let value = |line: &CandidateLine| {
        let error = line.leave_one_out_error_e.map(f64::abs);
        error.filter(|v| v.is_finite() && *v > 0.0)
    };
    let logs = || outcome.candidates.iter().filter_map(value).map(f64::log10);
    let low = logs().fold(f64::INFINITY, f64::min);
    let high = logs().fold(f64::NEG_INFINITY, f64::max);
    // The best gets a bar too, a tenth of the decades below it.
    let foot = low - 0.1 * (high - low).max(0.5);
    let name_style = Style {
        colour: false,
        columns: LONGEST_NAME,
        ..style
    };
    let names: Vec<String> = outcome
        .candidates
        .iter()
        .map(|line| fit(name_style, &clean(style, &words::name(&line.name))))
        .collect();
    let most = names.iter().map(|name| width(name)).max().unwrap_or(0);
    for (line, name) in outcome.candidates.iter().zip(&names) {
        let roomy = usize::from(style.columns) >= most + 44;
        let mark = if line.chosen {
            style.pick("▶", ">")
        } else {
            " "
        };
        let mut text = format!("{mark} {}", pad(name, most, false));
        match value(line) {
            Some(error) => {
                let share = (error.log10() - foot) / (high - foot).max(1e-9);
                text.push(' ');
                text.push_str(&pad(&number::significant(error, 2), 7, true));
                let bar = style
                    .pick("█", "#")
                    .repeat(((share * BAR as f64).round() as usize).min(BAR));
                let ink = if line.chosen { Ink::After } else { Ink::Soft };
                if roomy {
                    text.push_str("  ");
                    text.push_str(&paint(style, ink, &bar));
                    text.push_str(&" ".repeat(BAR.saturating_sub(width(&bar))));
                    text.push_str(&pad(&line.points.to_string(), 5, true));
                    text.push_str(if line.points == 1 {
                        " point "
                    } else {
                        " points"
                    });
                }
                if line.chosen {
                    text.push_str(&paint(style, Ink::Strong, "  chosen"));
                }
            }
            None => {
                let note = line.note.as_deref().unwrap_or("not formed");
                text.push_str("       -");
                if !roomy {
                    lines.push(std::mem::take(&mut text));
                }
                let indent = if roomy {
                    format!("{text}  ")
                } else {
                    "    ".to_owned()
                };
                lines.extend(wrap(style, &indent, note));
                continue;
            }
        }
        lines.push(text);
    }
    lines.extend(wrap(style, "  ", &words::sentence(&outcome.choice)));
}

fn list(style: Style, title: &str, items: &[String], lines: &mut Vec<String>) {
    if items.is_empty() {
        return;
    }
    lines.push(String::new());
    lines.push(title.to_owned());
    for item in items {
        lines.extend(wrap(style, style.pick("· ", "- "), &words::sentence(item)));
    }
}
