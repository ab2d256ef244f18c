//! A TOML file walked key by key, with everything wrong about it gathered.
//!
//! Guarantees that a fault names the key as it would be searched for
//! (`customer.name`), its line, and what to do. A part knows which keys were
//! asked of it; what is left over at its end is refused.

use std::fmt;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::record::lines::line_at;

/// What is wrong with a form.
#[derive(Clone, Debug, PartialEq)]
pub struct FormFault {
    /// Line, from 1, when it is about one.
    pub line: Option<usize>,
    /// The key, what is wrong, what to do.
    pub cause: String,
}

/// Everything that is wrong with a form; one fault at least.
#[derive(Clone, Debug, PartialEq)]
pub struct FormFaults {
    /// The file.
    pub file: String,
    /// In the order of their lines.
    pub faults: Vec<FormFault>,
}

impl FormFaults {
    /// One fault of a file. What it quotes may hold anything, so control
    /// characters go.
    #[must_use]
    pub fn of(file: &str, line: Option<usize>, cause: String) -> Self {
        let cause = cause.replace(char::is_control, " ");
        Self {
            file: file.into(),
            faults: vec![FormFault { line, cause }],
        }
    }
}

impl fmt::Display for FormFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.cause),
            None => f.write_str(&self.cause),
        }
    }
}

impl fmt::Display for FormFaults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let all: Vec<String> = self.faults.iter().map(ToString::to_string).collect();
        write!(f, "{}: {}", self.file, all.join("; "))
    }
}

impl std::error::Error for FormFaults {}

/// Something that stands in the text.
struct Entry<'t> {
    key: String,
    at: usize,
    value: DeValue<'t>,
}

/// A part of the form, as `[customer]`.
pub struct Part<'t> {
    /// "" for the top, else with a point at its end.
    path: String,
    at: usize,
    left: Vec<Entry<'t>>,
    asked: Vec<(&'static str, Option<usize>)>,
}

impl<'t> Part<'t> {
    fn of(path: String, at: usize, table: DeTable<'t>) -> Self {
        let left = table.into_iter().map(|(key, value)| Entry {
            at: key.span().start,
            key: key.into_inner().into_owned(),
            value: value.into_inner(),
        });
        Self {
            path,
            at,
            left: left.collect(),
            asked: Vec::new(),
        }
    }

    fn take(&mut self, key: &'static str) -> Option<DeValue<'t>> {
        let found = self.left.iter().position(|entry| entry.key == key);
        let entry = found.map(|index| self.left.remove(index));
        self.asked.push((key, entry.as_ref().map(|entry| entry.at)));
        entry.map(|entry| entry.value)
    }

    /// Where a key stands that was asked for; else where the part begins.
    fn place_of(&self, key: &str) -> usize {
        let found = self.asked.iter().find(|(asked, _)| *asked == key);
        found.and_then(|(_, at)| *at).unwrap_or(self.at)
    }
}

/// A form being read.
pub struct Form<'t> {
    text: &'t str,
    file: &'t str,
    top: Option<Part<'t>>,
    faults: Vec<FormFault>,
}

impl<'t> Form<'t> {
    /// A text as a form.
    ///
    /// # Errors
    /// Where it is no TOML.
    pub fn of(text: &'t str, file: &'t str) -> Result<Self, FormFaults> {
        let read = DeTable::parse(text).map_err(|error| {
            let line = error.span().map(|span| line_at(text, span.start));
            let cause = format!(
                "is no TOML: {}; look for a missing quote or bracket",
                error.message()
            );
            FormFaults::of(file, line, cause)
        })?;
        Ok(Self {
            text,
            file,
            top: Some(Part::of(String::new(), 0, read.into_inner())),
            faults: Vec::new(),
        })
    }

