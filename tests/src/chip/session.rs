//! A chip with a companion at its line and somebody at its pan.

use std::time::Duration;

use scalewright::drive::{Watcher, Wish};
use scalewright::link::LinkFault;
use scalewright::link::client::Client;
use scalewright::record::weights::class_u_g;
use scalewright::session::event::Event;
use scalewright::session::plan::{Plan, PlannedWeight, ScaleSpec};
use scalewright::session::procedure::{Command, Decision};
use scalewright_bench::BenchSpec;
use scalewright_core::instrument::Identity;
use scalewright_protocol::message::{
    Answer, Ask, Hello, KNOTS_PER_MESSAGE, Sample, Stage, State, TableHeader,
};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

use super::emulator::{Board, Stop};
use super::line::ChipLine;
use super::rig::{Rig, Shared, hold};

/// What the boards say of themselves, but for their number.
#[must_use]
pub fn identity(board: Board) -> Identity {
    Identity {
        device_id: 0,
        board: board.name(),
        firmware: scalewright_core::VERSION,
        rates_sps: &[10, 80],
    }
}

/// The requests that store a record.
#[must_use]
pub fn storing(settings: Settings, zero_counts: i32, knots: &[Knot]) -> Vec<Ask> {
    let mut asks = vec![Ask::StageBegin(Stage {
        settings,
        zero_counts,
        knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
        checksum: knots_checksum(knots),
    })];
    for (part, piece) in knots.chunks(KNOTS_PER_MESSAGE).enumerate() {
        asks.push(Ask::StageKnots {
            from: u8::try_from(part * KNOTS_PER_MESSAGE).unwrap_or(u8::MAX),
            knots: piece.iter().copied().collect(),
        });
    }
    asks.push(Ask::StageCommit);
    asks
}

/// A chip, and the companion's end of its line.
pub struct Chip {
    /// The chip and what stands before it.
    pub rig: Shared,
    /// The companion's end.
    pub client: Client<ChipLine>,
}

impl Chip {
    /// A board for the second time under power: on the first it made its
    /// number.
    ///
    /// # Panics
    /// When it does not answer.
    #[must_use]
    pub fn switched_on(board: Board, spec: &BenchSpec) -> Self {
        let mut rig = Rig::new(board, spec);
        rig.pass(5000);
        let mut chip = Self::over(rig.shared());
        let hello = chip.hello();
        assert_ne!(hello.device_id, 0, "a number is made at the first start");
        chip.restart("power");
        chip
    }

    /// The companion's end of the line to `rig`.
    #[must_use]
    pub fn over(rig: Shared) -> Self {
        let mut client = Client::new(ChipLine::new(rig.clone()), 1);
        // An emulator that is slow is not a scale that is silent.
        client.set_patience(Duration::from_secs(10));
        Self { rig, client }
    }

    /// Off and on, or as after the watchdog's bite; a new end of the line.
    pub fn restart(&mut self, reason: &str) {
        let mut rig = hold(&self.rig);
        rig.restart(reason);
        // A receiver that is not switched on yet hears nothing.
        rig.pass(5000);
        drop(rig);
        *self = Self::over(self.rig.clone());
    }

    /// One request and its answer.
    ///
    /// # Errors
    /// The scale's refusal, or that the chip stopped.
    pub fn try_ask(&mut self, ask: &Ask) -> Result<Answer, LinkFault> {
        self.client.ask(ask, &mut |_| {})
    }

    /// One request that is answered.
    ///
    /// # Panics
    /// When it is not.
    pub fn ask(&mut self, ask: &Ask) -> Answer {
        self.try_ask(ask)
            .unwrap_or_else(|fault| panic!("{ask:?}: {fault}"))
    }

    /// The greeting.
    ///
    /// # Panics
    /// When there is none.
    pub fn hello(&mut self) -> Hello {
        self.client
            .hello()
            .unwrap_or_else(|fault| panic!("{fault}"))
    }

    /// The state after `ms` of device time.
    ///
    /// # Panics
    /// When it is not told.
    pub fn state_after(&mut self, ms: u32) -> State {
        let mut left = i64::from(ms);
        let mut last = self.state();
        let began_ms = last.at_ms;
        while left > 0 {
            let up_to_ms = u16::try_from(left.min(2000)).unwrap_or(2000);
            match self.ask(&Ask::Wait { up_to_ms }) {
                Answer::State(state) => last = state,
                other => panic!("{other:?}"),
            }
            left = i64::from(ms) - i64::from(last.at_ms.wrapping_sub(began_ms));
        }
        last
    }

