//! Which column holds what, and in which unit.

use super::cells::Row;
use super::{EXAMPLE, ReadingsFault, digits};
use crate::record::mass::unit_g;

/// The columns of a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Columns {
    /// Whether the first line names them.
    pub(super) headed: bool,
    /// Mass of the load.
    pub(super) load: Option<usize>,
    /// Names of the weights.
    pub(super) weights: Option<usize>,
    /// What was shown, once or several times.
    pub(super) readings: Vec<usize>,
    /// Unit of the row.
    pub(super) unit: Option<usize>,
    /// Units in the heading, by column.
    named: Vec<(usize, String)>,
    /// How many there are.
    count: usize,
}

/// Where the unit of a number may stand.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Unit {
    /// Behind it.
    pub(super) own: Option<String>,
    /// In the row's column of units.
    pub(super) row: Option<String>,
    /// In the heading.
    pub(super) column: Option<String>,
}

const LOAD: [&str; 4] = ["load", "loads", "nominal", "applied"];
const READING: [&str; 7] = [
    "reading",
    "readings",
    "indication",
    "indicated",
    "shown",
    "shows",
    "display",
];
const WEIGHTS: [&str; 2] = ["weights", "weight"];
const UNIT: [&str; 2] = ["unit", "units"];

impl Columns {
    /// Columns by the first line.
    pub(super) fn of(first: &Row) -> Result<Self, ReadingsFault> {
        let numbers = first
            .cells
            .iter()
            .filter(|cell| digits::scan(cell).is_some());
        if numbers.count() > 0 {
            return Self::by_position(first);
        }
        let mut columns = Self {
            headed: true,
            count: first.cells.len(),
            ..Self::default()
        };
        for (at, cell) in first.cells.iter().enumerate() {
            columns.name(at, cell, first.line)?;
        }
        // "weight" is what many call the load: its cells tell masses from names.
        if columns.load.is_none() {
            columns.load = columns.weights.take();
        }
        let missing = match (columns.load, columns.readings.first()) {
            (Some(_), Some(_)) => return Ok(columns),
            (None, Some(_)) => "\"load\" or \"weights\"",
            (Some(_), None) => "\"reading\"",
            (None, None) => "\"load\" and none \"reading\"",
        };
        let what =
            format!("the first line has no numbers, and no column of it is called {missing}");
        Err(ReadingsFault::at(first.line, what, EXAMPLE))
    }

    fn name(&mut self, at: usize, cell: &str, line: usize) -> Result<(), ReadingsFault> {
        let cell = cell.to_lowercase();
        let words: Vec<&str> = (cell.split(|c: char| !c.is_alphanumeric()))
            .filter(|word| !word.is_empty())
            .collect();
        let says = |list: &[&str]| words.iter().any(|word| list.contains(word));
        let place = if says(&READING) {
            self.readings.push(at);
            None
        } else if says(&LOAD) {
            Some(&mut self.load)
        } else if says(&WEIGHTS) {
            Some(&mut self.weights)
        } else if says(&UNIT) {
            Some(&mut self.unit)
        } else {
            return Ok(());
        };
        if place.and_then(|place| place.replace(at)).is_some() {
            let what = format!("two columns are called \"{cell}\"");
            return Err(ReadingsFault::at(
                line,
                what,
                "rename the one that is something else",
            ));
        }
        let units = words.iter().filter(|word| unit_g(word).is_some());
        self.named
            .extend(units.take(1).map(|unit| (at, (*unit).to_owned())));
        Ok(())
    }

    fn by_position(first: &Row) -> Result<Self, ReadingsFault> {
        let filled = first.cells.iter().rposition(|cell| !cell.is_empty());
        let count = filled.map_or(0, |last| last + 1);
        let is_unit = |at: usize| unit_g(&first.cell(at).to_lowercase()).is_some();
        let unit = match count {
            2 => None,
            3 if is_unit(2) => Some(2),
            _ => {
                let what = format!("{count} columns without a heading: which is which?");
                return Err(ReadingsFault::at(first.line, what, hint(first.separator)));
            }
        };
        Ok(Self {
            load: Some(0),
            readings: vec![1],
            unit,
            count,
            ..Self::default()
        })
    }

    /// The unit that the heading gives a column.
    pub(super) fn unit_of(&self, at: usize) -> Option<String> {
        let own = self.named.iter().find(|(column, _)| *column == at);
        own.map(|(_, unit)| unit.clone())
    }

    /// Refuses a row with more cells than there are columns.
    pub(super) fn fits(&self, row: &Row) -> Result<(), ReadingsFault> {
        let filled = row.cells.iter().rposition(|cell| !cell.is_empty());
        let cells = filled.map_or(0, |last| last + 1);
        if cells <= self.count {
            return Ok(());
        }
        let what = format!("{cells} cells stand in {} columns", self.count);
        Err(ReadingsFault::at(row.line, what, hint(row.separator)))
    }
}

fn hint(separator: char) -> String {
    match separator {
        ',' => {
            format!("if commas are decimal signs here, part the columns by semicolons: {EXAMPLE}")
        }
        _ => format!("name the columns in a first line: {EXAMPLE}"),
    }
}

impl Unit {
    /// The unit in g; `text` is the number it belongs to.
    pub(super) fn grams(
        &self,
        line: usize,
        text: &str,
        columns: &Columns,
    ) -> Result<f64, ReadingsFault> {
        // A heading with one unit speaks for all columns.
        let only = match columns.named.as_slice() {
            [(_, unit)] => Some(unit),
            _ => None,
        };
        let said: Vec<&String> = [&self.own, &self.row, &self.column]
            .into_iter()
            .flatten()
            .collect();
        let unit = said.first().copied().or(only);
        let Some(unit) = unit else {
            let what = format!("\"{text}\" has no unit");
            let advice = "write it behind the number or in the heading, as \"reading (g)\"";
            return Err(ReadingsFault::at(line, what, advice));
        };
        if let Some(other) = said.iter().find(|other| **other != unit) {
            let what = format!("\"{text}\" is in {unit}, but its column or row is in {other}");
            return Err(ReadingsFault::at(line, what, "write one unit"));
        }
        unit_g(unit).ok_or_else(|| {
            let what = format!("\"{unit}\" is no mass unit");
            ReadingsFault::at(line, what, "write g, kg, mg, t, lb or oz")
        })
    }
}
