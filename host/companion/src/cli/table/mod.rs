//! `scalewright table`: the table in a scale, shown and changed.

mod adjust;
mod beside;
mod bring;
mod file;
mod here;
mod problem;
mod roll_back;
mod show;
mod trial;
mod weigh;

pub use here::connect_to_replace;

use clap::{Args, Subcommand};

use super::Outcome;
use super::problem::{Problem, exit};

/// Options of `table`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright table                             show the one in the scale
  scalewright table adjust 2kg --too-much 4g    put one load right
  scalewright table adjust 2kg                  the same, weighed now
  scalewright table adjust 2kg --shows 2004g --keep 1kg,4kg
  scalewright table save kitchen.toml           into a file, to be edited
  scalewright table push kitchen.toml           from a file into the scale
  scalewright table compare                     now, and the one before
  scalewright table compare old.toml --page difference.html
  scalewright table roll-back                   the one before back in force
  scalewright table adjust 2kg --too-much 4g --try     weigh with it first
  scalewright table accept                      store what is on trial

Whatever changes the table shows first what it does, at loads up to Max, beside
the permissible error, then asks; --yes does not ask, --predict only tells.
Before anything is sent the scale is looked at again, and afterwards all of it
is read back and compared. `scalewright table COMMAND --help` tells more.

A table on trial (--try) is gone when the scale is restarted; it takes the place
of the one before, which cannot be rolled back to then.

A scale with room for it keeps who changed it, when and why: --who is your login
unless you say else, and both together are cut to 32 letters.

What is read here is kept on this laptop (in scalewright/tables of your data
folder), so that the table before can be shown.

Trade: a new table ends a verification. Local law decides; ask the authority.

Exit codes: 0 done, or nothing to do; 5 the old table was kept; 2 to 4 as ever
(scalewright --help).")]
pub struct Arguments {
    #[command(subcommand)]
    doing: Option<Doing>,
    #[command(flatten)]
    to: To,
    /// The same as the command roll-back
    #[arg(long)]
    roll_back: bool,
}

/// Which scale, and how.
#[derive(Args, Clone, Debug)]
struct To {
    /// The scale's port [default: the one scale that answers]
    #[arg(long, global = true)]
    port: Option<String>,
    /// Print one JSON object, and nothing else
    #[arg(long, global = true)]
    json: bool,
    /// Change without asking
    #[arg(long, global = true)]
    yes: bool,
    /// Say what a change would do, and end
    #[arg(long, global = true, conflicts_with = "yes")]
    predict: bool,
    /// Loads at which a change is told as well, as "300g,2.5kg"
    #[arg(long, global = true, value_name = "LOADS")]
    at: Option<String>,
    /// Who changes it [default: your login]
    #[arg(long, global = true, value_name = "NAME")]
    who: Option<String>,
    /// Why it is changed [default: what is done]
    #[arg(long, global = true, value_name = "TEXT")]
    why: Option<String>,
    /// Change only the table of this checksum: a script run twice does it once
    #[arg(long, global = true, value_name = "CHECKSUM", value_parser = checksum)]
    table: Option<u32>,
}

#[derive(Subcommand)]
enum Doing {
    /// Put one load right by a smooth local correction
    Adjust(adjust::Arguments),
    /// Two tables beside each other: load by load, as a curve, as a page
    Compare(beside::Arguments),
    /// Save the table in the scale into a file
    Save(file::Saving),
    /// Bring the table of a file into the scale
    Push(file::Pushing),
    /// Put the table before this one back in force
    RollBack,
    /// What a table on trial shows now, and the stored one; then decide
    Trial,
    /// Store the table that is on trial
    Accept,
    /// Go back from a trial to the stored table
    Drop,
}

/// Whether a table is tried before it is stored.
#[derive(Args, Clone, Copy, Debug)]
struct Trying {
    /// Weigh with it before it is stored: gone at a restart unless accepted
    #[arg(long = "try")]
    on_trial: bool,
}

/// A checksum as it is shown.
pub fn checksum(text: &str) -> Result<u32, String> {
    u32::from_str_radix(text, 16)
        .map_err(|_| "write it as `scalewright table` shows it, as 1a2b3c4d".into())
}

/// Runs `table`.
pub fn run(arguments: &Arguments) -> Outcome {
    let to = &arguments.to;
    let changes = arguments.roll_back
        || matches!(
            arguments.doing,
            Some(Doing::Adjust(_) | Doing::Push(_) | Doing::RollBack | Doing::Accept | Doing::Drop)
        );
    if changes && to.json && !to.yes && !to.predict {
        return Err(Problem::new(
            exit::USAGE,
            "with --json nothing is asked, so nothing would be changed",
            "add --yes, or --predict to be told only",
        ));
    }
    match (&arguments.doing, arguments.roll_back) {
        (Some(_), true) => Err(Problem::new(
            exit::USAGE,
            "--roll-back is a command of its own",
            "take --roll-back or the other command away",
        )),
        (None, true) | (Some(Doing::RollBack), _) => roll_back::run(to),
        (None, false) => show::run(to),
        (Some(Doing::Adjust(wanted)), _) => adjust::run(wanted, to),
        (Some(Doing::Compare(wanted)), _) => beside::run(wanted, to),
        (Some(Doing::Save(wanted)), _) => file::save(wanted, to),
        (Some(Doing::Push(wanted)), _) => file::push(wanted, to),
        (Some(Doing::Trial), _) => trial::look(to),
        (Some(Doing::Accept), _) => trial::accept(to),
        (Some(Doing::Drop), _) => trial::drop(to),
    }
}
