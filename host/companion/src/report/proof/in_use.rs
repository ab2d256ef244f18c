//! What a reading of the scale is worth from now on, and from which load on it is
//! accurate enough: alike in page and terminal.

use super::page::said;
use super::words;
use crate::record::proof::{InUseLine, MinimumLine, Proof};
use crate::report::columns::{Column, lay};
use crate::report::html::picture;
use crate::report::number;
use crate::report::plots::proved;
use crate::report::sections::minus;
use crate::report::svg::escape;
use crate::report::text_line::{Style, wrap};
use crate::report::words::sentence;

const TITLE: &str = "What a reading is worth";

/// Parts of the curve of U by the load.
const CURVE_POINTS: u32 = 60;

/// A sentence with the formula over the range.
fn formula(found: &InUseLine, proof: &Proof) -> String {
    let rise = match found.rise > 0.0 {
        true => format!(" plus {} % of the reading", percent(found.rise)),
        false => String::new(),
    };
    format!(
        "Up to {}, a single reading, put {} and read to {}, is right within {} g\
         {rise} (95 %), the error that is left counted in full. Reading zero and load to whole steps is in it.",
        load(found.reach_g, proof),
        match found.anywhere {
            true => "anywhere on the pan",
            false => "in the middle of the pan",
        },
        number::mass(found.reads_g, found.reads_g),
        number::significant(found.base_g, 2),
    )
}

/// How the errors lie, in one sentence.
fn line(found: &InUseLine) -> String {
    match found.errors_lie_on_line {
        true => format!(
            "The errors found are in proportion to the load, {} % of the reading within ±{} % \
             (standard uncertainty).",
            minus(&number::signed(100.0 * found.slope, 4)),
            number::fixed(100.0 * found.u_slope, 4)
        ),
        false => "The errors found are not in proportion to the load, so the largest ones are \
                  counted at every load."
            .to_owned(),
    }
}

fn load(load_g: f64, proof: &Proof) -> String {
    number::mass(load_g, number::resolution_g(proof.scale.e))
}

/// A share in percent with as many digits as it needs.
fn percent(share: f64) -> String {
    number::significant(100.0 * share, 2)
}

/// Rounded up to two digits: a smaller load would not do.
pub(in crate::report) fn from(least_g: Option<f64>) -> String {
    let Some(least_g) = least_g else {
        return "no load".to_owned();
    };
    if !(least_g.is_finite() && least_g > 0.0) {
        return number::UNKNOWN.to_owned();
    }
    let unit = 10f64.powf(least_g.log10().floor() - 1.0);
    number::mass((least_g / unit - 1e-9).ceil() * unit, unit)
}

fn wanted(line: &MinimumLine) -> String {
    format!("{} %", number::trimmed(100.0 * line.relative, 3))
}

fn not_counted(found: &InUseLine) -> String {
    let all = found.not_counted.join("; ");
    sentence(&format!("not counted: {all}"))
}

/// U by the load at a load, by the values between the loads that were evaluated;
/// below the lightest the uncertainty stays as it is there.
fn relative(found: &InUseLine, load_g: f64) -> Option<f64> {
    let known = &found.weighings;
    let after = known.iter().position(|one| one.load_g >= load_g);
    let u_g = match after {
        Some(0) => known.first()?.expanded_u_g,
        Some(at) => {
            let (a, b) = (known.get(at - 1)?, known.get(at)?);
            let share = (load_g - a.load_g) / (b.load_g - a.load_g);
            a.expanded_u_g + share * (b.expanded_u_g - a.expanded_u_g)
        }
        None => known.last()?.expanded_u_g,
    };
    Some(u_g / load_g).filter(|share| share.is_finite() && *share > 0.0)
}

/// The curve of U by the load, g and shares, from where U is a tenth of the load;
/// of a coarse scale from where it is all of it.
pub(in crate::report) fn curve(found: &InUseLine) -> Vec<(f64, f64)> {
    let first = found.weighings.first();
    let Some(u_g) = first.map(|one| one.expanded_u_g) else {
        return Vec::new();
    };
    let tenth_g = 10.0 * u_g;
    let least_g = if 10.0 * tenth_g <= found.reach_g {
        tenth_g
    } else {
        u_g
    };
    let reach = (found.reach_g / least_g).ln();
    if !(least_g > 0.0 && reach.is_finite() && reach > 0.0) {
        return Vec::new();
    }
    let loads = (0..=CURVE_POINTS)
        .map(|step| least_g * (reach * f64::from(step) / f64::from(CURVE_POINTS)).exp());
    loads
        .filter_map(|load_g| Some((load_g, relative(found, load_g)?)))
        .collect()
}

