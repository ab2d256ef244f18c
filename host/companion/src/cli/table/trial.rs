//! A table on trial: weighed with, then accepted or dropped.

use std::sync::mpsc::TryRecvError;

use scalewright_protocol::message::{Answer, Ask, Flags, State};
use scalewright_protocol::units::elapsed_ms;
use serde_json::json;

use crate::quantise::quantum_g;
use crate::report::number;
use crate::session::table::change::{ChangeFault, Proposal};
use crate::session::table::foretold::Side;

use super::super::live_line::LiveLine;
use super::super::paint::Paint;
use super::super::problem::{Problem, exit};
use super::super::watch_link::typed_lines;
use super::super::{Outcome, saved};
use super::To;
use super::bring::{Brought, Offer, bring, change};
use super::here::{Here, asked};

/// Device time between two looks, ms.
const LOOK_MS: u16 = 250;

/// Device time between two lines where nothing can be redrawn, ms.
const LINE_MS: u32 = 1000;

/// What is said of a trial that is left as it is.
const LEFT: &str = "It is on trial until the scale is restarted.";

/// What somebody made of a trial.
enum Verdict {
    Accept,
    Drop,
    Leave,
    /// The scale was restarted, or somebody else ended it.
    Over,
}

/// Brings a change in; one that is to be tried is watched, where somebody can.
pub fn bring_or_try(here: &mut Here, offer: Offer, to: &To) -> Outcome {
    if !matches!(offer.proposal, Proposal::Trial(_)) {
        return bring(here, offer, to);
    }
    match change(here, &offer, to)? {
        Brought::Told => return Ok(exit::PASSED),
        Brought::Declined => return Ok(exit::STOPPED),
        Brought::InForce => {}
    }
    if to.json {
        return Ok(exit::PASSED);
    }
    if to.yes {
        outln!("\n{LEFT}");
        next();
        return Ok(exit::PASSED);
    }
    let stored = here.before().or(offer.old);
    watched(here, stored.as_ref(), &offer.why, to)
}

/// `table trial`.
pub fn look(to: &To) -> Outcome {
    let mut here = on_trial(to)?;
    let stored = here.before();
    if !to.json {
        return watched(&mut here, stored.as_ref(), "tried", to);
    }
    let state = state(&mut here, LOOK_MS)?;
    saved::print_json(&json!({
        "device": here.device(),
        "on_trial": state.flags.has(Flags::TRIAL),
        "shows_g": shows_g(&here, &state),
        "stored_would_show_g": stored.as_ref().and_then(|old| old.face().of_state_g(&state)),
        "stable": state.flags.has(Flags::STABLE),
    }))?;
    Ok(exit::PASSED)
}

/// `table accept`.
pub fn accept(to: &To) -> Outcome {
    let looks = asked(to)?;
    let mut here = on_trial(to)?;
    let offer = Offer {
        proposal: Proposal::AcceptTrial,
        old: here.before(),
        new: here.side("on trial"),
        looks,
        adjustment: None,
        why: "tried and accepted".into(),
        heed: Vec::new(),
    };
    bring(&mut here, offer, to)
}

/// `table drop`.
pub fn drop(to: &To) -> Outcome {
    let looks = asked(to)?;
    let mut here = on_trial(to)?;
    let offer = Offer {
        proposal: Proposal::DropTrial,
        old: here.side("on trial"),
        new: here.before(),
        looks,
        adjustment: None,
        why: String::new(),
        heed: Vec::new(),
    };
    let ended = change(&mut here, &offer, to)?;
    if matches!(ended, Brought::InForce) && !to.json {
        outln!(
            "the stored table is in force again: {:08x}",
            here.held.header.checksum
        );
    }
    Ok(match ended {
        Brought::Declined => exit::STOPPED,
        Brought::Told | Brought::InForce => exit::PASSED,
    })
}

/// A scale with a table on trial.
fn on_trial(to: &To) -> Result<Here, Problem> {
    let here = Here::read(to)?;
    match here.on_trial {
        true => Ok(here),
        false => Err(Problem::new(
            exit::SCALE,
            "no table is on trial: a restart ends a trial, and so does any other change",
            "adjust or push one with --try",
        )),
    }
}