    /// The state now.
    ///
    /// # Panics
    /// When it is not told.
    pub fn state(&mut self) -> State {
        match self.ask(&Ask::State) {
            Answer::State(state) => state,
            other => panic!("{other:?}"),
        }
    }

    /// Samples of `ms` of device time, every one of them.
    pub fn samples(&mut self, ms: u32) -> Vec<Sample> {
        let mut samples = Vec::new();
        self.ask(&Ask::Stream { every: 1 });
        let mut left = ms;
        while left > 0 {
            let piece = left.min(500);
            let wait = Ask::Wait {
                up_to_ms: u16::try_from(piece).unwrap_or(500),
            };
            self.client
                .ask(&wait, &mut |sample| samples.push(*sample))
                .unwrap_or_else(|fault| panic!("{fault}"));
            left -= piece;
        }
        self.ask(&Ask::Stream { every: 0 });
        samples
    }

    /// Header of the table in force.
    ///
    /// # Panics
    /// When it is not told.
    pub fn table(&mut self) -> TableHeader {
        match self.ask(&Ask::Table) {
            Answer::Table(header) => header,
            other => panic!("{other:?}"),
        }
    }

    /// The knots in force.
    ///
    /// # Panics
    /// When they are not told.
    pub fn knots(&mut self) -> Vec<Knot> {
        let mut all = Vec::new();
        loop {
            let from = u8::try_from(all.len()).expect("few");
            match self.ask(&Ask::Knots { from }) {
                Answer::Knots { knots, .. } if knots.is_empty() => return all,
                Answer::Knots { knots, .. } => all.extend(knots),
                other => panic!("{other:?}"),
            }
        }
    }

    /// Settings in force.
    ///
    /// # Panics
    /// When they are not told.
    pub fn settings(&mut self) -> Settings {
        match self.ask(&Ask::Settings) {
            Answer::Settings(settings) => settings,
            other => panic!("{other:?}"),
        }
    }

    /// Stores a record; the number of the record, or what came between.
    ///
    /// # Errors
    /// The scale's refusal, or that the chip stopped.
    pub fn store(
        &mut self,
        settings: Settings,
        zero_counts: i32,
        knots: &[Knot],
    ) -> Result<u32, LinkFault> {
        let mut last = Answer::Done;
        for ask in storing(settings, zero_counts, knots) {
            last = self.try_ask(&ask)?;
        }
        match last {
            Answer::Stored { sequence } => Ok(sequence),
            other => panic!("{other:?}"),
        }
    }

    /// What ended all talk with the chip.
    pub fn stopped(&mut self) -> Option<Stop> {
        self.client.line_mut().stopped.clone()
    }

    /// The plan for the studio's scale with the weights at hand.
    ///
    /// # Panics
    /// When the set makes no plan.
    #[must_use]
    pub fn plan(&self) -> Plan {
        let weights = hold(&self.rig)
            .weights()
            .iter()
            .map(|weight| {
                let u_g = class_u_g("M1", weight.nominal_g).expect("a class M1 weight");
                PlannedWeight::new(weight.id.clone(), weight.nominal_g, u_g)
            })
            .collect();
        let scale = ScaleSpec {
            max_g: 6000.0,
            e_g: 2.0,
            d_g: 1.0,
            class: "III".into(),
        };
        Plan::new(scale, weights).expect("the studio's set makes a plan")
    }
}

/// Somebody at the pan who does as asked.
pub struct Person {
    rig: Shared,
    /// What went wrong meanwhile.
    pub troubles: Vec<String>,
}

impl Person {
    /// At the pan of `rig`.
    #[must_use]
    pub fn at(rig: Shared) -> Self {
        Self {
            rig,
            troubles: Vec::new(),
        }
    }
}

impl Watcher for Person {
    fn event(&mut self, event: &Event) {
        match event {
            Event::PutOn { load, .. } => hold(&self.rig).put_on(load.weights.iter().cloned()),
            Event::WrongLoad(_) => hold(&self.rig).put_right(),
            Event::Trouble { what, .. } => self.troubles.push(what.clone()),
            _ => {}
        }
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        match decision {
            Decision::Table => Wish::Say(Command::Accept),
            Decision::Doubt => Wish::Say(Command::Repeat),
            Decision::NoTable => Wish::Stop,
        }
    }
}
