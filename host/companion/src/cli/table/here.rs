//! The scale whose table it is about, and what is kept of it here.

use scalewright_protocol::message::{Answer, Ask, Flags, Hello, Refusal};

use crate::changing;
use crate::drive::DriveFault;
use crate::link::client::Client;
use crate::link::find::{Found, identity};
use crate::link::serial::SerialLine;
use crate::record::kept_tables::KeptTables;
use crate::record::mass::parse_g;
use crate::record::table::{ChangeLine, TableRecord, What, Why};
use crate::session::table::change::{Change, ChangeAction, ChangeFault, Proposal};
use crate::session::table::foretold::{Look, Side, described, remembered};
use crate::session::table::reading::Held;

use super::super::clock;
use super::super::find::{connect, connect_to_change};
use super::super::problem::{Problem, exit};
use super::super::signed;
use super::To;

/// Changes of the past that are asked for at most.
const MOST_EVENTS: u8 = 16;

/// A scale that was read.
pub struct Here {
    pub client: Client<SerialLine>,
    pub hello: Hello,
    /// The conversation, at the point where it waits for a change.
    pub change: Change,
    pub held: Held,
    /// Whether what it holds is on trial.
    pub on_trial: bool,
    /// Changes that it remembers, newest first; `None` where it keeps none.
    pub history: Option<Vec<ChangeLine>>,
    pub kept: Option<KeptTables>,
}

impl Here {
    /// Connects and reads.
    pub fn read(to: &To) -> Result<Self, Problem> {
        Self::of(connect(to.port.as_deref(), to.json)?, to)
    }

    /// The same for a change; a sealed scale is named before anything is asked, unless
    /// only what it would do is to be told.
    pub fn to_change(to: &To) -> Result<Self, Problem> {
        if to.predict {
            return Self::read(to);
        }
        Self::of(connect_to_change(to.port.as_deref(), to.json)?, to)
    }

    fn of(found: Found, to: &To) -> Result<Self, Problem> {
        let Found { mut client, hello } = found;
        let (change, held, on_trial) = read(&mut client, to.table)?;
        let history = history(&mut client)?;
        let kept = kept_of(&identity(&hello));
        let here = Self {
            client,
            hello,
            change,
            held,
            on_trial,
            history,
            kept,
        };
        if !on_trial {
            here.keep(&here.held);
        }
        Ok(here)
    }

    /// Reads once more what the scale holds.
    pub fn read_again(&mut self) -> Result<(), Problem> {
        (self.change, self.held, self.on_trial) = read(&mut self.client, None)?;
        Ok(())
    }

    /// What is in force, described with its history.
    pub fn described(&self) -> TableRecord {
        TableRecord {
            on_trial: self.on_trial,
            history: self.history.clone(),
            ..described(&self.held)
        }
    }

    /// Number of the scale.
    pub fn device(&self) -> String {
        identity(&self.hello)
    }

    /// The scale as one of two tables.
    pub fn side(&self, name: impl Into<String>) -> Option<Side> {
        Side::of_held(&self.held, name)
    }

    /// The scale as one of two tables, which must be there.
    pub fn table(&self) -> Result<Side, ChangeFault> {
        let name = format!("scale {}", self.device());
        self.side(name).ok_or(ChangeFault::NotCalibrated)
    }

    /// Keeps what a scale holds.
    fn keep(&self, held: &Held) {
        if let Some(kept) = &self.kept {
            keep(kept, &self.device(), held);
        }
    }

    /// Brings in what was proposed; what the scale holds then. `why` is what is
    /// remembered if nothing was said.
    pub fn bring_in(&mut self, to: &To, why: &str) -> Result<Held, Problem> {
        let tries = matches!(self.change.proposal(), Some(Proposal::Trial(_)));
        let why = to.why.as_deref().unwrap_or(why);
        self.change.note(signed::note(to.who.as_deref(), why));
        let action = self.change.accept()?;
        let ended = changing::run(&mut self.change, &mut self.client, action)?;
        let after = self.change.after().cloned();
        match (ended, after) {
            (ChangeAction::Finished, Some(after)) => {
                if !tries {
                    self.keep(&after);
                }
                self.history = history(&mut self.client)?;
                Ok(after)
            }
            _ => Err(ChangeFault::Confused.into()),
        }
    }

    /// The table before the one in force, as far as it is known on this laptop;
    /// before one on trial it is the stored one.
    pub fn before(&self) -> Option<Side> {
        let kept = self.kept.as_ref()?;
        let (_, saved) = match self.checksum_before() {
            // Its checksum is surer than its number, which a new memory counts anew.
            Some(checksum) => kept.of_checksum(checksum),
            None => kept.of_change(self.change_before()?),
        }?;
        Side::of_file(&saved, "the one before", &self.held.settings).ok()
    }

