//! A scale that was moved, in the terminal: gravity at both places, what it makes
//! of loads, the verdict, the air, and a correction of the table.
//!
//! Guarantees no line wider than the style's columns. Refuses to sound surer
//! than gravity is known.

use super::columns::{Column, lay};
use super::number;
use super::text_line::{Ink, Style, clean, pad, paint, set, wrap};
use crate::record::moved::{
    AirLine, CorrectionLine, ForetoldLine, LoadLine, MovedRecord, MovedVerdict, PlaceLine,
};

/// A height of 100 m makes so many parts per million of gravity: 0.3086 mGal/m
/// at 45 degrees (seen on public pages) by 9.806 m/s2.
const PPM_PER_100_M: f64 = 31.0;

/// Changes by the air below this are called small: a tenth of e (own choice).
const SMALL_E: f64 = 0.1;

/// What gravity makes of a moved scale, as lines of at most `style.columns`
/// columns, the verdict last.
#[must_use]
pub fn moved(record: &MovedRecord, style: Style) -> String {
    let mut lines = Vec::new();
    places(record, style, &mut lines);
    lines.push(String::new());
    let shift = &record.shift;
    let text = format!(
        "Every reading is now {} ({} ppm ± {} ppm, k = 2).",
        match shift.relative {
            0.0 => "as before".to_owned(),
            _ => format!(
                "{} % too {}",
                number::significant(shift.percent.abs(), 3),
                if shift.relative > 0.0 {
                    "large"
                } else {
                    "small"
                }
            ),
        },
        number::signed(shift.ppm, 0),
        number::significant(shift.expanded_u_ppm, 2),
    );
    lines.extend(wrap(style, "", &text));
    loads(record, style, &mut lines);
    lines.push(String::new());
    let point = style.pick("· ", "- ");
    for text in remarks(record) {
        lines.extend(wrap(style, point, &text));
    }
    lines.push(String::new());
    let ink = match record.verdict {
        MovedVerdict::NothingToDo => Ink::Good,
        MovedVerdict::CorrectOrRecalibrate => Ink::Bad,
        MovedVerdict::WeighAKnownWeight => Ink::Heed,
    };
    for line in wrap(style, "", headline(record)) {
        lines.push(paint(style, ink, &line));
    }
    lines.extend(wrap(style, "  ", &why(record)));
    set(style, &lines)
}

fn places(record: &MovedRecord, style: Style, lines: &mut Vec<String>) {
    let both = [("right at", &record.from), ("used at", &record.to)];
    let wide = both.iter().map(|(_, one)| place(one).chars().count()).max();
    for (head, one) in both {
        let text = format!(
            "{head:<10}{}  g = {}",
            pad(&place(one), wide.unwrap_or(0), false),
            gravity(one)
        );
        lines.push(clean(style, &text));
    }
}

/// A place as somebody would type it.
fn place(line: &PlaceLine) -> String {
    let height = line
        .height_m
        .map(|m| format!("{} m", number::trimmed(m, 1)));
    match (line.latitude_deg, height) {
        (Some(degrees), height) => {
            let letter = if degrees < 0.0 { "S" } else { "N" };
            let latitude = format!("{} {letter}", number::trimmed(degrees.abs(), 5));
            format!("{latitude}, {}", height.unwrap_or_else(|| "0 m".into()))
        }
        (None, Some(height)) => format!("measured, {height}"),
        (None, None) => "measured".into(),
    }
}

/// Gravity to the digits its uncertainty leaves, as "9.8073 m/s2 ± 0.0006".
fn gravity(line: &PlaceLine) -> String {
    let u = line.expanded_u_m_s2;
    let places = match u > 0.0 {
        true => (-u.log10()).ceil().clamp(0.0, 9.0) as usize,
        false => 9,
    };
    format!(
        "{} m/s2 ± {}",
        number::fixed(line.g_m_s2, places),
        number::fixed(u, places)
    )
}

