//! The guided verification from greeting to the last test.
//!
//! [`Prover::start`] and [`Prover::answered`] return what to do next;
//! [`Prover::take_events`] what to show and what to keep. Nothing that the scale
//! holds is changed: zero and tare only.

use std::collections::VecDeque;

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::message::{Answer, Ask, Hello, Refusal, State, TableHeader};
use scalewright_protocol::settings::Settings;

use super::arrival::{Arrival, Awaited};
use super::entry::{Held, ProofEntry};
use super::plan::{PlannedTest, ProofPlan, ProofStep};
use super::{Spot, Test};
use crate::quantise::{self, HostTable};
use crate::session::table::reading::KnotsReader;
use crate::session::trouble::{News, Trouble};

mod capturing;
mod fault;
mod said;
mod watching;

pub use fault::ProofFault;
pub use said::{ProofAction, ProofCommand, ProofEvent, Watching};

/// Longest single wait, ms of device time: how often the picture moves.
const WAIT_MS: u16 = 250;

#[derive(Clone, Debug)]
enum Phase {
    Greeting,
    ReadSettings,
    ReadTable,
    ReadKnots(KnotsReader),
    Watching,
    Capturing,
    Acting,
    Finished,
}

/// A guided verification.
pub struct Prover {
    plan: ProofPlan,
    phase: Phase,
    events: Vec<ProofEvent>,
    waiting_tests: VecDeque<PlannedTest>,
    current: Option<Running>,
    run: u32,
    hello: Option<Hello>,
    settings: Settings,
    header: Option<TableHeader>,
    table: Option<HostTable>,
    /// From a file: what the scale held when it began.
    file_held: Option<Held>,
    arrival: Option<Arrival>,
    trouble: Trouble,
    /// What was said while it could not be heeded.
    said: Option<ProofCommand>,
    last_ms: Option<u32>,
    /// Gross mass as it was read last, g.
    last_gross_g: Option<f64>,
    waited_from_ms: Option<u32>,
    patience_s: Option<u32>,
}

/// A test under way.
struct Running {
    test: PlannedTest,
    at: usize,
    /// Since when the load of a test of staying lies there, ms.
    lies_since: Option<u32>,
    /// Since when it reads otherwise, ms.
    gone_since: Option<u32>,
    /// After an undo what lies there was wrong; an empty pan was not.
    must_move: bool,
}

impl Prover {
    /// A verification that begins at the beginning.
    #[must_use]
    pub fn new(plan: ProofPlan) -> Self {
        let waiting_tests = plan.tests.iter().cloned().collect();
        Self {
            plan,
            phase: Phase::Greeting,
            events: Vec::new(),
            waiting_tests,
            current: None,
            run: 0,
            hello: None,
            settings: quantise::neutral_settings(),
            header: None,
            table: None,
            file_held: None,
            arrival: None,
            trouble: Trouble::default(),
            said: None,
            last_ms: None,
            last_gross_g: None,
            waited_from_ms: None,
            patience_s: None,
        }
    }

    /// A verification that goes on where a file ends: whole tests stay, one that
    /// was broken off begins anew.
    #[must_use]
    pub fn resume(plan: ProofPlan, entries: &[ProofEntry]) -> Self {
        let mut prover = Self::new(plan);
        let done = super::entry::finished(&prover.plan, entries);
        prover.waiting_tests.retain(|one| !done.contains(&one.test));
        prover.run = super::entry::latest_run(entries).map_or(0, |run| run + 1);
        prover.file_held = entries.iter().find_map(|entry| match entry {
            ProofEntry::ProofBegan { held, .. } => Some((**held).clone()),
            _ => None,
        });
        prover
    }