    /// Whether the change before was of settings alone: then the scale holds no other
    /// table than the one in force. As far as it or this laptop remembers.
    pub fn only_settings_changed(&self) -> bool {
        match self.line_of(self.held.header.sequence) {
            Some(line) => line.what == What::Settings,
            // Nobody remembers: by the tables then, with their zeros.
            None => self.before().is_some_and(|before| {
                before.table.checksum() == self.held.header.checksum
                    && before.zero_counts == Some(self.held.header.zero_counts)
            }),
        }
    }

    fn change_before(&self) -> Option<u32> {
        let steps = u32::from(!self.on_trial);
        self.held.header.sequence.checked_sub(steps)
    }

    fn checksum_before(&self) -> Option<u32> {
        let line = self.line_of(self.change_before()?)?;
        u32::from_str_radix(&line.checksum, 16).ok()
    }

    /// What the scale remembers of a change.
    fn line_of(&self, change: u32) -> Option<&ChangeLine> {
        (self.history.iter().flatten()).find(|line| line.change == change)
    }
}

/// Reads what a scale holds, and whether that is on trial.
fn read(
    client: &mut Client<SerialLine>,
    named: Option<u32>,
) -> Result<(Change, Held, bool), Problem> {
    let mut change = Change::new(named);
    let first = change.start();
    changing::run(&mut change, client, first)?;
    let held = change.held().cloned().ok_or(ChangeFault::Confused)?;
    let Answer::State(state) = client.ask(&Ask::State, &mut |_| {})? else {
        return Err(ChangeFault::Confused.into());
    };
    Ok((change, held, state.flags.has(Flags::TRIAL)))
}

/// Connects for a command that puts another table in the place of the one that the
/// scale holds; that is kept first. What can't be read can't be kept; the command
/// itself says why.
///
/// # Errors
/// As [`connect_to_change`].
pub fn connect_to_replace(port: Option<&str>, quiet: bool) -> Result<Found, Problem> {
    let mut found = connect_to_change(port, quiet)?;
    let device = identity(&found.hello);
    if let Some(kept) = kept_of(&device)
        && let Ok((_, held, false)) = read(&mut found.client, None)
    {
        keep(&kept, &device, &held);
    }
    Ok(found)
}

/// Tables of a scale on this laptop.
fn kept_of(device: &str) -> Option<KeptTables> {
    KeptTables::of(device, &|name| std::env::var_os(name).map(Into::into))
}

fn keep(kept: &KeptTables, device: &str, held: &Held) {
    if let Some(side) = Side::of_held(held, "") {
        let change = held.header.sequence;
        let saved = side.saved(Some(device.to_owned()), Some(change), &clock::date());
        kept.keep(&saved, change, held.header.checksum);
    }
}

/// Changes that a scale remembers, newest first; `None` where it keeps none.
fn history(client: &mut Client<SerialLine>) -> Result<Option<Vec<ChangeLine>>, Problem> {
    let mut all = Vec::new();
    for back in 0..MOST_EVENTS {
        match client.ask_or_refused(&Ask::Event { back }, &mut |_| {})? {
            Ok(Answer::Event(Some(event))) => {
                all.push(remembered(&event, clock::minute(event.when_s)));
            }
            Ok(Answer::Event(None)) => break,
            // A board without room for it.
            Err(Refusal::Unknown) => return Ok(None),
            Err(refusal) => return Err(ChangeFault::Declined(refusal).into()),
            Ok(_) => return Err(ChangeFault::Confused.into()),
        }
    }
    Ok(Some(all))
}

impl From<ChangeFault> for DriveFault<ChangeFault> {
    fn from(fault: ChangeFault) -> Self {
        Self::Session(fault)
    }
}

/// Loads as they were typed, "300g,2.5kg".
pub fn loads_g(option: &str, text: Option<&str>) -> Result<Vec<f64>, Problem> {
    let each = |one: &str| {
        parse_g(one).map_err(|cause| {
            Problem::new(
                exit::USAGE,
                format!("{option}: {cause}"),
                format!("write it as in {option} 300g,2.5kg"),
            )
        })
    };
    text.map_or_else(
        || Ok(Vec::new()),
        |text| text.split(',').map(each).collect(),
    )
}

/// Loads that were asked for with --at.
pub fn asked(to: &To) -> Result<Vec<Look>, Problem> {
    let loads = loads_g("--at", to.at.as_deref())?;
    Ok(loads.into_iter().map(|g| Look::at(g, Why::Asked)).collect())
}
