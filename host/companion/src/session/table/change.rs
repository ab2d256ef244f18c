//! The conversation that changes the table of a scale.
//!
//! Reads what the scale holds and waits. Given a change and told to bring it in,
//! it looks whether the scale still holds what was read, brings the change in as
//! a calibration does, reads all of it back and compares. Guarantees that nothing
//! is sent to be stored before [`Change::accept`].

use scalewright_protocol::message::{Answer, Ask, Refusal, TableHeader};
use scalewright_protocol::settings::Settings;

use super::super::note::Note;
use super::super::storing::Storing;
use super::reading::{Held, HeldReader, Read, ReadFault};
use crate::quantise::{HostTable, QuantiseFault};
use crate::wording::declined;

/// What the driver shall do.
#[derive(Clone, Debug, PartialEq)]
pub enum ChangeAction {
    /// Ask the scale this and come back with its answer.
    Ask(Ask),
    /// Something is to be decided: accept, or leave it.
    Decide,
    /// Brought in, read back, equal.
    Finished,
}

/// Something that asks and is answered.
pub trait Conversation {
    /// Why it ends early.
    type Fault;

    /// What follows from an answer.
    ///
    /// # Errors
    /// Its fault; what was in force stays in force, unless the fault says else.
    fn answered(&mut self, answer: Result<Answer, Refusal>) -> Result<ChangeAction, Self::Fault>;
}

/// Why a table is not changed.
#[derive(Clone, Debug, PartialEq)]
pub enum ChangeFault {
    /// There is no table to change.
    NotCalibrated,
    /// There is no table before this one.
    NothingBefore,
    /// The table in the scale is not the one that was named.
    OtherTable {
        /// Checksum that was named.
        named: u32,
        /// Checksum of the table in the scale.
        held: u32,
    },
    /// The new table is none that the device would take.
    Unfit(QuantiseFault),
    /// The scale holds something else than what was read before.
    ChangedMeanwhile,
    /// The scale declined.
    Declined(Refusal),
    /// The scale answered something else than was asked.
    Confused,
    /// What was read back is not what was written.
    ReadBack,
}

impl std::fmt::Display for ChangeFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotCalibrated => {
                f.write_str("the scale is not calibrated: there is no table to change")
            }
            Self::NothingBefore => f.write_str("the scale holds no table before this one"),
            Self::OtherTable { named, held } => write!(
                f,
                "the scale holds table {held:08x}, not {named:08x}: it may be changed already"
            ),
            Self::Unfit(fault) => write!(f, "the new table would be none: {fault}"),
            Self::ChangedMeanwhile => f.write_str(
                "somebody changed the scale's table or settings meanwhile; nothing was written",
            ),
            Self::Declined(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused => f.write_str("the scale answered something else than was asked"),
            Self::ReadBack => f.write_str("the table read back is not the one written"),
        }
    }
}

impl std::error::Error for ChangeFault {}

impl From<ReadFault> for ChangeFault {
    fn from(fault: ReadFault) -> Self {
        match fault {
            ReadFault::Confused => Self::Confused,
            ReadFault::ChangedMeanwhile => Self::ChangedMeanwhile,
        }
    }
}

/// A table as it shall be in the scale.
#[derive(Clone, Debug, PartialEq)]
pub struct NewTable {
    /// The table.
    pub table: HostTable,
    /// Settings that go with it.
    pub settings: Settings,
    /// Its zero reference, ADC counts.
    pub zero_counts: i32,
}

impl NewTable {
    fn is(&self, held: &Held) -> bool {
        held.table.as_ref() == Some(&self.table)
            && held.settings == self.settings
            && held.header.checksum == self.table.checksum()
            && held.header.zero_counts == self.zero_counts
    }
}

/// What shall be in force.
#[derive(Clone, Debug, PartialEq)]
pub enum Proposal {
    /// This table.
    Table(Box<NewTable>),
    /// This table, until the scale is restarted.
    Trial(Box<NewTable>),
    /// What was in force before.
    RollBack,
    /// The table that is on trial.
    AcceptTrial,
    /// The stored table again, in place of the one on trial.
    DropTrial,
}

