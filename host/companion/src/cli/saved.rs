//! Where a run leaves its files, and its last words.

use std::path::{Path, PathBuf};

use crate::record::outcome::Outcome;
use crate::report;

use super::paint::Paint;
use super::problem::{Problem, exit};

/// Writes the report beside the journal and returns its path.
///
/// # Errors
/// When it cannot be written.
pub fn write_report(journal: &Path, outcome: &Outcome) -> Result<PathBuf, Problem> {
    let name = journal.file_name().map_or_else(
        || "session".into(),
        |name| name.to_string_lossy().into_owned(),
    );
    let stem = name.split('.').next().unwrap_or("session");
    let page = journal.with_file_name(format!("{stem}.html"));
    std::fs::write(&page, report::page(outcome)).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("the report could not be written: {error}"),
            "check the free space; `scalewright resume` writes it again",
        )
        .fact("file", page.display().to_string())
    })?;
    Ok(page)
}

/// Prints the outcome as JSON or as the table of the terminal.
///
/// # Errors
/// When it cannot be turned into JSON.
pub fn print(outcome: &Outcome, json: bool) -> Result<(), Problem> {
    if json {
        let text = report::json(outcome, true).map_err(|error| {
            Problem::new(
                exit::DATA,
                format!("no JSON could be made: {error}"),
                "run again without --json",
            )
        })?;
        outln!("{text}");
    } else {
        outln!();
        outpart!("{}", report::table(outcome, Paint::of_stdout().style()));
    }
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