/// Shows what is weighed until somebody decides, and does what was decided.
fn watched(here: &mut Here, stored: Option<&Side>, why: &str, to: &To) -> Outcome {
    let verdict = watch(here, stored)?;
    let proposal = match verdict {
        Verdict::Accept => Proposal::AcceptTrial,
        Verdict::Drop => Proposal::DropTrial,
        Verdict::Leave => {
            outln!("{LEFT}");
            next();
            return Ok(exit::PASSED);
        }
        Verdict::Over => {
            outln!("The trial is over: the scale was restarted, or changed by another program.");
            outln!("next   scalewright table");
            return Ok(exit::STOPPED);
        }
    };
    here.read_again()?;
    if !here.on_trial {
        return Err(ChangeFault::ChangedMeanwhile.into());
    }
    here.change.propose(proposal);
    here.held = here.bring_in(to, why)?;
    here.on_trial = false;
    if matches!(verdict, Verdict::Drop) {
        outln!("the stored table is in force again; nothing was written");
        return Ok(exit::STOPPED);
    }
    let style = Paint::of_stdout().style();
    let record = here.described();
    outpart!("\n{}", crate::report::tables::brought_in(&record, style));
    Ok(exit::PASSED)
}

fn next() {
    outln!("next   scalewright table trial     what it shows, beside the stored one");
    outln!("       scalewright table accept    store it");
    outln!("       scalewright table drop      the stored one again");
}

fn watch(here: &mut Here, stored: Option<&Side>) -> Result<Verdict, Problem> {
    let paint = Paint::of_stdout();
    let mut line = LiveLine::new(paint, false);
    outln!("\nOn trial. Put loads on and compare; then a letter and Enter:");
    outln!("  y: store it   n: back to the stored one   q: leave it on trial");
    line.begin(String::new());
    let typed = typed_lines();
    let (mut said_ms, mut words) = (None, String::new());
    let verdict = loop {
        match typed.try_recv().as_deref().map(str::trim) {
            Ok("y" | "yes") => break Verdict::Accept,
            Ok("n" | "no") => break Verdict::Drop,
            Ok("q" | "quit") | Err(TryRecvError::Disconnected) => break Verdict::Leave,
            Ok(_) => line.say("  y: store it   n: back to the stored one   q: leave it on trial"),
            Err(TryRecvError::Empty) => {}
        }
        let state = state(here, LOOK_MS)?;
        if !state.flags.has(Flags::TRIAL) {
            break Verdict::Over;
        }
        words = in_words(here, stored, &state);
        line.show(shows_g(here, &state).unwrap_or(f64::NAN), &words);
        let due = said_ms.is_none_or(|then| elapsed_ms(state.at_ms, then) >= LINE_MS);
        if !paint.live && due {
            said_ms = Some(state.at_ms);
            line.say(words.trim_end());
        }
    };
    if paint.live {
        // What was seen last stays.
        line.say(words.trim_end());
    }
    Ok(verdict)
}

fn state(here: &mut Here, up_to_ms: u16) -> Result<State, Problem> {
    match here.client.ask(&Ask::Wait { up_to_ms }, &mut |_| {})? {
        Answer::State(state) => Ok(state),
        _ => Err(ChangeFault::Confused.into()),
    }
}

/// Gross mass, g.
fn shows_g(here: &Here, state: &State) -> Option<f64> {
    let unit = quantum_g(here.held.settings.quantum_ug);
    state.mass.map(|mass| f64::from(mass) * unit)
}

fn in_words(here: &Here, stored: Option<&Side>, state: &State) -> String {
    let e_g = f64::from(here.held.settings.e) * quantum_g(here.held.settings.quantum_ug);
    let places = number::decimals(number::resolution_g(e_g));
    let grams = |g: f64| number::fixed(g, places);
    let Some(now_g) = shows_g(here, state) else {
        return format!("{:<60}", "  nothing to show: see `scalewright inspect`");
    };
    let old = stored.and_then(|old| old.face().of_state_g(state));
    let old = old.map_or_else(
        || "stored table not known here".to_owned(),
        |old_g| {
            format!(
                "stored {:>9} g   {:>7} g",
                grams(old_g),
                number::error_g(now_g - old_g, e_g)
            )
        },
    );
    let rest = match state.flags.has(Flags::STABLE) {
        true => "at rest",
        false => "moving ",
    };
    format!("  on trial {:>9} g   {old}   {rest} ", grams(now_g))
}
