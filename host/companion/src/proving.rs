//! Brings a verification and a link together, as [`crate::drive`] does it for a
//! calibration: questions go out, answers come in, what must be kept is written
//! before anything is shown.

use crate::drive::{DriveFault, Heading, Wish};
use crate::link::Line;
use crate::link::client::Client;
use crate::record::journal::Journal;
use crate::session::proof::entry::ProofEntry;
use crate::session::proof::prover::{ProofAction, ProofCommand, ProofEvent, ProofFault, Prover};
use crate::session::proof::zero_held::ZeroHeld;

/// Why a verification ended early.
pub type ProvingFault = DriveFault<ProofFault>;

impl From<ProofFault> for ProvingFault {
    fn from(fault: ProofFault) -> Self {
        Self::Session(fault)
    }
}

/// What a watcher wants next.
pub type ProofWish = Wish<ProofCommand>;

/// Whoever watches a verification.
pub trait ProofWatcher {
    /// Takes an event.
    fn event(&mut self, event: &ProofEvent);

    /// Asked between any two questions.
    fn wish(&mut self) -> ProofWish {
        ProofWish::GoOn
    }
}

/// Runs `prover` to its end over `client`, and gives all that was kept, what was
/// in the journal before (`kept`) first.
///
/// # Errors
/// [`ProvingFault`]. Whatever was captured is in the journal.
pub fn run<L: Line>(
    prover: &mut Prover,
    client: &mut Client<L>,
    journal: Option<&mut Journal>,
    heading: &Heading,
    kept: Vec<ProofEntry>,
    watcher: &mut dyn ProofWatcher,
) -> Result<Vec<ProofEntry>, ProvingFault> {
    let mut zero = ZeroHeld::default();
    let all = talk(prover, client, journal, heading, kept, watcher, &mut zero);
    if let Some(ask) = zero.at_the_end() {
        // If it can't be asked any more, the scale goes on by itself.
        let _ = client.ask_if_known(&ask);
    }
    all
}

fn talk<L: Line>(
    prover: &mut Prover,
    client: &mut Client<L>,
    mut journal: Option<&mut Journal>,
    heading: &Heading,
    mut kept: Vec<ProofEntry>,
    watcher: &mut dyn ProofWatcher,
    zero: &mut ZeroHeld,
) -> Result<Vec<ProofEntry>, ProvingFault> {
    let mut action = prover.start();
    loop {
        for event in prover.take_events() {
            let entry = match &event {
                ProofEvent::Keep(entry) => Some(entry.clone()),
                ProofEvent::Greeted(held) if kept.is_empty() => Some(ProofEntry::ProofBegan {
                    plan: Box::new(prover.plan().clone()),
                    held: held.clone(),
                    date: heading.date.clone(),
                    seed: heading.seed,
                }),
                ProofEvent::Greeted(_) => Some(ProofEntry::Resumed {
                    date: heading.date.clone(),
                }),
                _ => None,
            };
            if let Some(entry) = entry {
                if let Some(journal) = journal.as_deref_mut() {
                    journal.write(&entry)?;
                }
                kept.push(entry);
            }
            watcher.event(&event);
        }
        let ProofAction::Ask(ask) = action else {
            return Ok(kept);
        };
        match watcher.wish() {
            ProofWish::GoOn => {}
            ProofWish::Stop => return Err(ProvingFault::Stopped),
            ProofWish::Say(command) => prover.command(command),
        }
        if let Some(hold) = zero.due() {
            client.ask_if_known(&hold)?;
        }
        let answer = client.ask_or_refused(&ask, &mut |_| {})?;
        zero.heard(&answer);
        action = prover.answered(answer)?;
    }
}