    /// Gives up when nobody acts for this long, s of device time.
    pub fn set_patience_s(&mut self, patience_s: u32) {
        self.patience_s = Some(patience_s);
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &ProofPlan {
        &self.plan
    }

    /// What has happened since the last call.
    pub fn take_events(&mut self) -> Vec<ProofEvent> {
        std::mem::take(&mut self.events)
    }

    /// The first thing to do.
    pub fn start(&mut self) -> ProofAction {
        self.phase = Phase::Greeting;
        ProofAction::Ask(Ask::Hello {
            wire_version: WIRE_VERSION,
        })
    }

    /// Takes a user's word.
    pub fn command(&mut self, command: ProofCommand) {
        match command {
            ProofCommand::TakeAsIs => self.take_as_is(),
            // While the scale sets zero or tares, its answer belongs to the step
            // at hand: a moment later it can be said again.
            ProofCommand::Undo | ProofCommand::LeaveOut if matches!(self.phase, Phase::Acting) => {
                self.said = Some(command);
            }
            ProofCommand::Undo => self.undo(),
            ProofCommand::LeaveOut => {
                if let Some(running) = self.current.take() {
                    self.phase = Phase::Watching;
                    self.leave_out(running.test.test, "by request".into());
                    self.next_test();
                }
            }
        }
    }

    /// What lies there counts as the load asked for, if it can be that at all.
    fn take_as_is(&mut self) {
        let running = self.current.as_ref();
        let step = running.and_then(|one| one.test.steps.get(one.at));
        let asked_g = step.map_or(0.0, |step| step.load.mass_g);
        let room_g = self.plan.scale.room_on_word_g(asked_g);
        match (self.last_gross_g, &mut self.arrival) {
            (Some(seen_g), _) if (seen_g - asked_g).abs() > room_g => {
                self.events.push(ProofEvent::Trouble {
                    what: format!(
                        "this reads {seen_g:.0} g: taken as {asked_g} g it would say nothing of the scale"
                    ),
                    try_this: "put the load asked for on the pan, or leave this test out (l)".into(),
                });
                self.trouble.say();
            }
            (_, Some(arrival)) => arrival.insist(),
            (_, None) => {}
        }
    }

    fn leave_out(&mut self, test: Test, why: String) {
        let entry = ProofEntry::LeftOut { test, why };
        self.events.push(ProofEvent::Keep(entry));
    }

    fn undo(&mut self) {
        let Some(running) = &mut self.current else {
            return;
        };
        let before = running.test.steps.get(..running.at).unwrap_or_default();
        let captured = |step: &ProofStep| step.doing.captures();
        let Some(at) = before.iter().rposition(captured) else {
            return;
        };
        running.at = at;
        running.must_move = before
            .get(at)
            .is_some_and(|step| !step.load.weights.is_empty());
        running.lies_since = None;
        // A capture under way is of the load that is taken back.
        self.phase = Phase::Watching;
        self.events.push(ProofEvent::Keep(ProofEntry::Undone));
        self.ask_for_step();
    }

    /// Takes the answer to what was asked and returns what to do next.
    ///
    /// # Errors
    /// [`ProofFault`]: the verification cannot go on; all captures are kept.
    pub fn answered(&mut self, answer: Result<Answer, Refusal>) -> Result<ProofAction, ProofFault> {
        let answer = match answer {
            Ok(answer) => answer,
            // Somebody touched the pan just then: look again.
            Err(Refusal::NotAtRest | Refusal::AdcFault) if matches!(self.phase, Phase::Acting) => {
                self.phase = Phase::Watching;
                return Ok(wait());
            }
            Err(refusal) => return Err(ProofFault::Declined(refusal)),
        };
        match (std::mem::replace(&mut self.phase, Phase::Finished), answer) {
            (Phase::Greeting, Answer::Hello(hello)) => {
                if let Some(held) = &self.file_held
                    && held.device_id != hello.device_id
                {
                    return Err(ProofFault::OtherScale {
                        file: held.device_id,
                        scale: hello.device_id,
                    });
                }
                self.hello = Some(hello);
                self.phase = Phase::ReadSettings;
                Ok(ProofAction::Ask(Ask::Settings))
            }
            (Phase::ReadSettings, Answer::Settings(settings)) => {
                self.settings = settings;
                self.phase = Phase::ReadTable;
                Ok(ProofAction::Ask(Ask::Table))
            }
            (Phase::ReadTable, Answer::Table(header)) => {
                if header.knots == 0 {
                    return Err(ProofFault::NotCalibrated);
                }
                self.header = Some(header);
                self.read_knots(KnotsReader::of(&header))
            }
            (Phase::ReadKnots(mut reader), Answer::Knots { from, knots }) => {
                (reader.take(from, &knots)).map_err(|_| ProofFault::Confused)?;
                self.read_knots(reader)
            }
            (Phase::Watching, Answer::State(state)) => self.watch(&state),
            // The order to capture, or its cancelling, was taken.
            (Phase::Capturing, Answer::Done) => {
                self.phase = Phase::Capturing;
                Ok(wait())
            }
            (Phase::Watching, Answer::Done) => {
                self.phase = Phase::Watching;
                Ok(wait())
            }
            (Phase::Capturing, Answer::State(state)) => self.capturing(&state),
            (Phase::Acting, Answer::Zeroed { zero_counts }) => Ok(self.zeroed(zero_counts)),
            (Phase::Acting, Answer::Done) => Ok(self.tared()),
            _ => Err(ProofFault::Confused),
        }
    }

    fn read_knots(&mut self, reader: KnotsReader) -> Result<ProofAction, ProofFault> {
        if let Some(ask) = reader.ask() {
            self.phase = Phase::ReadKnots(reader);
            return Ok(ProofAction::Ask(ask));
        }
        let (Some(header), Some(hello)) = (self.header, self.hello.clone()) else {
            return Err(ProofFault::Confused);
        };
        let table = HostTable::new(reader.knots()).map_err(|_| ProofFault::Confused)?;
        self.table = Some(table);
        let spec = quantise::spec_of(&self.settings);
        let plan = &self.plan.scale;
        let apart = |a: f64, b: f64| (a - b).abs() > 1e-6 * b;
        if apart(spec.max_g, plan.max_g) || apart(spec.e_g, plan.e_g) {
            return Err(ProofFault::OtherSettings {
                scale: (spec.max_g, spec.e_g),
                plan: (plan.max_g, plan.e_g),
            });
        }
        if let Some(held) = &self.file_held
            && held.checksum != header.checksum
        {
            return Err(ProofFault::OtherTable {
                file: held.checksum,
                scale: header.checksum,
            });
        }
        let (major, minor, patch) = hello.firmware;
        self.events.push(ProofEvent::Greeted(Box::new(Held {
            device_id: hello.device_id,
            board: hello.board.as_str().into(),
            firmware: format!("{major}.{minor}.{patch}"),
            settings: self.settings,
            knots: reader.knots().to_vec(),
            checksum: header.checksum,
            sequence: header.sequence,
            zero_counts: header.zero_counts,
        })));
        self.next_test();
        Ok(self.go_on())
    }

    /// What there is to do now.
    fn go_on(&mut self) -> ProofAction {
        if self.current.is_none() {
            self.phase = Phase::Finished;
            return ProofAction::Finished;
        }
        self.phase = Phase::Watching;
        wait()
    }

    fn next_test(&mut self) {
        self.current = self.waiting_tests.pop_front().map(|test| {
            self.events.push(ProofEvent::Begins(test.test));
            Running {
                test,
                at: 0,
                lies_since: None,
                gone_since: None,
                must_move: false,
            }
        });
        self.run += 1;
        self.ask_for_step();
    }

    /// Begins the test at hand anew.
    fn again(&mut self, why: &str) {
        self.run += 1;
        if let Some(running) = &mut self.current {
            running.at = 0;
            running.lies_since = None;
            running.gone_since = None;
            let test = running.test.test;
            let why = why.into();
            self.events.push(ProofEvent::Again { test, why });
        }
        self.ask_for_step();
    }

    /// Says what to do, and watches for it.
    fn ask_for_step(&mut self) {
        self.waited_from_ms = None;
        self.arrival = None;
        let e_g = self.plan.scale.e_g;
        let Some(running) = &mut self.current else {
            return;
        };
        let Some(step) = running.test.steps.get(running.at) else {
            return;
        };
        let before = running.at.checked_sub(1);
        let before = before.and_then(|at| running.test.steps.get(at));
        let must_move = before.is_some_and(|before| {
            let same = before.load.weights == step.load.weights;
            let apart_g = (before.load.mass_g - step.load.mass_g).abs();
            match same {
                true => before.spot != step.spot,
                false => apart_g <= 2.0 * room_g(e_g, step.load.mass_g),
            }
        });
        let awaited = Awaited {
            mass_g: step.load.mass_g,
            room_g: room_g(e_g, step.load.mass_g),
            must_move: must_move || running.must_move,
        };
        running.must_move = false;
        self.arrival = Some(Arrival::of(awaited, e_g));
        self.events.push(ProofEvent::Do {
            number: running.at + 1,
            of: running.test.steps.len(),
            step: step.clone(),
        });
    }

    /// Goes to the step after this.
    fn step_done(&mut self) -> ProofAction {
        let over = self.current.as_mut().is_none_or(|running| {
            running.at += 1;
            running.at >= running.test.steps.len()
        });
        if over {
            self.next_test();
        } else {
            self.ask_for_step();
        }
        self.go_on()
    }

    fn live(&mut self, gross_g: f64, watching: Watching) {
        self.events.push(ProofEvent::Live { gross_g, watching });
    }

    fn gross_g_of(&self, state: &State) -> Option<f64> {
        let unit_g = quantise::quantum_g(self.settings.quantum_ug);
        state.mass.map(|mass| f64::from(mass) * unit_g)
    }

    fn in_trouble(&mut self, state: &State) -> bool {
        let (found, news) = self.trouble.look(state.flags);
        self.events.extend(news.map(|news| match news {
            News::Came(what, try_this) => ProofEvent::Trouble {
                what: what.into(),
                try_this: try_this.into(),
            },
            News::Over => ProofEvent::TroubleOver,
        }));
        found
    }
}

/// How far off a load may read and still be the one asked for, g.
fn room_g(e_g: f64, mass_g: f64) -> f64 {
    (4.0 * e_g).max(0.01 * mass_g)
}

fn wait() -> ProofAction {
    ProofAction::Ask(Ask::Wait { up_to_ms: WAIT_MS })
}

/// Where on the pan, for whoever puts it there.
impl ProofStep {
    /// Whether the place matters.
    #[must_use]
    pub fn is_off_centre(&self) -> bool {
        self.spot != Spot::Middle
    }
}
