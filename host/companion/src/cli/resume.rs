//! `scalewright resume`: goes on with an interrupted calibration.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::drive::Heading;
use crate::record::journal::Journal;
use crate::session::event::Entry;
use crate::session::procedure::Procedure;

use super::calibrate::guide;
use super::problem::{Problem, exit};
use super::table::connect_to_replace;
use super::{Outcome, signed};

/// Options of `resume`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright resume                  goes on with the newest calibration here
  scalewright resume kiln-room.session.jsonl --port /dev/ttyACM0

Zero is taken anew first, since it may have moved; every load that was captured
stays captured.")]
pub struct Arguments {
    /// The session file [default: of calibration.session.jsonl and those with a number
    /// added, the one written last]
    session: Option<PathBuf>,
    /// The scale's port [default: the one scale that answers]
    #[arg(long)]
    port: Option<String>,
    /// Put the new table in force without asking
    #[arg(long)]
    yes: bool,
    /// Print one JSON object at the end, and nothing else
    #[arg(long)]
    json: bool,
}

/// Runs `resume`.
pub fn run(arguments: &Arguments) -> Outcome {
    let session = (arguments.session.clone())
        .unwrap_or_else(|| Journal::newest(Path::new("calibration.session.jsonl")));
    if arguments.session.is_none() && !session.exists() {
        return Err(Problem::new(
            exit::DATA,
            "there is no calibration in this folder to go on with",
            "name its session file, or begin one: `scalewright calibrate --help`",
        ));
    }
    let (mut journal, contents) = Journal::open(&session)?;
    let Some(Entry::Began {
        plan, date, seed, ..
    }) = contents.entries.first()
    else {
        return Err(Problem::new(
            exit::DATA,
            format!("{} does not begin a session", session.display()),
            "name another session file",
        ));
    };
    let heading = Heading {
        date: date.clone(),
        seed: *seed,
        note: Some(signed::note(None, "calibrated")),
    };
    let mut procedure = Procedure::resume((**plan).clone(), &contents.entries);
    if !arguments.json {
        outln!(
            "{}: {} kept{}",
            session.display(),
            match procedure.captures().len() {
                1 => "1 capture".into(),
                many => format!("{many} captures"),
            },
            if contents.cut_short {
                "; the last line was cut short and is left out"
            } else {
                ""
            }
        );
    }
    let mut found = connect_to_replace(arguments.port.as_deref(), arguments.json)?;
    guide(
        &mut procedure,
        &mut found.client,
        &mut journal,
        &heading,
        arguments.yes,
        arguments.json,
    )
}
