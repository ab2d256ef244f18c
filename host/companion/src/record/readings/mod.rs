//! What another scale showed, from the text of a CSV file.
//!
//! Guarantees: plain grams out, each with its line; every line that is not used
//! is named with its reason. Refuses, with the line, what could be read in two
//! ways: the decimal sign, the unit, the columns.
//!
//! | Module | Owns |
//! |---|---|
//! | `cells` | the separator, quotes, lines into cells |
//! | `columns` | which column is which, by heading or by position |
//! | `digits` | numbers, and whether their decimal sign is a point or a comma |
//! | `doubts` | rows written twice, units mixed up, readings that move |

mod cells;
mod columns;
pub mod digits;
mod doubts;

use std::fmt;

use super::mass::unit_g;
use cells::Row;
use columns::{Columns, Unit};
use digits::{Decimal, Numeral};

/// What the other scale showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// Reading by reading, in the order of the file.
    pub rows: Vec<ReadingRow>,
    /// What is doubtful, in the order of the file.
    pub flags: Vec<Flag>,
    /// The scale interval as the digits of the readings show it, g: a guess.
    pub step_g: f64,
}

/// One reading.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingRow {
    /// The load as the file names it, g; absent when it only names weights.
    pub load_g: Option<f64>,
    /// Names of the weights, where the file has them.
    pub weights: Vec<String>,
    /// What was shown, g.
    pub reading_g: f64,
    /// Line of the file, from 1.
    pub line: usize,
}

/// Something doubtful about a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// Line of the file, from 1.
    pub line: usize,
    /// What is doubtful.
    pub what: String,
    /// What to do about it.
    pub try_this: String,
    /// Whether the line was left out for it.
    pub left_out: bool,
}

impl fmt::Display for Flag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (line, what, try_this) = (self.line, &self.what, &self.try_this);
        let left_out = if self.left_out { " (left out)" } else { "" };
        write!(f, "line {line}{left_out}: {what}; {try_this}")
    }
}

/// Why a file can't be used.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingsFault {
    /// Line of the file, from 1, if it is one line's.
    pub line: Option<usize>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub try_this: String,
}

impl fmt::Display for ReadingsFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.what),
            None => f.write_str(&self.what),
        }
    }
}

impl std::error::Error for ReadingsFault {}

impl ReadingsFault {
    fn at(line: usize, what: impl Into<String>, try_this: impl Into<String>) -> Self {
        Self {
            line: Some(line),
            what: what.into(),
            try_this: try_this.into(),
        }
    }

    fn whole(what: impl Into<String>, try_this: impl Into<String>) -> Self {
        Self {
            line: None,
            what: what.into(),
            try_this: try_this.into(),
        }
    }
}

/// How such a file is written, in one line.
pub const EXAMPLE: &str = "write lines such as \"load (g); reading (g)\", then \"1000; 1000.4\"";

/// A number in its cell, before the decimal sign of the file is known.
struct Cell<'a> {
    text: &'a str,
    numeral: Numeral,
    unit: Unit,
}

/// A line with a load or weights, and a reading.
struct Taken<'a> {
    line: usize,
    load: Option<Cell<'a>>,
    weights: Vec<String>,
    readings: Vec<Cell<'a>>,
}

/// Reads the text of a file.
///
/// Columns are found by the words of a heading line (load, weights, reading,
/// unit; a unit may stand in it too, as "reading (kg)"), or by position: load,
/// reading, unit. Several reading columns, or lines with the same load, are
/// repeats.
///
/// # Errors
/// [`ReadingsFault`] for what can't be read, or in two ways.
///
/// ```
/// use scalewright::record::readings::parse;
/// let read = parse("load (kg);reading (g)\n1;1000,4\n2;2000,9\n").unwrap();
/// assert_eq!(read.rows[1].reading_g, 2000.9);
/// assert!(parse("load;reading\n1;2\n").is_err());
/// ```
pub fn parse(text: &str) -> Result<Readings, ReadingsFault> {
    let mut rows = cells::rows(text)?;
    let Some(first) = rows.first() else {
        return Err(ReadingsFault::whole("there is nothing in it", EXAMPLE));
    };
    let columns = Columns::of(first)?;
    if columns.headed {
        rows.remove(0);
    }
    let mut flags = Vec::new();
    doubts::without_twins(&mut rows, &mut flags);
    let mut taken = Vec::new();
    for row in &rows {
        columns.fits(row)?;
        taken.extend(take(row, &columns, &mut flags)?);
    }
    let decimal = decimal(&taken, &rows)?;
    let mut out = Vec::new();
    let mut steps = Vec::new();
    for one in &taken {
        valued(one, decimal, &columns, &mut out, &mut steps)?;
    }
    if out.is_empty() {
        let what = "no line has both a load and a reading";
        return Err(ReadingsFault::whole(what, EXAMPLE));
    }
    doubts::units_apart(&out)?;
    doubts::far_from_load(&mut out, &mut flags);
    doubts::moving(&out, digits::interval_g(&steps), &mut flags);
    flags.sort_by_key(|flag| flag.line);
    Ok(Readings {
        rows: out,
        flags,
        step_g: digits::interval_g(&steps),
    })
}

