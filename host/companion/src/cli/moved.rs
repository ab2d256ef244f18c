//! `scalewright moved`: a scale at another place, told and corrected.

use clap::Args;

use crate::changing;
use crate::drive::DriveFault;
use crate::link::Line;
use crate::link::client::Client;
use crate::quantise::spec_of;
use crate::record::density::parse_kg_m3;
use crate::record::moved::{MovedRecord, MovedVerdict};
use crate::record::place::{self, Spot};
use crate::report;
use crate::session::moving::correction::{Correction, CorrectionFault};
use crate::session::moving::{self as session, MovingFault};
use crate::session::plan::ScaleSpec;
use crate::session::table::change::{ChangeAction, ChangeFault};

use super::calibrate::mass_of;
use super::find::connect;
use super::paint::Paint;
use super::problem::{Problem, exit};
use super::table::connect_to_replace;
use super::{Outcome, people, saved, signed};

/// Options of `moved`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright moved --from 48.1,520m --to 53.6,10m --max 6kg --e 2g
  scalewright moved --from 48.1N,520m --to 33.9S,0      Max and e from the scale
  scalewright moved --from '9.80735 m/s2' --to 53.6,10m
  scalewright moved --from 48.1,520m --to 53.6,10m --correct

A scale measures force, and gravity differs by up to 0.5 % from equator to pole,
and by 0.03 % for 1000 m of height: moved, it reads wrong.

A place is latitude and height (48.1,520m; 33.9S,0; 53.6: sea level), or a
measured g ('9.80943 m/s2'; with '9.80943 m/s2, 520m' other air is told too).
--from is where the scale was calibrated, or last corrected for.

What you get: g at both places and how well it is known, what that makes of
loads up to Max beside the permissible error (OIML R 76), one of \"nothing to
do\", \"correct or recalibrate\", \"weigh a known weight\", and what other air
does. --correct multiplies every mass of the table in the scale by g before / g
now, foretells what that does, and asks before it writes; `scalewright table
roll-back` undoes it. A weighing of a known weight should confirm it.

Trade: a scale verified for one zone of gravity may not be used or changed in
another. Local law decides; ask the authority.

Exit codes: 0 nothing to do, or written; 1 it matters, or can't be told; 5 the
old table was kept; 2 to 4 as ever (scalewright --help).")]
pub struct Arguments {
    /// Where it was right, as "48.1,520m" or "9.80943 m/s2"
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    from: String,
    /// Where it is used now
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    to: String,
    /// Maximum capacity Max, as "6kg"; with --e no scale is needed
    #[arg(long, requires = "e", value_name = "MASS")]
    max: Option<String>,
    /// Verification scale interval e, as "2g"
    #[arg(long, requires = "max", value_name = "MASS")]
    e: Option<String>,
    /// Accuracy class after OIML R 76: I, II, III or IIII [default: III]
    #[arg(long, requires = "max")]
    class: Option<String>,
    /// Density of what is weighed, for the air: most food, water and wet clay
    /// are near that of water
    #[arg(long, default_value = "1000 kg/m3")]
    density: String,
    /// Correct the table in the scale
    #[arg(long, conflicts_with_all = ["max", "e", "class"])]
    correct: bool,
    /// Correct only the table of this checksum: a script run twice does it once
    #[arg(long, value_name = "CHECKSUM", requires = "correct", conflicts_with = "max", value_parser = super::table::checksum)]
    table: Option<u32>,
    /// Write without asking
    #[arg(long, requires = "correct", conflicts_with = "max")]
    yes: bool,
    /// The scale's port [default: the one scale that answers]
    #[arg(long, conflicts_with_all = ["max", "e", "class"])]
    port: Option<String>,
    /// Print one JSON object, and nothing else; with --correct add --yes
    #[arg(long)]
    json: bool,
}

/// Runs `moved`.
pub fn run(arguments: &Arguments) -> Outcome {
    let from = spot("from", &arguments.from)?;
    let to = spot("to", &arguments.to)?;
    let density = parse_kg_m3(&arguments.density).map_err(|cause| {
        Problem::new(
            exit::USAGE,
            format!("--density: {cause}"),
            "write it as in --density '1000 kg/m3'",
        )
    })?;
    if arguments.json && arguments.correct && !arguments.yes {
        return Err(Problem::new(
            exit::USAGE,
            "with --json nothing is asked, so --correct would write nothing",
            "add --yes, or leave --correct out to be told only",
        ));
    }
    let moved = session::between(&from, &to)?;
    let told = |scale: &ScaleSpec| session::told(&from, &to, scale, density);
    if let (Some(max), Some(e)) = (&arguments.max, &arguments.e) {
        let e_g = mass_of("e", e)?;
        let scale = ScaleSpec {
            max_g: mass_of("max", max)?,
            e_g,
            d_g: e_g,
            class: arguments.class.clone().unwrap_or_else(|| "III".into()),
        };
        session::check(&scale)?;
        return tell(&told(&scale)?, arguments);
    }
    let port = arguments.port.as_deref();
    let found = match arguments.correct {
        true => connect_to_replace(port, arguments.json)?,
        false => connect(port, arguments.json).map_err(|mut none| {
            let told = "with --max 6kg --e 2g, or what it has, no scale is needed";
            none.advice.push(told.into());
            none
        })?,
    };
    let mut client = found.client;
    let percent = (moved.table_factor() - 1.0) * 100.0;
    let mut correction = Correction::new(moved, arguments.table);
    correction.note(signed::note(None, &format!("moved, {percent:+.3} %")));
    let first = correction.start().map_err(DriveFault::Session)?;
    changing::run(&mut correction, &mut client, first)?;
    let Some(settings) = correction.settings() else {
        return Err(DriveFault::Session(CorrectionFault::from(ChangeFault::Confused)).into());
    };
    let record = told(&spec_of(&settings))?;
    match arguments.correct {
        true => correct(record, &mut correction, &mut client, arguments),
        false => tell(&record, arguments),
    }
}

