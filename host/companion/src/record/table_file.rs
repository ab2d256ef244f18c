//! The table of a scale in a file, made to be edited by hand.
//!
//! ```toml
//! scale = "4F2A"
//! max = "6 kg"
//! e = "2 g"
//! d = "1 g"
//! class = "III"
//! step = "2 mg"
//! zero_counts = 84321
//! points = [
//!   [0, "0 g"],
//!   [812345, "1000.002 g"],
//! ]
//! ```
//!
//! Owns what a file may say, and how one is written. Guarantees that what was
//! written is read as the same integers. Refuses the rest, all of it at once: the
//! line, what is wrong, what to do.

use std::path::Path;

use scalewright_protocol::table::{Knot, MASS_LIMIT, NET_COUNTS_LIMIT, SLOPE_RATIO_LIMIT, check};
use toml::de::DeValue;

use super::form::{Form, FormFaults, Part};
use super::mass::{number, parse_g, split, unit_g};
use super::outcome::ScaleLine;
use super::weights::name;
use crate::quantise::{MOST_KNOTS, quantum_g, quantum_ug};

mod writing;

pub use writing::write;

/// Bytes of a file that are read at most.
const MOST_BYTES: u64 = 100_000;

/// What is wrong with a file.
pub type TableFileFaults = FormFaults;

/// Why a file gave no table.
#[derive(Clone, Debug, PartialEq)]
pub enum NotRead {
    /// The file itself: what is the matter with it.
    File(String),
    /// Its text.
    Table(TableFileFaults),
}

/// A table with what belongs to it.
#[derive(Clone, Debug, PartialEq)]
pub struct SavedTable {
    /// Number of the scale it is of, as "4F2A".
    pub device: Option<String>,
    /// The scale.
    pub scale: ScaleLine,
    /// Mass quantum, micrograms.
    pub quantum_ug: u32,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: Option<i32>,
    /// Greatest width of the hysteresis loop that is taken off, g; 0 for none,
    /// absent when nothing is said.
    pub hysteresis_g: Option<f64>,
    /// The points.
    pub knots: Vec<Knot>,
    /// Where each stands in the file, from 1; empty for what comes from no file.
    pub lines: Vec<usize>,
    /// Number of the change in its scale.
    pub change: Option<u32>,
    /// When it was saved.
    pub saved: Option<String>,
}

impl SavedTable {
    /// The same points in other quanta, to the nearest.
    #[must_use]
    pub fn knots_in(&self, quantum_ug: u32) -> Vec<Knot> {
        if quantum_ug == self.quantum_ug {
            return self.knots.clone();
        }
        let factor = f64::from(self.quantum_ug) / f64::from(quantum_ug.max(1));
        let knot = |knot: &Knot| Knot {
            // Held at the ends of 32 bits, where no table is any more.
            mass: (f64::from(knot.mass) * factor).round() as i32,
            ..*knot
        };
        self.knots.iter().map(knot).collect()
    }
}

/// Reads a file.
///
/// # Errors
/// [`NotRead`].
pub fn read(path: &Path) -> Result<SavedTable, NotRead> {
    let file = path.display().to_string();
    let length = std::fs::metadata(path).map(|found| found.len());
    if length.is_ok_and(|length| length > MOST_BYTES) {
        return Err(NotRead::File(format!("{file} is far longer than a table")));
    }
    let text = std::fs::read_to_string(path)
        .map_err(|error| NotRead::File(format!("{file} can't be read: {error}")))?;
    parse(&text, &file).map_err(NotRead::Table)
}

