//! `scalewright seal` and `scalewright zero`: what a scale does by itself, and who may
//! change it.

use clap::{Args, ValueEnum};
use scalewright_protocol::message::{Answer, Ask, Flags};
use scalewright_protocol::settings::{Conduct, Settings};
use serde_json::json;

use crate::link::LinkFault;
use crate::link::find::{Found, identity};

use super::find::connect;
use super::problem::exit;
use super::signed;
use super::{Outcome, Problem};

/// Options of `seal`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright seal             from now on table and settings can't be changed
  scalewright seal --open      not sealed any more

A sealed scale is changed, and opened, only after it was switched on with its
right key (VIEW) held, until it is switched off. It weighs, and sets zero and
tare, as always. Each change raises the number that `scalewright table` shows,
and nothing turns it back: note it beside the scale.

This makes no scale legal for trade: approval and verification are the
authority's.")]
pub struct SealArguments {
    /// Take the seal off
    #[arg(long)]
    open: bool,
    /// The scale's port [default: the one scale that answers]
    #[arg(long)]
    port: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// On or off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Switch {
    /// It does.
    On,
    /// It does not.
    Off,
}

/// Options of `zero`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright zero                       what it does by itself
  scalewright zero --at-start off        keep the zero stored at calibration
  scalewright zero --tracking on         zero follows slow drift

At the start: the first load at rest becomes zero if it lies within 10 % of Max
of the zero at calibration. Tracking: while zero is shown, zero follows by at
most 0.5 d in a second, within 2 % of Max (after OIML R 76-1, 4.5). Tracking
stands still while a scale is verified. The ATmega328P has no room to track.")]
pub struct ZeroArguments {
    /// Whether it sets zero when it is switched on
    #[arg(long)]
    at_start: Option<Switch>,
    /// Whether zero follows slow drift
    #[arg(long)]
    tracking: Option<Switch>,
    /// The scale's port [default: the one scale that answers]
    #[arg(long)]
    port: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Stores another conduct; the number of the change, if it was one.
fn store(
    found: &mut Found,
    before: &Settings,
    conduct: Conduct,
    why: &str,
) -> Result<Option<u32>, Problem> {
    if conduct == before.conduct {
        return Ok(None);
    }
    if found.client.flags()?.has(Flags::TRIAL) {
        return Err(Problem::new(
            exit::SCALE,
            "a table is on trial: a change of settings would end it",
            "`scalewright table accept` stores it, `scalewright table drop` gives it up",
        ));
    }
    let note = signed::note(None, why).ask();
    found.client.ask_if_known(&note)?;
    let settings = Settings { conduct, ..*before };
    let ask = Ask::SetSettings(settings);
    match found.client.ask(&ask, &mut |_| {})? {
        Answer::Stored { sequence } => Ok(Some(sequence)),
        _ => Err(LinkFault::Confused {
            port: found.client.port().to_string(),
        }
        .into()),
    }
}

/// Runs `seal`.
pub fn seal(arguments: &SealArguments) -> Outcome {
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let before = found.client.settings()?;
    let (conduct, why) = if arguments.open {
        (before.conduct.without(Conduct::SEALED), "seal taken off")
    } else {
        (before.conduct.with(Conduct::SEALED), "sealed")
    };
    let change = store(&mut found, &before, conduct, why)?;
    if arguments.json {
        outln!(
            "{}",
            json!({
                "device": identity(&found.hello),
                "sealed": conduct.has(Conduct::SEALED),
                "change": change,
            })
        );
        return Ok(exit::PASSED);
    }
    let state = match (arguments.open, change) {
        (false, Some(_)) => "is sealed now",
        (false, None) => "was sealed already",
        (true, Some(_)) => "is not sealed any more",
        (true, None) => "was not sealed",
    };
    outln!("scale {} {state}", identity(&found.hello));
    if let Some(number) = change {
        outln!("  change number {number}");
    }
    if !arguments.open {
        if !found.client.flags()?.has(Flags::SEALED) {
            outln!("  still open until it is switched off, as its key was held: do that now");
        }
        outln!("  to change it, switch it on with its right key (VIEW) held");
        outln!("  this makes no scale legal for trade");
    }
    Ok(exit::PASSED)
}

/// Runs `zero`.
pub fn zero(arguments: &ZeroArguments) -> Outcome {
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let before = found.client.settings()?;
    let mut conduct = before.conduct;
    // Only a scale that can track knows what that is.
    let hold = Ask::HoldZero { for_s: 0 };
    let can_track = found.client.ask_if_known(&hold)?;
    if arguments.tracking == Some(Switch::On) && !can_track {
        return Err(Problem::new(
            exit::SCALE,
            "this scale's firmware has no zero-tracking: there is no room for it on its chip",
            "press ZERO when the empty pan shows something else; `scalewright zero --at-start on` \
             sets zero at each start",
        )
        .fact("board", found.hello.board.as_str()));
    }
    for (asked, bit) in [
        (arguments.at_start, Conduct::STARTS_AT_ZERO),
        (arguments.tracking, Conduct::TRACKS_ZERO),
    ] {
        conduct = match asked {
            Some(Switch::On) => conduct.with(bit),
            Some(Switch::Off) => conduct.without(bit),
            None => conduct,
        };
    }
    let change = store(&mut found, &before, conduct, "zero by itself")?;
    let at_start = conduct.has(Conduct::STARTS_AT_ZERO);
    let tracking = conduct.has(Conduct::TRACKS_ZERO);
    if arguments.json {
        outln!(
            "{}",
            json!({
                "device": identity(&found.hello),
                "at_start": at_start,
                "tracking": tracking,
                "can_track": can_track,
                "change": change,
            })
        );
        return Ok(exit::PASSED);
    }
    let said = |on: bool| if on { "on" } else { "off" };
    outln!("zero of scale {}", identity(&found.hello));
    outln!("  set at the start   {}", said(at_start));
    let follows = match can_track {
        true => said(tracking),
        false => "no: this board has no room for it",
    };
    outln!("  follows drift      {follows}");
    if let Some(number) = change {
        outln!("  change number {number}");
    }
    Ok(exit::PASSED)
}
