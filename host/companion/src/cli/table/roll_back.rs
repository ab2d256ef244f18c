//! The table before the one in force, back in force.

use crate::session::table::change::{ChangeFault, Proposal};

use super::super::Outcome;
use super::super::problem::{Problem, exit};
use super::To;
use super::bring::{Offer, bring};
use super::here::{Here, asked};

/// Rolls back.
pub fn run(to: &To) -> Outcome {
    let looks = asked(to)?;
    let mut here = Here::read(to)?;
    if here.on_trial {
        return Err(Problem::new(
            exit::USAGE,
            "a table is on trial: to go back from it is to drop it",
            "`scalewright table drop`, or `scalewright table accept` before",
        ));
    }
    if !here.held.header.previous {
        return Err(ChangeFault::NothingBefore.into());
    }
    let new = here.before();
    let heed = match &new {
        Some(_) => Vec::new(),
        None => vec![
            "What was in force before was never read on this laptop, and the scale can show it only by putting it in force. The same command again undoes it.".into(),
        ],
    };
    let offer = Offer {
        proposal: Proposal::RollBack,
        old: here.side("in force now"),
        new,
        looks,
        adjustment: None,
        why: "rolled back".into(),
        heed,
    };
    bring(&mut here, offer, to)
}
