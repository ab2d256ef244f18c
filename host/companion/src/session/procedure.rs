//! The guided calibration from greeting to verification.
//!
//! [`Procedure::start`] and [`Procedure::answered`] return what to do next;
//! [`Procedure::take_events`] what to show. Every capture is an event before
//! anything else happens, so a journal of events is enough to go on later
//! ([`Procedure::resume`]). Nothing in the device changes before
//! [`Command::Accept`].

use std::collections::VecDeque;

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::message::{Answer, Ask, Hello, Refusal, Sample, TableHeader};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::choosing::Choice;
use super::event::{Capture, Entry, Event, OldTable, Part, Watching};
use super::expectation::Seen;
use super::judge;
use super::plan::{Known, Load, Plan, PlannedWeight};
use super::storing::Storing;
use super::table::reading::KnotsReader;
use super::trouble::Trouble;
use crate::quantise;
use crate::record::outcome::{CorrectionTried, Noise};

mod concluding;
mod fault;
mod loading;
mod steps;
mod taking_back;

pub use fault::SessionFault;

use steps::{Step, steps};

/// Longest single wait, ms of device time: how often the picture moves while
/// nothing happens.
const WAIT_MS: u16 = 250;

/// What the driver shall do.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Ask the scale this and come back with its answer.
    Ask(Ask),
    /// Wait for a [`Command`].
    Decide(Decision),
    /// Over; the outcome is there if the session came that far.
    Finished,
}

/// What there is to decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Accept the new table or keep the old.
    Table,
    /// A table is proposed, but something should be captured again first.
    Doubt,
    /// The captures allow no table: take one back or stop.
    NoTable,
}

/// What a user can say at any time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// Put the new table in force.
    Accept,
    /// Keep the old table and stop.
    Keep,
    /// Take the latest capture back and do it again.
    Undo,
    /// The load on the pan is right, whatever it looks like.
    TakeAsIs,
    /// Capture again what is in doubt.
    Repeat,
}

#[derive(Clone, Debug)]
enum Phase {
    Greeting,
    ReadSettings,
    ReadTable,
    ReadKnots(KnotsReader),
    StreamOn(Vec<Knot>),
    Watching(Watch),
    Capturing(Watch),
    Deciding,
    Storing(Storing),
    ReadHeader,
    ReadBack(KnotsReader),
    SettingZero,
    Checking,
    LeavingOff,
    StreamOff,
    Finished,
}

/// What is known of the load awaited.
#[derive(Clone, Debug, Default)]
struct Watch {
    began_ms: Option<u32>,
    /// Code when the watch began.
    baseline: f64,
    moved: bool,
    /// Level and time since which the signal rests there.
    rest: Option<(f64, u32)>,
    /// Level and time of the latest complaint, and how long until it is said
    /// again if nothing changes.
    complained: Option<(f64, u32, u32)>,
    /// Whether the load must be moved before it is taken: after an undo it is
    /// still the load that was wrong.
    must_move: bool,
}

/// A substitution load that has been on the pan.
#[derive(Clone, Debug)]
struct Substitute {
    id: String,
    mass_g: f64,
    /// Number of captures by then.
    learnt_by: usize,
}

/// A guided calibration.
pub struct Procedure {
    plan: Plan,
    phase: Phase,
    steps: VecDeque<Step>,
    current: Option<Step>,
    events: Vec<Event>,
    seen: Seen,
    substitutes: Vec<Substitute>,
    captures: Vec<Capture>,
    sitting: u32,
    noise: Option<Noise>,
    noise_codes: Vec<f64>,
    hello: Option<Hello>,
    settings: Settings,
    header: Option<TableHeader>,
    /// From a journal: what the device held when the session first began.
    journal_old: Option<OldTable>,
    old: Option<judge::Before>,
    choice: Option<Choice>,
    stored: Option<TableHeader>,
    journal_table: Option<u32>,
    journal_device: Option<u32>,
    /// The empty pan's latest code before an interruption, counts.
    journal_zero: Option<f64>,
    /// Device zero of the verification, counts.
    proof_zero: Option<i32>,
    /// Width of the hysteresis loop that the scale takes off, g.
    loop_width_g: Option<f64>,
    correction: Option<CorrectionTried>,
    agreement: (usize, usize),
    take_as_is: bool,
    trouble: Trouble,
    began_ms: Option<u32>,
    last_ms: u32,
    patience_s: Option<u32>,
}

impl Procedure {
    /// A session that begins at the beginning.
    #[must_use]
    pub fn new(plan: Plan) -> Self {
        let steps = steps(&plan, &[], true);
        Self::with(plan, steps)
    }

