//! The parts of the page that are no test: the uncertainty budget, what was not
//! tested, what it was done with, the table tried and every capture.

use super::page::said;
use super::shares::{NAMED, letter, names};
use super::words;
use crate::record::proof::{CaptureLine, ContributionLine, LoadBudget, Proof};
use crate::report::html::picture;
use crate::report::number;
use crate::report::plots::proved;
use crate::report::sections::{list, minus, points};
use crate::report::svg::escape;
use crate::report::words::{name, or_unknown};

/// Labels and values as a list.
pub(super) fn facts(facts: &[(&str, String)]) -> String {
    let lines = facts
        .iter()
        .map(|(label, value)| format!("<dt>{}</dt><dd>{}</dd>\n", escape(label), said(value)));
    let lines: String = lines.collect();
    format!("<dl class=\"facts\">\n{lines}</dl>\n")
}

fn load(load_g: f64, proof: &Proof) -> String {
    minus(&number::mass(load_g, number::resolution_g(proof.scale.e)))
}

/// The uncertainty of the errors of indication, load by load.
pub(super) fn budget(proof: &Proof) -> String {
    let mut text = String::from("<h2>How sure the errors are</h2>\n");
    if proof.budgets.is_empty() {
        text.push_str(&format!("<p>{}</p>\n", words::no_budget(proof)));
        return text;
    }
    let caption = "Each bar is the whole variance of the error at one load; its parts are the \
                   contributions, at the right the expanded uncertainty. The letters stand in \
                   the table below too.";
    let draw = |id: &str, room| proved::shares(proof, id, room);
    text.push_str(&picture("budget", &draw, caption));
    text.push_str(
        "<div class=\"scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\">load</th>\
         <th scope=\"col\">u, g</th><th scope=\"col\">degrees<br/>of freedom</th>\
         <th scope=\"col\">k</th><th scope=\"col\">U, g</th>\
         <th scope=\"col\">U by<br/>drawing, g</th></tr></thead>\n<tbody>\n",
    );
    for budget in &proof.budgets {
        text.push_str(&summed(proof, budget));
    }
    text.push_str(
        "</tbody>\n</table></div>\n<p class=\"soft\">u: standard uncertainty of the error. k: \
         coverage factor for 95.45 %. U: expanded uncertainty. By drawing: the same from the \
         distributions themselves, as a check.</p>\n",
    );
    text.push_str(&contributions(proof));
    text
}

fn summed(proof: &Proof, budget: &LoadBudget) -> String {
    let many = "very many".to_owned();
    format!(
        "<tr><th class=\"l n\" scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td>\
         <td>{}</td></tr>\n",
        load(budget.load_g, proof),
        number::significant(budget.standard_u_g, 2),
        budget
            .effective_dof
            .map_or(many, |dof| number::fixed(dof, 0)),
        number::fixed(budget.k, 2),
        number::significant(budget.expanded_u_g, 2),
        budget
            .drawn_expanded_u_g
            .map_or_else(|| "\u{2013}".to_owned(), |u| number::significant(u, 2)),
    )
}

/// Every contribution at every load, folded on the screen and open on paper.
fn contributions(proof: &Proof) -> String {
    let all: usize = proof
        .budgets
        .iter()
        .map(|budget| budget.contributions.len())
        .sum();
    if all == 0 {
        return String::new();
    }
    let names = names(&proof.budgets);
    let mut text = format!(
        "<details><summary>Show all {all} contributions</summary></details>\n\
         <div class=\"more scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\"></th>\
         <th class=\"l\" scope=\"col\">contribution</th><th scope=\"col\">size, g</th>\
         <th class=\"x l\" scope=\"col\">distribution</th><th scope=\"col\">u, g</th>\
         <th scope=\"col\">share</th></tr></thead>\n"
    );
    for budget in proof
        .budgets
        .iter()
        .filter(|budget| !budget.contributions.is_empty())
    {
        text.push_str(&format!(
            "<tbody class=\"whole\">\n<tr class=\"chosen\"><th class=\"l\" colspan=\"6\" \
             scope=\"rowgroup\">at {}</th></tr>\n",
            load(budget.load_g, proof)
        ));
        for line in &budget.contributions {
            text.push_str(&contribution(line, &names));
        }
        text.push_str("</tbody>\n");
    }
    text.push_str(
        "</table></div>\n<p class=\"soft\">Size: half width or standard deviation, by its \
         distribution. u: its standard uncertainty times sensitivity.",
    );
    if names.len() > NAMED {
        text.push_str(" What has no letter is drawn in one part of the picture.");
    }
    text.push_str("</p>\n");
    text
}