/// The part of the page.
pub(super) fn part(proof: &Proof) -> String {
    let mut text = format!("<h2>{TITLE}</h2>\n");
    let Some(found) = &proof.in_use else {
        text.push_str(
            "<p>Without errors at two loads or more it can't be told: make the test of errors.</p>\n",
        );
        return text;
    };
    for sentence in [formula(found, proof), line(found)] {
        text.push_str(&format!("<p class=\"w\">{}</p>\n", said(&sentence)));
    }
    let draw = |id: &str, room| proved::relative(proof, id, room);
    let caption = "How large the uncertainty of a reading is by the load itself. Where the curve \
                   crosses a line, the scale begins to be accurate enough for it. Both scales go \
                   in powers of ten.";
    text.push_str(&picture("in-use", &draw, caption));
    text.push_str(&format!(
        "<div class=\"scroll\"><table>\n<thead><tr><th class=\"l\" scope=\"col\">accuracy \
         wanted</th><th scope=\"col\">weigh at least</th><th scope=\"col\">with a safety factor \
         of {}</th></tr></thead>\n<tbody>\n",
        number::trimmed(found.safety, 1)
    ));
    for one in &found.minimum {
        text.push_str(&format!(
            "<tr><th class=\"l n\" scope=\"row\">{}</th><td class=\"n\">{}</td>\
             <td class=\"n\">{}</td></tr>\n",
            said(&wanted(one)),
            said(&from(one.load_g)),
            said(&from(one.with_safety_g)),
        ));
    }
    text.push_str(&format!(
        "</tbody>\n</table></div>\n<p class=\"soft w\">{} After EURAMET cg-18, 7.4 and 7.5 (from \
         memory).</p>\n",
        escape(&not_counted(found))
    ));
    text
}

/// The lines of the terminal.
pub(super) fn lines(proof: &Proof, style: Style, lines: &mut Vec<String>) {
    let Some(found) = &proof.in_use else {
        return;
    };
    lines.push(String::new());
    lines.push(TITLE.to_owned());
    lines.extend(wrap(style, "  ", &formula(found, proof)));
    let column = |head: &str, cell: &dyn Fn(&MinimumLine) -> String| {
        Column::new(head, found.minimum.iter().map(cell))
    };
    let twice = format!("safety factor {}", number::trimmed(found.safety, 1));
    let columns = vec![
        column("accuracy wanted", &wanted),
        column("weigh at least", &|one| from(one.load_g)),
        column(&twice, &|one| from(one.with_safety_g)).rank(1),
    ];
    lines.extend(lay(columns, style).0);
    lines.extend(wrap(style, "  ", &not_counted(found)));
}

/// What was noted of the air, as a fact; `None` when nothing was.
pub(super) fn surroundings(proof: &Proof) -> Option<String> {
    let noted = &proof.surroundings;
    let mut all = Vec::new();
    let mut tell = |value: Option<f64>, unit: &str| {
        if let Some(value) = value {
            all.push(format!("{}{unit}", number::trimmed(value, 2)));
        }
    };
    tell(noted.temperature_c, " °C");
    tell(noted.humidity_percent, " %");
    tell(noted.pressure_hpa, " hPa");
    if let Some(air) = noted.air() {
        all.push(format!("air of {} kg/m³", number::fixed(air.kg_m3, 3)));
    }
    if noted.convection_g > 0.0 {
        all.push(format!(
            "±{} g for warm or cold weights",
            words::size(noted.convection_g, proof)
        ));
    }
    (!all.is_empty()).then(|| all.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_least_load_is_rounded_up() {
        assert_eq!(from(Some(104.2)), "110 g");
        assert_eq!(from(Some(110.0)), "110 g");
        assert_eq!(from(Some(1049.0)), "1.1 kg");
        assert_eq!(from(None), "no load");
        assert_eq!(from(Some(f64::NAN)), number::UNKNOWN);
    }
}