/// What a row has to say; `None` with a flag where something is missing.
fn take<'a>(
    row: &'a Row,
    columns: &Columns,
    flags: &mut Vec<Flag>,
) -> Result<Option<Taken<'a>>, ReadingsFault> {
    let mut missing = |what: String| {
        flags.push(Flag {
            line: row.line,
            what,
            try_this: "complete the line or take it out".into(),
            left_out: true,
        });
        Ok(None)
    };
    let unit = columns.unit.map(|at| row.cell(at));
    if let Some(unit) = unit.filter(|unit| !unit.is_empty() && unit_g(&lower(unit)).is_none()) {
        return missing(format!("\"{unit}\" is no mass unit"));
    }
    let unit = unit.filter(|unit| !unit.is_empty()).map(lower);
    let read = |at: usize| -> Result<Option<Cell<'a>>, String> {
        let text = row.cell(at);
        if text.is_empty() {
            return Ok(None);
        }
        let Some((numeral, rest)) = digits::scan(text) else {
            return Err(format!("\"{text}\" is no number"));
        };
        if !rest.is_empty() && unit_g(&lower(rest)).is_none() {
            return Err(format!("\"{rest}\" in \"{text}\" is no mass unit"));
        }
        let own = Some(lower(rest)).filter(|unit| !unit.is_empty());
        let unit = Unit {
            own,
            row: unit.clone(),
            column: columns.unit_of(at),
        };
        Ok(Some(Cell {
            text,
            numeral,
            unit,
        }))
    };
    let mut weights = columns
        .weights
        .map(|at| names(row.cell(at)))
        .unwrap_or_default();
    let load = match columns.load.map(|at| (at, read(at))) {
        None => None,
        Some((_, Ok(load))) => load,
        // "W1+W5" or "2kg+500g" in the column of loads.
        Some((at, Err(_))) if is_named(row.cell(at)) => {
            weights = names(row.cell(at));
            None
        }
        Some((_, Err(why))) => return missing(format!("the load {why}")),
    };
    if load.is_none() && weights.is_empty() {
        return missing("there is no load".into());
    }
    let mut readings = Vec::new();
    for at in &columns.readings {
        match read(*at) {
            Ok(reading) => readings.extend(reading),
            Err(why) => return missing(format!("the reading {why}")),
        }
    }
    if readings.is_empty() {
        return missing("there is no reading".into());
    }
    Ok(Some(Taken {
        line: row.line,
        load,
        weights,
        readings,
    }))
}

fn is_named(text: &str) -> bool {
    text.contains('+') || text.starts_with(|c: char| c.is_alphabetic())
}

fn lower(text: &str) -> String {
    text.to_lowercase()
}

/// "W1 + W5" as names.
fn names(text: &str) -> Vec<String> {
    let each = text.split('+').map(str::trim);
    each.filter(|name| !name.is_empty())
        .map(Into::into)
        .collect()
}

/// The decimal sign of the whole file.
fn decimal(taken: &[Taken<'_>], rows: &[Row]) -> Result<Decimal, ReadingsFault> {
    let cells = taken.iter().flat_map(|one| {
        let all = one.load.iter().chain(&one.readings);
        all.map(|cell| (one.line, cell.text, &cell.numeral))
    });
    // Where commas part the columns only quotes let one into a number.
    let commas = rows.first().is_some_and(|row| row.separator == ',');
    digits::decimal_of(cells, commas)
}

fn valued(
    one: &Taken<'_>,
    decimal: Decimal,
    columns: &Columns,
    out: &mut Vec<ReadingRow>,
    steps: &mut Vec<(f64, f64, Option<f64>)>,
) -> Result<(), ReadingsFault> {
    let grams = |cell: &Cell<'_>| -> Result<(f64, f64), ReadingsFault> {
        let (value, places) = cell.numeral.value(decimal).ok_or_else(|| {
            let what = format!("\"{}\" is no number with {decimal}", cell.text);
            ReadingsFault::at(one.line, what, "write it like the others")
        })?;
        let unit_g = cell.unit.grams(one.line, cell.text, columns)?;
        let step_g = unit_g * 10f64.powi(-i32::from(places));
        Ok((digits::in_g(value, unit_g), step_g))
    };
    let load_g = one
        .load
        .as_ref()
        .map(&grams)
        .transpose()?
        .map(|load| load.0);
    if load_g.is_some_and(|g| g < 0.0) {
        let what = "the load is below zero";
        return Err(ReadingsFault::at(one.line, what, "correct the line"));
    }
    for cell in &one.readings {
        let (reading_g, step_g) = grams(cell)?;
        if !(reading_g.abs() <= 1e12 && load_g.unwrap_or(0.0) <= 1e12) {
            let what = format!("\"{}\" is more than any scale weighs", cell.text);
            return Err(ReadingsFault::at(one.line, what, "correct the line"));
        }
        steps.push((reading_g, step_g, load_g));
        out.push(ReadingRow {
            load_g,
            weights: one.weights.clone(),
            reading_g,
            line: one.line,
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
