//! A small writer of XML.
//!
//! Guarantees that every element is closed, every text escaped, and that what
//! can't be written is remembered with the place where it stood; the first such
//! thing is what [`Xml::finish`] answers.

use super::refusal::{Fault, Refusal};
use crate::record::certificate::MassUnit;

/// The text so far.
pub struct Xml {
    text: String,
    /// Names of the open elements, with their number where there are several.
    open: Vec<String>,
    refused: Option<Refusal>,
    /// Language of the certificate's own texts.
    language: String,
    /// Unit in which masses are written.
    pub mass_unit: MassUnit,
}

/// Language of the words this program adds.
pub const OUR_LANGUAGE: &str = "en";

impl Xml {
    /// Nothing but the declaration.
    pub fn new(language: &str, mass_unit: MassUnit) -> Self {
        Self {
            text: "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n".into(),
            open: Vec::new(),
            refused: None,
            language: language.into(),
            mass_unit,
        }
    }

    /// The whole text.
    ///
    /// # Errors
    /// The first thing that could not be written.
    pub fn finish(self) -> Result<String, Refusal> {
        match self.refused {
            Some(refusal) => Err(refusal),
            None => Ok(self.text),
        }
    }

    /// An element with others in it.
    pub fn within(&mut self, name: &str, inside: impl FnOnce(&mut Self)) {
        self.within_as(name, &[], inside);
    }

    /// The same with attributes, whose values are the program's own.
    pub fn within_as(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        inside: impl FnOnce(&mut Self),
    ) {
        self.start(name, attributes);
        self.text.push('\n');
        self.open.push(bare(name).to_owned());
        inside(self);
        self.open.pop();
        self.indent();
        self.end(name);
    }

    /// One element for each entry, numbered in refusals; none for no entry.
    pub fn each<T>(&mut self, name: &str, entries: &[T], inside: impl Fn(&mut Self, &T)) {
        for (index, entry) in entries.iter().enumerate() {
            self.within(name, |xml| {
                if let Some(last) = xml.open.last_mut() {
                    *last = format!("{}[{}]", bare(name), index + 1);
                }
                inside(xml, entry);
            });
        }
    }

    /// A list that holds one entry at least.
    pub fn list<T>(
        &mut self,
        list: &str,
        name: &str,
        entries: &[T],
        inside: impl Fn(&mut Self, &T),
    ) {
        self.within(list, |xml| {
            if entries.is_empty() {
                xml.refuse("", Fault::NoEntry);
            }
            xml.each(name, entries, inside);
        });
    }

    /// A list that is left out when it holds none.
    pub fn list_if_any<T>(
        &mut self,
        list: &str,
        name: &str,
        entries: &[T],
        inside: impl Fn(&mut Self, &T),
    ) {
        if !entries.is_empty() {
            self.list(list, name, entries, inside);
        }
    }

    /// An element with a text that must say something.
    pub fn leaf(&mut self, name: &str, text: &str) {
        self.leaf_as(name, &[], text);
    }

    /// The same, left out when there is no text.
    pub fn leaf_if_any(&mut self, name: &str, text: Option<&str>) {
        if let Some(text) = text {
            self.leaf(name, text);
        }
    }

    fn leaf_as(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        if text.trim().is_empty() {
            self.refuse(name, Fault::Empty);
        }
        self.start(name, attributes);
        for letter in text.chars() {
            match letter {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                '>' => self.text.push_str("&gt;"),
                // A parser would make a line feed of it.
                '\r' => self.text.push_str("&#13;"),
                '\t' | '\n' => self.text.push(letter),
                '\u{fffe}' | '\u{ffff}' => self.refuse(name, Fault::Character(letter)),
                _ if letter.is_control() => self.refuse(name, Fault::Character(letter)),
                _ => self.text.push(letter),
            }
        }
        self.end(name);
    }

    /// A text of the certificate, as the schema wraps texts.
    pub fn words(&mut self, name: &str, text: &str) {
        // Nothing unchecked gets into an attribute; a wrong code is refused
        // where the certificate names it.
        let language: String = (self.language.chars())
            .filter(char::is_ascii_lowercase)
            .collect();
        self.wrapped(name, text, &language);
    }

    /// The same, left out when there is none.
    pub fn words_if_any(&mut self, name: &str, text: Option<&str>) {
        if let Some(text) = text {
            self.words(name, text);
        }
    }

    /// A text of this program.
    pub fn our_words(&mut self, name: &str, text: &str) {
        self.wrapped(name, text, OUR_LANGUAGE);
    }

    fn wrapped(&mut self, name: &str, text: &str, language: &str) {
        self.within(name, |xml| {
            xml.leaf_as("dcc:content", &[("lang", language)], text);
        });
    }

    /// Remembers what can't be written in the element `name` (or in the open
    /// one, for an empty name), unless something was refused before.
    pub fn refuse(&mut self, name: &str, fault: Fault) {
        if self.refused.is_some() {
            return;
        }
        // The root says nothing, and texts are wrapped in "content".
        let steps = (self.open.iter().skip(1).map(String::as_str)).chain([bare(name)]);
        let steps: Vec<&str> = steps
            .filter(|step| !step.is_empty() && *step != "content")
            .collect();
        self.refused = Some(Refusal {
            at: steps.join("/"),
            fault,
        });
    }

    fn indent(&mut self) {
        for _ in &self.open {
            self.text.push_str("  ");
        }
    }

    fn start(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.indent();
        self.text.push('<');
        self.text.push_str(name);
        for (key, value) in attributes {
            self.text.push_str(&format!(" {key}=\"{value}\""));
        }
        self.text.push('>');
    }

    fn end(&mut self, name: &str) {
        self.text.push_str(&format!("</{name}>\n"));
    }
}

/// A name without its prefix.
fn bare(name: &str) -> &str {
    name.split_once(':').map_or(name, |(_, bare)| bare)
}
