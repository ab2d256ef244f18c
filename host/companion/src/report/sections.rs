//! The parts of the page that are words and tables. Each function gives one
//! section as HTML; text from the outcome is escaped here and nowhere later.

use super::svg::escape;
use super::together::left_out;
use super::{number, words};
use crate::record::outcome::{Outcome, PointLine, Purpose, VerificationRow};

/// Most points of a device table in one column of the page.
const POINTS_A_COLUMN: usize = 8;

/// A sign that reads as minus, for numbers on the page.
pub(super) fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

fn mass(outcome: &Outcome, mass_g: f64) -> String {
    minus(&number::mass(mass_g, number::resolution_g(outcome.scale.e)))
}

/// Load by load: before, after, permitted, uncertainty.
pub fn loads(outcome: &Outcome) -> String {
    let e_g = outcome.scale.e;
    let mut text = String::from("<h2>Load by load</h2>\n");
    let pairs = words::pairs(outcome);
    if pairs.is_empty() {
        text.push_str("<p>No load was verified.</p>\n");
        return text;
    }
    text.push_str(
        "<div class=\"scroll whole\"><table>\n<thead>\n\
         <tr><th class=\"l g\"></th>\
         <th class=\"m g\" colspan=\"2\">before</th><th class=\"x g\"></th>\
         <th class=\"m g\" colspan=\"2\">after</th><th class=\"x g\"></th>\
         <th class=\"g\">limit</th><th class=\"x g\"></th>\
         <th class=\"g\">U</th></tr>\n<tr><th class=\"l\" scope=\"col\">load</th>",
    );
    for unit in ["e", "g", "", "e", "g", "", "± e", "± g", "e"] {
        let class = if unit.ends_with('g') {
            " class=\"x\""
        } else {
            ""
        };
        text.push_str(&format!("<th{class} scope=\"col\">{unit}</th>"));
    }
    text.push_str("</tr>\n</thead>\n<tbody>\n");
    for pair in pairs {
        text.push_str(&format!(
            "<tr><th class=\"l n\" scope=\"row\">{}{}</th>{}{}<td>{}</td><td class=\"x\">{}</td><td>{}</td></tr>\n",
            mass(outcome, pair.load_g),
            words::way(pair.from_above, false),
            judged(pair.before.as_ref(), e_g),
            judged(pair.after.as_ref(), e_g),
            number::trimmed(pair.mpe_e, 2),
            number::trimmed(pair.mpe_e * e_g, number::decimals(number::resolution_g(e_g))),
            pair.after.map_or_else(|| "\u{2013}".to_owned(), |row| number::uncertainty_e(row.expanded_u_e)),
        ));
    }
    text.push_str("</tbody>\n</table></div>\n");
    text.push_str(&format!(
        "<p class=\"soft\">Before: {}. After: {}. Limit: the error permitted at initial \
         verification, class {}. U: expanded uncertainty of the error after, coverage factor 2; an error larger than its U is the scale's own. {}</p>\n",
        escape(&words::or_unknown(&outcome.before.title)),
        escape(&words::or_unknown(&outcome.after.title)),
        escape(&words::or_unknown(&outcome.scale.class)),
        words::ways_explained(outcome, false).unwrap_or_default(),
    ));
    if let Some(warning) = words::unproven(outcome) {
        text.push_str(&format!(
            "<p class=\"note warn\">{}</p>\n",
            escape(&warning)
        ));
    }
    text
}

fn judged(row: Option<&VerificationRow>, e_g: f64) -> String {
    let Some(row) = row else {
        return "<td>\u{2013}</td><td class=\"x\">\u{2013}</td><td>\u{2013}</td>".to_owned();
    };
    let grams = minus(&number::error_g(row.error_g, e_g));
    // Where there is no room for a column of grams they stand below.
    format!(
        "<td>{}<span class=\"nar n\">{grams} g</span></td><td class=\"x\">{grams}</td>\
         <td class=\"{}\">{}</td>",
        minus(&number::error_e(row.error_e)),
        if row.pass { "pass" } else { "fail" },
        words::verdict(row, false)
    )
}

/// What the run noticed.
pub fn findings(outcome: &Outcome) -> String {
    list("What the run noticed", &outcome.findings, None)
}

/// What the run left open.
pub fn not_tested(outcome: &Outcome) -> String {
    let nothing = "The record names nothing. That means unknown, not everything tested.";
    list("What was not tested", &outcome.not_tested, Some(nothing))
}

