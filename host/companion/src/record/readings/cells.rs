//! Lines into cells.

use super::{EXAMPLE, ReadingsFault};

/// A line that is neither empty nor a remark.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    /// Its number, from 1.
    pub(super) line: usize,
    /// Its cells, without blanks around them and without quotes.
    pub(super) cells: Vec<String>,
    /// What parts the cells of this file.
    pub(super) separator: char,
}

impl Row {
    /// The text of a cell; empty where the row is too short.
    pub(super) fn cell(&self, at: usize) -> &str {
        self.cells.get(at).map_or("", String::as_str)
    }
}

/// Most lines that are read: more is no table of loads.
const MOST: usize = 10_000;

/// The lines of a file. One separator holds for all: a tab where there is one,
/// else a semicolon, else a comma.
pub(super) fn rows(text: &str) -> Result<Vec<Row>, ReadingsFault> {
    let text = text.trim_start_matches('\u{feff}');
    let lines: Vec<(usize, &str)> = (text.lines().enumerate())
        .map(|(at, line)| (at + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'))
        .collect();
    if lines.len() > MOST {
        let what = format!("it has more than {MOST} lines");
        return Err(ReadingsFault::whole(what, "keep a line for each reading"));
    }
    let has = |sign: char| lines.iter().any(|(_, line)| line.contains(sign));
    let separator = ['\t', ';', ','].into_iter().find(|sign| has(*sign));
    let Some(separator) = separator else {
        return match lines.first() {
            None => Ok(Vec::new()),
            Some((line, _)) => Err(ReadingsFault::at(
                *line,
                "there is only one column",
                EXAMPLE,
            )),
        };
    };
    lines
        .into_iter()
        .map(|(line, text)| {
            let cells = split(text, separator).ok_or_else(|| {
                let what = "a quotation mark is not closed";
                ReadingsFault::at(line, what, "close it or take it out")
            })?;
            Ok(Row {
                line,
                cells,
                separator,
            })
        })
        .collect()
}

/// Cells of a line; a cell may stand in quotation marks, doubled inside it
/// (RFC 4180, 2, from memory). `None` when one is not closed.
fn split(line: &str, separator: char) -> Option<Vec<String>> {
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut quoted = false;
    let mut letters = line.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' if quoted => quoted = false,
            '"' if cell.trim().is_empty() => {
                cell.clear();
                quoted = true;
            }
            _ if letter == separator && !quoted => {
                cells.push(std::mem::take(&mut cell).trim().to_owned());
            }
            _ => cell.push(letter),
        }
    }
    cells.push(cell.trim().to_owned());
    (!quoted).then_some(cells)
}
