//! The verification as one HTML page.
//!
//! Guarantees as for the calibration's page: a single file without script,
//! fonts or pictures from elsewhere, well formed as XML too, readable from
//! 360 px up, in light and dark, on A4 and Letter with folded parts open. All
//! text of the record is escaped.

use super::rows::{class, rows};
use super::{Kind, in_use, limits::Limits, parts, words};
use crate::record::proof::{Proof, TestOutcome, Verdict};
use crate::report::html::{document, picture, sum};
use crate::report::number;
use crate::report::plots::{Room, proved};
use crate::report::sections::{minus, warnings};
use crate::report::svg::escape;
use crate::report::words::{date, or_unknown, scale, sentence, tied};

/// The page, complete from doctype to the last tag.
pub fn proof_page(proof: &Proof) -> String {
    let mut body = head(proof);
    if proof.tests.is_empty() {
        body.push_str("<h2>Tests</h2>\n<p>No test is on record.</p>\n");
    }
    for (index, test) in proof.tests.iter().enumerate() {
        body.push_str(&tested(proof, test, index));
    }
    if proof
        .tests
        .iter()
        .any(|test| test.source.contains("from memory"))
    {
        body.push_str(
            "<p class=\"soft\">From memory: written down without the text of the standard at \
             hand, so check it there before it is cited.</p>\n",
        );
    }
    for part in [
        parts::budget,
        in_use::part,
        parts::not_tested,
        parts::done,
        parts::device_table,
        parts::captures,
    ] {
        body.push_str(&part(proof));
    }
    body.push_str(&warnings());
    body.push_str(&format!(
        "<footer><p>Drawn by Scalewright {} from the record of the verification of {}. The file \
         needs nothing else to be read or printed.</p></footer>\n",
        escape(&or_unknown(&proof.version)),
        escape(&date(&proof.date)),
    ));
    let title = format!("Verification of scale {}", or_unknown(&proof.device.id));
    document(&title, &body)
}

/// Text for the page: numbers tied to their units, minus signs, escaped.
pub(super) fn said(text: &str) -> String {
    escape(&tied(text))
}

fn head(proof: &Proof) -> String {
    let mut text = format!(
        "<header>\n<p class=\"kicker\">Verification of scale {}, {}<br/>{}</p>\n\
         <h1 class=\"w\">{}</h1>\n",
        escape(&or_unknown(&proof.device.id)),
        escape(&date(&proof.date)),
        escape(&scale(&proof.scale)),
        said(&words::headline(proof)),
    );
    if let Some(largest) = words::largest(proof) {
        text.push_str(&format!("<p class=\"w\">{}</p>\n", said(&largest)));
    }
    if let Some(rehearsal) = words::rehearsal(proof) {
        text.push_str(&format!("<p class=\"note\">{}</p>\n", escape(&rehearsal)));
    }
    text.push_str("<dl class=\"sums\">\n");
    let verdict = words::verdict(proof);
    let count = |verdict| {
        proof
            .tests
            .iter()
            .filter(|test| test.verdict == verdict)
            .count()
    };
    let others = [Verdict::PassesSoFar, Verdict::Open, Verdict::Fails].map(|other| {
        let many = count(other);
        (many > 0).then(|| format!("{many} {}", other.words()))
    });
    let others: Vec<String> = others.into_iter().flatten().collect();
    let passed = match proof.tests.len() {
        0 => "no test made".to_owned(),
        of => format!("{} of {of}", count(Verdict::Passes)),
    };
    text.push_str(&sum("Verdict", words::marked(verdict, false), ""));
    text.push_str(&sum("Tests passed", &passed, &others.join(", ")));
    let nearest = words::nearest(proof, |test| Kind::of(test) != Kind::Discrimination);
    let (value, of) = nearest.map_or_else(
        || (number::UNKNOWN.to_owned(), String::new()),
        |(test, row)| {
            (
                minus(&format!(
                    "{} of ±{} g",
                    words::value(row.value_g, proof),
                    words::limit(row.limit_g, proof)
                )),
                format!("{}: {}", words::title(test), words::what(row, false)),
            )
        },
    );
    text.push_str(&sum("Nearest to its limit", &value, &of));
    text.push_str("</dl>\n");
    text.push_str(&parts::facts(&words::facts(proof)));
    text.push_str("</header>\n");
    text
}

/// One test: its verdict, what it found, a picture where one helps, its table,
/// what was missing.
fn tested(proof: &Proof, test: &TestOutcome, index: usize) -> String {
    let mut text = format!(
        "<div class=\"opening\">\n<h2 class=\"w\">{}: <span class=\"{}\">{}</span></h2>\n",
        escape(&words::title(test)),
        class(test.verdict),
        words::marked(test.verdict, false),
    );
    if !test.says.trim().is_empty() {
        text.push_str(&format!(
            "<p class=\"w\">{}</p>\n",
            said(&sentence(&test.says))
        ));
    }
    for gap in &test.incomplete {
        text.push_str(&format!(
            "<p class=\"note w\">{}</p>\n",
            said(&sentence(&format!("not complete: {}", or_unknown(gap))))
        ));
    }
    for remark in &test.remarks {
        text.push_str(&format!(
            "<p class=\"note w\">{}</p>\n",
            said(&sentence(&or_unknown(remark)))
        ));
    }
    if let Some((draw, caption)) = picture_of(proof, test) {
        let id = format!("test-{}", index + 1);
        text.push_str(&picture(
            &id,
            &|id, room| draw(proof, test, id, room),
            &caption,
        ));
    }
    text.push_str("</div>\n");
    text.push_str(&rows(proof, test));
    text.push_str(&format!(
        "<p class=\"soft w\">Source: {}.</p>\n",
        escape(or_unknown(&test.source).trim_end_matches('.'))
    ));
    text
}

type Draw = fn(&Proof, &TestOutcome, &str, Room) -> String;

/// The picture that helps a test, with its caption.
fn picture_of(proof: &Proof, test: &TestOutcome) -> Option<(Draw, String)> {
    if !test.rows.iter().any(words::is_sound) {
        return None;
    }
    let limits = Limits::of_test(proof, test, proof.scale.max);
    let shaded = match limits.stepped() {
        true => "Shaded: the error permitted.",
        false => "Shaded: the error permitted at the loads tried, joined between them.",
    };
    let u = match test.rows.iter().any(|row| row.expanded_u_g.is_some()) {
        true => " Bars: the expanded uncertainty U.",
        false => "",
    };
    let cross = match test.rows.iter().any(|row| row.verdict == Verdict::Fails) {
        true => " A cross marks what is not kept.",
        false => "",
    };
    let (draw, caption): (Draw, String) = match Kind::of(test) {
        Kind::Errors => (
            proved::errors,
            format!(
                "Error of indication: what the scale shows before rounding, less the load. \
                 {shaded}{u}{cross}"
            ),
        ),
        Kind::SmallOnBig => (
            proved::small_on_big,
            format!(
                "What the small load reads too much or too little, over the load below it. \
                 Shaded: the error permitted of the small load.{u}{cross}"
            ),
        ),
        Kind::Repeatability => (
            proved::repeated,
            "Each weighing less the mean of all, in the order they were made.".to_owned(),
        ),
        Kind::Eccentricity => (
            proved::pan,
            format!(
                "The pan from above. A circle filled or open shows the error at its place, the \
                 dashed one what is permitted there.{cross}"
            ),
        ),
        Kind::InTime => (
            proved::in_time,
            format!("Change over time. Shaded: what is permitted.{u}{cross}"),
        ),
        Kind::Discrimination | Kind::Other => return None,
    };
    Some((draw, caption))
}
