//! The session file: one JSON line an entry, each with its own checksum.
//!
//! Every capture is written and flushed before the session goes on, so that
//! nothing the user did is lost when the laptop sleeps or a plug comes out.
//! A last line cut short (the power went) is dropped and said so; a line that
//! does not fit its checksum was changed by hand and is refused, with its
//! number.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use scalewright_protocol::checksum::crc32;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::session::event::Entry;
use crate::session::proof::entry::ProofEntry;

/// What a session file holds, line by line.
pub trait Kept: Serialize + DeserializeOwned {
    /// What such a file is, for people.
    const WHAT: &'static str;

    /// Whether this is how one begins.
    fn begins(&self) -> bool;
}

impl Kept for Entry {
    const WHAT: &'static str = "calibration";

    fn begins(&self) -> bool {
        matches!(self, Self::Began { .. })
    }
}

impl Kept for ProofEntry {
    const WHAT: &'static str = "verification";

    fn begins(&self) -> bool {
        matches!(self, Self::ProofBegan { .. })
    }
}

/// Format of the file; stands in every line.
const FORMAT: u32 = 1;

#[derive(Serialize, Deserialize)]
struct Line {
    scalewright_session: u32,
    number: usize,
    crc32: String,
    entry: serde_json::Value,
}

/// A session file that cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub struct JournalFault {
    /// The file.
    pub file: String,
    /// Line, from 1, when it is about one.
    pub line: Option<usize>,
    /// What is wrong.
    pub cause: String,
}

impl std::fmt::Display for JournalFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.file, self.cause),
            None => write!(f, "{}: {}", self.file, self.cause),
        }
    }
}

impl std::error::Error for JournalFault {}

/// An open session file.
pub struct Journal {
    path: PathBuf,
    file: File,
    lines: usize,
}

/// What a session file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Contents<E = Entry> {
    /// All entries.
    pub entries: Vec<E>,
    /// Whether the last line was cut short and dropped.
    pub cut_short: bool,
}

/// Session files of one name, told apart by a number.
const MOST_OF_A_NAME: usize = 1000;

impl Journal {
    /// A new session file. An older one of the same name is never overwritten:
    /// a number is added to the name.
    ///
    /// # Errors
    /// When the file cannot be made.
    pub fn create(wanted: &Path) -> Result<Self, JournalFault> {
        if let Some(folder) = wanted
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder).map_err(|error| fault(wanted, &error))?;
        }
        for attempt in 1..MOST_OF_A_NAME {
            let path = numbered(wanted, attempt);
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(file) => {
                    return Ok(Self {
                        path,
                        file,
                        lines: 0,
                    });
                }
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(fault(&path, &error)),
            }
        }
        Err(JournalFault {
            file: wanted.display().to_string(),
            line: None,
            cause: "too many sessions of this name".into(),
        })
    }

    /// Of a session file and those with a number added, the one written last; the
    /// name itself where there is none.
    #[must_use]
    pub fn newest(wanted: &Path) -> PathBuf {
        let written = |path: &PathBuf| std::fs::metadata(path).and_then(|file| file.modified());
        (1..MOST_OF_A_NAME)
            .map(|attempt| numbered(wanted, attempt))
            .filter_map(|path| Some((written(&path).ok()?, path)))
            .max()
            .map_or_else(|| wanted.to_path_buf(), |(_, path)| path)
    }

    /// Reads a session file and opens it to go on.
    ///
    /// # Errors
    /// [`JournalFault`] with the line.
    pub fn open<E: Kept>(path: &Path) -> Result<(Self, Contents<E>), JournalFault> {
        let text = std::fs::read_to_string(path).map_err(|error| fault(path, &error))?;
        let contents = parse(&text, &path.display().to_string())?;
        let mut file = OpenOptions::new()
            .append(true)
            .open(path)
            .map_err(|error| fault(path, &error))?;
        if contents.cut_short {
            let whole = text.rfind('\n').map_or(0, |at| at + 1);
            file.set_len(whole as u64)
                .map_err(|error| fault(path, &error))?;
        } else if !text.ends_with('\n') {
            file.write_all(b"\n").map_err(|error| fault(path, &error))?;
        }
        let lines = contents.entries.len();
        Ok((
            Self {
                path: path.into(),
                file,
                lines,
            },
            contents,
        ))
    }

    /// Appends an entry; it is on the disk when this returns.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write<E: Kept>(&mut self, entry: &E) -> Result<(), JournalFault> {
        let line = line_of(self.lines + 1, entry).map_err(|cause| JournalFault {
            file: self.path.display().to_string(),
            line: None,
            cause,
        })?;
        self.file
            .write_all(line.as_bytes())
            .and_then(|()| self.file.sync_data())
            .map_err(|error| fault(&self.path, &error))?;
        self.lines += 1;
        Ok(())
    }

    /// Where it lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// The name a file gets at this attempt, from 1, at one that is not taken: a
