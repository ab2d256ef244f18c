//! A change of the table: shown, asked, brought in, said.

use crate::record::table::{AdjustmentRecord, ChangeRecord};
use crate::report;
use crate::session::table::change::{NewTable, Proposal};
use crate::session::table::foretold::{Look, Side, beside};
use crate::session::table::reading::Held;

use super::super::live::wrap;
use super::super::paint::Paint;
use super::super::problem::{Problem, exit};
use super::super::{Outcome, clock, people, saved};
use super::To;
use super::here::Here;

/// What is laid before whoever decides.
pub struct Offer {
    /// What shall be in force.
    pub proposal: Proposal,
    /// What it takes the place of, as one of two tables.
    pub old: Option<Side>,
    /// What is new, as the other; `None` when nobody knows it yet.
    pub new: Option<Side>,
    /// Loads at which it is told.
    pub looks: Vec<Look>,
    /// What puts one load right.
    pub adjustment: Option<AdjustmentRecord>,
    /// What is remembered as the reason, unless another is said.
    pub why: String,
    /// What is to be heeded, in words.
    pub heed: Vec<String>,
}

/// How far a change came.
pub enum Brought {
    /// It was only told, or nothing was to change.
    Told,
    /// Somebody said no.
    Declined,
    /// It is in force.
    InForce,
}

/// A change that is stored: shown, asked, brought in, said.
pub fn bring(here: &mut Here, offer: Offer, to: &To) -> Outcome {
    Ok(match change(here, &offer, to)? {
        Brought::Told | Brought::InForce => exit::PASSED,
        Brought::Declined => exit::STOPPED,
    })
}

/// Shows what a change does, asks, brings it in and says so.
pub fn change(here: &mut Here, offer: &Offer, to: &To) -> Result<Brought, Problem> {
    let style = Paint::of_stdout().style();
    let told = |new: Option<&Side>| {
        let both = offer.old.as_ref().zip(new);
        both.map(|(old, new)| {
            let mut record = beside(old, new, &offer.looks);
            record.date = clock::date();
            record
        })
    };
    let mut record = ChangeRecord {
        adjustment: offer.adjustment.clone(),
        foretold: told(offer.new.as_ref()),
        changes: match &offer.proposal {
            Proposal::Table(new) | Proposal::Trial(new) => {
                here.on_trial || differs(new, &here.held)
            }
            _ => true,
        },
        ..unchanged(here)
    };
    if !to.json {
        show(offer, &record);
    }
    if !record.changes || to.predict {
        if to.json {
            saved::print_json(&record)?;
        } else if !record.changes {
            outln!("\nThe scale holds just that already; nothing was written.");
        }
        return Ok(Brought::Told);
    }
    let question = match offer.proposal {
        Proposal::Table(_) => "Store it in the scale?",
        Proposal::Trial(_) => "Try it?",
        Proposal::RollBack => "Roll back?",
        Proposal::AcceptTrial => "Store it?",
        Proposal::DropTrial => "Drop it?",
    };
    if !to.yes && !people::says_yes(question) {
        outln!(
            "{} stays in force; nothing was changed",
            match here.on_trial {
                true => "the table on trial",
                false => "the old table",
            }
        );
        return Ok(Brought::Declined);
    }
    here.change.propose(offer.proposal.clone());
    let after = here.bring_in(to, &offer.why)?;
    let on_trial = matches!(offer.proposal, Proposal::Trial(_));
    record.written = !on_trial && offer.proposal != Proposal::DropTrial;
    here.held = after;
    here.on_trial = on_trial;
    record.table = here.described();
    if record.foretold.is_none() && offer.proposal == Proposal::RollBack {
        record.foretold = told(here.side("in force since").as_ref());
        if let (false, Some(both)) = (to.json, &record.foretold) {
            outln!();
            let heads = ("showed", "shows now");
            outpart!("{}", report::tables::beside(both, heads, style));
        }
    }
    if to.json {
        saved::print_json(&record)?;
    } else if record.written {
        outpart!("\n{}", report::tables::brought_in(&record.table, style));
    }
    Ok(Brought::InForce)
}

fn show(offer: &Offer, record: &ChangeRecord) {
    let paint = Paint::of_stdout();
    if let Some(adjustment) = &record.adjustment {
        let e_g = record.table.scale.e;
        outln!(
            "{}",
            report::tables::adjustment(adjustment, e_g, paint.style())
        );
    }
    if let Some(both) = &record.foretold {
        let heads = match offer.proposal {
            Proposal::AcceptTrial => ("stored, shows", "on trial"),
            Proposal::DropTrial => ("on trial", "stored, shows"),
            _ => ("shows now", "will show"),
        };
        outpart!("{}", report::tables::beside(both, heads, paint.style()));
    }
    for text in &offer.heed {
        for line in wrap(text, 78) {
            outln!("{}", paint.heed(&line));
        }
    }
}

/// A scale of which nothing was changed so far.
pub fn unchanged(here: &Here) -> ChangeRecord {
    ChangeRecord {
        table: here.described(),
        device: here.device(),
        adjustment: None,
        foretold: None,
        changes: false,
        written: false,
    }
}

/// Whether this is something else than the scale holds.
fn differs(new: &NewTable, held: &Held) -> bool {
    held.table.as_ref() != Some(&new.table)
        || held.settings != new.settings
        || new.zero_counts != held.header.zero_counts
}
