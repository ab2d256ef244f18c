//! The verification in the terminal: what was tried and by what it is judged,
//! test by test, the uncertainty in short, what was not tested, and last, where
//! the eye ends, the verdict.
//!
//! Guarantees: no line wider than the style's columns, no escape sequence from
//! outside, every colour doubled by a word or a sign.

use super::shares::{names, three};
use super::{Kind, in_use, limits::Limits, words};
use crate::record::proof::{Proof, ProofRow, TestOutcome, Verdict};
use crate::report::columns::{Column, lay};
use crate::report::number;
use crate::report::text_chart::Chart;
use crate::report::text_line::{Ink, Style, clean, cut, paint, set, wrap};
use crate::report::words::{CAUTION, or_unknown, sentence};

/// Most columns of a row's name and of a contribution's.
const LONGEST_NAME: usize = 30;

/// Most columns of the picture.
const WIDEST_CHART: usize = 70;

/// The report as lines of at most `style.columns` columns.
pub fn proof_table(proof: &Proof, style: Style) -> String {
    let mut lines = Vec::new();
    head(proof, style, &mut lines);
    for test in &proof.tests {
        lines.push(String::new());
        tested(proof, test, style, &mut lines);
    }
    budget(proof, style, &mut lines);
    in_use::lines(proof, style, &mut lines);
    list(style, "Not tested", &words::not_tested(proof), &mut lines);
    lines.push(String::new());
    let verdict = words::verdict(proof);
    // The mark is painted after wrapping, since colour is no text to `wrap`.
    let mark = words::marked(verdict, style.ascii);
    let mark = mark.split(' ').next().unwrap_or(mark);
    let mut last = words::headline(proof);
    if let Some(largest) = words::largest(proof) {
        last = format!("{last} {largest}");
    }
    for line in wrap(style, &format!("{mark} "), &last) {
        lines.push(paint(style, Ink::Strong, &line));
    }
    for line in wrap(style, "", CAUTION) {
        lines.push(paint(style, Ink::Soft, &line));
    }
    set(style, &lines)
}

fn head(proof: &Proof, style: Style, lines: &mut Vec<String>) {
    for (label, value) in words::facts(proof) {
        lines.extend(wrap(style, "", &format!("{label}: {value}")));
    }
    let weights = match proof.weights.as_slice() {
        [] => number::UNKNOWN.to_owned(),
        weights => weights.join("; "),
    };
    lines.extend(wrap(style, "", &format!("Weights: {weights}")));
    if let Some(rehearsal) = words::rehearsal(proof) {
        lines.extend(wrap(style, "", &rehearsal));
    }
}

fn ink(verdict: Verdict) -> Ink {
    match verdict {
        Verdict::Passes | Verdict::PassesSoFar => Ink::Good,
        Verdict::Open => Ink::Heed,
        Verdict::Fails => Ink::Bad,
    }
}

fn tested(proof: &Proof, test: &TestOutcome, style: Style, lines: &mut Vec<String>) {
    let marked = words::marked(test.verdict, style.ascii);
    let (mark, word) = match marked.split_once(' ') {
        Some((mark, word)) => (mark, word),
        None => (marked, ""),
    };
    let headline = format!("{}: {word}", words::title(test));
    for line in wrap(style, &format!("{mark} "), &headline) {
        lines.push(paint(style, ink(test.verdict), &line));
    }
    if !test.says.trim().is_empty() {
        lines.extend(wrap(style, "  ", &sentence(&test.says)));
    }
    if Kind::of(test) == Kind::Errors {
        curve(proof, test, style, lines);
    }
    rows(proof, test, style, lines);
    for remark in &test.remarks {
        for line in wrap(style, "  ! ", &sentence(&or_unknown(remark))) {
            lines.push(paint(style, Ink::Heed, &line));
        }
    }
    for gap in &test.incomplete {
        let gap = format!("not complete: {}", or_unknown(gap));
        for line in wrap(style, "  ! ", &gap) {
            lines.push(paint(style, Ink::Heed, &line));
        }
    }
}

/// Errors of indication over the load as dots, with what is permitted.
fn curve(proof: &Proof, test: &TestOutcome, style: Style, lines: &mut Vec<String>) {
    let e_g = proof.scale.e;
    let points: Vec<(f64, f64, f64)> = test
        .rows
        .iter()
        .map(|row| {
            let u_e = row.expanded_u_g.map_or(0.0, |u_g| u_g / e_g);
            (
                row.load_g,
                row.value_g / e_g,
                if u_e.is_finite() { u_e } else { 0.0 },
            )
        })
        .filter(|(load_g, error_e, _)| load_g.is_finite() && error_e.is_finite())
        .collect();
    if points.is_empty() {
        return;
    }
    let limits = Limits::of_test(proof, test, proof.scale.max);
    let mpe = |load_g: f64| limits.at(load_g) / e_g;
    let columns = usize::from(style.columns).min(WIDEST_CHART);
    let chart = Chart {
        curve: &[],
        points: &points,
        mpe: &mpe,
        max_g: Some(proof.scale.max),
        columns: columns.saturating_sub(10).max(8),
        mark: style.pick("●", "O"),
        ink: None,
    };
    let title = "error of indication in e over load; bars: U; dotted: permitted";
    lines.extend(wrap(style, "  ", title));
    lines.extend(chart.lines(style));
}