    /// What stands above the first part; once.
    pub fn top(&mut self) -> Part<'t> {
        let empty = || Part::of(String::new(), 0, DeTable::new());
        self.top.take().unwrap_or_else(empty)
    }

    /// Notes what is wrong with a key of a part.
    pub fn fault(&mut self, part: &Part<'t>, key: &str, cause: &str) {
        let at = part.place_of(key);
        self.note(
            Some(line_at(self.text, at)),
            &format!("{}{key} {cause}", part.path),
        );
    }

    fn note(&mut self, line: Option<usize>, cause: &str) {
        let cause = cause.replace(char::is_control, " ");
        self.faults.push(FormFault { line, cause });
    }

    /// The line of a key, or of its part.
    pub fn line_of(&self, part: &Part<'t>, key: &str) -> usize {
        line_at(self.text, part.place_of(key))
    }

    /// A text that must be there; empty when it is not, which is noted.
    pub fn must(&mut self, part: &mut Part<'t>, key: &'static str, what: &str) -> String {
        let before = self.faults.len();
        if let Some(text) = self.may(part, key) {
            return text;
        }
        let stands = part
            .asked
            .iter()
            .any(|(asked, at)| *asked == key && at.is_some());
        if self.faults.len() == before {
            let is = if stands { "is empty" } else { "is missing" };
            self.fault(part, key, &format!("{is}: write {what}"));
        }
        String::new()
    }

    /// A text that may be there; what is empty is none.
    pub fn may(&mut self, part: &mut Part<'t>, key: &'static str) -> Option<String> {
        let text = match part.take(key)? {
            DeValue::String(text) => text.into_owned(),
            // A day may stand without quotes.
            DeValue::Datetime(day) => day.to_string(),
            _ => {
                self.fault(part, key, "is no text: put it in quotes");
                return None;
            }
        };
        if text.contains(char::is_control) {
            let cause = "holds a character that can't be shown: write it in one line, without tabs";
            self.fault(part, key, cause);
            return None;
        }
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// A number that may be there.
    pub fn number(&mut self, part: &mut Part<'t>, key: &'static str) -> Option<f64> {
        let found = match part.take(key)? {
            DeValue::Integer(number) => number.to_string().replace('_', "").parse().ok(),
            DeValue::Float(number) => number.as_str().replace('_', "").parse().ok(),
            _ => None,
        };
        let found = found.filter(|number: &f64| number.is_finite());
        if found.is_none() {
            let cause = "is no number: write digits with a point and no unit or quotes, the unit is in the key";
            self.fault(part, key, cause);
        }
        found
    }

    /// A yes that may be there.
    pub fn flag(&mut self, part: &mut Part<'t>, key: &'static str) -> bool {
        match part.take(key) {
            None => false,
            Some(DeValue::Boolean(said)) => said,
            Some(_) => {
                self.fault(part, key, "is neither of the two: write true or false");
                false
            }
        }
    }

    /// A list of names that must be there.
    pub fn names(&mut self, part: &mut Part<'t>, key: &'static str) -> Vec<String> {
        let mut names = Vec::new();
        if let Some(DeValue::Array(list)) = part.take(key) {
            for one in list {
                match one.into_inner() {
                    DeValue::String(name) if !name.trim().is_empty() => {
                        names.push(name.trim().to_owned());
                    }
                    _ => {
                        names.clear();
                        break;
                    }
                }
            }
        }
        if names.is_empty() {
            self.fault(
                part,
                key,
                "is no list of names: write it as [\"W1\", \"W2\"]",
            );
        }
        names
    }

    /// A list that may be there: each entry with its line.
    pub fn list(&mut self, part: &mut Part<'t>, key: &'static str) -> Vec<(usize, DeValue<'t>)> {
        match part.take(key) {
            None => Vec::new(),
            Some(DeValue::Array(list)) => (list.into_iter())
                .map(|one| (line_at(self.text, one.span().start), one.into_inner()))
                .collect(),
            Some(_) => {
                self.fault(part, key, "is no list: write it in brackets");
                Vec::new()
            }
        }
    }

    /// Notes what is wrong in a line that belongs to no key.
    pub fn wrong(&mut self, line: usize, cause: &str) {
        self.note(Some(line), cause);
    }

    /// Whether anything was wrong so far.
    pub fn is_faulty(&self) -> bool {
        !self.faults.is_empty()
    }

    /// A part with a name of its own.
    pub fn part(&mut self, top: &mut Part<'t>, key: &'static str, must: bool) -> Option<Part<'t>> {
        match top.take(key) {
            Some(DeValue::Table(table)) => {
                Some(Part::of(format!("{key}."), top.place_of(key), table))
            }
            Some(_) => {
                self.fault(top, key, &format!("is no part: head it with [{key}]"));
                None
            }
            None if must => {
                self.note(None, &missing(&format!("[{key}]")));
                None
            }
            None => None,
        }
    }

    /// Parts of which there may be several.
    pub fn parts(&mut self, top: &mut Part<'t>, key: &'static str, must: bool) -> Vec<Part<'t>> {
        let mut parts = Vec::new();
        let found = top.take(key);
        let stands = found.is_some();
        if let Some(DeValue::Array(list)) = found {
            for one in list {
                let at = one.span().start;
                if let DeValue::Table(table) = Spanned::into_inner(one) {
                    parts.push(Part::of(format!("{key}."), at, table));
                }
            }
        }
        if stands && parts.is_empty() {
            let cause = format!("is no part that may stand several times: head it with [[{key}]]");
            self.fault(top, key, &cause);
        } else if must && parts.is_empty() {
            self.note(None, &missing(&format!("[[{key}]]")));
        }
        parts
    }

    /// Refuses what nobody asked a part for.
    pub fn end(&mut self, part: Part<'t>) {
        let known: Vec<&str> = part.asked.iter().map(|(key, _)| *key).collect();
        for entry in &part.left {
            let cause = format!(
                "{}{} is not known here: correct it, or take it away; there are {}",
                part.path,
                entry.key,
                known.join(", ")
            );
            self.note(Some(line_at(self.text, entry.at)), &cause);
        }
    }

    /// What was read, if nothing was wrong.
    ///
    /// # Errors
    /// Everything that was wrong.
    pub fn finish<T>(mut self, read: T) -> Result<T, FormFaults> {
        if self.faults.is_empty() {
            return Ok(read);
        }
        self.faults
            .sort_by_key(|fault| fault.line.unwrap_or(usize::MAX));
        Err(FormFaults {
            file: self.file.into(),
            faults: self.faults,
        })
    }
}

fn missing(head: &str) -> String {
    format!("there is no {head}: copy that part from `scalewright certificate --blank`")
}

/// Whether a text is two capital letters.
pub fn is_capitals(text: &str) -> bool {
    text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_uppercase())
}

/// Whether a text is a day as "2026-01-31".
pub fn is_day(text: &str) -> bool {
    let day: Result<jiff::civil::Date, _> = text.parse();
    day.is_ok_and(|day| day.year() > 0 && day.to_string() == text)
}
