//! Writing through a serial bootloader, by the established programmer
//! `avrdude`: a program of its own that is asked to write and to read back.
//!
//! Owns its command line and the understanding of what it prints. Storage is
//! never touched: the only memory named is flash, and `-D` keeps the chip from
//! being erased as a whole.

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};

/// Name of the program.
pub const PROGRAM: &str = "avrdude";

/// How to ask for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loader {
    /// What it calls the kind of bootloader.
    pub programmer: String,
    /// What it calls the chip.
    pub part: &'static str,
    /// Speed of the line, bit/s.
    pub baud: u32,
}

/// What it is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Asking the bootloader, for the so-manieth time.
    Knocking(u32),
    /// Writing, percent done.
    Writing(u32),
    /// Reading back, percent done.
    Reading(u32),
}

/// Why it did not end well.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LoaderFault {
    /// The program is not installed.
    Missing,
    /// It cannot be run.
    NotRun {
        /// What the system said.
        cause: String,
    },
    /// The bootloader does not answer.
    NoAnswer,
    /// Another chip answers.
    OtherChip {
        /// Its signature, if it was printed.
        signature: Option<String>,
    },
    /// No such port.
    NoSuchPort,
    /// Another program holds the port.
    Busy,
    /// The user may not open the port.
    NoPermission,
    /// What was read back is not what was written.
    Mismatch,
    /// The kind of bootloader is not known to it.
    UnknownProgrammer,
    /// Something else.
    Other {
        /// Its last words.
        said: String,
    },
}

impl std::fmt::Display for LoaderFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Missing => write!(f, "{PROGRAM}, which writes this board, is not installed"),
            Self::NotRun { cause } => write!(f, "{PROGRAM} cannot be started: {cause}"),
            Self::NoAnswer => write!(f, "the board's bootloader does not answer"),
            Self::OtherChip {
                signature: Some(it),
            } => {
                write!(
                    f,
                    "the chip on this port is another one: its signature is {it}"
                )
            }
            Self::OtherChip { signature: None } => {
                write!(f, "the chip on this port is another one")
            }
            Self::NoSuchPort => write!(f, "there is no such port"),
            Self::Busy => write!(f, "another program is using the port"),
            Self::NoPermission => write!(f, "this user may not use serial ports"),
            Self::Mismatch => write!(f, "the board does not hold what was written to it"),
            Self::UnknownProgrammer => write!(f, "{PROGRAM} does not know this programmer"),
            Self::Other { said } if said.is_empty() => {
                write!(f, "{PROGRAM} gave up without a word")
            }
            Self::Other { said } => write!(f, "{PROGRAM} gave up: {said}"),
        }
    }
}

impl std::error::Error for LoaderFault {}

impl Loader {
    /// Writes the file `hex` to the board on `port` and has it read back.
    /// `on_step` hears what happens, `log` gets all that was printed.
    ///
    /// # Errors
    /// [`LoaderFault`].
    pub fn write(
        &self,
        port: &str,
        hex: &Path,
        log: &mut String,
        on_step: &mut dyn FnMut(Step),
    ) -> Result<(), LoaderFault> {
        let arguments = self.arguments(port, hex);
        *log = format!("{PROGRAM} {}\n", arguments.join(" "));
        let child = Command::new(PROGRAM)
            .args(&arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            // Its words are understood in English.
            .env("LC_ALL", "C")
            .spawn();
        let not_run = |error: &std::io::Error| LoaderFault::NotRun {
            cause: error.to_string(),
        };
        let mut child = child.map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => LoaderFault::Missing,
            _ => not_run(&error),
        })?;
        let mut listener = Listener::default();
        let mut buffer = [0; 256];
        if let Some(mut pipe) = child.stderr.take() {
            while let Ok(count @ 1..) = pipe.read(&mut buffer) {
                let said = buffer.get(..count).unwrap_or_default();
                log.push_str(&String::from_utf8_lossy(said));
                for byte in said {
                    if let Some(step) = listener.hear(*byte) {
                        on_step(step);
                    }
                }
            }
        }
        let status = child.wait().map_err(|error| not_run(&error))?;
        if status.success() {
            Ok(())
        } else {
            Err(understand(log))
        }
    }

    /// Its command line.
    fn arguments(&self, port: &str, hex: &Path) -> Vec<String> {
        let baud = self.baud.to_string();
        let order = format!("flash:w:{}:i", hex.display());
        let words = [
            "-c",
            &self.programmer,
            "-p",
            self.part,
            "-P",
            port,
            "-b",
            &baud,
            "-D",
            "-U",
            &order,
        ];
        words.map(ToString::to_string).to_vec()
    }
}

