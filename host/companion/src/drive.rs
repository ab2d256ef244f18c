//! Brings a session and a link together: questions go out, answers come in,
//! events go to the watcher, captures to the journal.

use std::fmt;

use scalewright_protocol::message::Ask;

use crate::link::client::Client;
use crate::link::{Line, LinkFault};
use crate::record::journal::{Journal, JournalFault};
use crate::session::event::{Entry, Event};
use crate::session::note::Note;
use crate::session::plan::Plan;
use crate::session::procedure::{Action, Command, Decision, Procedure, SessionFault};

/// Why a session ended early; `F` is what its own rules say.
#[derive(Clone, Debug, PartialEq)]
pub enum DriveFault<F = SessionFault> {
    /// The link.
    Link(LinkFault),
    /// The session.
    Session(F),
    /// The journal.
    Journal(JournalFault),
    /// The user stopped it.
    Stopped,
}

impl<F: fmt::Display> fmt::Display for DriveFault<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Link(fault) => fault.fmt(f),
            Self::Session(fault) => fault.fmt(f),
            Self::Journal(fault) => fault.fmt(f),
            Self::Stopped => write!(f, "stopped"),
        }
    }
}

impl<F: std::error::Error> std::error::Error for DriveFault<F> {}

impl<F> From<LinkFault> for DriveFault<F> {
    fn from(fault: LinkFault) -> Self {
        Self::Link(fault)
    }
}

impl From<SessionFault> for DriveFault {
    fn from(fault: SessionFault) -> Self {
        Self::Session(fault)
    }
}

impl<F> From<JournalFault> for DriveFault<F> {
    fn from(fault: JournalFault) -> Self {
        Self::Journal(fault)
    }
}

/// What a watcher wants next; `C` is what can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish<C = Command> {
    /// Nothing.
    GoOn,
    /// Say this to the session.
    Say(C),
    /// Stop; the journal stays.
    Stop,
}

/// Whoever watches a session: a terminal, a test, a simulated person.
pub trait Watcher {
    /// Takes an event.
    fn event(&mut self, event: &Event);

    /// Asked between any two questions.
    fn wish(&mut self) -> Wish {
        Wish::GoOn
    }

    /// A decision is due.
    fn decide(&mut self, decision: Decision) -> Wish;
}

/// What goes into the first line of a journal, besides the plan, and with a table
/// into the scale.
#[derive(Clone, Debug, Default)]
pub struct Heading {
    /// Date and time, ISO 8601.
    pub date: String,
    /// Seed, on the bench.
    pub seed: Option<u64>,
    /// Who calibrates, for a scale that keeps it.
    pub note: Option<Note>,
}

/// Runs `procedure` to its end over `client`.
///
/// # Errors
/// [`DriveFault`]. Whatever was captured is in the journal.
pub fn run<L: Line>(
    procedure: &mut Procedure,
    client: &mut Client<L>,
    journal: Option<&mut Journal>,
    heading: &Heading,
    watcher: &mut dyn Watcher,
) -> Result<(), DriveFault> {
    let mut keeper = Keeper {
        journal,
        heading,
        resumed: !procedure.captures().is_empty(),
    };
    let mut action = procedure.start();
    loop {
        keeper.pass_on(procedure, watcher)?;
        action = match action {
            Action::Finished => return Ok(()),
            Action::Decide(decision) => match watcher.decide(decision) {
                Wish::Stop => return Err(DriveFault::Stopped),
                Wish::GoOn => Action::Decide(decision),
                Wish::Say(command) => procedure
                    .command(command)?
                    .unwrap_or(Action::Decide(decision)),
            },
            Action::Ask(ask) => {
                match watcher.wish() {
                    Wish::GoOn => {}
                    Wish::Stop => return Err(DriveFault::Stopped),
                    Wish::Say(command) => {
                        procedure.command(command)?;
                        // Before the next samples come: what is taken back must
                        // be taken back in the journal too.
                        keeper.pass_on(procedure, watcher)?;
                    }
                }
                if ask == Ask::StageCommit
                    && let Some(note) = &heading.note
                {
                    client.ask_if_known(&note.ask())?;
                }
                let answer = client.ask_or_refused(&ask, &mut |sample| {
                    procedure.sample(sample);
                    for event in procedure.take_events() {
                        watcher.event(&event);
                    }
                })?;
                let next = procedure.answered(answer);
                keeper.pass_on(procedure, watcher)?;
                next?
            }
        };
    }
}

struct Keeper<'a> {
    journal: Option<&'a mut Journal>,
    heading: &'a Heading,
    resumed: bool,
}

impl Keeper<'_> {
    /// Writes what must be kept, then shows it.
    fn pass_on(
        &mut self,
        procedure: &mut Procedure,
        watcher: &mut dyn Watcher,
    ) -> Result<(), JournalFault> {
        for event in procedure.take_events() {
            if let Some(entry) = self.entry(&event, procedure.plan())
                && let Some(journal) = self.journal.as_deref_mut()
            {
                journal.write(&entry)?;
            }
            watcher.event(&event);
        }
        Ok(())
    }

    fn entry(&self, event: &Event, plan: &Plan) -> Option<Entry> {
        Some(match event {
            Event::Greeted {
                hello, old_table, ..
            } if !self.resumed => Entry::Began {
                plan: Box::new(plan.clone()),
                device_id: hello.device_id,
                date: self.heading.date.clone(),
                seed: self.heading.seed,
                old_table: old_table.clone(),
            },
            Event::Quiet(noise) => Entry::Noise(noise.clone()),
            Event::Captured { capture, .. } => Entry::Captured(capture.clone()),
            Event::Undone { .. } => Entry::Undone,
            Event::Stored { checksum, .. } => Entry::Stored {
                checksum: *checksum,
            },
            _ => return None,
        })
    }
}