/// Lines under a heading.
pub(super) fn list(title: &str, lines: &[String], when_empty: Option<&str>) -> String {
    match (lines.is_empty(), when_empty) {
        (true, None) => String::new(),
        (true, Some(words)) => format!("<h2>{title}</h2>\n<p>{words}</p>\n"),
        (false, _) => {
            let items: String = lines
                .iter()
                .map(|line| {
                    format!(
                        "<li class=\"w\">{}</li>\n",
                        escape(&words::tied(&words::sentence(line)))
                    )
                })
                .collect();
            format!("<h2>{title}</h2>\n<ul>\n{items}</ul>\n")
        }
    }
}

/// What was done, with what, under which conditions.
pub fn done(outcome: &Outcome) -> String {
    let device = &outcome.device;
    let count = |purpose| {
        let same = outcome.loads.iter().filter(|load| load.purpose == purpose);
        same.count()
    };
    let weights = words::weights(outcome);
    let weights = if weights.is_empty() {
        number::UNKNOWN.to_owned()
    } else {
        weights.join(", ")
    };
    let facts = [
        ("Scale", words::scale_line(outcome)),
        (
            "Device",
            format!(
                "{} on {}, firmware {}, wire version {}",
                words::or_unknown(&device.id),
                words::or_unknown(&device.board),
                words::or_unknown(&device.firmware),
                device.wire_version
            ),
        ),
        ("Weights", weights),
        (
            "Captures",
            format!(
                "{} at zero, {} rising, {} falling; {} more for verification, not used in the fit",
                count(Purpose::Zero),
                count(Purpose::Rising),
                count(Purpose::Falling),
                count(Purpose::Verification)
            ),
        ),
        ("Noise", words::noise_line(outcome)),
        (
            "Time",
            format!(
                "{}; {} on the clock of the device",
                words::when(outcome),
                number::duration(outcome.device_s)
            ),
        ),
    ];
    let mut text = String::from("<h2>What was done</h2>\n<dl class=\"facts\">\n");
    for (label, value) in facts {
        text.push_str(&format!("<dt>{label}</dt><dd>{}</dd>\n", escape(&value)));
    }
    text.push_str("</dl>\n");
    text
}

/// Why the chosen curve was chosen.
pub fn choice(outcome: &Outcome) -> String {
    format!(
        "<h2>How the curve was chosen</h2>\n<p>{}</p>\n",
        escape(&words::tied(&words::sentence(&outcome.choice)))
    )
}

/// All candidates with their figures.
pub fn candidates(outcome: &Outcome) -> String {
    if outcome.candidates.is_empty() {
        return String::new();
    }
    let mut text = String::from(
        "<div class=\"scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\">way of fitting</th>\
         <th scope=\"col\">left out, e</th><th class=\"x\" scope=\"col\">largest, e</th>\
         <th class=\"x\" scope=\"col\">residual, e</th><th scope=\"col\">points</th>\
         </tr></thead>\n<tbody>\n",
    );
    let figure = |value: Option<f64>| match value.filter(|v| v.is_finite()) {
        Some(value) => number::significant(value, 3),
        None => "\u{2013}".to_owned(),
    };
    for line in &outcome.candidates {
        let (class, word) = match (line.chosen, &line.note) {
            (true, _) => (" class=\"chosen\"", "\u{25b6} chosen: ".to_owned()),
            (false, Some(note)) => ("", format!("{note}; ")),
            (false, None) => ("", String::new()),
        };
        let explained = word + &words::explained(line);
        text.push_str(&format!(
            "<tr{class}><th class=\"l w\" scope=\"row\">{}<br/><span class=\"soft\">{}</span></th>\
             <td>{}</td><td class=\"x\">{}</td><td class=\"x\">{}</td><td>{}</td></tr>\n",
            escape(&words::name(&line.name)),
            escape(explained.trim_end_matches([':', ';', ' '])),
            minus(&figure(line.leave_one_out_error_e)),
            minus(&figure(line.leave_one_out_largest_e)),
            minus(&figure(line.residual_e)),
            line.points,
        ));
    }
    text.push_str("</tbody>\n</table></div>\n");
    text
}