/// number is added before its ending.
#[must_use]
pub fn numbered(wanted: &Path, attempt: usize) -> PathBuf {
    if attempt == 1 {
        return wanted.into();
    }
    let name = wanted.file_name().map_or_else(
        || "session".into(),
        |name| name.to_string_lossy().into_owned(),
    );
    let (stem, ending) = name.split_once('.').unwrap_or((&name, ""));
    wanted.with_file_name(format!("{stem}-{attempt}.{ending}"))
}

fn fault(path: &Path, error: &std::io::Error) -> JournalFault {
    JournalFault {
        file: path.display().to_string(),
        line: None,
        cause: error.to_string(),
    }
}

fn line_of<E: Kept>(number: usize, entry: &E) -> Result<String, String> {
    let entry = serde_json::to_value(entry).map_err(|error| error.to_string())?;
    let line = Line {
        scalewright_session: FORMAT,
        number,
        crc32: checksum(number, &entry),
        entry,
    };
    serde_json::to_string(&line)
        .map(|text| text + "\n")
        .map_err(|error| error.to_string())
}

/// CRC-32 over the line's number and its entry as compact JSON with sorted
/// keys, which is how `serde_json` prints a parsed value.
fn checksum(number: usize, entry: &serde_json::Value) -> String {
    format!("{:08x}", crc32(format!("{number} {entry}").as_bytes()))
}

/// Reads the text of a session file called `file`.
///
/// # Errors
/// [`JournalFault`] with the line.
pub fn parse<E: Kept>(text: &str, file: &str) -> Result<Contents<E>, JournalFault> {
    let fault = |line: usize, cause: String| JournalFault {
        file: file.into(),
        line: Some(line),
        cause,
    };
    let mut entries: Vec<E> = Vec::new();
    let mut cut_short = false;
    // An editor may have added an empty line at the end.
    let whole = text.trim_end_matches(['\n', '\r']);
    let ends_whole = whole.len() < text.len();
    let count = whole.lines().count();
    for (index, raw) in whole.lines().enumerate() {
        let number = index + 1;
        let line: Line = match serde_json::from_str(raw) {
            Ok(line) => line,
            Err(_) if number == count && !ends_whole => {
                cut_short = true;
                break;
            }
            Err(error) => return Err(fault(number, format!("is no session entry: {error}"))),
        };
        if line.scalewright_session != FORMAT {
            return Err(fault(
                number,
                format!(
                    "is of session format {}, this program reads format {FORMAT}",
                    line.scalewright_session
                ),
            ));
        }
        if line.number != number {
            return Err(fault(
                number,
                format!(
                    "calls itself number {}: lines are missing or moved",
                    line.number
                ),
            ));
        }
        if line.crc32 != checksum(number, &line.entry) {
            return Err(fault(
                number,
                "does not fit its checksum: it was changed after it was written".into(),
            ));
        }
        let entry = serde_json::from_value(line.entry).map_err(|error| {
            let cause = match number {
                1 => format!(
                    "makes no sense as the beginning of a {}: it is another kind of session",
                    E::WHAT
                ),
                _ => format!("makes no sense: {error}"),
            };
            fault(number, cause)
        })?;
        entries.push(entry);
    }
    if !entries.first().is_some_and(Kept::begins) {
        return Err(JournalFault {
            file: file.into(),
            line: Some(1),
            cause: format!("is not the beginning of a {}", E::WHAT),
        });
    }
    Ok(Contents { entries, cut_short })
}