/// Follows the bars it draws: `Writing | ####`, one mark for two percent.
#[derive(Default)]
struct Listener {
    line: String,
    writing: bool,
    wrote: bool,
    in_bar: bool,
    marks: u32,
}

impl Listener {
    fn hear(&mut self, byte: u8) -> Option<Step> {
        match byte {
            b'\r' | b'\n' => {
                let line = std::mem::take(&mut self.line);
                // A terminal's bar is drawn again and again on one line.
                self.in_bar = false;
                self.marks = 0;
                return knocking(&line);
            }
            b'|' if !self.in_bar => {
                self.writing = self.line.trim() == "Writing";
                self.wrote |= self.writing;
                // What is read before writing is only the signature.
                self.in_bar = self.writing || (self.wrote && self.line.trim() == "Reading");
            }
            b'#' if self.in_bar => {
                self.marks += 1;
                let percent = (self.marks * 2).min(100);
                return Some(if self.writing {
                    Step::Writing(percent)
                } else {
                    Step::Reading(percent)
                });
            }
            _ => {}
        }
        if self.line.len() < 200 {
            self.line.push(char::from(byte));
        }
        None
    }
}

/// "attempt 3 of 10" in a line.
fn knocking(line: &str) -> Option<Step> {
    let (_, rest) = line.split_once("attempt ")?;
    let number = rest.split_whitespace().next()?;
    number.parse().ok().map(Step::Knocking)
}

/// What its words mean; they differ a little from version to version.
fn understand(log: &str) -> LoaderFault {
    let low = log.to_lowercase();
    // The first line is the command, in which the user's own words stand.
    let low = low.split_once('\n').map_or("", |(_, said)| said);
    let says = |words: &[&str]| words.iter().any(|word| low.contains(word));
    if says(&["cannot find programmer id", "can't find programmer id"]) {
        LoaderFault::UnknownProgrammer
    } else if says(&["permission denied", "access is denied"]) {
        LoaderFault::NoPermission
    } else if says(&["device or resource busy", "resource busy"]) {
        LoaderFault::Busy
    } else if says(&["no such file or directory", "cannot find the file"]) {
        LoaderFault::NoSuchPort
    } else if says(&["double check chip", "expected signature"]) {
        LoaderFault::OtherChip {
            signature: signature(low),
        }
    } else if says(&[
        "verification error",
        "verification mismatch",
        "first mismatch",
    ]) {
        LoaderFault::Mismatch
    } else if says(&["not in sync", "not responding"]) {
        LoaderFault::NoAnswer
    } else {
        LoaderFault::Other { said: last(log) }
    }
}

/// The number in "device signature = 0x1e9514".
fn signature(low: &str) -> Option<String> {
    let (_, rest) = low.split_once("device signature = ")?;
    let number = rest.split_whitespace().next()?;
    number.starts_with("0x").then(|| number.to_string())
}

/// The last line that says something, without its name before it.
fn last(log: &str) -> String {
    let lines = log.lines().skip(1).map(str::trim);
    let telling = lines.filter(|line| !line.is_empty() && !line.contains("Thank you"));
    let line = telling.last().unwrap_or_default();
    let name = [PROGRAM, "error:", ":"];
    name.iter()
        .fold(line, |line, word| line.trim_start_matches(word).trim())
        .to_string()
}