/// Every capture, folded on the screen and open on paper. The table follows
/// its fold instead of lying in it: a style sheet can open that everywhere.
pub fn captures(outcome: &Outcome) -> String {
    if outcome.loads.is_empty() {
        return "<h2>Captures</h2>\n<p>None is on record.</p>\n".to_owned();
    }
    let mut text = format!(
        "<h2>Captures</h2>\n<details><summary>Show all {}</summary></details>\n\
         <div class=\"more scroll\"><table>\n<caption>A capture is the mean of samples taken at rest. \
         Counts are net of the drifting zero.</caption>\n\
         <thead><tr><th scope=\"col\">at, s</th><th class=\"l\" scope=\"col\">for</th>\
         <th scope=\"col\">load</th><th class=\"l\" scope=\"col\">weights</th>\
         <th scope=\"col\">net counts</th><th scope=\"col\">sd</th><th scope=\"col\">samples</th>\
         <th scope=\"col\">residual, g</th></tr></thead>\n<tbody>\n",
        outcome.loads.len()
    );
    let wrong = left_out(outcome);
    for (index, load) in outcome.loads.iter().enumerate() {
        let residual = load.residual_g.map_or_else(
            || "\u{2013}".to_owned(),
            |g| minus(&number::error_g(g, outcome.scale.e)),
        );
        text.push_str(&format!(
            "<tr><td>{}</td><td class=\"l\">{}</td><td class=\"n\">{}</td><td class=\"l w\">{}</td>\
             <td>{}</td><td>{}</td><td>{}</td><td>{residual}</td></tr>\n",
            number::fixed(load.at_s, 0),
            match wrong.contains(&index) {
                true => format!("{}, left out as wrong", purpose(load.purpose)),
                false => purpose(load.purpose).to_owned(),
            },
            mass(outcome, load.mass_g),
            escape(&load.weights.join(" + ")),
            minus(&number::fixed(load.net_counts, 1)),
            number::significant(load.sd_counts, 3),
            load.samples,
        ));
    }
    text.push_str("</tbody>\n</table></div>\n");
    text
}

fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Zero => "zero",
        Purpose::Rising => "rising",
        Purpose::Falling => "falling",
        Purpose::Verification => "verification",
    }
}

/// The table now in the device.
pub fn device_table(outcome: &Outcome) -> String {
    let table = &outcome.table;
    let mut text = format!(
        "<h2>The table in the device</h2>\n\
         <p>{} points of at most {}, checksum (CRC-32) <code>{}</code>, change number {}. \
         Smallest step of mass {} g; zero at calibration {} counts. Between two points the \
         device goes straight.{}</p>\n",
        table.points.len(),
        outcome.device.max_points,
        escape(&words::or_unknown(&table.checksum)),
        table.sequence,
        number::trimmed(table.quantum_g, 9),
        minus(&table.zero_counts.to_string()),
        match outcome.correction.filter(|tried| tried.kept) {
            Some(tried) => format!(
                " On top of the table it takes a hysteresis loop {} g wide off.",
                number::size_g(tried.width_g, outcome.scale.e)
            ),
            None => String::new(),
        },
    );
    if table.points.is_empty() {
        text.push_str("<p>A table without points: the device is not calibrated.</p>\n");
        return text;
    }
    text.push_str(&points(&table.points, table.quantum_g));
    text
}

/// The points of a table, in columns; nothing of none.
pub(super) fn points(points: &[PointLine], quantum_g: f64) -> String {
    let places = number::decimals(quantum_g);
    let mut text = String::from("<div class=\"tables\">\n");
    let parts = points.len().div_ceil(POINTS_A_COLUMN).clamp(1, 4);
    for part in points.chunks(points.len().div_ceil(parts).max(1)) {
        text.push_str(
            "<table><thead><tr><th scope=\"col\">net counts</th><th scope=\"col\">mass, g</th>\
             </tr></thead><tbody>\n",
        );
        for point in part {
            text.push_str(&format!(
                "<tr><td>{}</td><td>{}</td></tr>\n",
                minus(&point.counts.to_string()),
                minus(&number::fixed(point.mass_g, places))
            ));
        }
        text.push_str("</tbody></table>\n");
    }
    text.push_str("</div>\n");
    text
}

/// Where the risks are.
pub fn cautions(_: &Outcome) -> String {
    warnings()
}

/// The same for any report.
pub(super) fn warnings() -> String {
    let items: String = words::CAUTIONS
        .iter()
        .map(|(head, line)| format!("<li><strong>{head}.</strong> {line}</li>\n"))
        .collect();
    format!("<h2>Before you rely on it</h2>\n<ul>\n{items}</ul>\n")
}