/// Reads the text of a file called `file`.
///
/// # Errors
/// Everything that is wrong with it.
pub fn parse(text: &str, file: &str) -> Result<SavedTable, TableFileFaults> {
    let mut form = Form::of(text, file)?;
    let mut top = form.top();
    let device = form.may(&mut top, "scale");
    let saved = form.may(&mut top, "saved");
    let change = whole(&mut form, &mut top, "change", 0.0, 4_294_967_295.0).map(|n| n as u32);
    let [max, e, d] = [("max", "6 kg"), ("e", "2 g"), ("d", "1 g")]
        .map(|(key, example)| mass(&mut form, &mut top, key, example, true));
    let class = form.must(&mut top, "class", "the accuracy class: I, II, III or IIII");
    if !class.is_empty() && !["I", "II", "III", "IIII"].contains(&class.as_str()) {
        form.fault(&top, "class", "is none: write I, II, III or IIII");
    }
    let step_g = mass(&mut form, &mut top, "step", "2 mg", false);
    let zero_counts = whole(
        &mut form,
        &mut top,
        "zero_counts",
        -8_388_608.0,
        8_388_607.0,
    )
    .map(|n| n as i32);
    let hysteresis_g = hysteresis(&mut form, &mut top);
    let rows = form.list(&mut top, "points");
    let empty = rows.is_empty();
    if empty && !form.is_faulty() {
        form.fault(
            &top,
            "points",
            "are missing: write a list of [net counts, \"mass\"], as points = [[0, \"0 g\"], [812345, \"1 kg\"]]",
        );
    }
    form.end(top);
    let points: Vec<Option<(usize, i64, f64)>> =
        rows.into_iter().map(|row| point(&mut form, row)).collect();
    let quantum_ug = step_g.map_or_else(
        || quantum_ug(e.unwrap_or(1.0)),
        |g| (g * 1e6).round().clamp(1.0, f64::from(u32::MAX)) as u32,
    );
    // What can't be read leaves a gap in which order means nothing.
    let all: Option<Vec<_>> = points.into_iter().collect();
    let knots = match all {
        Some(points) if !empty => knots(&mut form, &points, quantum_ug),
        _ => Vec::new(),
    };
    form.finish(SavedTable {
        device,
        scale: ScaleLine {
            max: max.unwrap_or(0.0),
            e: e.unwrap_or(0.0),
            d: d.unwrap_or(0.0),
            unit: "g".into(),
            class,
        },
        quantum_ug,
        zero_counts,
        hysteresis_g,
        lines: knots.iter().map(|(line, _)| *line).collect(),
        knots: knots.into_iter().map(|(_, knot)| knot).collect(),
        change,
        saved,
    })
}

/// A mass above zero.
fn mass<'t>(
    form: &mut Form<'t>,
    top: &mut Part<'t>,
    key: &'static str,
    example: &str,
    must: bool,
) -> Option<f64> {
    let what = format!("a mass, as {key} = \"{example}\"");
    let text = match must {
        true => form.must(top, key, &what),
        false => form.may(top, key).unwrap_or_default(),
    };
    if text.is_empty() {
        return None;
    }
    let read = parse_g(&text);
    if let Err(cause) = &read {
        form.fault(top, key, &format!("is no mass: {cause}; write {what}"));
    }
    read.ok()
}

/// A whole number between two ends.
fn whole<'t>(
    form: &mut Form<'t>,
    top: &mut Part<'t>,
    key: &'static str,
    low: f64,
    high: f64,
) -> Option<f64> {
    let found = form.number(top, key)?;
    if found.fract() == 0.0 && (low..=high).contains(&found) {
        return Some(found);
    }
    let cause =
        format!("is not a whole number from {low} to {high}: take the line away, or correct it");
    form.fault(top, key, &cause);
    None
}

fn hysteresis<'t>(form: &mut Form<'t>, top: &mut Part<'t>) -> Option<f64> {
    let text = form.may(top, "hysteresis")?;
    let read = signed_g(&text).and_then(|g| match g >= 0.0 {
        true => Ok(g),
        false => Err(format!("\"{text}\" is below zero")),
    });
    if let Err(cause) = &read {
        let cause =
            format!("is no width: {cause}; write a mass, as \"0.9 g\", or \"0 g\" for none");
        form.fault(top, "hysteresis", &cause);
    }
    read.ok()
}

/// A mass that may be zero or below, g.
fn signed_g(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let (value, unit) = split(text);
    let Some(factor) = unit_g(unit) else {
        // Says what is wrong with the unit.
        return parse_g(text);
    };
    let g = number(value)? * factor;
    match g.is_finite() {
        true => Ok(g),
        false => Err(format!("\"{text}\" is no mass")),
    }
}

/// One line of the list: where it stands, net counts, mass in g.
fn point(form: &mut Form<'_>, (line, row): (usize, DeValue<'_>)) -> Option<(usize, i64, f64)> {
    const AS: &str = "write it as [812345, \"1000.002 g\"], net counts and mass";
    let DeValue::Array(row) = row else {
        form.wrong(line, &format!("this point is no pair in brackets: {AS}"));
        return None;
    };
    let mut fields = row.into_iter().map(|field| field.into_inner());
    let (Some(counts), Some(mass), None) = (fields.next(), fields.next(), fields.next()) else {
        form.wrong(line, &format!("this point is no pair: {AS}"));
        return None;
    };
    let counts = match counts {
        DeValue::Integer(number) => number.to_string().replace('_', "").parse::<i64>().ok(),
        _ => None,
    };
    if counts.is_none() {
        form.wrong(line, &format!("the counts are no whole number: {AS}"));
    }
    let mass_g = match mass {
        DeValue::String(text) => signed_g(&text),
        DeValue::Integer(_) | DeValue::Float(_) => {
            Err("it stands without quotes and unit".to_owned())
        }
        _ => Err("it is no text".to_owned()),
    };
    if let Err(cause) = &mass_g {
        form.wrong(line, &format!("the mass can't be read: {cause}; {AS}"));
    }
    Some((line, counts?, mass_g.ok()?))
}