#[derive(Clone, Debug)]
enum Phase {
    Waiting,
    Reading(HeldReader),
    Deciding,
    CheckSettings,
    CheckHeader,
    Storing(Storing),
    /// The last question before what was proposed is in force.
    Closing(Ask),
    /// It was asked.
    Closed,
    ReadingBack(HeldReader),
    Finished,
}

/// A change under way.
#[derive(Clone, Debug)]
pub struct Change {
    named: Option<u32>,
    phase: Phase,
    held: Option<Held>,
    proposal: Option<Proposal>,
    note: Option<Note>,
    after: Option<Held>,
}

impl Change {
    /// A change of what the scale holds; `named` is the checksum of the only
    /// table that shall be changed.
    #[must_use]
    pub fn new(named: Option<u32>) -> Self {
        Self {
            named,
            phase: Phase::Waiting,
            held: None,
            proposal: None,
            note: None,
            after: None,
        }
    }

    /// The first question.
    pub fn start(&mut self) -> ChangeAction {
        let (reader, ask) = HeldReader::begin();
        self.phase = Phase::Reading(reader);
        ChangeAction::Ask(ask)
    }

    /// What the scale held when it was read.
    #[must_use]
    pub fn held(&self) -> Option<&Held> {
        self.held.as_ref()
    }

    /// What it holds since the change; `None` before it was brought in.
    #[must_use]
    pub fn after(&self) -> Option<&Held> {
        self.after.as_ref()
    }

    /// Lays a change before whoever decides; it takes the place of the one before.
    pub fn propose(&mut self, proposal: Proposal) {
        self.proposal = Some(proposal);
    }

    /// Who and why: sent to the scale right before the change. A board that keeps
    /// none goes without.
    pub fn note(&mut self, note: Note) {
        self.note = Some(note);
    }

    /// What is laid before whoever decides.
    #[must_use]
    pub fn proposal(&self) -> Option<&Proposal> {
        self.proposal.as_ref()
    }

    /// What was proposed is to be brought in.
    ///
    /// # Errors
    /// [`ChangeFault::Confused`] when there is nothing to decide on.
    pub fn accept(&mut self) -> Result<ChangeAction, ChangeFault> {
        match (&self.phase, &self.proposal) {
            (Phase::Deciding, Some(_)) => self.then(Phase::CheckSettings, Ask::Settings),
            _ => Err(ChangeFault::Confused),
        }
    }

    fn then(&mut self, phase: Phase, ask: Ask) -> Result<ChangeAction, ChangeFault> {
        self.phase = phase;
        Ok(ChangeAction::Ask(ask))
    }

    fn read(&mut self, held: Held) -> Result<ChangeAction, ChangeFault> {
        if let Some(named) = self.named
            && named != held.header.checksum
        {
            return Err(ChangeFault::OtherTable {
                named,
                held: held.header.checksum,
            });
        }
        self.held = Some(held);
        self.phase = Phase::Deciding;
        Ok(ChangeAction::Decide)
    }

    /// Nobody changed anything: the change goes on its way.
    fn send(&mut self, header: TableHeader) -> Result<ChangeAction, ChangeFault> {
        if self.held.as_ref().map(|held| held.header) != Some(header) {
            return Err(ChangeFault::ChangedMeanwhile);
        }
        let storing = |new: NewTable| {
            let knots = new.table.knots().to_vec();
            Storing::begin(new.settings, new.zero_counts, knots)
        };
        match self.proposal.clone() {
            Some(Proposal::Table(new)) => {
                let (storing, ask) = storing(*new);
                self.then(Phase::Storing(storing), ask)
            }
            Some(Proposal::Trial(new)) => {
                let (storing, ask) = storing(*new);
                self.then(Phase::Storing(storing.on_trial()), ask)
            }
            Some(Proposal::RollBack) => self.close(Ask::RollBack),
            Some(Proposal::AcceptTrial) => self.close(Ask::StageCommit),
            Some(Proposal::DropTrial) => self.close(Ask::StageAbort),
            None => Err(ChangeFault::Confused),
        }
    }

