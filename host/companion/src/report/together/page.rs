//! What all captures say together, as sections of the page. An outcome without
//! it, as those of old, has none of these sections.

use super::weights::{Row, Standing};
use super::{cell, sentences, small, weights};
use crate::record::outcome::Outcome;
use crate::record::together::Beforehand;
use crate::report::html::figure;
use crate::report::sections::minus;
use crate::report::svg::escape;
use crate::report::{number, plots, words};

/// A sentence for the page, its numbers tied to their units.
fn said(text: &str) -> String {
    escape(&words::tied(text))
}

/// Every weight as found, with the verdicts above.
pub(in crate::report) fn weights(outcome: &Outcome) -> String {
    let Some(found) = &outcome.together else {
        return String::new();
    };
    let e_g = outcome.scale.e;
    let rows = weights::rows(found, e_g);
    if rows.is_empty() && found.verdicts.is_empty() {
        return String::new();
    }
    let mut text = String::from("<h2>Weights and substitution loads</h2>\n");
    for (index, sentence) in sentences(found, e_g).iter().enumerate() {
        let class = match index < found.verdicts.len() {
            true => "note warn w",
            false => "w",
        };
        text.push_str(&format!("<p class=\"{class}\">{}</p>\n", said(sentence)));
    }
    let known = found
        .weights
        .iter()
        .any(|one| one.beforehand != Beforehand::Nothing);
    if known {
        let caption = format!(
            "{} Each row: the mass as found less the mass as stated. Bars: between what limits \
             it lies at 95 %. Shaded: what is stated of it. Where bar and shade are alike the \
             captures know no better than what is stated; what they would show the table says.",
            weights::headline(found)
        );
        text.push_str(&figure(outcome, "weights", plots::weights, &caption));
    }
    if rows.is_empty() {
        return text;
    }
    text.push_str(
        "<div class=\"scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\">weight</th>\
         <th scope=\"col\">as stated</th><th class=\"x l\" scope=\"col\">worth</th>\
         <th scope=\"col\">as found \u{b1} U, g</th><th scope=\"col\">off by</th>\
         <th class=\"x\" scope=\"col\">captures</th>\
         <th class=\"x\" scope=\"col\">checked to</th></tr></thead>\n<tbody>\n",
    );
    rows.iter().for_each(|row| text.push_str(&weight(row)));
    text.push_str(
        "</tbody>\n</table></div>\n<p class=\"soft\">U: expanded uncertainty, coverage factor 2, \
         by what is stated and by all captures. Checked to: a deviation that the captures alone \
         would show (k = 2), whatever is stated; not told apart: nothing else was weighed against \
         this weight.</p>\n",
    );
    text
}

fn weight(row: &Row) -> String {
    let told_to = match (&row.told_to, row.checked) {
        (None, _) => "not told apart".to_owned(),
        (Some(to), true) => to.clone(),
        (Some(to), false) => format!("only {to}"),
    };
    let remark = row.remark.as_ref().map(|remark| {
        let (class, mark) = match row.standing {
            Standing::Wrong => ("l fail w", "\u{2717}"),
            _ => ("l w", "?"),
        };
        format!(
            "<tr><td class=\"{class}\" colspan=\"7\">{mark} {}</td></tr>\n",
            said(remark)
        )
    });
    format!(
        "<tr{}><th class=\"l w name\" scope=\"row\">{}</th><td class=\"n\">{}</td>\
         <td class=\"x l n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>\
         <td class=\"x\">{}</td><td class=\"x n\">{told_to}</td></tr>\n{}",
        remark.as_ref().map_or("", |_| " class=\"on\""),
        escape(&words::or_unknown(&row.id)),
        minus(&row.stated),
        row.worth,
        minus(&row.found),
        row.off
            .as_deref()
            .map_or_else(|| "\u{2013}".to_owned(), minus),
        row.captures,
        remark.unwrap_or_default(),
    )
}

/// What a small load reads on a big one.
pub(in crate::report) fn small(outcome: &Outcome) -> String {
    let Some(found) = &outcome.together else {
        return String::new();
    };
    let e_g = outcome.scale.e;
    let rows = small::rows(found, e_g);
    if rows.is_empty() {
        return String::new();
    }
    let mut text = String::from("<h2>A small load on a big one</h2>\n");
    for sentence in small::sentences(found, e_g) {
        text.push_str(&format!("<p class=\"w\">{}</p>\n", said(&sentence)));
    }
    let caption = "What the small weight reads too much or too little by the new table, over the \
                   load it was put on top of. Shaded: the error permitted of the small load by \
                   itself. Bars: U (k = 2).";
    text.push_str(&figure(outcome, "small", plots::small, caption));
    let several = small::several(&rows);
    text.push_str(
        "<div class=\"scroll whole\"><table>\n<thead><tr><th class=\"l\" scope=\"col\">on top of</th>",
    );
    if several {
        text.push_str("<th class=\"l\" scope=\"col\">small weight</th>");
    }
    text.push_str(
        "<th class=\"x\" scope=\"col\">it reads, g</th><th scope=\"col\">error, g</th>\
         <th scope=\"col\">error, e</th><th class=\"x\" scope=\"col\">U, e</th>\
         <th scope=\"col\">limit, \u{b1} e</th><th scope=\"col\"></th></tr></thead>\n<tbody>\n",
    );
    let fine = number::resolution_g(e_g);
    for row in &rows {
        let error = &row.error;
        let small = match several {
            true => format!("<td class=\"l w\">{}</td>", escape(&row.small)),
            false => String::new(),
        };
        let class = if error.pass { "pass" } else { "fail" };
        let verdict = words::verdict(error, false);
        text.push_str(&format!(
            "<tr><th class=\"l n\" scope=\"row\">{}</th>{small}<td class=\"x\">{}</td><td>{}</td><td>{}</td><td class=\"x\">{}</td><td>{}</td>\
             <td class=\"{class}\">{verdict}</td></tr>\n",
            minus(&number::mass(error.load_g, fine)),
            minus(&number::fixed(row.read_g, number::decimals(fine))),
            minus(&number::error_g(error.error_g, e_g)),
            minus(&number::error_e(error.error_e)),
            number::uncertainty_e(error.expanded_u_e),
            number::trimmed(error.mpe_e, 2),
        ));
    }
    text.push_str("</tbody>\n</table></div>\n");
    text
}

/// Hysteresis, creep and scatter.
pub(in crate::report) fn cell(outcome: &Outcome) -> String {
    let Some(found) = &outcome.together else {
        return String::new();
    };
    let mut text = String::from("<h2>Hysteresis and creep</h2>\n<dl class=\"facts\">\n");
    for line in cell::lines(outcome, found) {
        let means = line.means.map_or_else(String::new, |means| {
            let means = escape(&words::sentence(means));
            format!("<br/><span class=\"soft\">{means}</span>")
        });
        text.push_str(&format!(
            "<dt>{}</dt><dd>{}{means}</dd>\n",
            escape(&line.head),
            minus(&said(&words::sentence(&line.says)))
        ));
    }
    text.push_str("</dl>\n");
    text
}
