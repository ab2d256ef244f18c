//! The guided calibration from greeting to verification.
//!
//! [`Procedure::start`] and [`Procedure::answered`] return what to do next;
//! [`Procedure::take_events`] what to show. Every capture is an event before
//! anything else happens, so a journal of events is enough to go on later
//! ([`Procedure::resume`]). Nothing in the device changes before
//! [`Command::Accept`].

use std::collections::VecDeque;

use scalewright_metrology::tolerance::{Stage as MpeStage, mpe_e};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::message::{
    Answer, Ask, CaptureFault, CaptureOrder, CaptureState, Captured, Flags, Hello, Refusal, Sample,
    State, TableHeader,
};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

use super::event::{Capture, Entry, Event, OldTable, Part, Watching, WrongLoad};
use super::expectation::Seen;
use super::judge::{self, Choice};
use super::plan::{Load, Plan};
use super::storing::Storing;
use crate::quantise;
use crate::record::outcome::{Noise, Outcome};
use crate::wording::declined;

/// Longest single wait, ms of device time: how often the picture moves while
/// nothing happens.
const WAIT_MS: u16 = 250;

/// A load of the expected size must have rested this long before it is taken:
/// the hand is off.
const REST_EXPECTED_MS: u32 = 1_000;

/// A load that cannot be checked against anything must rest longer: more
/// weights may be on their way.
const REST_UNKNOWN_MS: u32 = 6_000;

/// A wrong load must rest this long before it is called wrong: one weight after
/// another goes on.
const REST_WRONG_MS: u32 = 8_000;

/// The device gives a capture up after this long.
const CAPTURE_PATIENCE_MS: u32 = 60_000;

/// Samples of the noise check: 6.4 s at 10 a second.
const NOISE_SAMPLES: u16 = 64;

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
}

/// Why a session cannot go on.
#[derive(Clone, Debug, PartialEq)]
pub enum SessionFault {
    /// The scale declined something it must not.
    Declined(Refusal),
    /// The scale answered something else than was asked.
    Confused,
    /// What was read back is not what was written.
    ReadBack,
    /// No table can be made of the captures.
    NoTable(String),
    /// The journal belongs to another scale.
    OtherScale {
        /// Identity in the journal.
        journal: u32,
        /// Identity of the scale that answers.
        scale: u32,
    },
    /// The table in the device is not the one the journal says was stored.
    OtherTable,
    /// Nobody came to put a load on.
    Abandoned {
        /// What was waited for, g.
        load_g: f64,
        /// Device time waited, s.
        waited_s: u32,
    },
}

impl std::fmt::Display for SessionFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Declined(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused => write!(f, "the scale answered something else than was asked"),
            Self::ReadBack => write!(f, "the table read back is not the one written"),
            Self::NoTable(cause) => write!(f, "these captures make no table: {cause}"),
            Self::OtherScale { journal, scale } => write!(
                f,
                "this session belongs to scale {journal:04X}, but scale {scale:04X} answers"
            ),
            Self::OtherTable => write!(
                f,
                "the table in the scale is not the one this session stored"
            ),
            Self::Abandoned { load_g, waited_s } => {
                write!(f, "waited {waited_s} s for {load_g} g and nothing came")
            }
        }
    }
}

impl std::error::Error for SessionFault {}

#[derive(Clone, Debug)]
struct Step {
    part: Part,
    load: Load,
    number: usize,
    of: usize,
}

#[derive(Clone, Debug)]
enum Phase {
    Greeting,
    ReadSettings,
    ReadTable,
    ReadKnots,
    StreamOn,
    Watching(Watch),
    Capturing(Watch),
    Deciding,
    Storing(Storing),
    ReadHeader,
    ReadBack(Vec<Knot>),
    SettingZero,
    Checking,
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
    complained_at: Option<f64>,
}