    fn with(plan: Plan, steps: VecDeque<Step>) -> Self {
        Self {
            plan,
            phase: Phase::Greeting,
            steps,
            current: None,
            events: Vec::new(),
            seen: Seen::default(),
            substitutes: Vec::new(),
            captures: Vec::new(),
            sitting: 0,
            noise: None,
            noise_codes: Vec::new(),
            hello: None,
            settings: quantise::neutral_settings(),
            header: None,
            journal_old: None,
            old: None,
            choice: None,
            stored: None,
            journal_table: None,
            journal_device: None,
            journal_zero: None,
            proof_zero: None,
            loop_width_g: None,
            correction: None,
            agreement: (0, 0),
            take_as_is: false,
            trouble: Trouble::default(),
            began_ms: None,
            last_ms: 0,
            patience_s: None,
        }
    }

    /// A session that goes on where a journal ends. Zero is taken anew first,
    /// since it may have moved.
    #[must_use]
    pub fn resume(plan: Plan, entries: &[Entry]) -> Self {
        let mut captures: Vec<Capture> = Vec::new();
        let mut noise = None;
        let mut stored = None;
        let mut device = None;
        let mut old = None;
        for entry in entries {
            match entry {
                Entry::Began {
                    device_id,
                    old_table,
                    ..
                } => {
                    device = Some(*device_id);
                    old.clone_from(old_table);
                }
                Entry::Noise(found) => noise = Some(found.clone()),
                Entry::Captured(capture) => captures.push(capture.clone()),
                Entry::Undone => {
                    captures.pop();
                }
                Entry::Stored { checksum } => stored = Some(*checksum),
            }
        }
        let steps = steps(&plan, &captures, noise.is_none());
        let mut procedure = Self::with(plan, steps);
        procedure.sitting = captures.last().map_or(0, |capture| capture.sitting + 1);
        for capture in captures {
            procedure.captures.push(capture.clone());
            procedure.remember(&capture.load, capture.mean_counts);
        }
        procedure.journal_zero = procedure.seen.zero();
        procedure.seen.new_sitting();
        procedure.noise = noise;
        procedure.journal_table = stored;
        procedure.journal_device = device;
        procedure.journal_old = old;
        procedure
    }