fn loads(record: &MovedRecord, style: Style, lines: &mut Vec<String>) {
    let e_g = record.scale.e;
    let column = |head: &str, cell: &dyn Fn(&LoadLine) -> String| {
        Column::new(head, record.loads.iter().map(cell))
    };
    let places = number::decimals(number::resolution_g(e_g));
    let columns = vec![
        column("load", &|row| {
            number::mass(row.load_g, number::resolution_g(e_g))
        }),
        column("too much, g", &|row| number::error_g(row.shift_g, e_g)),
        column("in e", &|row| number::error_e(row.shift_e)),
        column("U (k=2), g", &|row| number::size_g(row.expanded_u_g, e_g)),
        column(style.pick("permitted, ±g", "permitted, g"), &|row| {
            number::trimmed(row.permitted_g, places)
        }),
    ];
    lines.push(String::new());
    lines.extend(lay(columns, style).0);
    let text = format!(
        "Too much: what a scale that was right before shows too much now, below zero too little. Permitted: {}.",
        record.judged_by
    );
    for line in wrap(style, "", &text) {
        lines.push(paint(style, Ink::Soft, &line));
    }
}

fn remarks(record: &MovedRecord) -> Vec<String> {
    let mut all = Vec::new();
    if let Some(formula) = &record.formula {
        all.push(format!(
            "g is reckoned by {formula}. What lies in the ground moves it by the ± above, in mountains by two or three times as much; a surveyed g can be given instead, as '9.80943 m/s2'."
        ));
    }
    let assumed = |one: &PlaceLine| !one.measured && one.height_m.is_none();
    if assumed(&record.from) || assumed(&record.to) {
        all.push(format!(
            "A place without a height is taken at sea level; 100 m make {PPM_PER_100_M} ppm."
        ));
    }
    match &record.air {
        Some(air) => all.extend(air_words(record, air)),
        None => all.push(
            "What other air makes of loads is not told: a measured g needs its height for that, as '9.80943 m/s2, 520m'.".into(),
        ),
    }
    all.push(
        "The dead load pulls differently too: set zero with the empty pan, level the scale, let it warm up. What the journey did to it, only weights can tell.".into(),
    );
    all
}

fn air_words(record: &MovedRecord, air: &AirLine) -> Vec<String> {
    let e_g = record.scale.e;
    let in_e = |g: f64| number::error_e(g / e_g);
    let max = number::mass(record.scale.max, number::resolution_g(e_g));
    let [before, now] = air.air_kg_m3;
    let density = number::trimmed(air.density_kg_m3, 0);
    let spread = number::significant(air.load_expanded_u_ppm, 2);
    if air.load_ppm == 0.0 {
        return vec![format!(
            "Air: both places lie at one height; weather and rooms still move a load of {density} kg/m3 by {spread} ppm either way, on any scale."
        )];
    }
    let small = air.load_at_max_g.abs() < SMALL_E * e_g;
    vec![
        format!(
            "Air: {} kg/m3 there, {} kg/m3 here by the standard atmosphere. So a load of {density} kg/m3 weighs {} ppm ± {spread} ppm {} here, {} e at {max}{}. It would on a scale calibrated here as well; it is no error of this one.",
            number::fixed(before, 2),
            number::fixed(now, 2),
            number::significant(air.load_ppm.abs(), 2),
            if air.load_ppm > 0.0 { "more" } else { "less" },
            in_e(air.load_at_max_g),
            if small { ", which is little" } else { "" },
        ),
        format!(
            "Steel weights change by {} ppm, {} e at {max}: a calibration here with weights would take that off too, a correction by gravity does not.",
            number::signed(air.steel_ppm, 1),
            in_e(air.steel_at_max_g),
        ),
    ]
}

fn headline(record: &MovedRecord) -> &'static str {
    match record.verdict {
        MovedVerdict::NothingToDo => "Nothing to do.",
        MovedVerdict::CorrectOrRecalibrate if record.correctable => "Correct it, or recalibrate.",
        MovedVerdict::CorrectOrRecalibrate => "Recalibrate with weights.",
        MovedVerdict::WeighAKnownWeight => "That can't be told: weigh a known weight.",
    }
}