/// A guided calibration.
pub struct Procedure {
    plan: Plan,
    phase: Phase,
    steps: VecDeque<Step>,
    current: Option<Step>,
    events: Vec<Event>,
    seen: Seen,
    captures: Vec<Capture>,
    sitting: u32,
    noise: Option<Noise>,
    noise_codes: Vec<f64>,
    hello: Option<Hello>,
    settings: Settings,
    header: Option<TableHeader>,
    old_knots: Vec<Knot>,
    /// From a journal: what the device held when the session first began.
    journal_old: Option<OldTable>,
    old: Option<judge::Before>,
    choice: Option<Choice>,
    stored: Option<TableHeader>,
    journal_table: Option<u32>,
    journal_device: Option<u32>,
    /// Device zero of the verification, counts.
    proof_zero: Option<i32>,
    agreement: (usize, usize),
    take_as_is: bool,
    trouble: bool,
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
            captures: Vec::new(),
            sitting: 0,
            noise: None,
            noise_codes: Vec::new(),
            hello: None,
            settings: quantise::neutral_settings(),
            header: None,
            old_knots: Vec::new(),
            journal_old: None,
            old: None,
            choice: None,
            stored: None,
            journal_table: None,
            journal_device: None,
            proof_zero: None,
            agreement: (0, 0),
            take_as_is: false,
            trouble: false,
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
        for capture in &captures {
            procedure.seen.add(capture.load.mass_g, capture.mean_counts);
        }
        procedure.seen.new_sitting();
        procedure.captures = captures;
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
        let zero = self.seen.zero().unwrap_or(counts);
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
            (Command::Accept, Phase::Deciding) => self.accept().map(Some),
            (Command::Keep, Phase::Deciding) => {
                self.events.push(Event::Kept);
                self.phase = Phase::StreamOff;
                Ok(Some(Action::Ask(Ask::Stream { every: 0 })))
            }
            _ => Ok(None),
        }
    }

    fn undo(&mut self) -> Option<Action> {
        // What is stored stays stored; only captures of the part at hand, or
        // of the fit before it was accepted, can be taken back.
        let last = self.captures.last()?;
        if last.sitting != self.sitting
            || (self.stored.is_some() && last.part != Part::Verification)
        {
            return None;
        }
        let capture = self.captures.pop()?;
        self.seen.undo();
        if let Some(step) = self.current.take() {
            self.steps.push_front(step);
        }
        let (number, of) = self.place(&capture);
        self.steps.push_front(Step {
            part: capture.part,
            load: capture.load.clone(),
            number,
            of,
        });
        self.events.push(Event::Undone { load: capture.load });
        let was_deciding = matches!(self.phase, Phase::Deciding);
        let action = self.next_step(false);
        was_deciding.then_some(action)
    }

    fn place(&self, capture: &Capture) -> (usize, usize) {
        let of = steps(&self.plan, &[], true)
            .iter()
            .filter(|step| step.part == capture.part)
            .count();
        let done = self
            .captures
            .iter()
            .filter(|other| other.part == capture.part)
            .count();
        (done + 1, of)
    }

    /// Takes the answer to what was asked and returns what to do next.
    ///
    /// # Errors
    /// [`SessionFault`]: the session cannot go on; all captures are in the
    /// journal.
    pub fn answered(&mut self, answer: Result<Answer, Refusal>) -> Result<Action, SessionFault> {
        let answer = answer.map_err(SessionFault::Declined)?;
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
                self.old_knots.clear();
                Ok(self.read_old_knots())
            }
            (Phase::ReadKnots, Answer::Knots { knots, .. }) => {
                if knots.is_empty() {
                    return Err(SessionFault::Confused);
                }
                self.old_knots.extend_from_slice(&knots);
                Ok(self.read_old_knots())
            }
            (Phase::StreamOn, Answer::Done) => self.begin(),
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
                self.phase = Phase::ReadBack(Vec::new());
                Ok(Action::Ask(Ask::Knots { from: 0 }))
            }
            (Phase::ReadBack(knots), Answer::Knots { knots: more, .. }) => {
                self.read_back(knots, &more)
            }
            (Phase::SettingZero, Answer::Zeroed { zero_counts }) => {
                self.proof_zero = Some(zero_counts);
                Ok(self.next_step(true))
            }
            (Phase::Checking, Answer::State(state)) => {
                self.check_agreement(&state);
                Ok(self.next_step(true))
            }
            (Phase::StreamOff, Answer::Done) => {
                self.phase = Phase::Finished;
                Ok(Action::Finished)
            }
            _ => Err(SessionFault::Confused),
        }
    }

    fn read_old_knots(&mut self) -> Action {
        let wanted = self.header.map_or(0, |header| usize::from(header.knots));
        if self.old_knots.len() < wanted {
            self.phase = Phase::ReadKnots;
            return Action::Ask(Ask::Knots {
                from: u8::try_from(self.old_knots.len()).unwrap_or(u8::MAX),
            });
        }
        self.phase = Phase::StreamOn;
        Action::Ask(Ask::Stream { every: 1 })
    }

    fn begin(&mut self) -> Result<Action, SessionFault> {
        let found = self
            .header
            .filter(|_| !self.old_knots.is_empty())
            .map(|header| OldTable {
                knots: self.old_knots.clone(),
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
            self.stored = Some(header);
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
            self.phase = Phase::StreamOff;
            return Action::Ask(Ask::Stream { every: 0 });
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
        self.current = Some(step);
        self.phase = Phase::Watching(Watch::default());
        wait()
    }

    fn propose(&mut self) -> Action {
        self.phase = Phase::Deciding;
        match self.choose() {
            Ok(()) => {
                if let Some(choice) = &self.choice {
                    self.events.push(Event::Proposed {
                        candidates: choice.lines.clone(),
                        reason: choice.reason.clone(),
                    });
                }
                Action::Decide(Decision::Table)
            }
            Err(fault) => {
                self.events.push(Event::Trouble {
                    what: fault.to_string(),
                    try_this: "take the load in question again, or stop here".into(),
                });
                Action::Decide(Decision::NoTable)
            }
        }
    }

    fn choose(&mut self) -> Result<(), SessionFault> {
        let max_knots = self
            .hello
            .as_ref()
            .map_or(quantise::MOST_KNOTS, |hello| usize::from(hello.max_knots));
        let choice =
            judge::choose(&self.plan, &self.captures, max_knots).map_err(SessionFault::NoTable)?;
        self.choice = Some(choice);
        Ok(())
    }

    fn accept(&mut self) -> Result<Action, SessionFault> {
        let Some(choice) = &self.choice else {
            return Err(SessionFault::NoTable("nothing was proposed".into()));
        };
        self.events.push(Event::Begins(Part::Store));
        let settings = quantise::settings_for(&self.plan.scale, &self.settings);
        let (storing, ask) =
            Storing::begin(settings, choice.zero_counts, choice.table.knots().to_vec());
        self.phase = Phase::Storing(storing);
        Ok(Action::Ask(ask))
    }

    fn storing(&mut self, mut storing: Storing, answer: &Answer) -> Result<Action, SessionFault> {
        match answer {
            Answer::Done => {
                let ask = storing.next();
                self.events.push(Event::Storing {
                    done: storing.sent(),
                    of: storing.points(),
                });
                self.phase = Phase::Storing(storing);
                Ok(Action::Ask(ask))
            }
            Answer::Stored { .. } => {
                self.phase = Phase::ReadHeader;
                Ok(Action::Ask(Ask::Table))
            }
            _ => Err(SessionFault::Confused),
        }
    }

    fn read_back(&mut self, mut knots: Vec<Knot>, more: &[Knot]) -> Result<Action, SessionFault> {
        knots.extend_from_slice(more);
        let (Some(choice), Some(header)) = (&self.choice, self.stored) else {
            return Err(SessionFault::Confused);
        };
        let written = choice.table.knots();
        if knots.len() < written.len() && !more.is_empty() {
            let from = u8::try_from(knots.len()).unwrap_or(u8::MAX);
            self.phase = Phase::ReadBack(knots);
            return Ok(Action::Ask(Ask::Knots { from }));
        }
        if knots != written || header.checksum != knots_checksum(written) {
            return Err(SessionFault::ReadBack);
        }
        self.events.push(Event::Stored {
            sequence: header.sequence,
            points: written.len(),
            checksum: header.checksum,
        });
        Ok(self.next_step(true))
    }

    // ---- loads -------------------------------------------------------------

    fn watch(&mut self, mut watch: Watch, state: &State) -> Result<Action, SessionFault> {
        self.last_ms = state.at_ms;
        let counts = f64::from(state.smooth_q8) / 256.0;
        if self.in_trouble(state) {
            watch.rest = None;
            self.phase = Phase::Watching(watch);
            return Ok(wait());
        }
        let Some(step) = self.current.clone() else {
            return Err(SessionFault::Confused);
        };
        let began = *watch.began_ms.get_or_insert_with(|| {
            watch.baseline = counts;
            state.at_ms
        });
        let waited_s = state.at_ms.wrapping_sub(began) / 1000;
        let band = self.rest_band();
        match watch.rest {
            Some((level, _)) if (counts - level).abs() <= band => {}
            _ => watch.rest = Some((counts, state.at_ms)),
        }
        if (counts - watch.baseline).abs() > 4.0 * band {
            watch.moved = true;
        }
        let rested_ms = watch
            .rest
            .map_or(0, |(_, since)| state.at_ms.wrapping_sub(since));
        let stable = state.flags.has(Flags::STABLE) || rested_ms >= REST_UNKNOWN_MS;
        let take = match self.fits(&step, counts) {
            _ if self.take_as_is => stable,
            Some(true) => stable && rested_ms >= REST_EXPECTED_MS,
            Some(false) => {
                self.complain(&mut watch, &step, counts, rested_ms, waited_s);
                false
            }
            None => {
                stable && rested_ms >= REST_UNKNOWN_MS && (watch.moved || step.load.mass_g == 0.0)
            }
        };
        if take {
            let order = self.order(&step);
            self.phase = Phase::Capturing(watch);
            return Ok(Action::Ask(Ask::Capture(order)));
        }
        if let Some(patience_s) = self.patience_s
            && waited_s > patience_s
        {
            return Err(SessionFault::Abandoned {
                load_g: step.load.mass_g,
                waited_s,
            });
        }
        self.phase = Phase::Watching(watch);
        Ok(wait())
    }

    /// Whether the code is that of the load asked for; `None` when there is
    /// nothing to tell it by.
    fn fits(&self, step: &Step, counts: f64) -> Option<bool> {
        if step.part == Part::NoiseCheck {
            return None;
        }
        if self.seen.zero().is_none() {
            // The very first zero: a table in the device tells a loaded pan
            // from an empty one, within the 20 % of Max of initial zero-setting
            // (OIML R 76-1 4.5.1).
            let old = self.old.as_ref()?;
            let load_g = (counts - f64::from(old.zero_counts)) / old.counts_per_g()?;
            return (load_g.abs() > 0.2 * self.plan.scale.max_g).then_some(false);
        }
        let expected = self.seen.expected(step.load.mass_g, &self.plan.scale)?;
        Some((counts - expected.counts).abs() <= expected.tolerance_counts)
    }

    fn complain(
        &mut self,
        watch: &mut Watch,
        step: &Step,
        counts: f64,
        rested_ms: u32,
        waited_s: u32,
    ) {
        // Somebody who has not moved anything yet is on the way; say something
        // only after a while.
        let due = if watch.moved {
            rested_ms >= REST_WRONG_MS
        } else {
            waited_s >= 30
        };
        let again = watch
            .complained_at
            .is_none_or(|at| (at - counts).abs() > 4.0 * self.rest_band());
        if !due || !again {
            return;
        }
        watch.complained_at = Some(counts);
        let scale = &self.plan.scale;
        let Some(slope) = self.seen.slope() else {
            return;
        };
        let reference = self
            .old
            .as_ref()
            .map_or(0.0, |old| f64::from(old.zero_counts));
        let seen_g = self
            .seen
            .load_g(counts)
            .unwrap_or((counts - reference) / slope);
        let tolerance_g = self
            .seen
            .expected(seen_g, scale)
            .map_or(0.01 * scale.max_g, |expected| {
                expected.tolerance_counts / slope
            });
        let looks_like = if seen_g.abs() <= tolerance_g {
            vec![Load::empty()]
        } else {
            self.plan.looks_like(seen_g, tolerance_g)
        };
        self.events.push(Event::WrongLoad(WrongLoad {
            asked: step.load.clone(),
            seen_g,
            tolerance_g,
            looks_like,
            nothing_moved: !watch.moved,
        }));
    }

    /// Spread that counts as rest, ADC counts: half of e, or six times the
    /// noise of a smoothed sample while the sensitivity is not known.
    fn rest_band(&self) -> f64 {
        let noise = self
            .noise
            .as_ref()
            .map_or(50.0, |noise| noise.sd_counts)
            .max(1.0);
        match self.seen.slope() {
            Some(slope) => (0.5 * self.plan.scale.e_g * slope).max(2.0 * noise),
            None => 6.0 * noise,
        }
    }

    fn order(&self, step: &Step) -> CaptureOrder {
        let first = step.part == Part::NoiseCheck;
        CaptureOrder {
            samples: if first {
                NOISE_SAMPLES
            } else {
                self.plan.samples
            },
            rest_counts: if first {
                0
            } else {
                self.rest_band().ceil().clamp(1.0, 1e6) as u32
            },
            patience_ms: CAPTURE_PATIENCE_MS,
        }
    }

    fn capturing(&mut self, watch: Watch, state: &State) -> Result<Action, SessionFault> {
        self.last_ms = state.at_ms;
        let counts = f64::from(state.smooth_q8) / 256.0;
        if self.in_trouble(state) {
            self.phase = Phase::Watching(watch);
            return Ok(Action::Ask(Ask::CaptureCancel));
        }
        match state.capture {
            CaptureState::Averaging { done, of } => {
                self.live(counts, Watching::Averaging { done, of });
            }
            CaptureState::Settling => self.live(counts, Watching::Settling),
            CaptureState::Captured(captured) => return self.captured(watch, &captured),
            CaptureState::Failed(CaptureFault::Restless) => {
                self.events.push(Event::Trouble {
                    what: "the load does not come to rest".into(),
                    try_this: "look for draught, a shaking table, or a load that swings".into(),
                });
                self.trouble = true;
                self.phase = Phase::Watching(watch);
                return Ok(wait());
            }
            CaptureState::Failed(_) | CaptureState::Idle => {
                self.phase = Phase::Watching(watch);
                return Ok(wait());
            }
        }
        self.phase = Phase::Capturing(watch);
        Ok(wait())
    }

    fn captured(&mut self, mut watch: Watch, captured: &Captured) -> Result<Action, SessionFault> {
        let Some(step) = self.current.clone() else {
            return Err(SessionFault::Confused);
        };
        let mean_counts = f64::from(captured.mean_q8) / 256.0;
        let sd_counts = f64::from(captured.sd_q8) / 256.0;
        if step.part == Part::NoiseCheck {
            self.finish_noise(captured, sd_counts);
            return Ok(self.next_step(true));
        }
        if self.fits(&step, mean_counts) == Some(false) && !self.take_as_is {
            // The load changed while it was averaged.
            watch.rest = None;
            self.phase = Phase::Watching(watch);
            return Ok(wait());
        }
        let middle_ms = captured
            .began_ms
            .wrapping_add(captured.ended_ms.wrapping_sub(captured.began_ms) / 2);
        let capture = Capture {
            part: step.part,
            load: step.load.clone(),
            mean_counts,
            sd_counts,
            samples: captured.samples,
            at_s: f64::from(middle_ms) / 1000.0,
            sitting: self.sitting,
            saturated: captured.saturated,
        };
        self.seen.add(step.load.mass_g, mean_counts);
        self.captures.push(capture.clone());
        let (before_g, after_g) = self.readings(&capture);
        let scale = &self.plan.scale;
        let mpe_g = scale.e_g
            * mpe_e(
                self.plan.class(),
                MpeStage::Initial,
                step.load.mass_g / scale.e_g,
            );
        self.events.push(Event::Captured {
            capture,
            before_g,
            after_g,
            mpe_g,
        });
        match step.part {
            Part::VerificationZero => {
                self.phase = Phase::SettingZero;
                Ok(Action::Ask(Ask::SetZero))
            }
            Part::Verification => {
                self.phase = Phase::Checking;
                Ok(Action::Ask(Ask::State))
            }
            _ => Ok(self.next_step(true)),
        }
    }

    /// What the old and the new setting say of a capture, g.
    fn readings(&self, capture: &Capture) -> (Option<f64>, Option<f64>) {
        let zero = match (capture.part, self.proof_zero) {
            (Part::Verification, Some(zero)) => f64::from(zero),
            _ => self.seen.zero().unwrap_or(capture.mean_counts),
        };
        let net = capture.mean_counts - zero;
        let before = self.old.as_ref().map(|old| old.reading_g(net));
        let after = self
            .choice
            .as_ref()
            .filter(|_| capture.part == Part::Verification)
            .map(|choice| quantise::mass_g(&choice.table, net, choice.quantum_ug));
        (before, after)
    }

    fn finish_noise(&mut self, captured: &Captured, sd_counts: f64) {
        let keep = usize::from(captured.samples);
        let from = self.noise_codes.len().saturating_sub(keep);
        let noise = judge::noise(
            self.noise_codes.get(from..).unwrap_or_default(),
            sd_counts,
            f64::from(captured.ended_ms.wrapping_sub(captured.began_ms)) / 1000.0,
            self.seen.slope(),
            &self.plan.scale,
            self.settings.smoothing,
        );
        self.noise = Some(noise.clone());
        self.events.push(Event::Quiet(noise));
    }

    /// Compares the mass the device says with what the laptop computes from the
    /// same code: the same integers must give the same quanta.
    fn check_agreement(&mut self, state: &State) {
        let Some(choice) = &self.choice else { return };
        let net = i64::from(state.smooth_q8) - i64::from(state.zero_counts) * 256;
        self.agreement.1 += 1;
        if state.mass == Some(choice.table.lookup_q8(net).mass) {
            self.agreement.0 += 1;
        }
    }

    fn in_trouble(&mut self, state: &State) -> bool {
        let found = trouble_of(state.flags);
        match found {
            Some((what, try_this)) if !self.trouble => {
                self.trouble = true;
                self.events.push(Event::Trouble {
                    what: what.into(),
                    try_this: try_this.into(),
                });
            }
            None if self.trouble => {
                self.trouble = false;
                self.events.push(Event::TroubleOver);
            }
            _ => {}
        }
        found.is_some()
    }

    /// The outcome, once the table is stored. Date, seed and wall-clock time
    /// are the caller's.
    #[must_use]
    pub fn outcome(&self) -> Option<Outcome> {
        self.evidence().map(|evidence| judge::outcome(&evidence))
    }

    /// How common settings fare at the same loads.
    #[must_use]
    pub fn common_settings(&self) -> Option<judge::CommonSettings> {
        judge::common_settings(&self.evidence()?)
    }

    fn evidence(&self) -> Option<judge::Evidence<'_>> {
        Some(judge::Evidence {
            plan: &self.plan,
            captures: &self.captures,
            choice: self.choice.as_ref()?,
            stored: self.stored.as_ref()?,
            hello: self.hello.as_ref()?,
            noise: self.noise.as_ref(),
            old: self.old.as_ref(),
            proof_zero: self.proof_zero,
            agreement: self.agreement,
            device_s: f64::from(
                self.last_ms
                    .wrapping_sub(self.began_ms.unwrap_or(self.last_ms)),
            ) / 1000.0,
        })
    }
}