    /// Gives up when nobody acts for this long, s of device time. Without it a
    /// session waits for ever, as people may.
    pub fn set_patience_s(&mut self, patience_s: u32) {
        self.patience_s = Some(patience_s);
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Captures so far.
    #[must_use]
    pub fn captures(&self) -> &[Capture] {
        &self.captures
    }

    /// What has happened since the last call.
    pub fn take_events(&mut self) -> Vec<Event> {
        std::mem::take(&mut self.events)
    }

    /// The first thing to do.
    pub fn start(&mut self) -> Action {
        self.events.push(Event::Begins(Part::Greeting));
        self.phase = Phase::Greeting;
        Action::Ask(Ask::Hello {
            wire_version: WIRE_VERSION,
        })
    }

    /// Takes a streamed sample: for the noise check and the live picture.
    pub fn sample(&mut self, sample: &Sample) {
        self.began_ms.get_or_insert(sample.at_ms);
        let counts = f64::from(sample.smooth_q8) / 256.0;
        let watching = match (&self.phase, &self.current) {
            (Phase::Capturing(_), Some(step)) => {
                if step.part == Part::NoiseCheck {
                    self.noise_codes.push(f64::from(sample.raw_counts));
                }
                return;
            }
            (Phase::Watching(watch), Some(_)) if watch.moved => Watching::Settling,
            (Phase::Watching(_), Some(_)) => Watching::Waiting,
            _ => return,
        };
        self.live(counts, watching);
    }

    fn live(&mut self, counts: f64, watching: Watching) {
        let zero = self.seen.zero().unwrap_or(0.0);
        self.events.push(Event::Live {
            load_g: self.seen.load_g(counts),
            net_counts: counts - zero,
            watching,
        });
    }

    /// Takes a user's word. When a decision is due, returns what to do.
    ///
    /// # Errors
    /// [`SessionFault::NoTable`] when the only thing left is to stop.
    pub fn command(&mut self, command: Command) -> Result<Option<Action>, SessionFault> {
        match (command, &self.phase) {
            (Command::TakeAsIs, Phase::Watching(_) | Phase::Capturing(_)) => {
                self.take_as_is = true;
                Ok(None)
            }
            (Command::Undo, Phase::Watching(_) | Phase::Capturing(_) | Phase::Deciding) => {
                Ok(self.undo())
            }
            (Command::Accept, Phase::Deciding) => {
                self.prove_with_found_masses();
                self.accept().map(Some)
            }
            (Command::Repeat, Phase::Deciding) => Ok(self.repeat()),
            (Command::Keep, Phase::Deciding) => {
                self.events.push(Event::Kept);
                self.phase = Phase::StreamOff;
                Ok(Some(Action::Ask(Ask::Stream { every: 0 })))
            }
            _ => Ok(None),
        }
    }

    /// Takes a capture into what is known of loads: where it reads, and the
    /// mass of a substitution load seen for the first time.
    fn remember(&mut self, load: &Load, counts: f64) {
        let (mass_g, unknown_g) = self.expected_mass(load);
        let read_g = self.seen.load_g(counts).filter(|_| unknown_g > 0.0);
        if let Some(read_g) = read_g {
            let unknown = load.weights.iter().find(|id| self.is_unknown(id));
            if let Some(id) = unknown {
                let rough_g = self.weight(id).map_or(0.0, |weight| weight.mass_g);
                self.substitutes.push(Substitute {
                    id: id.clone(),
                    mass_g: rough_g + read_g - mass_g,
                    learnt_by: self.captures.len(),
                });
            }
        }
        self.seen.add(read_g.unwrap_or(mass_g), counts);
    }

    fn weight(&self, id: &str) -> Option<&PlannedWeight> {
        self.plan.weights.iter().find(|weight| weight.id == id)
    }

    fn is_unknown(&self, id: &str) -> bool {
        let found = self.substitutes.iter().any(|known| known.id == id);
        !found
            && self
                .weight(id)
                .is_some_and(|weight| weight.known == Known::Not)
    }

    /// The mass a load is expected to have, and how far that may be off because
    /// a substitution load has not been seen yet; g.
    fn expected_mass(&self, load: &Load) -> (f64, f64) {
        let (mut mass_g, mut unknown_g) = (0.0, 0.0);
        for id in &load.weights {
            let found = self.substitutes.iter().find(|known| known.id == *id);
            // A load of strangers is what it says.
            let Some(weight) = self.weight(id) else {
                return (load.mass_g, 0.0);
            };
            mass_g += found.map_or(weight.mass_g, |found| found.mass_g);
            if found.is_none() && weight.known == Known::Not {
                unknown_g += weight.may_be_off_g();
            }
        }
        (mass_g, unknown_g)
    }

    /// Takes the answer to what was asked and returns what to do next.
    ///
    /// # Errors
    /// [`SessionFault`]: the session cannot go on; all captures are in the
    /// journal.
    pub fn answered(&mut self, answer: Result<Answer, Refusal>) -> Result<Action, SessionFault> {
        let answer = match answer {
            Ok(answer) => answer,
            // Somebody touched the pan between the capture and zero-setting:
            // look again a moment later.
            Err(Refusal::NotAtRest | Refusal::AdcFault)
                if matches!(self.phase, Phase::SettingZero) =>
            {
                return Ok(wait());
            }
            Err(refusal) => return Err(SessionFault::Declined(refusal)),
        };
        // A State may come late, after an undo put another phase in place.
        match (std::mem::replace(&mut self.phase, Phase::Finished), answer) {
            (Phase::Greeting, Answer::Hello(hello)) => {
                if let Some(journal) = self.journal_device
                    && journal != hello.device_id
                {
                    return Err(SessionFault::OtherScale {
                        journal,
                        scale: hello.device_id,
                    });
                }
                self.hello = Some(hello);
                self.phase = Phase::ReadSettings;
                Ok(Action::Ask(Ask::Settings))
            }
            (Phase::ReadSettings, Answer::Settings(settings)) => {
                self.settings = settings;
                self.phase = Phase::ReadTable;
                Ok(Action::Ask(Ask::Table))
            }
            (Phase::ReadTable, Answer::Table(header)) => {
                self.header = Some(header);
                Ok(self.read_old_knots(KnotsReader::of(&header)))
            }
            (Phase::ReadKnots(mut reader), Answer::Knots { from, knots }) => {
                (reader.take(from, &knots)).map_err(|_| SessionFault::Confused)?;
                Ok(self.read_old_knots(reader))
            }
            (Phase::StreamOn(old), Answer::Done) => self.begin(old),
            (Phase::Watching(watch), Answer::State(state)) => self.watch(watch, &state),
            // The order to capture was taken; now wait for it.
            (Phase::Capturing(watch), Answer::Done) => {
                self.phase = Phase::Capturing(watch);
                Ok(wait())
            }
            (Phase::Watching(watch), Answer::Done) => {
                self.phase = Phase::Watching(watch);
                Ok(wait())
            }
            (Phase::Capturing(watch), Answer::State(state)) => self.capturing(watch, &state),
            (Phase::Storing(storing), answer) => self.storing(storing, &answer),
            (Phase::ReadHeader, Answer::Table(header)) => {
                self.stored = Some(header);
                self.read_back(KnotsReader::of(&header))
            }
            (Phase::ReadBack(mut reader), Answer::Knots { from, knots }) => {
                (reader.take(from, &knots)).map_err(|_| SessionFault::ReadBack)?;
                self.read_back(reader)
            }
            (Phase::SettingZero, Answer::Zeroed { zero_counts }) => {
                self.proof_zero = Some(zero_counts);
                Ok(self.next_step(true))
            }
            (Phase::SettingZero, Answer::State(_)) => {
                self.phase = Phase::SettingZero;
                Ok(Action::Ask(Ask::SetZero))
            }
            (Phase::Checking, Answer::State(state)) => {
                self.check_agreement(&state);
                Ok(self.next_step(true))
            }
            (Phase::LeavingOff, Answer::Stored { sequence }) => {
                if let Some(stored) = &mut self.stored {
                    stored.sequence = sequence;
                }
                self.phase = Phase::StreamOff;
                Ok(Action::Ask(Ask::Stream { every: 0 }))
            }
            (Phase::StreamOff, Answer::Done) => {
                self.phase = Phase::Finished;
                Ok(Action::Finished)
            }
            _ => Err(SessionFault::Confused),
        }
    }

    fn read_old_knots(&mut self, reader: KnotsReader) -> Action {
        if let Some(ask) = reader.ask() {
            self.phase = Phase::ReadKnots(reader);
            return Action::Ask(ask);
        }
        self.phase = Phase::StreamOn(reader.knots().to_vec());
        Action::Ask(Ask::Stream { every: 1 })
    }

    fn begin(&mut self, old: Vec<Knot>) -> Result<Action, SessionFault> {
        let found = self
            .header
            .filter(|_| !old.is_empty())
            .map(|header| OldTable {
                knots: old,
                quantum_ug: self.settings.quantum_ug,
                zero_counts: header.zero_counts,
            });
        let old_table = if self.journal_device.is_some() {
            self.journal_old.clone()
        } else {
            found
        };
        self.old = old_table.as_ref().and_then(judge::Before::of_table);
        if let Some(old) = &self.old {
            self.seen.trust_old(old.counts_per_g());
        }
        if let (Some(hello), Some(table)) = (self.hello.clone(), self.header) {
            self.events.push(Event::Greeted {
                hello,
                settings: self.settings,
                table,
                old_table,
            });
        }
        if let Some(checksum) = self.journal_table {
            // The table went into force before the interruption.
            let Some(header) = self.header.filter(|header| header.checksum == checksum) else {
                return Err(SessionFault::OtherTable);
            };
            self.choose()?;
            self.prove_with_found_masses();
            self.stored = Some(header);
            self.loop_width_g = quantise::loop_width_g(&self.settings);
        }
        Ok(self.next_step(true))
    }

    /// Goes to the next step, or to the fit, or to the end.
    fn next_step(&mut self, announce_part: bool) -> Action {
        let before = self.current.as_ref().map(|step| step.part);
        let fit_done = self.stored.is_none()
            && self.journal_table.is_none()
            && self.steps.front().is_none_or(|step| {
                matches!(step.part, Part::VerificationZero | Part::Verification)
            });
        if fit_done {
            self.current = None;
            self.events.push(Event::Begins(Part::Fit));
            return self.propose();
        }
        let Some(step) = self.steps.pop_front() else {
            self.current = None;
            return self.end();
        };
        if before != Some(step.part) || !announce_part {
            self.events.push(Event::Begins(step.part));
        }
        if step.part != Part::NoiseCheck || self.captures.is_empty() {
            self.events.push(Event::PutOn {
                number: step.number,
                of: step.of,
                load: step.load.clone(),
            });
        }
        self.noise_codes.clear();
        self.take_as_is = false;
        let must_move = self.looks_like_the_last(&step);
        self.current = Some(step);
        self.phase = Phase::Watching(Watch {
            must_move,
            ..Watch::default()
        });
        wait()
    }

    /// Whether what lies on the pan reads like the load of `step`: then only a
    /// movement tells that other weights came, or the same ones once more.
    fn looks_like_the_last(&self, step: &Step) -> bool {
        let last = self.captures.last();
        last.is_some_and(|last| {
            let (last_g, _) = self.expected_mass(&last.load);
            let (asked_g, unknown_g) = self.expected_mass(&step.load);
            let apart_g = (last_g - asked_g).abs() - unknown_g;
            let scale = &self.plan.scale;
            last.sitting == self.sitting
                && !step.load.weights.is_empty()
                && apart_g < 2.0 * scale.e_g.max(0.001 * scale.max_g)
        })
    }
}

fn wait() -> Action {
    Action::Ask(Ask::Wait { up_to_ms: WAIT_MS })
}
