//! The comparison as one HTML page, as self-contained as the other reports.

use super::words;
use crate::record::comparison::{ComparedLoad, ComparisonRecord, ErrorLine};
use crate::record::proof::Verdict;
use crate::report::html::{document, picture};
use crate::report::number;
use crate::report::plots;
use crate::report::sections::minus;
use crate::report::svg::escape;
use crate::report::words::{or_unknown, sentence, tied};

/// The page, complete from doctype to the last tag.
pub fn page(record: &ComparisonRecord) -> String {
    let title = format!("{} against {}", record.ours.name, record.theirs.name);
    let mut body = head(record, &title);
    body.push_str(&figure(record));
    body.push_str(&answers(record));
    body.push_str(&loads(record));
    body.push_str(&list(
        "Noticed",
        &[words::unpaired(record), record.remarks.clone()].concat(),
    ));
    body.push_str(&method(record));
    body.push_str(&format!(
        "<footer><p>Drawn by Scalewright {} from the verification of {}. The file needs nothing \
         else to be read or printed. This is not a legal verification: trade needs the \
         authority&#39;s approval.</p></footer>\n",
        escape(&or_unknown(&record.version)),
        escape(&or_unknown(&record.date)),
    ));
    document(&title, &body)
}

fn said(text: &str) -> String {
    escape(&tied(text))
}

fn head(record: &ComparisonRecord, title: &str) -> String {
    let scale = &record.scale;
    let mut text = format!(
        "<header>\n<p class=\"kicker\">{}, {}<br/>Max {}, e = {}, d = {}, class {}; the other \
         scale: d = {}</p>\n<h1>{}</h1>\n",
        escape(title),
        escape(&or_unknown(&record.date)),
        words::mass(record, scale.max),
        words::mass(record, scale.e),
        words::mass(record, scale.d),
        escape(&or_unknown(&scale.class)),
        escape(&number::spread(record.theirs.d_g, 3)),
        said(&words::headline(record)),
    );
    if let Some(why) = words::weight_why(record) {
        text.push_str(&format!("<p class=\"note warn w\">{}</p>\n", said(&why)));
    }
    text.push_str("</header>\n");
    text
}

fn figure(record: &ComparisonRecord) -> String {
    let caption = format!(
        "Error of indication of both scales on the same loads, in g: what each shows less the \
         load. Bars: expanded uncertainty, k = 2, that of the weights included. Shaded: the error \
         permitted ({}, e = {}). The two stand a little beside each other only to be seen.",
        record.scheme,
        words::mass(record, record.scale.e)
    );
    let draw = |id: &str, room| plots::comparison(record, id, room);
    picture("errors", &draw, &tied(&caption))
}

fn answers(record: &ComparisonRecord) -> String {
    let ours = words::side(record, &record.ours, |row| &row.ours);
    let theirs = words::side(record, &record.theirs, |row| &row.theirs);
    let rows = [
        ("How they differ", record.pattern.clone()),
        ("On average", words::agreement(record)),
        ("Who is off", record.blame.clone()),
        ("Does it matter", record.importance.clone()),
        ("This scale", ours),
        ("The other", theirs),
    ];
    let mut text = String::from("<h2>What it means</h2>\n<dl class=\"facts\">\n");
    for (head, answer) in rows {
        text.push_str(&format!(
            "<dt>{head}</dt><dd>{}</dd>\n",
            said(&minus_signs(&answer))
        ));
    }
    text.push_str("</dl>\n");
    text
}

/// Hyphens before digits as minus signs.
fn minus_signs(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars().peekable();
    let mut before = ' ';
    while let Some(letter) = letters.next() {
        let number = letters.peek().is_some_and(char::is_ascii_digit);
        let minus = letter == '-' && number && !before.is_alphanumeric();
        out.push(if minus { '\u{2212}' } else { letter });
        before = letter;
    }
    out
}

fn loads(record: &ComparisonRecord) -> String {
    let mut text = String::from(
        "<h2>Load by load</h2>\n<div class=\"scroll whole\"><table>\n<thead>\n\
         <tr><th class=\"l g\"></th><th class=\"x g\"></th>\
         <th class=\"m g\" colspan=\"3\">this scale</th>\
         <th class=\"m g\" colspan=\"3\">the other</th><th class=\"g\">limit</th>\
         <th class=\"m g\" colspan=\"3\">apart</th></tr>\n\
         <tr><th class=\"l\" scope=\"col\">load</th><th class=\"l x\" scope=\"col\">weights</th>\
         <th scope=\"col\">g</th><th class=\"x\" scope=\"col\">U</th><th></th>\
         <th scope=\"col\">g</th><th class=\"x\" scope=\"col\">U</th><th></th>\
         <th scope=\"col\">\u{b1} g</th>\
         <th scope=\"col\">g</th><th class=\"x\" scope=\"col\">U</th>\
         <th scope=\"col\">E<sub>n</sub></th></tr>\n</thead>\n<tbody>\n",
    );
    for row in &record.rows {
        text.push_str(&load(record, row));
    }
    text.push_str("</tbody>\n</table></div>\n");
    let wrong = match record.weight {
        Some(_) => " Weights with ! : the load holds the weight in question.",
        None => "",
    };
    let legend = format!(
        "\u{2713}: within the limit; \u{2717}: beyond it; ?: can't be told. Apart: this scale \
         less the other.{wrong}"
    );
    text.push_str(&format!("<p class=\"soft\">{}</p>\n", said(&legend)));
    text
}

fn load(record: &ComparisonRecord, row: &ComparedLoad) -> String {
    let e_g = record.scale.e;
    let places = number::decimals(number::resolution_g(e_g));
    let side = |line: &ErrorLine| {
        let class = match line.verdict {
            Verdict::Fails => "fail",
            Verdict::Open => "n",
            Verdict::Passes | Verdict::PassesSoFar => "pass",
        };
        format!(
            "<td>{}</td><td class=\"x\">{}</td><td class=\"{class}\">{}</td>",
            minus(&number::error_g(line.error_g, e_g)),
            number::size_g(line.expanded_u_g, e_g),
            words::mark(line.verdict, false)
        )
    };
    let mark = if row.holds_wrong_weight { " !" } else { "" };
    format!(
        "<tr><th class=\"l n\" scope=\"row\">{}</th><td class=\"l x w\">{}{mark}</td>{}{}<td class=\"n\">{}</td>\
         <td>{}</td><td class=\"x\">{}</td><td>{}</td></tr>\n",
        words::mass(record, row.load_g),
        escape(&row.weights.join(" + ")),
        side(&row.ours),
        side(&row.theirs),
        words::limits(row, places),
        minus(&number::error_g(row.difference_g, e_g)),
        number::size_g(row.difference_u_g, e_g),
        minus(&number::signed(row.e_n, 1)),
    )
}

fn list(title: &str, items: &[String]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let mut text = format!("<h2>{title}</h2>\n<ul>\n");
    for item in items {
        text.push_str(&format!("<li class=\"w\">{}</li>\n", said(&sentence(item))));
    }
    text.push_str("</ul>\n");
    text
}

fn method(record: &ComparisonRecord) -> String {
    let texts = [words::uncertainties(record), words::judged(record)];
    let mut text = String::from("<h2>How it was judged</h2>\n");
    for one in texts {
        text.push_str(&format!("<p class=\"w\">{}</p>\n", said(&one)));
    }
    text
}
