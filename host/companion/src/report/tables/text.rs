//! Tables in the terminal.

use crate::record::table::{
    AdjustmentRecord, ChangeLine, PointLine, ShownLine, TableRecord, TablesRecord, What, Why,
};
use crate::report::band::Band;
use crate::report::columns::{Column, lay};
use crate::report::number;
use crate::report::text_chart::Chart;
use crate::report::text_line::{Ink, Style, clean, paint, set, wrap};

/// Columns of a chart's drawing area.
const WIDE: usize = 60;

/// Columns that a chart's labels and margin take.
const BESIDE: usize = 10;

/// The table in a scale, as lines of at most `style.columns` columns.
#[must_use]
pub fn shown(record: &TableRecord, style: Style) -> String {
    let mut lines = Vec::new();
    let change = (record.sequence).map_or_else(String::new, |n| format!(", change {n}"));
    let head = format!(
        "table of {} points, checksum {}{change}",
        record.points.len(),
        record.checksum
    );
    lines.push(paint(style, Ink::Strong, &head));
    let (scale, e_g) = (&record.scale, record.scale.e);
    let mass = |g: f64| number::mass(g, number::resolution_g(e_g));
    let mut say = |text: &str| lines.extend(wrap(style, "  ", text));
    say(&format!(
        "Max {}, e {}, d {}, class {}",
        mass(scale.max),
        mass(e_g),
        mass(scale.d),
        clean(style, &scale.class)
    ));
    let zero = record.zero_counts.map_or_else(
        || "zero reference unknown".into(),
        |zero| format!("zero reference {zero} counts"),
    );
    let before = match record.previous {
        true => "the table before is kept in the scale",
        false => "no earlier one in the scale",
    };
    say(&format!("{zero}; {before}"));
    if record.hysteresis_taken_off_g > 0.0 {
        say(&format!(
            "hysteresis: a loop {} g wide is taken off",
            number::size_g(record.hysteresis_taken_off_g, e_g)
        ));
    }
    if record.on_trial {
        lines.extend(heed(
            style,
            "On trial: not stored, and gone when the scale is restarted.",
        ));
    }
    lines.push(String::new());
    lines.push("Mass less a straight line from zero to the last point, in e over load".into());
    lines.extend(straight(record, style));
    lines.push(String::new());
    lines.extend(points(record, style));
    lines.push(String::new());
    lines.extend(history(record.history.as_deref(), style));
    set(style, &lines)
}

/// What the scale remembers of its changes.
fn history(history: Option<&[ChangeLine]>, style: Style) -> Vec<String> {
    let all = match history {
        None => return vec!["History: this board keeps none, it only counts changes.".into()],
        Some([]) => return vec!["History: no change is remembered.".into()],
        Some(all) => all,
    };
    let column =
        |head: &str, cell: &dyn Fn(&ChangeLine) -> String| Column::new(head, all.iter().map(cell));
    let columns = vec![
        column("change", &|line| line.change.to_string()),
        column("when (UTC)", &|line| {
            line.when.clone().unwrap_or_else(|| "unknown".into())
        })
        .of_words(),
        column("what", &|line| done(line.what).to_owned()).of_words(),
        column("checksum", &|line| line.checksum.clone()).of_words(),
        column("who and why", &|line| clean(style, &line.text)).of_words(),
    ];
    let mut lines = vec!["History, newest first".to_owned()];
    lines.extend(lay(columns, style).0);
    lines
}

fn done(what: What) -> &'static str {
    match what {
        What::Table => "table",
        What::Settings => "settings",
        What::RolledBack => "roll-back",
        What::MadeAtTheScale => "at its keys",
    }
}

fn straight(record: &TableRecord, style: Style) -> Vec<String> {
    let of = |point: &PointLine| (point.mass_g, point.off_straight_e);
    let curve: Vec<(f64, f64)> = record.points.iter().map(of).collect();
    let points: Vec<(f64, f64, f64)> = curve.iter().map(|(x, y)| (*x, *y, 0.0)).collect();
    Chart {
        curve: &curve,
        points: &points,
        // Nothing is permitted or forbidden here.
        mpe: &|_| f64::NAN,
        max_g: None,
        columns: columns(style),
        mark: style.pick("◆", "o"),
        ink: Some(Ink::After),
    }
    .lines(style)
}

