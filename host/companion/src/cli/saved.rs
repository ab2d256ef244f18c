//! Where a run leaves its files, and its last words.

use std::path::{Path, PathBuf};
use std::time::Instant;

use crate::drive::Heading;
use crate::record::journal::Journal;
use crate::record::outcome::Outcome;
use crate::report;
use crate::session::procedure::Procedure;
use serde::Serialize;

use super::paint::Paint;
use super::problem::{Problem, exit};

/// Writes a report beside the journal and returns its path; `again` is the
/// command that makes it once more.
///
/// # Errors
/// When it cannot be written.
pub fn write_report(journal: &Path, html: &str, again: &str) -> Result<PathBuf, Problem> {
    let name = journal.file_name().map_or_else(
        || "session".into(),
        |name| name.to_string_lossy().into_owned(),
    );
    let stem = name.split('.').next().unwrap_or("session");
    let page = journal.with_file_name(format!("{stem}.html"));
    std::fs::write(&page, html).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("the report could not be written: {error}"),
            format!("check the free space; `{again}` writes it again"),
        )
        .fact("file", page.display().to_string())
    })?;
    Ok(page)
}

/// A session that came to its end.
pub struct Concluded {
    /// The report, as somebody would type it from here.
    pub page: String,
    /// The exit code its verdict gives.
    pub code: u8,
}

/// Writes the report of a finished session and prints its outcome; `None` when
/// the old table was kept and there is nothing to report.
///
/// # Errors
/// When the report cannot be written.
pub fn conclude(
    procedure: &Procedure,
    journal: &Journal,
    heading: &Heading,
    began: Instant,
    json: bool,
) -> Result<Option<Concluded>, Problem> {
    let Some(mut outcome) = procedure.outcome() else {
        return Ok(None);
    };
    outcome.date.clone_from(&heading.date);
    outcome.seed = heading.seed;
    outcome.wall_s = began.elapsed().as_secs_f64();
    let page = write_report(
        journal.path(),
        &report::page(&outcome),
        "scalewright resume",
    )?;
    print(&outcome, json)?;
    let code = if outcome.after.verdict == "pass" {
        exit::PASSED
    } else {
        exit::DOES_NOT_PASS
    };
    Ok(Some(Concluded {
        page: short(&page),
        code,
    }))
}

/// Prints the outcome as JSON or as the table of the terminal.
///
/// # Errors
/// When it cannot be turned into JSON.
fn print(outcome: &Outcome, json: bool) -> Result<(), Problem> {
    if json {
        return print_json(outcome);
    }
    outln!();
    outpart!("{}", report::table(outcome, Paint::of_stdout().style()));
    Ok(())
}

/// Prints one JSON object.
///
/// # Errors
/// When it cannot be made.
pub fn print_json(told: &impl Serialize) -> Result<(), Problem> {
    let text = report::json(told, true).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("no JSON could be made: {error}"),
            "run again without --json",
        )
    })?;
    outln!("{text}");
    Ok(())
}

/// A path as somebody would type it from here.
#[must_use]
pub fn short(path: &Path) -> String {
    std::env::current_dir()
        .ok()
        .and_then(|here| path.strip_prefix(here).ok().map(Path::to_path_buf))
        .unwrap_or_else(|| path.to_path_buf())
        .display()
        .to_string()
}
