//! The table before the one in force, back in force.

use crate::session::table::change::{ChangeFault, Proposal};
use crate::session::table::foretold::Look;

use super::super::Outcome;
use super::super::problem::{Problem, exit};
use super::To;
use super::bring::{Offer, bring};
use super::file::{fitted, proposed};
use super::here::{Here, asked};

/// The table before, as this laptop kept it: a change of settings alone took the place
/// of the record that held it in the scale.
fn kept_here(here: &Here, looks: Vec<Look>) -> Result<Offer, Problem> {
    let held = &here.held.header;
    let kept = here.kept.as_ref();
    let found = kept.and_then(|kept| kept.other_before(held.sequence, held.checksum));
    let Some((path, saved)) = found else {
        return Err(Problem::new(
            exit::DATA,
            "the last change was of settings alone: the scale holds no other table, and this \
             laptop never read one",
            "a table that was saved can be brought in: `scalewright table push FILE`",
        ));
    };
    let new = fitted(&saved, here, &path.display().to_string())?;
    let change = saved
        .change
        .map_or_else(String::new, |change| format!(" of change {change}"));
    Ok(Offer {
        proposal: Proposal::Table(Box::new(proposed(&new, here))),
        old: here.side("in force now"),
        new: Some(new),
        looks,
        adjustment: None,
        why: format!("back to that{change}"),
        heed: vec![format!(
            "The last change was of settings alone, and took the place of the table before in \
             the scale. This is the one{change}, as this laptop kept it; the settings stay."
        )],
    })
}

/// Rolls back.
pub fn run(to: &To) -> Outcome {
    let looks = asked(to)?;
    let mut here = Here::to_change(to)?;
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
    if here.only_settings_changed() {
        let offer = kept_here(&here, looks)?;
        return bring(&mut here, offer, to);
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
