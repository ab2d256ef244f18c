//! The `scalewright` command: arguments, one file per command, exit codes.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Writes a line to standard output. A reader that has gone (`| head`) is no
/// reason to stop: a session goes on, and the report is in its file.
macro_rules! outln {
    ($($argument:tt)*) => {{
        use std::io::Write as _;
        let _ = writeln!(std::io::stdout(), $($argument)*);
    }};
}

/// The same without the end of the line.
macro_rules! outpart {
    ($($argument:tt)*) => {{
        use std::io::Write as _;
        let _ = write!(std::io::stdout(), $($argument)*);
    }};
}

mod bench;
mod build_firmware;
mod calibrate;
mod certificate;
mod clock;
mod compare;
mod compare_live;
mod display_text;
mod find;
mod firmware_problem;
mod flash;
mod flash_drive;
mod flash_report;
mod flash_serial;
mod inspect;
mod inspect_text;
mod judged;
mod live;
mod live_line;
mod log_file;
mod logs;
mod moved;
mod paint;
mod people;
mod plan;
mod plot;
mod problem;
mod progress;
mod proof_screen;
mod rehearse;
mod resume;
mod saved;
mod seal;
mod signed;
mod studio;
mod table;
mod verify;
mod watch;
mod watch_link;
mod watch_screen;
mod weights;

use problem::Problem;

/// Calibrates a load-cell scale over its whole range and proves the result.
#[derive(Parser)]
#[command(
    name = "scalewright",
    version,
    max_term_width = 80,
    after_help = "\
First time here? Nothing needs to be plugged in:
  scalewright rehearse          a complete calibration on the built-in bench
With a scale on the desk:
  scalewright find              which port it is on, and what it holds
  scalewright inspect           whether it is wired right and healthy
  scalewright plan --max 6kg --e 2g --weights weights.toml
  scalewright calibrate --max 6kg --e 2g --weights weights.toml
  scalewright verify --weights weights.toml

Exit codes: 0 done and passed; 1 done, but the scale does not pass; 2 the
command was not understood; 3 the scale or its port is the trouble; 4 a file or
the captures are the trouble; 5 stopped, cut short, or the old table was kept.

Not for trade without approval by the authority, not for medical dosing, never
under a suspended load; local law and licensed practice decide."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Run a complete guided calibration without hardware
    Rehearse(rehearse::Arguments),
    /// Which loads a calibration will ask for, and what it will be worth
    Plan(plan::Arguments),
    /// Calibrate the scale on the desk, with the weights at hand
    Calibrate(calibrate::Arguments),
    /// Check a weights file: what they are worth, how far they reach
    Weights(weights::Arguments),
    /// Go on with an interrupted calibration
    Resume(resume::Arguments),
    /// Prove a calibrated scale: guided tests, each value beside its limit
    Verify(verify::Arguments),
    /// A calibration certificate, as XML, from a verification
    Certificate(certificate::Arguments),
    /// Find the scale and tell what it is and holds
    Find(find::Arguments),
    /// Is it wired right and healthy? What to mend before calibrating
    Inspect(inspect::Arguments),
    /// Watch the indication live, with a moving plot; log it to a file
    Watch(watch::Arguments),
    /// Two scales on the same loads: who is off, where, does it matter
    Compare(compare::Arguments),
    /// A scale at another place: what gravity and air do; correct its table
    Moved(moved::Arguments),
    /// Show the table in the scale, or put the one before back in force
    Table(table::Arguments),
    /// Seal a scale: nobody changes it without its key held at the start
    Seal(seal::SealArguments),
    /// What zero does by itself: at the start, and following drift
    Zero(seal::ZeroArguments),
    /// Put the firmware on a board, and see that its calibration stays
    Flash(flash::Arguments),
    /// Build the firmware images from the source
    BuildFirmware(build_firmware::Arguments),
    /// Show what the firmware notes while it runs
    Logs(logs::Arguments),
    /// Serve the built-in bench on a port of its own, like a real scale
    Bench(bench::Arguments),
}

/// Parses the arguments and runs the command.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match arguments.command {
        Command::Rehearse(arguments) => rehearse::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Calibrate(arguments) => calibrate::run(&arguments),
        Command::Weights(arguments) => weights::run(&arguments),
        Command::Resume(arguments) => resume::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Certificate(arguments) => certificate::run(&arguments),
        Command::Find(arguments) => find::run(&arguments),
        Command::Inspect(arguments) => inspect::run(&arguments),
        Command::Watch(arguments) => watch::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Moved(arguments) => moved::run(&arguments),
        Command::Table(arguments) => table::run(&arguments),
        Command::Seal(arguments) => seal::seal(&arguments),
        Command::Zero(arguments) => seal::zero(&arguments),
        Command::Flash(arguments) => flash::run(&arguments),
        Command::BuildFirmware(arguments) => build_firmware::run(&arguments),
        Command::Logs(arguments) => logs::run(&arguments),
        Command::Bench(arguments) => bench::run(&arguments),
    };
    match outcome {
        Ok(code) => code.into(),
        Err(problem) => {
            problem.show();
            problem.code.into()
        }
    }
}

type Outcome = Result<u8, Problem>;
