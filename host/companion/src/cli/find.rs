//! `scalewright find`: which port the scale is on, and what it holds.

use clap::Args;
use scalewright_protocol::message::{Answer, Ask, Flags};
use scalewright_protocol::settings::Conduct;
use serde_json::json;

use crate::link::LinkFault;
use crate::link::find::{Found, identity, open, search};
use crate::quantise::spec_of;
use crate::record::weights::name;

use super::live::wrap;
use super::problem::{Problem, exit};
use super::{Outcome, clock};

/// Options of `find`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright find                     say hello on every serial port
  scalewright find --port /dev/ttyACM0
  scalewright find --json              for scripts

Every command that needs a scale takes --port; where it is left out, the port in
the environment variable SCALEWRIGHT_PORT, else the one scale that answers.")]
pub struct Arguments {
    /// Ask only this port
    #[arg(long)]
    port: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// The port where none is named on the command line.
const PORT_VARIABLE: &str = "SCALEWRIGHT_PORT";

/// Opens the port named, there or in the environment, or the one scale that answers.
///
/// # Errors
/// When none, or more than one, answers.
pub fn connect(port: Option<&str>, quiet: bool) -> Result<Found, Problem> {
    let first_id = clock::first_id();
    let usual = std::env::var(PORT_VARIABLE).ok();
    let usual = usual.as_deref().filter(|port| !port.is_empty());
    let found = match port.or(usual) {
        Some(port) => open(port, first_id)?,
        None => search(first_id, &mut |port| {
            if !quiet {
                eprintln!("asking {port} ..");
            }
        })?,
    };
    Ok(found)
}

/// The same, for a command that changes table or settings: a sealed scale is named
/// before anybody puts loads on in vain.
///
/// # Errors
/// As [`connect`]; when it is sealed.
pub fn connect_to_change(port: Option<&str>, quiet: bool) -> Result<Found, Problem> {
    let mut found = connect(port, quiet)?;
    if found.client.flags()?.has(Flags::SEALED) {
        return Err(Problem::sealed().fact("scale", identity(&found.hello)));
    }
    Ok(found)
}

/// Runs `find`.
pub fn run(arguments: &Arguments) -> Outcome {
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let port = found.client.port().to_string();
    let settings = found.client.settings()?;
    let mut ask = |ask: Ask| found.client.ask(&ask, &mut |_| {});
    let confused = || LinkFault::Confused { port: port.clone() };
    let Answer::Table(table) = ask(Ask::Table)? else {
        return Err(confused().into());
    };
    let Answer::State(state) = ask(Ask::State)? else {
        return Err(confused().into());
    };
    let spec = spec_of(&settings);
    let hello = &found.hello;
    let firmware = format!(
        "{}.{}.{}",
        hello.firmware.0, hello.firmware.1, hello.firmware.2
    );
    let mut conditions = conditions(state.flags);
    let sealed = settings.conduct.has(Conduct::SEALED);
    if sealed && !state.flags.has(Flags::SEALED) {
        conditions.push("sealed, but open until it is switched off: the key was held");
    }
    if arguments.json {
        outln!(
            "{}",
            json!({
                "port": port,
                "device": identity(hello),
                "board": hello.board.as_str(),
                "firmware": firmware,
                "wire_version": hello.wire_version,
                "max_points": hello.max_knots,
                "scale": { "max": spec.max_g, "e": spec.e_g, "d": spec.d_g, "class": spec.class, "unit": "g" },
                "table": { "points": table.knots, "checksum": format!("{:08x}", table.checksum), "sequence": table.sequence, "zero_counts": table.zero_counts },
                "sealed": sealed,
                "conditions": conditions,
            })
        );
    } else {
        outln!("scale {} on {port}", identity(hello));
        outln!("  board     {}, firmware {firmware}", hello.board.as_str());
        outln!(
            "  scale     Max {}, e = {}, d = {}, class {}",
            name(spec.max_g),
            name(spec.e_g),
            name(spec.d_g),
            spec.class
        );
        match table.knots {
            0 => outln!("  table     none: not calibrated"),
            knots => outln!(
                "  table     {knots} points, checksum {:08x}, change {}; zero at {} counts",
                table.checksum,
                table.sequence,
                table.zero_counts
            ),
        }
        for condition in &conditions {
            for (at, line) in wrap(condition, 68).iter().enumerate() {
                let name = if at == 0 { "condition" } else { "" };
                outln!("  {name:9} {line}");
            }
        }
    }
    let faulty = state.flags.any(
        Flags::ADC_SILENT
            .with(Flags::ADC_STUCK)
            .with(Flags::SATURATED),
    );
    Ok(if faulty { exit::SCALE } else { exit::PASSED })
}

/// What the flags mean, for those that matter to a person.
fn conditions(flags: Flags) -> Vec<&'static str> {
    [
        (
            Flags::ADC_SILENT,
            "the bridge ADC delivers nothing: check its supply and wires",
        ),
        (
            Flags::ADC_STUCK,
            "the bridge ADC's data line does not follow its clock",
        ),
        (
            Flags::SATURATED,
            "the bridge ADC is at the end of its range",
        ),
        (Flags::OVERLOAD, "loaded above Max + 9 e"),
        (Flags::UNDERLOAD, "lifted far below zero"),
        (
            Flags::FELL_BACK,
            "its newest record is damaged, or of another firmware version; the one before is in force",
        ),
        (
            Flags::OTHER_LAYOUT,
            "its memory holds a table of another firmware version: that one weighs with it",
        ),
        (
            Flags::TRIAL,
            "its table is on trial: gone when it is switched off unless accepted",
        ),
        (
            Flags::SEALED,
            "sealed: table and settings change only after a start with the key VIEW held",
        ),
    ]
    .into_iter()
    .filter(|(flag, _)| flags.has(*flag))
    .map(|(_, text)| text)
    .collect()
}