fn contribution(line: &ContributionLine, names: &[&str]) -> String {
    format!(
        "<tr><td class=\"l\">{}</td><th class=\"l w\" scope=\"row\">{}</th><td>{}</td>\
         <td class=\"x l w\">{}</td><td>{}</td><td class=\"n\">{}</td></tr>\n",
        letter(names, &line.name).unwrap_or(""),
        said(&or_unknown(&line.name)),
        number::significant(line.value_g, 2),
        escape(&or_unknown(&line.distribution)),
        number::significant(line.standard_u_g, 2),
        percent(line.share),
    )
}

/// A share in percent.
pub(super) fn percent(share: f64) -> String {
    match share.is_finite() {
        true => format!("{} %", number::fixed(100.0 * share, 1)),
        false => number::UNKNOWN.to_owned(),
    }
}

/// What was not tested.
pub(super) fn not_tested(proof: &Proof) -> String {
    let nothing = "The record names nothing. That means unknown, not everything tested.";
    list(
        "What was not tested",
        &words::not_tested(proof),
        Some(nothing),
    )
}

/// The weights it was done with.
pub(super) fn done(proof: &Proof) -> String {
    let nothing = "None is on record.";
    list("Weights used", &proof.weights, Some(nothing))
}

/// The table in the device.
pub(super) fn device_table(proof: &Proof) -> String {
    let table = &proof.table;
    let mut text = format!(
        "<h2>The table in the device</h2>\n<p class=\"w\">{} points, checksum (CRC-32) \
         <code>{}</code>, change number {}. Smallest step of mass {} g. Between two points the \
         device goes straight. The verification changed nothing of it.</p>\n",
        table.points.len(),
        escape(&or_unknown(&table.checksum)),
        table.sequence,
        number::trimmed(table.quantum_g, 9),
    );
    match table.points.is_empty() {
        true => text.push_str("<p>No point of it is on record.</p>\n"),
        false => text.push_str(&points(&table.points, table.quantum_g)),
    }
    text
}

/// Every capture, folded on the screen and open on paper, under the tests they
/// belong to.
pub(super) fn captures(proof: &Proof) -> String {
    let of = proof.captures.len();
    if of == 0 {
        return "<h2>Captures</h2>\n<p>None is on record.</p>\n".to_owned();
    }
    let mut text = format!(
        "<h2>Captures</h2>\n<details><summary>Show all {of}</summary></details>\n\
         <div class=\"more scroll\"><table>\n<caption>A capture is the mean of samples taken at \
         rest. Counts are net of the zero in use. Gross: by table and correction, before \
         rounding. Shown: the net indication.</caption>\n\
         <thead><tr><th scope=\"col\">no.</th><th scope=\"col\">at, s</th>\
         <th scope=\"col\">load</th><th class=\"l\" scope=\"col\">weights</th>\
         <th scope=\"col\">net counts</th><th scope=\"col\">sd</th><th scope=\"col\">samples</th>\
         <th scope=\"col\">gross, g</th><th scope=\"col\">shown, g</th></tr></thead>\n"
    );
    let mut place = 0;
    for same in proof.captures.chunk_by(|a, b| a.test == b.test) {
        let test = same.first().map_or("", |one| one.test.as_str());
        text.push_str(&format!(
            "<tbody>\n<tr class=\"chosen\"><th class=\"l w\" colspan=\"9\" \
             scope=\"rowgroup\">{}</th></tr>\n",
            escape(&name(&test.replace('-', " ")))
        ));
        for one in same {
            place += 1;
            text.push_str(&capture(proof, one, place));
        }
        text.push_str("</tbody>\n");
    }
    text.push_str("</table></div>\n");
    text
}

fn capture(proof: &Proof, one: &CaptureLine, place: usize) -> String {
    let spot = one.spot.trim();
    let gap = match spot.is_empty() || one.weights.is_empty() {
        true => "",
        false => ", ",
    };
    let fine = number::decimals(number::resolution_g(proof.scale.e));
    let shown = |g: f64| minus(&number::fixed(g, number::decimals(proof.scale.d)));
    format!(
        "<tr><td>{place}</td><td>{}</td><td class=\"n\">{}</td><td class=\"l w name\">{}</td>\
         <td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
        minus(&number::fixed(one.at_s, 0)),
        load(one.mass_g, proof),
        said(&format!("{}{gap}{spot}", one.weights.join(" + "))),
        minus(&number::fixed(one.net_counts, 1)),
        number::significant(one.sd_counts, 3),
        one.samples,
        minus(&number::fixed(one.gross_g, fine)),
        one.indication_g.map_or_else(|| "blank".to_owned(), shown),
    )
}
