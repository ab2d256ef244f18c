//! A log of samples as CSV (RFC 4180, with a header), written through line by
//! line: whatever happens to the laptop, all but the last line is on the disk.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use scalewright_protocol::message::{Flags, Sample};
use serde_json::{Value, json};

use crate::report::number::{decimals, fixed};

use super::clock;
use super::problem::{Problem, exit};

/// Names of the columns with their units. `device_ms` is the scale's own clock;
/// it begins anew with a restart, and `connection` counts those.
pub const HEADER: &str =
    "time_utc,connection,sequence,device_ms,raw_counts,smooth_counts,gross_g,conditions";

/// An open log.
pub struct LogFile {
    path: PathBuf,
    file: File,
    lines: usize,
}

impl LogFile {
    /// Begins a log in a new file.
    ///
    /// # Errors
    /// When the file exists or cannot be made.
    pub fn begin(path: &Path) -> Result<Self, Problem> {
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(|error| match error.kind() {
                std::io::ErrorKind::AlreadyExists => Problem::new(
                    exit::DATA,
                    format!(
                        "{} is there already; a log is never written over",
                        path.display()
                    ),
                    "name another file with --log, or move that one away",
                ),
                _ => Problem::new(
                    exit::DATA,
                    format!("cannot write {}: {error}", path.display()),
                    "name a file in a folder you may write to",
                ),
            })?;
        let mut log = Self {
            path: path.into(),
            file,
            lines: 0,
        };
        log.write(HEADER)?;
        Ok(log)
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Samples in it.
    #[must_use]
    pub fn lines(&self) -> usize {
        self.lines
    }

    /// Adds a sample; without a table the mass stays empty.
    ///
    /// # Errors
    /// When the disk does not take it.
    pub fn sample(
        &mut self,
        connection: u32,
        sample: &Sample,
        quantum_g: f64,
    ) -> Result<(), Problem> {
        let line = format!(
            "{},{connection},{},{},{},{},{},{}",
            clock::date(),
            sample.sequence,
            sample.at_ms,
            sample.raw_counts,
            fixed(f64::from(sample.smooth_q8) / 256.0, 3),
            gross_g(sample, quantum_g).unwrap_or_default(),
            conditions(sample.flags).join("+")
        );
        self.write(&line)?;
        self.lines += 1;
        Ok(())
    }

    fn write(&mut self, line: &str) -> Result<(), Problem> {
        // One write a line: a File has no buffer of its own.
        self.file
            .write_all(format!("{line}\r\n").as_bytes())
            .map_err(|error| {
                Problem::new(
                    exit::DATA,
                    format!(
                        "cannot go on writing {}: {error}; it holds {} samples",
                        self.path.display(),
                        self.lines
                    ),
                    "make room on the disk and begin a new log",
                )
            })
    }
}

/// A sample as one object, with the names of the columns.
#[must_use]
pub fn as_json(connection: u32, sample: &Sample, quantum_g: f64) -> Value {
    let gross: Option<f64> = gross_g(sample, quantum_g).and_then(|text| text.parse().ok());
    json!({
        "connection": connection,
        "sequence": sample.sequence,
        "device_ms": sample.at_ms,
        "raw_counts": sample.raw_counts,
        "smooth_counts": f64::from(sample.smooth_q8) / 256.0,
        "gross_g": gross,
        "conditions": conditions(sample.flags),
    })
}

/// Gross mass of a sample, g, to the last digit of its quantum.
fn gross_g(sample: &Sample, quantum_g: f64) -> Option<String> {
    let mass = sample.mass?;
    Some(fixed(f64::from(mass) * quantum_g, decimals(quantum_g)))
}

/// The conditions of a sample as words for programs.
fn conditions(flags: Flags) -> Vec<&'static str> {
    [
        (Flags::STABLE, "stable"),
        (Flags::AT_ZERO, "zero"),
        (Flags::NET, "net"),
        (Flags::NOT_CALIBRATED, "not_calibrated"),
        (Flags::OVERLOAD, "overload"),
        (Flags::UNDERLOAD, "underload"),
        (Flags::SATURATED, "saturated"),
        (Flags::ADC_SILENT, "adc_silent"),
        (Flags::ADC_STUCK, "adc_stuck"),
        (Flags::SETTLING, "settling"),
        (Flags::CONTINUED, "beyond_table"),
        (Flags::SPIKE, "spike"),
        (Flags::FELL_BACK, "fell_back"),
    ]
    .into_iter()
    .filter(|(flag, _)| flags.has(*flag))
    .map(|(_, word)| word)
    .collect()
}