fn rows(proof: &Proof, test: &TestOutcome, style: Style, lines: &mut Vec<String>) {
    if test.rows.is_empty() {
        lines.extend(wrap(style, "  ", "Nothing was observed."));
        return;
    }
    let column = |head: &str, cell: &dyn Fn(&ProofRow) -> String| {
        Column::new(head, test.rows.iter().map(cell))
    };
    // The mark stands with the name, which stays when all else has no room.
    let marked = |row: &ProofRow| {
        let mark = words::row_marked(row, style.ascii);
        let mark = mark.split(' ').next().unwrap_or(mark);
        let what = clean(style, &words::what(row, style.ascii));
        format!("{mark} {}", cut(&what, LONGEST_NAME, style))
    };
    let said = |row: &ProofRow| {
        let word = words::row_marked(row, style.ascii);
        let word = word.split_once(' ').map_or(word, |(_, word)| word);
        let ink = match words::is_sound(row) {
            true => ink(row.verdict),
            false => Ink::Heed,
        };
        paint(style, ink, word)
    };
    let mut columns = vec![column("", &marked).of_words()];
    if words::loads_differ_from_names(test, proof) {
        columns.push(column("load", &|row| words::load(row, proof)).rank(4));
    }
    columns.extend([
        column("g", &|row| words::value(row.value_g, proof)),
        column("e", &|row| words::in_e(row.value_g, proof)).rank(6),
        column(style.pick("limit ±g", "limit, g"), &|row| {
            words::limit(row.limit_g, proof)
        })
        .rank(1),
    ]);
    if words::has_uncertainty(test) {
        columns.extend([
            column("U, g", &|row| {
                words::or_dash(row.expanded_u_g, |u| words::size(u, proof))
            })
            .rank(2),
            column("k", &|row| words::coverage(row.k)).rank(7),
            column("inside", &|row| words::inside(row.inside)).rank(5),
        ]);
    }
    columns.push(column("", &said).of_words().rank(3));
    lines.extend(lay(columns, style).0);
    if test.rows.iter().any(|row| row.from_above) {
        let text = format!("{}: reached from a heavier load.", style.pick("↓", "v"));
        let wrapped = wrap(style, "  ", &text);
        lines.extend(wrapped.iter().map(|line| paint(style, Ink::Soft, line)));
    }
}

/// The budget at three loads: the lightest, one between and the heaviest.
fn budget(proof: &Proof, style: Style, lines: &mut Vec<String>) {
    lines.push(String::new());
    let shown = three(&proof.budgets);
    if shown.is_empty() {
        lines.extend(wrap(style, "", words::no_budget(proof)));
        return;
    }
    let title = match proof.budgets.len() {
        few @ ..=3 => format!("Standard uncertainties in g at {few} loads"),
        many => format!("Standard uncertainties in g at some of {many} loads"),
    };
    lines.extend(wrap(style, "", &title));
    let named = names(&proof.budgets);
    let heads = named.iter().map(|name| {
        let name = clean(style, &or_unknown(name));
        cut(&name, LONGEST_NAME, style)
    });
    let sums = ["together", "coverage factor k", "U"].map(str::to_owned);
    let mut columns = vec![Column::new("", heads.chain(sums)).of_words()];
    for (index, one) in shown.iter().enumerate() {
        let each = named.iter().map(|name| {
            let lines = one.contributions.iter().filter(|line| line.name == **name);
            let cells: Vec<String> = lines
                .map(|line| number::significant(line.standard_u_g, 2))
                .collect();
            match cells.is_empty() {
                true => "-".to_owned(),
                false => cells.join(" "),
            }
        });
        let sums = [
            number::significant(one.standard_u_g, 2),
            number::fixed(one.k, 2),
            number::significant(one.expanded_u_g, 2),
        ];
        let load = number::mass(one.load_g, number::resolution_g(proof.scale.e));
        // The heaviest stays longest: there the uncertainty is greatest.
        let rank = (shown.len() - 1 - index) as u8;
        columns.push(Column::new(&load, each.chain(sums)).rank(rank));
    }
    lines.extend(lay(columns, style).0);
}

fn list(style: Style, title: &str, items: &[String], lines: &mut Vec<String>) {
    lines.push(String::new());
    lines.push(title.to_owned());
    if items.is_empty() {
        let nothing = "The record names nothing. That means unknown, not everything tested.";
        lines.extend(wrap(style, style.pick("· ", "- "), nothing));
    }
    for item in items {
        lines.extend(wrap(style, style.pick("· ", "- "), &sentence(item)));
    }
}
