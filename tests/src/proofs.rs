//! Whole verifications on simulated scales, the way of a user's.

use scalewright::drive::Heading;
use scalewright::link::client::Client;
use scalewright::proving::{self, ProofWatcher, ProofWish, ProvingFault};
use scalewright::record::journal::Journal;
use scalewright::session::proof::Spot;
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::plan::ProofPlan;
use scalewright::session::proof::prover::{ProofCommand, ProofEvent, Prover};
use scalewright_bench::{BenchSpec, Desk, LoadOrder, Pan};

use crate::near::{Near, at_a_bench};

/// Somebody who puts on what is asked for, where it is asked for.
pub struct Hand {
    desk: Desk,
    /// Leaves after so many captures.
    pub stop_after: Option<usize>,
    /// Captures so far.
    pub captures: usize,
    /// What happened, the live picture aside.
    pub events: Vec<ProofEvent>,
    insist: bool,
    /// Whether the load at hand must be lifted first.
    lifts: bool,
}

impl Hand {
    /// At this pan.
    #[must_use]
    pub fn at(desk: Desk) -> Self {
        Self {
            desk,
            stop_after: None,
            captures: 0,
            events: Vec::new(),
            insist: false,
            lifts: false,
        }
    }
}

/// A place on the pan, as the bench names it.
#[must_use]
pub const fn spot(spot: Spot) -> scalewright_bench::Spot {
    match spot {
        Spot::Middle => scalewright_bench::Spot::Middle,
        Spot::FrontLeft => scalewright_bench::Spot::FrontLeft,
        Spot::FarLeft => scalewright_bench::Spot::FarLeft,
        Spot::FarRight => scalewright_bench::Spot::FarRight,
        Spot::FrontRight => scalewright_bench::Spot::FrontRight,
    }
}

impl ProofWatcher for Hand {
    fn event(&mut self, event: &ProofEvent) {
        match event {
            ProofEvent::Do { step, .. } => {
                let order = LoadOrder::of(step.load.weights.iter().cloned());
                // Put down elsewhere, it was lifted.
                let at = match std::mem::take(&mut self.lifts) {
                    true => scalewright_bench::Spot::FrontLeft,
                    false => spot(step.spot),
                };
                self.desk.ask(order.at(at));
            }
            ProofEvent::Captured { .. } => self.captures += 1,
            ProofEvent::Keep(ProofEntry::Undone) => self.lifts = true,
            // Does as asked, so a scale that doubts it is wrong itself.
            ProofEvent::Wrong { nothing_moved, .. } => self.insist = !nothing_moved,
            _ => {}
        }
        if !matches!(event, ProofEvent::Live { .. }) {
            self.events.push(event.clone());
        }
    }

    fn wish(&mut self) -> ProofWish {
        if std::mem::take(&mut self.insist) {
            return ProofWish::Say(ProofCommand::TakeAsIs);
        }
        match self.stop_after {
            Some(after) if self.captures >= after => ProofWish::Stop,
            _ => ProofWish::GoOn,
        }
    }
}

/// Somebody made by `watcher` at the bench of `spec`, with what `prover` is made
/// for its pan, after what was `kept` already.
///
/// # Errors
/// How the verification broke off.
///
/// # Panics
/// When the bench can't be made.
pub fn attend<W: ProofWatcher>(
    spec: BenchSpec,
    prover: impl FnOnce(&Desk) -> Prover,
    watcher: impl FnOnce(Desk) -> W,
    journal: Option<&mut Journal>,
    kept: Vec<ProofEntry>,
) -> (Result<Vec<ProofEntry>, ProvingFault>, W) {
    let (mut client, desk) = at_a_bench(spec);
    let mut prover = prover(&desk);
    prover.set_patience_s(600);
    let mut watcher = watcher(desk);
    let ended = proved(&mut client, &mut prover, journal, kept, &mut watcher);
    (ended, watcher)
}

/// Brings `prover` to its end at a scale that is there already.
///
/// # Errors
/// How the verification broke off.
pub fn proved(
    client: &mut Client<Near>,
    prover: &mut Prover,
    journal: Option<&mut Journal>,
    kept: Vec<ProofEntry>,
    watcher: &mut dyn ProofWatcher,
) -> Result<Vec<ProofEntry>, ProvingFault> {
    proving::run(prover, client, journal, &Heading::default(), kept, watcher)
}

/// Makes the tests of `plan`, made for the pan of the bench of `spec`.
///
/// # Errors
/// How the verification broke off.
pub fn prove(
    spec: BenchSpec,
    plan: impl FnOnce(&Desk) -> ProofPlan,
) -> Result<(Vec<ProofEntry>, Hand), ProvingFault> {
    let made = |desk: &Desk| Prover::new(plan(desk));
    let (ended, hand) = attend(spec, made, Hand::at, None, Vec::new());
    Ok((ended?, hand))
}
