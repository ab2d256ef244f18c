//! What a user calls his own table, and where he says its numbers come from.
//!
//! Guarantees two texts that can be written into the notation and a report.

use std::fmt;

/// What a table is called and where its numbers come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Title {
    name: String,
    source: String,
}

/// Why a text can't stand in a title.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TitleRefusal {
    /// It is empty.
    Empty,
    /// It has more than [`Title::LONGEST`] characters.
    TooLong(usize),
    /// It holds this one, which can't be shown or ends the title.
    Character(char),
}

impl fmt::Display for TitleRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "it is empty: write a few words"),
            Self::TooLong(length) => write!(
                f,
                "it has {length} characters: shorten it to {} at most",
                Title::LONGEST
            ),
            Self::Character('"') => {
                write!(
                    f,
                    "it holds a double quotation mark: write ' or leave it out"
                )
            }
            Self::Character(one) => write!(
                f,
                "it holds a character that can't be shown (U+{:04X}): leave it out",
                u32::from(*one)
            ),
        }
    }
}

impl std::error::Error for TitleRefusal {}

impl Title {
    /// Characters of a name or a source at most: it stands in one line of a
    /// report.
    pub const LONGEST: usize = 100;

    /// A title; blanks around both texts go.
    ///
    /// # Errors
    /// A text that is empty, too long, or holds a double quotation mark or a
    /// control character.
    pub fn new(name: &str, source: &str) -> Result<Self, TitleRefusal> {
        Ok(Self {
            name: Self::text(name)?,
            source: Self::text(source)?,
        })
    }

    /// One of the two texts, if it may stand in a title.
    ///
    /// # Errors
    /// As [`Title::new`].
    pub fn text(text: &str) -> Result<String, TitleRefusal> {
        let text = text.trim();
        let length = text.chars().count();
        // Marks that turn the direction of writing would turn the report's.
        let hidden = |c: &char| {
            c.is_control()
                || *c == '"'
                || matches!(c, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        };
        match text.chars().find(hidden) {
            _ if length == 0 => Err(TitleRefusal::Empty),
            Some(one) => Err(TitleRefusal::Character(one)),
            None if length > Self::LONGEST => Err(TitleRefusal::TooLong(length)),
            None => Ok(text.to_owned()),
        }
    }

    /// What the table is called.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where its numbers come from.
    pub fn source(&self) -> &str {
        &self.source
    }
}
