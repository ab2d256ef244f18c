//! Whole planned sessions on simulated scales, and what is true of them.
//!
//! Everything goes the way of a user's session: plan, procedure, link, the
//! firmware core, the simulated cell. Only the truth is looked up behind it.

use scalewright::drive::{self, Heading, Watcher, Wish};
use scalewright::link::client::Client;
use scalewright::record::outcome::Outcome;
use scalewright::record::weights::class_u_g;
use scalewright::session::event::{Capture, Event};
use scalewright::session::plan::{Filling, Known, Load, Plan, PlannedWeight, ScaleSpec};
use scalewright::session::procedure::{Command, Decision, Procedure};
use scalewright::session::together;
use scalewright_bench::adc::{code_of, gain_of};
use scalewright_bench::{BenchSpec, BenchStream, CellSpec, Desk, LoadOrder, Pan, Weight};
use scalewright_metrology::joint::{Judged, Problem, judge};
use scalewright_protocol::settings::Input;

/// Capacity and interval of the population of poor scales, g.
pub const MAX_G: f64 = 5000.0;
/// The same.
pub const E_G: f64 = 5.0;

/// A simulated scale with the weights beside it, as known and as they are.
pub struct Scale {
    /// The bench.
    pub spec: BenchSpec,
    /// The weights as their owner knows them.
    pub weights: Vec<PlannedWeight>,
}

impl Scale {
    /// One of the poor scales, with a set of class M1 of these nominal values,
    /// the true masses drawn within their class.
    #[must_use]
    pub fn poor(seed: u64, nominals_g: &[f64]) -> Self {
        let mut spec = BenchSpec::poor(seed);
        spec.weights = scalewright_bench::weights::set_of_class_m1(nominals_g, seed);
        let known = |weight: &Weight| {
            let u_g = class_u_g("M1", weight.nominal_g).unwrap_or(0.0);
            PlannedWeight::new(weight.id.clone(), weight.nominal_g, u_g)
        };
        let weights = spec.weights.iter().map(known).collect();
        Self { spec, weights }
    }

    /// A vessel beside them, filled to about these masses in turn; the true
    /// ones are off by `off`, in parts.
    pub fn add_vessel(&mut self, about_g: &[f64], off: f64) {
        for (turn, mass_g) in about_g.iter().enumerate() {
            let id = format!("jug filling {}", turn + 1);
            let mut weight = Weight::exact(&id, *mass_g);
            // Each filling misses its mark by itself.
            weight.true_g = mass_g * (1.0 + off * if turn % 2 == 0 { 1.0 } else { -0.7 });
            self.spec.weights.push(weight);
            let mut known = PlannedWeight::new(id, *mass_g, 0.1 * mass_g);
            known.known = Known::Not;
            known.filling = Some(Filling {
                vessel: "jug".into(),
                turn,
            });
            self.weights.push(known);
        }
    }

    /// True mass of a load, g.
    #[must_use]
    pub fn true_g(&self, load: &Load) -> f64 {
        let of = |id: &String| self.spec.weights.iter().find(|weight| weight.id == *id);
        load.weights
            .iter()
            .filter_map(of)
            .map(|one| one.true_g)
            .sum()
    }

    /// The scale as a plan names it.
    #[must_use]
    pub fn scale(&self) -> ScaleSpec {
        ScaleSpec {
            max_g: MAX_G,
            e_g: E_G,
            d_g: E_G,
            class: "III".into(),
        }
    }
}

/// Net counts that a fresh load gives on a cell: the middle of its loop, with
/// the creep of the first ten seconds, as the joint model means them.
#[must_use]
pub fn fresh_counts(cell: &CellSpec, load_g: f64) -> f64 {
    let still = CellSpec {
        hysteresis: 0.0,
        ..cell.clone()
    };
    // Codes are whole; a signal of 1 mV/V tells their size well enough.
    let per_mv_per_v = f64::from(code_of(1.0, gain_of(Input::A128)));
    let crept: f64 = (cell.creep.iter())
        .map(|(share, seconds)| share * (1.0 - (-10.0 / seconds).exp()))
        .sum();
    let signal = still.settled_mv_per_v(load_g) - still.settled_mv_per_v(0.0);
    (signal + crept * load_g * cell.mv_per_v_per_g()) * per_mv_per_v
}

/// Somebody at the pan who does as asked and insists when doubted.
struct Hand {
    desk: Desk,
    insist: bool,
    /// Whether to stop where a table is proposed.
    only_fit: bool,
    /// Whether to capture again what is in doubt.
    repeats: bool,
}

impl Watcher for Hand {
    fn event(&mut self, event: &Event) {
        match event {
            Event::PutOn { load, .. } => {
                self.desk.ask(LoadOrder::of(load.weights.iter().cloned()));
            }
            Event::WrongLoad(wrong) => self.insist = !wrong.nothing_moved,
            _ => {}
        }
    }

    fn wish(&mut self) -> Wish {
        if std::mem::take(&mut self.insist) {
            return Wish::Say(Command::TakeAsIs);
        }
        Wish::GoOn
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        match decision {
            Decision::Doubt if self.repeats => Wish::Say(Command::Repeat),
            Decision::NoTable => Wish::Stop,
            _ if self.only_fit => Wish::Stop,
            Decision::Table | Decision::Doubt => Wish::Say(Command::Accept),
        }
    }
}

/// How a session ended.
pub struct Ended {
    /// All captures.
    pub captures: Vec<Capture>,
    /// The outcome, when the table went into the scale.
    pub outcome: Option<Outcome>,
}

/// Runs a session of `plan`; without `whole` only as far as the proposal.
///
/// # Errors
/// When the bench can't be made or the session breaks off before its proposal.
pub fn run(scale: &Scale, plan: &Plan, whole: bool, repeats: bool) -> Result<Ended, String> {
    let stream = BenchStream::open(scale.spec.clone()).map_err(|fault| fault.to_string())?;
    let mut hand = Hand {
        desk: stream.desk(),
        insist: false,
        only_fit: !whole,
        repeats,
    };
    let mut client = Client::new(crate::near::Near(stream), 1);
    let mut procedure = Procedure::new(plan.clone());
    procedure.set_patience_s(600);
    let heading = Heading::default();
    match drive::run(&mut procedure, &mut client, None, &heading, &mut hand) {
        Ok(()) => {}
        Err(drive::DriveFault::Stopped) if !whole => {}
        Err(fault) => return Err(fault.to_string()),
    }
    Ok(Ended {
        captures: procedure.captures().to_vec(),
        outcome: procedure.outcome(),
    })
}

/// The joint problem of a session and its solution with all doubts.
///
/// # Errors
/// What the solution refuses.
pub fn solved(scale: &Scale, captures: &[Capture]) -> Result<(Problem, Judged), String> {
    let (problem, _) = together::problem(&scale.scale(), &scale.weights, captures);
    let judged = judge(&problem).map_err(|refusal| refusal.to_string())?;
    Ok((problem, judged))
}

/// `one` for each number below `count`, on all cores; results in order.
pub fn each<T: Send>(count: u64, one: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = std::sync::atomic::AtomicU64::new(0);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let mut all: Vec<(u64, T)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut own = Vec::new();
                    loop {
                        let index = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                        if index >= count {
                            return own;
                        }
                        own.push((index, one(index)));
                    }
                })
            })
            .collect();
        let own = handles.into_iter().map(|handle| handle.join());
        own.flat_map(|own| own.unwrap_or_default()).collect()
    });
    all.sort_by_key(|(index, _)| *index);
    all.into_iter().map(|(_, one)| one).collect()
}