fn columns(style: Style) -> usize {
    usize::from(style.columns)
        .saturating_sub(BESIDE)
        .clamp(8, WIDE)
}

fn points(record: &TableRecord, style: Style) -> Vec<String> {
    let column = |head: &str, cell: &dyn Fn(&PointLine) -> String| {
        Column::new(head, record.points.iter().map(cell))
    };
    let e_g = record.scale.e;
    let numbers = (1..=record.points.len()).map(|at| at.to_string());
    let columns = vec![
        Column::new("", numbers),
        column("net counts", &|point| point.counts.to_string()),
        column("mass", &|point| {
            number::mass(point.mass_g, record.quantum_g)
        }),
        column("off straight, g", &|point| {
            number::error_g(point.off_straight_g, e_g)
        }),
        column("in e", &|point| number::error_e(point.off_straight_e)),
        column("steeper up to here", &|point| {
            let steep = |share: f64| format!("{} %", number::signed(share * 100.0, 3));
            point.steepness.map_or_else(String::new, steep)
        }),
    ];
    lay(columns, style).0
}

/// Two tables beside each other: what is shown, the difference, what is
/// permitted, and the difference as a curve.
#[must_use]
pub fn beside(record: &TablesRecord, heads: (&str, &str), style: Style) -> String {
    let mut lines = curve(record, style);
    lines.push(String::new());
    lines.extend(loads(record, heads, style));
    for text in remarks(record) {
        let wrapped = wrap(style, "", &text);
        lines.extend(wrapped.iter().map(|line| paint(style, Ink::Soft, line)));
    }
    for note in &record.notes {
        lines.extend(heed(style, note));
    }
    lines.push(String::new());
    for line in wrap(style, "", &headline(record)) {
        lines.push(paint(style, Ink::Strong, &line));
    }
    set(style, &lines)
}

fn curve(record: &TablesRecord, style: Style) -> Vec<String> {
    let e_g = record.scale.e;
    let band = Band::of(&record.scale);
    let mpe = |load_g: f64| band.map_or(f64::NAN, |band| band.mpe_e(load_g));
    let curve: Vec<(f64, f64)> = (record.curve.iter())
        .map(|corner| (corner.load_g, corner.change_g / e_g))
        .collect();
    let special = |line: &&ShownLine| matches!(line.why, Why::Adjusted | Why::Kept);
    let points: Vec<(f64, f64, f64)> = (record.loads.iter())
        .filter(special)
        .map(|line| (line.one_g, line.change_e, 0.0))
        .collect();
    let mut lines = vec!["What changes, in e over load; dotted: the permissible error".to_owned()];
    lines.extend(
        Chart {
            curve: &curve,
            points: &points,
            mpe: &mpe,
            max_g: Some(record.scale.max),
            columns: columns(style),
            mark: style.pick("◆", "o"),
            ink: Some(Ink::After),
        }
        .lines(style),
    );
    lines
}

fn loads(record: &TablesRecord, heads: (&str, &str), style: Style) -> Vec<String> {
    let e_g = record.scale.e;
    let places = number::decimals(number::resolution_g(e_g));
    let column = |head: &str, cell: &dyn Fn(&ShownLine) -> String| {
        Column::new(head, record.loads.iter().map(cell))
    };
    let columns = vec![
        column("load", &|line| {
            number::mass(line.load_g, number::resolution_g(e_g))
        }),
        column("", &|line| word(line.why).to_owned()).of_words(),
        column(&format!("{}, g", heads.0), &|line| {
            number::fixed(line.one_g, places)
        }),
        column(&format!("{}, g", heads.1), &|line| {
            number::fixed(line.other_g, places)
        }),
        column("change, g", &|line| number::error_g(line.change_g, e_g)),
        column("in e", &|line| number::error_e(line.change_e)),
        column(style.pick("permitted ±g", "permitted, g"), &|line| {
            number::trimmed(line.permitted_g, places)
        }),
    ];
    lay(columns, style).0
}

/// Why a load is listed, where that needs a word.
pub(super) fn word(why: Why) -> &'static str {
    match why {
        Why::Familiar | Why::Asked => "",
        Why::Adjusted => "put right",
        Why::Kept => "kept",
    }
}

