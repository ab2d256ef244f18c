//! Two tables beside each other.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::quantise::neutral_settings;
use crate::record::table_file;
use crate::report;
use crate::session::table::foretold::{Side, beside};

use super::super::paint::Paint;
use super::super::problem::{Problem, exit};
use super::super::{Outcome, clock, saved};
use super::here::{Here, asked};
use super::problem::of_file;
use super::{To, checksum};

/// Options of `table compare`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright table compare                      the one before, and now
  scalewright table compare old.toml             the file, and the scale now
  scalewright table compare old.toml new.toml    two files; no scale is needed
  scalewright table compare 1a2b3c4d             one that is kept here, by its
                                                 checksum, and the scale now
  scalewright table compare old.toml --page difference.html

Tells what the second shows, less what the first shows, at loads up to Max, in g
and in e, beside the permissible error.")]
pub struct Arguments {
    /// A file, or the checksum of a table that is kept on this laptop
    one: Option<String>,
    /// Another one [default: the scale]
    other: Option<String>,
    /// Write it as a page (HTML) into this file as well
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
}

/// Compares.
pub fn run(arguments: &Arguments, to: &To) -> Outcome {
    let looks = asked(to)?;
    let (one, other) = match (&arguments.one, &arguments.other) {
        (Some(one), Some(other)) => (named(one, None)?, named(other, None)?),
        (Some(one), None) => {
            // A slip in the file is told without a scale.
            let file = Path::new(one).exists().then(|| named(one, None));
            let file = file.transpose()?;
            let here = Here::read(to)?;
            let one = file.map_or_else(|| named(one, Some(&here)), Ok)?;
            (one, here.table()?)
        }
        (None, _) => {
            let here = Here::read(to)?;
            let now = here.table()?;
            (before(&here)?, now)
        }
    };
    let mut record = beside(&one, &other, &looks);
    record.date = clock::date();
    if let Some(path) = &arguments.page {
        std::fs::write(path, report::tables::page(&record)).map_err(|error| {
            Problem::new(
                exit::DATA,
                format!("the page could not be written: {error}"),
                "check the folder, your permission and the free space",
            )
            .fact("file", path.display().to_string())
        })?;
    }
    if to.json {
        saved::print_json(&record)?;
        return Ok(exit::PASSED);
    }
    let style = Paint::of_stdout().style();
    for (head, side) in [("first ", &one), ("second", &other)] {
        let text = format!(
            "{}: {} points, checksum {:08x}",
            side.name,
            side.table.knots().len(),
            side.table.checksum()
        );
        for (at, line) in super::super::live::wrap(&text, 71).iter().enumerate() {
            outln!("{}  {line}", if at == 0 { head } else { "      " });
        }
    }
    outln!();
    outpart!(
        "{}",
        report::tables::beside(&record, ("first", "second"), style)
    );
    if let Some(path) = &arguments.page {
        outln!("\npage   {}", saved::short(path));
    }
    Ok(exit::PASSED)
}

/// A file, or a table that is kept here.
fn named(text: &str, here: Option<&Here>) -> Result<Side, Problem> {
    let path = Path::new(text);
    let saved = match (path.exists(), checksum(text), here) {
        (false, Ok(sum), Some(here)) => {
            let found = here.kept.as_ref().and_then(|kept| kept.of_checksum(sum));
            let (_, saved) = found.ok_or_else(|| {
                Problem::new(
                    exit::DATA,
                    format!(
                        "no table {text} of scale {} is kept on this laptop",
                        here.device()
                    ),
                    "name a file, or a table that was in force while this laptop read it",
                )
            })?;
            saved
        }
        _ => table_file::read(path).map_err(of_file)?,
    };
    Side::of_file(&saved, text, &neutral_settings()).map_err(|fault| {
        Problem::new(exit::DATA, fault.to_string(), "correct the file").fact("file", text)
    })
}

/// The table before the one in force.
fn before(here: &Here) -> Result<Side, Problem> {
    here.before().ok_or_else(|| {
        let (what, advice) = match here.held.header.previous {
            true => (
                "the table before this one was never read on this laptop",
                "name a file; or `scalewright table roll-back` puts it in force and shows it",
            ),
            false => (
                "the scale holds no table before this one",
                "name a file to compare with",
            ),
        };
        Problem::new(exit::DATA, what, advice)
    })
}
