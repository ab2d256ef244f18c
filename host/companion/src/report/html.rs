//! The calibration as one HTML page.
//!
//! Guarantees: a single file without script, fonts or pictures from elsewhere;
//! well formed as XML too; readable from 400 px up, in light and dark, and on
//! A4 and Letter paper, where folded parts print open. All text that came from
//! outside is escaped.

use super::plots::{self, Room};
use super::svg::escape;
use super::together::{left_out, page as together};
use super::{number, sections, style, words};
use crate::record::outcome::Outcome;

/// The page, complete from doctype to the last tag.
pub fn page(outcome: &Outcome) -> String {
    let device = words::or_unknown(&outcome.device.id);
    let mut body = String::new();
    body.push_str(&head(outcome));
    body.push_str(&figure(
        outcome,
        "error",
        plots::error,
        &error_caption(outcome),
    ));
    for part in [
        sections::loads,
        sections::findings,
        together::weights,
        together::small,
        together::cell,
        sections::done,
        choice,
        noise,
        sections::captures,
        sections::device_table,
        sections::not_tested,
        sections::cautions,
    ] {
        body.push_str(&part(outcome));
    }
    body.push_str(&format!(
        "<footer><p>Drawn by Scalewright {} from the record of the run of {}. The file needs \
         nothing else to be read or printed.</p></footer>\n",
        escape(&words::or_unknown(&outcome.version)),
        escape(&words::when(outcome)),
    ));
    document(&format!("Calibration of scale {device}"), &body)
}

/// A whole file around the parts of a page.
pub(super) fn document(title: &str, body: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n\
         <meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <meta name=\"color-scheme\" content=\"light dark\"/>\n\
         <title>{}</title>\n<style>{}{}{}</style>\n</head>\n\
         <body>\n<main>\n{body}</main>\n</body>\n</html>\n",
        escape(title),
        style::COLOURS,
        style::PLOTS,
        style::PAGE,
    )
}

fn head(outcome: &Outcome) -> String {
    let e_g = outcome.scale.e;
    let mut text = format!(
        "<header>\n<p class=\"kicker\">Calibration of scale {}, {}<br/>{}</p>\n<h1>{}</h1>\n",
        escape(&words::or_unknown(&outcome.device.id)),
        escape(&words::when(outcome)),
        escape(&words::scale_line(outcome)),
        escape(&words::tied(&words::headline(outcome))),
    );
    if let Some(rehearsal) = words::rehearsal(outcome) {
        text.push_str(&format!("<p class=\"note\">{}</p>\n", escape(&rehearsal)));
    }
    let sums = [
        ("Largest error before", &outcome.before),
        ("Largest error now", &outcome.after),
    ];
    text.push_str("<dl class=\"sums\">\n");
    for (label, verification) in sums {
        let (value, where_at) = match words::largest(verification, e_g) {
            Some(all) => match all.split_once(" (") {
                Some((value, rest)) => (value.to_owned(), rest.replacen(')', "", 1)),
                None => (all, String::new()),
            },
            None => (number::UNKNOWN.to_owned(), String::new()),
        };
        text.push_str(&sum(label, &value, &where_at));
    }
    let counted = |passed: usize, of: usize| match of {
        0 => "not verified".to_owned(),
        _ => format!("{passed} of {of}"),
    };
    let now = counted(outcome.after.passed, outcome.after.of);
    let was = counted(outcome.before.passed, outcome.before.of);
    text.push_str(&sum(
        "Loads within the limits now",
        &now,
        &format!("before: {was}"),
    ));
    text.push_str("</dl>\n</header>\n");
    text
}

pub(super) fn sum(label: &str, value: &str, small: &str) -> String {
    format!(
        "<div><dt>{}</dt><dd>{}<small>{}</small></dd></div>\n",
        escape(label),
        escape(value),
        escape(small)
    )
}

/// A picture in both sizes; the style sheet shows the one that fits.
pub(super) fn figure(
    outcome: &Outcome,
    id: &str,
    draw: fn(&Outcome, &str, Room) -> String,
    caption: &str,
) -> String {
    picture(id, &|id, room| draw(outcome, id, room), caption)
}

/// The same of anything that can be drawn.
pub(super) fn picture(id: &str, draw: &dyn Fn(&str, Room) -> String, caption: &str) -> String {
    let mut text = String::from("<figure>\n");
    for room in [Room::Wide, Room::Narrow] {
        let class = room.class();
        let picture = draw(&format!("{id}-{class}"), room);
        text.push_str(&format!("<div class=\"{class}\">\n{picture}</div>\n"));
    }
    text.push_str(&format!(
        "<figcaption>{}</figcaption>\n</figure>\n",
        escape(caption)
    ));
    text
}

fn error_caption(outcome: &Outcome) -> String {
    let e = number::mass(outcome.scale.e, number::resolution_g(outcome.scale.e));
    format!(
        "Error of indication: what the scale shows before rounding, less the load. It is \
         counted in e, the verification scale interval, here {e}. Shaded: the error \
         permitted at initial verification (OIML R 76-1:2006, table 6). The loads shown \
         were not used to find the curve. An arrow at the edge: the old setting is beyond \
         the picture."
    )
}

fn choice(outcome: &Outcome) -> String {
    let mut text = sections::choice(outcome);
    let caption = "Each load in turn was left out, the curve found without it, and its table \
                   asked for that load. The bars show how wrong it was; shorter is better.";
    text.push_str(&figure(outcome, "candidates", plots::candidates, caption));
    text.push_str(&sections::candidates(outcome));
    let left_out = match left_out(outcome).len() {
        0 => "",
        1 => " One capture that was left out as wrong is not shown.",
        _ => " Captures that were left out as wrong are not shown.",
    };
    let taken_off = match outcome.correction.is_some_and(|tried| tried.kept) {
        true => "the scale takes that off, and it is still in here",
        false => "no table can take that away",
    };
    let caption = format!(
        "What is left between the chosen table and each capture it was found from; lines join \
         the means of each load. Rising and falling apart: the cell remembers where it came \
         from (hysteresis); {taken_off}.{left_out}"
    );
    text.push_str(&figure(outcome, "residuals", plots::residuals, &caption));
    text
}

fn noise(outcome: &Outcome) -> String {
    let caption = format!("Unloaded scale: {}.", words::noise_line(outcome));
    let mut text = "<h2>How quiet it is</h2>\n".to_owned();
    text.push_str(&figure(outcome, "noise", plots::noise, &caption));
    text
}
