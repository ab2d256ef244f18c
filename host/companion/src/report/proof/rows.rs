//! The rows of one test as a table of the page: each value beside its limit, its
//! uncertainty and its verdict. Columns in which nothing is known are left out.

use super::page::said;
use super::words;
use crate::record::proof::{Proof, ProofRow, TestOutcome, Verdict};
use crate::report::number;
use crate::report::sections::minus;
use crate::report::svg::escape;

/// One column: class, head, and what stands in it.
struct Column<'a> {
    class: &'static str,
    head: &'static str,
    cell: &'a dyn Fn(&ProofRow) -> String,
}

/// Every row of a test.
pub(super) fn rows(proof: &Proof, test: &TestOutcome) -> String {
    if test.rows.is_empty() {
        return "<p>Nothing was observed.</p>\n".to_owned();
    }
    let columns = [
        (
            words::loads_differ_from_names(test, proof),
            Column {
                class: "x n",
                head: "load",
                cell: &|row| words::load(row, proof),
            },
        ),
        (
            words::times_differ_from_names(test),
            Column {
                class: "x n",
                head: "after",
                cell: &|row| words::or_dash(row.at_s, number::duration),
            },
        ),
        (
            true,
            Column {
                class: "",
                head: "value, g",
                cell: &|row| words::value(row.value_g, proof),
            },
        ),
        (
            true,
            Column {
                class: "x",
                head: "e",
                cell: &|row| words::in_e(row.value_g, proof),
            },
        ),
        (
            true,
            Column {
                class: "",
                head: "limit, ± g",
                cell: &|row| words::limit(row.limit_g, proof),
            },
        ),
        (
            words::has_uncertainty(test),
            Column {
                class: "",
                head: "U, g",
                cell: &|row| words::or_dash(row.expanded_u_g, |u| words::size(u, proof)),
            },
        ),
        (
            words::has_uncertainty(test),
            Column {
                class: "x",
                head: "k",
                cell: &|row| words::coverage(row.k),
            },
        ),
        (
            words::has_uncertainty(test),
            Column {
                class: "x n",
                head: "inside",
                cell: &|row| words::inside(row.inside),
            },
        ),
    ];
    let shown = columns.iter().filter(|(shown, _)| *shown);
    let columns: Vec<&Column> = shown.map(|(_, column)| column).collect();
    let captures = test.rows.iter().any(|row| !row.captures.is_empty());
    let heads = columns.iter().map(|column| {
        format!(
            "<th class=\"{}\" scope=\"col\">{}</th>",
            column.class, column.head
        )
    });
    let heads: String = heads.collect();
    let mut text = format!(
        "<div class=\"scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\"></th>{heads}\
         <th class=\"l\" scope=\"col\">verdict</th>{}</tr></thead>\n<tbody>\n",
        match captures {
            true => "<th class=\"x\" scope=\"col\">captures</th>",
            false => "",
        }
    );
    for one in &test.rows {
        text.push_str(&row(one, &columns, captures));
    }
    text.push_str("</tbody>\n</table></div>\n");
    if test.rows.iter().any(|row| row.from_above) {
        text.push_str("<p class=\"soft\">↓: reached from a heavier load.</p>\n");
    }
    text
}

fn row(row: &ProofRow, columns: &[&Column], captures: bool) -> String {
    let mut text = format!(
        "<tr><th class=\"l w name\" scope=\"row\">{}</th>",
        said(&words::what(row, false))
    );
    let mut cell = |class: &str, value: &str| {
        let value = match value {
            "-" => "\u{2013}".to_owned(),
            value => minus(&escape(value)),
        };
        text.push_str(&format!("<td class=\"{class}\">{value}</td>"));
    };
    for column in columns {
        cell(column.class, &(column.cell)(row));
    }
    let shown = match words::is_sound(row) {
        true => class(row.verdict),
        false => "maybe",
    };
    cell(&format!("l {shown}"), words::row_marked(row, false));
    if captures {
        cell("x", &words::captures(row));
    }
    text.push_str("</tr>\n");
    text
}

/// The class of a verdict, which gives its colour.
pub(super) fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Passes | Verdict::PassesSoFar => "pass",
        Verdict::Open => "maybe",
        Verdict::Fails => "fail",
    }
}