pub(super) fn remarks(record: &TablesRecord) -> Vec<String> {
    let judged = match record.judged_by.is_empty() {
        true => String::new(),
        false => format!(" Permitted: {}.", record.judged_by),
    };
    vec![
        format!(
            "By the integers of both tables: what is shown before rounding to d, of a load put on the empty pan, net of zero, at rest.{judged}"
        ),
        format!(
            "A load is what the first table reads as that, right or wrong{}; what a true mass shows, only weights tell.",
            match record.loads.iter().any(|line| line.why == Why::Adjusted) {
                true => ", but for the one put right",
                false => "",
            }
        ),
    ]
}

/// The difference in one sentence.
pub(super) fn headline(record: &TablesRecord) -> String {
    let e_g = record.scale.e;
    match &record.most {
        None if record.one.zero_counts != record.other.zero_counts => {
            "Above its own zero nothing that is shown changes; but zero itself moves.".to_owned()
        }
        None => "Nothing that is shown changes at any load.".to_owned(),
        Some(line) => {
            let permitted = line.permitted_g;
            let much = match line.change_g.abs() / permitted {
                share if !share.is_finite() => "nothing is known of what is permitted there".into(),
                share if share > 1.0 => format!(
                    "more than the ±{} g permitted there",
                    number::trimmed(permitted, number::decimals(number::resolution_g(e_g)))
                ),
                share => format!(
                    "{:.0} % of the ±{} g permitted there",
                    share * 100.0,
                    number::trimmed(permitted, number::decimals(number::resolution_g(e_g)))
                ),
            };
            format!(
                "The largest change, at {}: {} g ({} e), {much}.",
                number::mass(line.one_g, number::resolution_g(e_g)),
                number::error_g(line.change_g, e_g),
                number::error_e(line.change_e),
            )
        }
    }
}

/// A correction of one load, before it is brought in.
#[must_use]
pub fn adjustment(record: &AdjustmentRecord, e_g: f64, style: Style) -> String {
    let mass = |g: f64| number::mass(g, number::resolution_g(e_g));
    // Where it ends nobody needs to a hundredth.
    let whole = |g: f64| number::mass((g / e_g).round() * e_g, e_g);
    let off_g = record.shown_g - record.load_g;
    let how = if record.captured {
        "It was captured"
    } else {
        "It is said"
    };
    let mut lines = vec![paint(
        style,
        Ink::Strong,
        &format!("{} put right", mass(record.load_g)),
    )];
    let mut say = |text: &str| lines.extend(wrap(style, "  ", text));
    say(&format!(
        "{how} to show {}, {} g too {} ({} e).",
        mass(record.shown_g),
        number::size_g(off_g, e_g),
        if off_g > 0.0 { "much" } else { "little" },
        number::error_e(off_g / e_g),
    ));
    let kept = match record.kept_g.as_slice() {
        [] => String::new(),
        kept => format!(
            " Kept: {}.",
            kept.iter().map(|g| mass(*g)).collect::<Vec<_>>().join(", ")
        ),
    };
    say(&format!(
        "A smooth correction from {} to {}, all of it at {} and none at its ends; the curve's steepness changes by {} % at most. Zero stays.{kept}",
        whole(record.from_g),
        whole(record.to_g),
        mass(record.load_g),
        number::significant(record.bend * 100.0, 2),
    ));
    let points = |n: usize| {
        if n == 1 {
            "1 point".into()
        } else {
            format!("{n} points")
        }
    };
    say(&format!(
        "In the table: {} new, {} gone; straight lines between points leave the smooth curve by {} at most.",
        points(record.added),
        record.taken_out,
        number::spread(record.off_g, 2),
    ));
    set(style, &lines)
}

/// What is said once a change is in force.
#[must_use]
pub fn brought_in(table: &TableRecord, style: Style) -> String {
    let text = format!(
        "In force: {} points, read back and compared: equal (checksum {}, change {}).",
        table.points.len(),
        table.checksum,
        table.sequence.unwrap_or_default()
    );
    let mut lines = wrap(style, "", &text);
    lines.extend(wrap(
        style,
        "",
        "The zero in use is that of the table again: empty the pan and set zero before weighing.",
    ));
    lines.push("next   scalewright verify errors --weights weights.toml".into());
    lines.push("undo   scalewright table roll-back".into());
    set(style, &lines)
}

fn heed(style: Style, text: &str) -> Vec<String> {
    let lines = wrap(style, "! ", text);
    (lines.iter())
        .map(|line| paint(style, Ink::Heed, line))
        .collect()
}