/// The points as integers; all that keeps them from being a table is noted.
fn knots(form: &mut Form<'_>, points: &[(usize, i64, f64)], quantum_ug: u32) -> Vec<(usize, Knot)> {
    let unit_g = quantum_g(quantum_ug);
    let before = form.is_faulty();
    let mut knots: Vec<(usize, Knot)> = Vec::new();
    let mut rough = false;
    for (line, counts, mass_g) in points {
        let counts = i32::try_from(*counts).ok();
        let counts = counts.filter(|counts| counts.abs() <= NET_COUNTS_LIMIT);
        let quanta = (mass_g / unit_g).round();
        let fits = quanta.abs() <= f64::from(MASS_LIMIT);
        if counts.is_none() {
            form.wrong(*line, &format!(
                "no converter delivers so many counts: they go from -{NET_COUNTS_LIMIT} to {NET_COUNTS_LIMIT}"
            ));
        }
        if !fits {
            form.wrong(
                *line,
                &format!(
                    "a table can't hold {}: correct the mass, or make step larger",
                    name(*mass_g)
                ),
            );
        }
        match counts {
            Some(counts) if fits => knots.push((
                *line,
                Knot {
                    counts,
                    mass: quanta as i32,
                },
            )),
            _ => rough = true,
        }
    }
    if !rough {
        in_order(form, &knots);
    }
    if knots.len() > MOST_KNOTS {
        let line = knots.get(MOST_KNOTS).map_or(1, |(line, _)| *line);
        form.wrong(line, &format!(
            "there are {} points, and no scale holds more than {MOST_KNOTS}: take some out from here on",
            knots.len()
        ));
    }
    // The device's own check has the last word.
    let plain: Vec<Knot> = knots.iter().map(|(_, knot)| *knot).collect();
    if !form.is_faulty()
        && !before
        && let Err(fault) = check(&plain, MOST_KNOTS)
    {
        form.wrong(1, &format!("the points make no table: {fault}"));
    }
    knots
}

/// Order, zero, steepness.
fn in_order(form: &mut Form<'_>, knots: &[(usize, Knot)]) {
    let (Some((first_line, first)), Some((last_line, last))) = (knots.first(), knots.last()) else {
        return;
    };
    if knots.len() < 2 {
        form.wrong(
            *first_line,
            "one point is no table: add another, best that of Max",
        );
        return;
    }
    let mut rising = true;
    for pair in knots.windows(2) {
        let [(_, left), (line, right)] = pair else {
            continue;
        };
        if right.counts <= left.counts {
            rising = false;
            form.wrong(*line, &format!(
                "counts must rise from point to point, and {} is not above {}: put the points in order, or correct them",
                right.counts, left.counts
            ));
        } else if right.mass <= left.mass {
            rising = false;
            form.wrong(
                *line,
                "its mass is not a step above that of the point before: put the points in order, or correct them",
            );
        }
    }
    if !knots
        .iter()
        .any(|(_, knot)| knot.counts == 0 && knot.mass == 0)
    {
        let line = (knots.iter())
            .find(|(_, knot)| knot.counts >= 0)
            .map_or(*last_line, |(line, _)| *line);
        form.wrong(
            line,
            "the point of zero is missing: add [0, \"0 g\"] where it belongs",
        );
    }
    if !rising {
        return;
    }
    let run_all = i64::from(last.counts) - i64::from(first.counts);
    let rise_all = i64::from(last.mass) - i64::from(first.mass);
    for pair in knots.windows(2) {
        let [(_, left), (line, right)] = pair else {
            continue;
        };
        let run = i64::from(right.counts) - i64::from(left.counts);
        let rise = i64::from(right.mass) - i64::from(left.mass);
        let steep = rise * run_all > SLOPE_RATIO_LIMIT * rise_all * run;
        let flat = SLOPE_RATIO_LIMIT * rise * run_all < rise_all * run;
        if steep || flat {
            let how = if steep { "steep" } else { "flat" };
            form.wrong(*line, &format!(
                "from the point before to this it is twice as {how} as the whole, which no cell is: look for a slip in one of the two"
            ));
        }
    }
}