    /// Asks what puts the change in force; who and why go first, where it is kept.
    fn close(&mut self, ask: Ask) -> Result<ChangeAction, ChangeFault> {
        let kept = matches!(ask, Ask::StageCommit | Ask::RollBack);
        match self.note.take().filter(|_| kept) {
            Some(note) => self.then(Phase::Closing(ask), note.ask()),
            None => self.then(Phase::Closed, ask),
        }
    }

    /// Whether this says that the change is in force.
    fn is_answered_by(&self, answer: &Answer) -> bool {
        match self.proposal {
            Some(Proposal::Trial(_) | Proposal::DropTrial) => *answer == Answer::Done,
            _ => matches!(answer, Answer::Stored { .. }),
        }
    }

    fn read_back(&mut self) -> Result<ChangeAction, ChangeFault> {
        let (reader, ask) = HeldReader::begin();
        self.then(Phase::ReadingBack(reader), ask)
    }

    fn compare(&mut self, after: Held) -> Result<ChangeAction, ChangeFault> {
        let same = match &self.proposal {
            Some(Proposal::Table(new) | Proposal::Trial(new)) => new.is(&after),
            Some(Proposal::AcceptTrial) => self.held.as_ref().is_some_and(|tried| {
                (&tried.table, tried.settings) == (&after.table, after.settings)
            }),
            // Nobody knows what it must be.
            Some(Proposal::RollBack | Proposal::DropTrial) => true,
            None => false,
        };
        if !same {
            return Err(ChangeFault::ReadBack);
        }
        self.after = Some(after);
        Ok(ChangeAction::Finished)
    }
}

impl Conversation for Change {
    type Fault = ChangeFault;

    fn answered(&mut self, answer: Result<Answer, Refusal>) -> Result<ChangeAction, ChangeFault> {
        let answer = match (answer, &self.phase) {
            (Err(Refusal::NothingToRollBack), _) => return Err(ChangeFault::NothingBefore),
            // This board keeps no notes.
            (Err(Refusal::Unknown), Phase::Closing(_)) => Answer::Done,
            (answer, _) => answer.map_err(ChangeFault::Declined)?,
        };
        let phase = std::mem::replace(&mut self.phase, Phase::Finished);
        match (phase, answer) {
            (Phase::Reading(mut reader), answer) => match reader.answered(&answer)? {
                Read::Ask(ask) => self.then(Phase::Reading(reader), ask),
                Read::All(held) => self.read(*held),
            },
            (Phase::CheckSettings, Answer::Settings(settings)) => {
                match self.held.as_ref().map(|held| held.settings) == Some(settings) {
                    true => self.then(Phase::CheckHeader, Ask::Table),
                    false => Err(ChangeFault::ChangedMeanwhile),
                }
            }
            (Phase::CheckHeader, Answer::Table(header)) => self.send(header),
            (Phase::Storing(mut storing), Answer::Done) => {
                let ask = storing.next();
                match ask {
                    Ask::StageKnots { .. } => self.then(Phase::Storing(storing), ask),
                    _ => self.close(ask),
                }
            }
            (Phase::Closing(ask), Answer::Done) => self.then(Phase::Closed, ask),
            (Phase::Closed, answer) if self.is_answered_by(&answer) => self.read_back(),
            (Phase::ReadingBack(mut reader), answer) => match reader.answered(&answer) {
                Ok(Read::Ask(ask)) => self.then(Phase::ReadingBack(reader), ask),
                Ok(Read::All(after)) => self.compare(*after),
                Err(ReadFault::Confused) => Err(ChangeFault::Confused),
                Err(ReadFault::ChangedMeanwhile) => Err(ChangeFault::ReadBack),
            },
            _ => Err(ChangeFault::Confused),
        }
    }
}
