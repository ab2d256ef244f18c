//! The firmware's log: pieces of its stream to lines of text.
//!
//! The firmware sends numbers only; the texts stand in the ELF file it was
//! linked from (the defmt format; its decoder is a library). Pieces come cut
//! anywhere and some are lost: each line that did not come whole is counted,
//! and the next one is read.

use std::path::Path;

use defmt_decoder::{DecodeError, Locations, StreamDecoder, Table};
use scalewright_protocol::passport::Passport;

use super::image::Format;

/// Unreadable lines in a row, before any readable one, after which the texts
/// are taken for another firmware's.
const STRANGE: usize = 5;

/// Why an ELF file is of no use for reading a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BookFault {
    /// It is no firmware of ours.
    NotOurs,
    /// It has no log texts.
    NoTexts {
        /// The board it is for.
        board: String,
    },
    /// Its texts cannot be read.
    Unreadable {
        /// What the decoder said.
        cause: String,
    },
}

impl std::fmt::Display for BookFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotOurs => write!(f, "this is no ELF file of a scale's firmware"),
            Self::NoTexts { board } => write!(
                f,
                "there are no log texts in this file: this firmware for {board} keeps no log"
            ),
            Self::Unreadable { cause } => write!(f, "its log texts cannot be read: {cause}"),
        }
    }
}

impl std::error::Error for BookFault {}

/// The texts of one firmware.
pub struct Book {
    table: Table,
    places: Locations,
    /// What the firmware says of itself.
    pub passport: Passport,
}

impl Book {
    /// The texts in an ELF file. Without debug information in it the lines have
    /// no places.
    ///
    /// # Errors
    /// [`BookFault`].
    pub fn read(elf: &[u8]) -> Result<Self, BookFault> {
        let ours = Format::of(elf) == Format::Elf;
        let passport = ours.then(|| Passport::find(elf)).flatten();
        let passport = passport.ok_or(BookFault::NotOurs)?;
        let table = Table::parse(elf)
            .map_err(|error| BookFault::Unreadable {
                cause: error.to_string(),
            })?
            .filter(|table| !table.is_empty())
            .ok_or_else(|| BookFault::NoTexts {
                board: passport.board().into(),
            })?;
        let places = table.get_locations(elf).unwrap_or_default();
        Ok(Self {
            table,
            places,
            passport,
        })
    }

    /// Reads a log from its beginning, or from anywhere.
    #[must_use]
    pub fn reader(&self) -> Reader<'_> {
        Reader {
            book: self,
            stream: self.table.new_stream_decoder(),
            read: 0,
            broken: 0,
        }
    }
}

/// A line of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// When, as the firmware tells time, if it does.
    pub time: Option<String>,
    /// Level: "trace" to "error"; none for a bare print.
    pub level: Option<&'static str>,
    /// What.
    pub text: String,
    /// File and line of the source.
    pub place: Option<String>,
}

/// Reads one log.
pub struct Reader<'b> {
    book: &'b Book,
    stream: Box<dyn StreamDecoder + Send + Sync + 'b>,
    read: usize,
    broken: usize,
}

impl Reader<'_> {
    /// Takes the next piece; the lines that it completes.
    pub fn take(&mut self, piece: &[u8]) -> Vec<Line> {
        self.stream.received(piece);
        let mut lines = Vec::new();
        loop {
            match self.stream.decode() {
                Ok(frame) => {
                    self.read += 1;
                    let time = frame.display_timestamp().map(|time| time.to_string());
                    let place = self.book.places.get(&frame.index());
                    lines.push(Line {
                        time: time.filter(|time| !time.is_empty()),
                        level: frame.level().map(|level| level.as_str()),
                        text: frame.display_message().to_string(),
                        place: place.map(|place| named(&place.file, place.line)),
                    });
                }
                Err(DecodeError::Malformed) => {
                    self.broken += 1;
                    // Without marks between its lines nothing more can be read.
                    if !self.book.table.encoding().can_recover() {
                        return lines;
                    }
                }
                Err(DecodeError::UnexpectedEof) => return lines,
            }
        }
    }

    /// Lines that did not come whole.
    #[must_use]
    pub fn broken(&self) -> usize {
        self.broken
    }

    /// Whether all that came is unreadable: the texts are another firmware's.
    #[must_use]
    pub fn is_strange(&self) -> bool {
        self.read == 0 && self.broken >= STRANGE
    }
}

/// The last two parts of the path, and the line: "src/sampler.rs:12".
fn named(file: &Path, line: u64) -> String {
    let mut parts: Vec<_> = file.iter().rev().take(2).collect();
    parts.reverse();
    let short: std::path::PathBuf = parts.iter().collect();
    format!("{}:{line}", short.display())
}
