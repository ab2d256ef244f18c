//! Two tables beside each other as one HTML page, as self-contained as the other
//! reports.

use super::text::{headline, remarks, word};
use crate::record::table::{ShownLine, TableName, TablesRecord};
use crate::report::html::{document, picture};
use crate::report::number;
use crate::report::plots;
use crate::report::sections::minus;
use crate::report::svg::escape;
use crate::report::words::{or_unknown, tied};

/// The page, complete from doctype to the last tag.
#[must_use]
pub fn page(record: &TablesRecord) -> String {
    let title = format!("{} beside {}", record.other.name, record.one.name);
    let mut body = head(record, &title);
    let caption = format!(
        "What the second table shows, less what the first shows of the same load, in g and in e. \
         Shaded: the error permitted ({}, e = {}).",
        or_unknown(&record.judged_by),
        mass(record, record.scale.e)
    );
    let draw = |id: &str, room| plots::tables(record, id, room);
    body.push_str(&picture("change", &draw, &tied(&caption)));
    body.push_str(&loads(record));
    body.push_str(&both(record));
    body.push_str(&format!(
        "<footer><p>Drawn by Scalewright {}. The file needs nothing else to be read or \
         printed.</p></footer>\n",
        escape(&or_unknown(&record.version)),
    ));
    document(&title, &body)
}

fn mass(record: &TablesRecord, g: f64) -> String {
    number::mass(g, number::resolution_g(record.scale.e))
}

fn said(text: &str) -> String {
    escape(&tied(&text.replace('-', "\u{2212}")))
}

fn head(record: &TablesRecord, title: &str) -> String {
    let scale = &record.scale;
    let date = match record.date.is_empty() {
        true => String::new(),
        false => format!(", {}", record.date),
    };
    format!(
        "<header>\n<p class=\"kicker\">{}{}<br/>Max {}, e = {}, d = {}, class {}</p>\n\
         <h1>{}</h1>\n</header>\n",
        escape(title),
        escape(&date),
        mass(record, scale.max),
        mass(record, scale.e),
        mass(record, scale.d),
        escape(&or_unknown(&scale.class)),
        said(&headline(record)),
    )
}

fn loads(record: &TablesRecord) -> String {
    let mut text = String::from(
        "<h2>Load by load</h2>\n<div class=\"scroll whole\"><table>\n<thead>\n\
         <tr><th class=\"l\" scope=\"col\">load</th><th class=\"l x\" scope=\"col\"></th>\
         <th scope=\"col\">first, g</th><th scope=\"col\">second, g</th>\
         <th scope=\"col\">change, g</th><th scope=\"col\">in e</th>\
         <th scope=\"col\">permitted \u{b1} g</th></tr>\n</thead>\n<tbody>\n",
    );
    for line in &record.loads {
        text.push_str(&load(record, line));
    }
    text.push_str("</tbody>\n</table></div>\n");
    for remark in remarks(record) {
        text.push_str(&format!(
            "<p class=\"soft\">{}</p>\n",
            escape(&tied(&remark))
        ));
    }
    text
}

fn load(record: &TablesRecord, line: &ShownLine) -> String {
    let e_g = record.scale.e;
    let places = number::decimals(number::resolution_g(e_g));
    format!(
        "<tr><th class=\"l n\" scope=\"row\">{}</th><td class=\"l x\">{}</td><td>{}</td>\
         <td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
        mass(record, line.load_g),
        word(line.why),
        number::fixed(line.one_g, places),
        number::fixed(line.other_g, places),
        minus(&number::error_g(line.change_g, e_g)),
        minus(&number::error_e(line.change_e)),
        number::trimmed(line.permitted_g, places),
    )
}

fn both(record: &TablesRecord) -> String {
    let told = |table: &TableName| {
        let zero = (table.zero_counts).map_or_else(String::new, |zero| {
            format!(", zero reference {zero} counts")
        });
        escape(&format!(
            "{}: {} points, checksum {}{zero}",
            table.name, table.points, table.checksum
        ))
    };
    let mut text = format!(
        "<h2>The two tables</h2>\n<dl class=\"facts\">\n<dt>first</dt><dd>{}</dd>\n\
         <dt>second</dt><dd>{}</dd>\n</dl>\n",
        told(&record.one),
        told(&record.other)
    );
    for note in &record.notes {
        text.push_str(&format!("<p class=\"note\">{}</p>\n", escape(&tied(note))));
    }
    text
}