fn spot(name: &str, text: &str) -> Result<Spot, Problem> {
    place::parse(text).map_err(|cause| {
        Problem::new(
            exit::USAGE,
            format!("--{name}: {cause}"),
            format!("write it as in --{name} 48.1,520m or --{name} '9.80943 m/s2'"),
        )
    })
}

/// Says what the move makes of the scale, and what to type next.
fn tell(record: &MovedRecord, arguments: &Arguments) -> Outcome {
    if arguments.json {
        saved::print_json(record)?;
    } else {
        outpart!(
            "{}",
            report::moved::moved(record, Paint::of_stdout().style())
        );
        if record.verdict == MovedVerdict::CorrectOrRecalibrate && record.correctable {
            outln!(
                "\nnext   scalewright moved --from '{}' --to '{}' --correct",
                arguments.from,
                arguments.to
            );
        }
    }
    Ok(match record.verdict {
        MovedVerdict::NothingToDo => exit::PASSED,
        _ => exit::DOES_NOT_PASS,
    })
}

/// Shows what a correction would do, asks, writes.
fn correct<L: Line>(
    mut record: MovedRecord,
    correction: &mut Correction,
    client: &mut Client<L>,
    arguments: &Arguments,
) -> Outcome {
    let loads: Vec<f64> = record.loads.iter().map(|row| row.load_g).collect();
    record.correction = correction.line(&loads);
    let style = Paint::of_stdout().style();
    if let (false, Some(line)) = (arguments.json, &record.correction) {
        outln!("{}", report::moved::moved(&record, style));
        outln!(
            "{}",
            report::moved::correction(&record, line, style).trim_end()
        );
    }
    if !correction.changes() {
        if arguments.json {
            saved::print_json(&record)?;
        } else {
            outln!("\nNo point of the table would change; nothing was written.");
        }
        return Ok(exit::PASSED);
    }
    let question = match record.verdict {
        MovedVerdict::NothingToDo => "It is not needed. Write it all the same?",
        _ => "Write it?",
    };
    if !arguments.yes && !people::says_yes(question) {
        outln!("the old table stays in force; nothing was changed");
        return Ok(exit::STOPPED);
    }
    let action = correction.accept().map_err(DriveFault::Session)?;
    if changing::run(correction, client, action)? != ChangeAction::Finished {
        return Err(DriveFault::Session(CorrectionFault::from(ChangeFault::Confused)).into());
    }
    record.correction = correction.line(&loads);
    if arguments.json {
        saved::print_json(&record)?;
    } else if let Some(line) = &record.correction {
        outpart!("\n{}", report::moved::written(line, style));
    }
    Ok(exit::PASSED)
}

impl From<MovingFault> for Problem {
    fn from(fault: MovingFault) -> Self {
        match fault {
            MovingFault::Scale(fault) => fault.into(),
            MovingFault::TooFar(_) => Self::new(
                exit::USAGE,
                fault.to_string(),
                "look for a slip in --from or --to",
            ),
            MovingFault::Air(_) => Self::new(
                exit::USAGE,
                fault.to_string(),
                "check --density and heights",
            ),
        }
    }
}

impl From<DriveFault<CorrectionFault>> for Problem {
    fn from(end: DriveFault<CorrectionFault>) -> Self {
        match end {
            DriveFault::Link(fault) => DriveFault::<ChangeFault>::Link(fault).into(),
            DriveFault::Journal(fault) => fault.into(),
            DriveFault::Stopped => DriveFault::<ChangeFault>::Stopped.into(),
            DriveFault::Session(CorrectionFault::Change(fault)) => {
                let problem = Self::from(fault.clone());
                match fault {
                    ChangeFault::NotCalibrated => problem.advising(
                        "`scalewright calibrate --help` says how",
                        "`scalewright calibrate --help` says how; to be told only, give --max and --e",
                    ),
                    _ => problem,
                }
            }
            DriveFault::Session(fault @ CorrectionFault::TooFar(_)) => Self::new(
                exit::USAGE,
                fault.to_string(),
                "look for a slip in --from or --to",
            ),
        }
    }
}
