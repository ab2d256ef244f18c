//! A whole session in this process: bench, link and procedure on one thread.

use std::time::Duration;

use scalewright::drive::{self, DriveFault, Heading, Watcher, Wish};
use scalewright::link::client::Client;
use scalewright::record::journal::Journal;
use scalewright::record::outcome::Outcome;
use scalewright::record::weights::class_u_g;
use scalewright::session::event::Event;
use scalewright::session::plan::{Plan, PlannedWeight, ScaleSpec};
use scalewright::session::procedure::{Command, Decision, Procedure};
use scalewright_bench::{BenchSpec, Desk, LoadOrder, Pan};

pub use scalewright_tests::near::{Near, at_a_bench};

/// The studio's bench scale: Max 6 kg, e = 2 g, class III.
pub fn studio_scale() -> ScaleSpec {
    ScaleSpec {
        max_g: 6000.0,
        e_g: 2.0,
        d_g: 1.0,
        class: "III".into(),
    }
}

/// A plan for the bench scale with the weights beside it.
pub fn plan(desk: &Desk) -> Plan {
    let weights = desk
        .weights()
        .iter()
        .map(|weight| {
            let u_g = class_u_g("M1", weight.nominal_g).expect("a class M1 weight");
            PlannedWeight::new(weight.id.clone(), weight.nominal_g, u_g)
        })
        .collect();
    Plan::new(studio_scale(), weights).expect("the studio's set makes a plan")
}

/// A wrong load as it was noticed.
#[derive(Clone, Debug)]
pub struct Noticed {
    /// Mass of the first guess, g.
    pub guess_g: Option<f64>,
    /// What the signal said, g.
    pub seen_g: f64,
    /// What really stood on the pan, g.
    pub true_g: f64,
    /// What was asked for, g.
    pub asked_g: f64,
}

/// Somebody at the pan who does as asked, remembers, and may be called away.
pub struct Person {
    desk: Desk,
    /// Leaves after so many captures.
    pub leaves_after: Option<usize>,
    pub captures: usize,
    pub troubles: Vec<String>,
    pub over: usize,
    pub noticed: Vec<Noticed>,
}

impl Person {
    pub fn at(desk: Desk) -> Self {
        Self {
            desk,
            leaves_after: None,
            captures: 0,
            troubles: Vec::new(),
            over: 0,
            noticed: Vec::new(),
        }
    }

    fn leaves(&self) -> bool {
        self.leaves_after
            .is_some_and(|after| self.captures >= after)
    }
}

impl Watcher for Person {
    fn event(&mut self, event: &Event) {
        match event {
            Event::PutOn { load, .. } => {
                self.desk.ask(LoadOrder::of(load.weights.iter().cloned()));
            }
            Event::WrongLoad(wrong) => {
                if !wrong.nothing_moved {
                    self.noticed.push(Noticed {
                        guess_g: wrong.looks_like.first().map(|load| load.mass_g),
                        seen_g: wrong.seen_g,
                        true_g: self.desk.true_load_g(),
                        asked_g: wrong.asked.mass_g,
                    });
                }
                self.desk.correct();
            }
            Event::Captured { .. } => self.captures += 1,
            Event::Trouble { what, .. } => self.troubles.push(what.clone()),
            Event::TroubleOver => self.over += 1,
            _ => {}
        }
    }

    fn wish(&mut self) -> Wish {
        if self.leaves() {
            Wish::Stop
        } else {
            Wish::GoOn
        }
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        match decision {
            _ if self.leaves() => Wish::Stop,
            Decision::Table => Wish::Say(Command::Accept),
            Decision::Doubt => Wish::Say(Command::Repeat),
            Decision::NoTable => Wish::Stop,
        }
    }
}

/// A session after its end.
pub struct Session {
    pub ended: Result<(), DriveFault>,
    pub outcome: Option<Outcome>,
    pub person: Person,
    pub client: Client<Near>,
    pub desk: Desk,
}

/// Runs a session at the bench of `spec`; `procedure` is made for its plan.
pub fn session(
    spec: BenchSpec,
    leaves_after: Option<usize>,
    journal: Option<&mut Journal>,
    procedure: impl FnOnce(Plan) -> Procedure,
) -> Session {
    let seed = spec.seed;
    let (mut client, desk) = at_a_bench(spec);
    let mut procedure = procedure(plan(&desk));
    // Device time; the operator acts within seconds.
    procedure.set_patience_s(600);
    // Nothing more will come from a bench at rest, so nothing is waited for.
    client.set_patience(Duration::from_millis(5));
    let mut person = Person::at(desk.clone());
    person.leaves_after = leaves_after;
    let heading = Heading {
        date: "2026-11-25T10:00:00Z".into(),
        seed: Some(seed),
        ..Heading::default()
    };
    let ended = drive::run(&mut procedure, &mut client, journal, &heading, &mut person);
    Session {
        ended,
        outcome: procedure.outcome(),
        person,
        client,
        desk,
    }
}

/// A whole session from the beginning that must come to its end.
pub fn whole(spec: BenchSpec) -> (Outcome, Session) {
    let mut session = session(spec, None, None, Procedure::new);
    assert_eq!(session.ended, Ok(()), "{:?}", session.person.troubles);
    let outcome = session.outcome.take().expect("an outcome");
    (outcome, session)
}

/// The studio's scale after our calibration.
pub fn calibrated(seed: u64) -> BenchSpec {
    let (_, session) = whole(BenchSpec::studio(seed));
    let mut spec = BenchSpec::studio(seed);
    spec.flash = Some(session.desk.flash_image());
    spec
}