fn why(record: &MovedRecord) -> String {
    let (worst, e_g) = (&record.worst, record.scale.e);
    let load = number::mass(worst.load_g, number::resolution_g(e_g));
    let g = |value: f64| number::size_g(value, e_g);
    let permitted = number::trimmed(
        worst.permitted_g,
        number::decimals(number::resolution_g(e_g)),
    );
    let size = format!(
        "At {load} the move makes {} g ± {} g ({} e)",
        number::error_g(worst.shift_g, e_g),
        g(worst.expanded_u_g),
        number::error_e(worst.shift_e),
    );
    let third = format!("a third of the ±{permitted} g permitted there");
    match record.verdict {
        MovedVerdict::NothingToDo => {
            format!(
                "{size}: even with its uncertainty less than {third}, which is what test weights may be wrong by."
            )
        }
        MovedVerdict::CorrectOrRecalibrate => {
            let much = match record.beyond_permitted {
                true => format!("more than the ±{permitted} g permitted there"),
                false => format!("more than {third}"),
            };
            let rest = match record.correctable {
                true => format!(
                    "Corrected by gravity, ±{} g of it stays in doubt; a calibration here with weights leaves less.",
                    g(worst.expanded_u_g)
                ),
                false => format!(
                    "A correction by gravity as it is known would leave ±{} g in doubt, too much; a surveyed g would help.",
                    g(worst.expanded_u_g)
                ),
            };
            format!("{size}, {much}. {rest}")
        }
        MovedVerdict::WeighAKnownWeight => format!(
            "{size}; that may be more or less than {third}. A weight of about {load} tells, or a surveyed g. Places within some 20 km share most of what is in their ground: between such the ± is smaller."
        ),
    }
}

/// A correction that is proposed, as lines of at most `style.columns` columns.
#[must_use]
pub fn correction(record: &MovedRecord, line: &CorrectionLine, style: Style) -> String {
    let e_g = record.scale.e;
    let mut lines = vec![paint(
        style,
        Ink::Strong,
        &format!("Correction of the table {}", line.checksum_before),
    )];
    let text = format!(
        "Every mass times g before / g now = {}: {} of {} points change, to whole steps of the table, {} off at most. Counts, zero reference and settings stay.",
        number::fixed(line.factor, 7),
        line.changed,
        line.points,
        number::spread(line.rounding_g, 2),
    );
    lines.extend(wrap(style, "  ", &text));
    if let Some(loop_g) = line.loop_g {
        let text = format!(
            "The hysteresis loop of {} g that is taken off stays too: it goes with the load.",
            number::size_g(loop_g, e_g)
        );
        lines.extend(wrap(style, "  ", &text));
    }
    if !record.seen {
        lines.extend(heed(
            style,
            "This correction is smaller than what is known of gravity: it may be one for the worse.",
        ));
    }
    let column = |head: &str, cell: &dyn Fn(&ForetoldLine) -> String| {
        Column::new(head, line.foretold.iter().map(cell))
    };
    let error = |shown_g: f64, row: &ForetoldLine| number::error_e((shown_g - row.load_g) / e_g);
    let columns = vec![
        column("load", &|row| {
            number::mass(row.load_g, number::resolution_g(e_g))
        }),
        column("shows now, g", &|row| fine(row.now_g, e_g)),
        column("error, e", &|row| error(row.now_g, row)),
        column("will show, g", &|row| fine(row.corrected_g, e_g)),
        column("error, e", &|row| error(row.corrected_g, row)),
    ];
    lines.extend(lay(columns, style).0);
    let text = "By the integers of both tables, for a scale that was right before; what it was wrong by stays.";
    for line in wrap(style, "", text) {
        lines.push(paint(style, Ink::Soft, &line));
    }
    lines.extend(heed(
        style,
        "Once only: the scale does not know where it is, and a second correction adds to the first.",
    ));
    lines.extend(heed(
        style,
        "Trade: a scale verified there may be bound to a zone of gravity, and a new table ends its verification. Local law decides; ask the authority.",
    ));
    set(style, &lines)
}

fn fine(mass_g: f64, e_g: f64) -> String {
    number::fixed(mass_g, number::decimals(number::resolution_g(e_g)))
}

fn heed(style: Style, text: &str) -> Vec<String> {
    let lines = wrap(style, "! ", text);
    (lines.iter())
        .map(|line| paint(style, Ink::Heed, line))
        .collect()
}

/// What is said once a correction is in force.
#[must_use]
pub fn written(line: &CorrectionLine, style: Style) -> String {
    let mut lines = wrap(
        style,
        "",
        &format!(
            "{} points written, read back and compared: equal (checksum {}, change {}).",
            line.points,
            line.checksum_after,
            line.sequence.unwrap_or_default()
        ),
    );
    lines.extend(wrap(
        style,
        "",
        "Now empty the pan, set zero and weigh a known weight: it alone can confirm this.",
    ));
    lines.push("next   scalewright verify errors --weights weights.toml".into());
    lines.push("undo   scalewright table roll-back".into());
    set(style, &lines)
}