fn wait() -> Action {
    Action::Ask(Ask::Wait { up_to_ms: WAIT_MS })
}

/// A condition that stands in the way, and what to do about it.
fn trouble_of(flags: Flags) -> Option<(&'static str, &'static str)> {
    if flags.has(Flags::ADC_SILENT) {
        Some((
            "the bridge ADC delivers nothing",
            "check its supply and both wires of its clock and data line",
        ))
    } else if flags.has(Flags::ADC_STUCK) {
        Some((
            "the bridge ADC's data line does not follow its clock",
            "check the clock wire, and the data line for a short",
        ))
    } else if flags.has(Flags::SATURATED) {
        Some((
            "the bridge ADC is at the end of its range",
            "take load off; if it stays, look for an open bridge wire",
        ))
    } else {
        None
    }
}

/// The steps that are left after `done`.
fn steps(plan: &Plan, done: &[Capture], noise: bool) -> VecDeque<Step> {
    let mut all = Vec::new();
    let mut part = |part: Part, loads: &[Load]| {
        for (index, load) in loads.iter().enumerate() {
            all.push(Step {
                part,
                load: load.clone(),
                number: index + 1,
                of: loads.len(),
            });
        }
    };
    let empty = [Load::empty()];
    part(Part::Zero, &empty);
    part(Part::Rising, &plan.fit);
    if plan.both_ways {
        let falling: Vec<Load> = plan.fit.iter().rev().skip(1).cloned().collect();
        part(Part::Falling, &falling);
    }
    part(Part::ZeroReturn, &empty);
    if !plan.verify.is_empty() {
        part(Part::VerificationZero, &empty);
        part(Part::Verification, &plan.verify);
    }
    // Captures were made in the order of the steps; zeros of a resumption are
    // extra.
    let mut remaining: VecDeque<Step> = all.into();
    let mut first_zero_seen = false;
    for capture in done {
        if capture.part == Part::Zero && first_zero_seen {
            continue;
        }
        first_zero_seen |= capture.part == Part::Zero;
        if remaining
            .front()
            .is_some_and(|step| step.part == capture.part)
        {
            remaining.pop_front();
        }
    }
    // A resumption takes zero first, unless zero is what comes anyway.
    let zero_comes = remaining.front().is_none_or(|step| step.load.mass_g == 0.0);
    if !done.is_empty() && !zero_comes {
        // Within the verification, it is the device that must be set to zero.
        let verifying = remaining
            .front()
            .is_some_and(|step| step.part == Part::Verification);
        remaining.push_front(Step {
            part: if verifying {
                Part::VerificationZero
            } else {
                Part::Zero
            },
            load: Load::empty(),
            number: 1,
            of: 1,
        });
    }
    if noise {
        remaining.push_front(Step {
            part: Part::NoiseCheck,
            load: Load::empty(),
            number: 1,
            of: 1,
        });
    }
    remaining
}
