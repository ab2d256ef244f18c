//! The only file of the companion that knows the bench: it switches the
//! studio's scale on and passes loads to its pan. Everything else sees a port.

use std::time::Duration;

use scalewright_bench::{
    BenchFault, BenchSpec, BenchStream, Desk, LoadOrder, Mistake, Pace, Pan, Weight,
};

use crate::link::{Line, LinkFault};
use crate::record::weights::class_u_g;
use crate::session::plan::{Filling, Known, PlannedWeight};
use crate::session::proof::Spot;

use super::problem::{Problem, exit};

/// How the bench is switched on.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// Seed of everything that varies.
    pub seed: u64,
    /// Speed of its time: 1 is life, absent is as fast as it goes.
    pub speed: Option<f64>,
    /// Whether time also runs while nobody waits for it.
    pub free: bool,
    /// Whether the operator errs now and then.
    pub clumsy: bool,
    /// Whether the scale comes without a table.
    pub factory: bool,
    /// Whether one of the weights is far outside its class.
    pub bad_weight: bool,
    /// Whether there are weights for a third of Max only, and a jug of water.
    pub few_weights: bool,
}

/// Weights of a third of Max, g.
const FEW_G: [f64; 7] = [1000.0, 500.0, 200.0, 200.0, 100.0, 20.0, 20.0];

/// What the jug beside them is filled to, about, g.
const JUG_G: [f64; 2] = [2000.0, 4000.0];

/// How far a bad weight is off, e.
const BAD_E: f64 = 2.8;

/// The studio's scale, switched on. Dropping it switches it off.
pub struct Studio {
    desk: Desk,
    #[cfg(unix)]
    _handle: scalewright_bench::BenchHandle,
}

fn spec(wanted: Wanted) -> BenchSpec {
    let mut spec = if wanted.factory {
        BenchSpec::studio_factory(wanted.seed)
    } else {
        BenchSpec::studio(wanted.seed)
    };
    if wanted.few_weights {
        spec.weights = scalewright_bench::weights::set_of_class_m1(&FEW_G, wanted.seed);
        for (turn, about_g) in JUG_G.iter().enumerate() {
            let mut filling = Weight::exact(&format!("{JUG} filling {}", turn + 1), *about_g);
            // Nobody fills a jug to the gram.
            filling.true_g = about_g * (0.985 + 0.004 * (wanted.seed % 10) as f64);
            spec.weights.push(filling);
        }
    }
    if wanted.bad_weight {
        // One of the four heaviest: any seed another.
        let which = (wanted.seed % 4) as usize;
        let way = if (wanted.seed / 4).is_multiple_of(2) {
            -1.0
        } else {
            1.0
        };
        if let Some(weight) = spec.weights.get_mut(which) {
            weight.true_g += way * BAD_E * 2.0;
        }
    }
    // Somebody is there to look and press.
    spec.front = wanted.free;
    spec.pace = match (wanted.free, wanted.speed) {
        (true, _) => Pace::Free,
        (false, Some(speed)) => Pace::Real { speed },
        (false, None) => Pace::AsFastAsPossible,
    };
    if wanted.clumsy {
        // Counted in orders to the operator, from 0.
        spec.habits.planned = vec![
            (4, Mistake::WrongWeight),
            (8, Mistake::Forgotten),
            (14, Mistake::Touching),
            (20, Mistake::Bump),
        ];
    }
    spec
}

fn problem(fault: &BenchFault) -> Problem {
    Problem::new(
        exit::SCALE,
        format!("the bench cannot be switched on: {fault}"),
        "report this: it is a fault of the program, not of yours",
    )
}

impl Studio {
    /// Presses keys, a bit each from the left, for so long, ms.
    pub fn press(&self, keys: u8, for_ms: u32) {
        self.desk.press(keys, for_ms);
    }

    /// What the scale's display shows.
    #[must_use]
    pub fn display(&self) -> super::display_text::Dots {
        self.desk.display()
    }

    /// Switches the scale off and on, with these keys held.
    pub fn restart(&self, keys: u8) {
        self.desk.restart_with(keys);
    }

    /// Switches the bench on behind a port of its own and says which.
    ///
    /// # Errors
    /// When there is no pseudo-terminal.
    #[cfg(unix)]
    pub fn serve(wanted: Wanted) -> Result<(Self, String), Problem> {
        let handle = scalewright_bench::pty::open(spec(wanted)).map_err(|fault| problem(&fault))?;
        let port = handle.path().to_string();
        let studio = Self {
            desk: handle.desk(),
            _handle: handle,
        };
        Ok((studio, port))
    }

    /// Says that there is no pseudo-terminal on this system.
    ///
    /// # Errors
    /// Always.
    #[cfg(not(unix))]
    pub fn serve(_wanted: Wanted) -> Result<(Self, String), Problem> {
        Err(Problem::new(
            exit::SCALE,
            "this system has no pseudo-terminals to serve the bench on",
            "`scalewright rehearse` runs the bench inside this program",
        ))
    }

    /// Switches the bench on and opens the line to it, like that of any port.
    ///
    /// # Errors
    /// When there is no pseudo-terminal, or it cannot be opened.
    #[cfg(unix)]
    pub fn open(wanted: Wanted) -> Result<(Self, Box<dyn Line>), Problem> {
        let (studio, port) = Self::serve(wanted)?;
        let line = crate::link::serial::SerialLine::open(&port)?;
        Ok((studio, Box::new(line)))
    }

    /// Switches the bench on inside this process.
    ///
    /// # Errors
    /// When the bench cannot be made.
    #[cfg(not(unix))]
    pub fn open(wanted: Wanted) -> Result<(Self, Box<dyn Line>), Problem> {
        let line = Bench::open(spec(wanted))?;
        let desk = line.desk.clone();
        Ok((Self { desk }, Box::new(line)))
    }

    /// Asks the operator for exactly these weights.
    pub fn put_on(&self, weights: &[String]) {
        self.desk.ask(LoadOrder::of(weights.iter().cloned()));
    }

    /// Asks the operator for exactly these weights at a place on the pan.
    pub fn put_on_at(&self, weights: &[String], spot: Spot) {
        let spot = match spot {
            Spot::Middle => scalewright_bench::Spot::Middle,
            Spot::FrontLeft => scalewright_bench::Spot::FrontLeft,
            Spot::FarLeft => scalewright_bench::Spot::FarLeft,
            Spot::FarRight => scalewright_bench::Spot::FarRight,
            Spot::FrontRight => scalewright_bench::Spot::FrontRight,
        };
        let order = LoadOrder::of(weights.iter().cloned());
        self.desk.ask(order.at(spot));
    }

    /// Puts exactly so much on the pan at once, instead of what lies there.
    pub fn place_g(&self, load_g: f64) {
        self.desk.place_g(load_g);
    }

    /// Tells the operator that the load is wrong.
    pub fn put_right(&self) {
        self.desk.correct();
    }

    /// True mass on the pan, g.
    pub fn true_load_g(&self) -> f64 {
        self.desk.true_load_g()
    }

    /// What a weight of the bench really is off its nominal value by, g, where
    /// that is more than any class allows.
    pub fn bad_weight(&self) -> Option<(String, f64)> {
        let weights = self.desk.weights();
        let off = |weight: &Weight| weight.true_g - weight.nominal_g;
        let bad = weights.iter().filter(|weight| !weight.id.starts_with(JUG));
        bad.map(|weight| (weight.id.clone(), off(weight)))
            .find(|(_, off_g)| off_g.abs() > 1.0)
    }

    /// The weights at hand, as their owner knows them.
    pub fn weights(&self) -> Vec<PlannedWeight> {
        planned(&self.desk.weights())
    }
}

/// Name of the jug.
const JUG: &str = "jug";

/// Weights as their owner knows them: nominal, of class M1; of a jug's fillings
/// only roughly what they weigh.
fn planned(weights: &[Weight]) -> Vec<PlannedWeight> {
    let mut turn = 0;
    weights
        .iter()
        .map(|weight| {
            if weight.id.starts_with(JUG) {
                let rough_g = weight.nominal_g;
                let mut filling = PlannedWeight::new(weight.id.clone(), rough_g, 0.1 * rough_g);
                filling.known = Known::Not;
                filling.filling = Some(Filling {
                    vessel: JUG.into(),
                    turn,
                });
                turn += 1;
                return filling;
            }
            let u_g = class_u_g("M1", weight.nominal_g).unwrap_or(weight.nominal_g * 1e-4);
            PlannedWeight::new(weight.id.clone(), weight.nominal_g, u_g)
        })
        .collect()
}

/// A bench in this process as a [`Line`], for populations.
pub struct Bench {
    stream: BenchStream,
    desk: Desk,
}

impl Bench {
    fn open(spec: BenchSpec) -> Result<Self, Problem> {
        let stream = BenchStream::open(spec).map_err(|fault| problem(&fault))?;
        Ok(Self {
            desk: stream.desk(),
            stream,
        })
    }

    /// One of a population of poor scales.
    ///
    /// # Errors
    /// When the bench cannot be made.
    pub fn poor(seed: u64) -> Result<Self, Problem> {
        Self::open(BenchSpec::poor(seed))
    }

    /// A handle for the pan, and the weights at hand.
    pub fn pan(&self) -> (Desk, Vec<PlannedWeight>) {
        (self.desk.clone(), planned(&self.desk.weights()))
    }
}

impl Line for Bench {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        self.stream.write(bytes);
        Ok(())
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        Ok(self.stream.read(into, timeout))
    }

    fn name(&self) -> &str {
        "the bench"
    }
}

/// Somebody at a simulated pan who does what the session asks, errs never, and
/// therefore insists when the session doubts a load.
pub struct Hand {
    desk: Desk,
    insist: bool,
}

impl Hand {
    /// At this pan.
    #[must_use]
    pub fn at(desk: Desk) -> Self {
        Self {
            desk,
            insist: false,
        }
    }
}

impl crate::drive::Watcher for Hand {
    fn event(&mut self, event: &crate::session::event::Event) {
        use crate::session::event::Event;
        match event {
            Event::PutOn { load, .. } => {
                self.desk.ask(LoadOrder::of(load.weights.iter().cloned()));
            }
            Event::WrongLoad(wrong) => self.insist = !wrong.nothing_moved,
            _ => {}
        }
    }

    fn wish(&mut self) -> crate::drive::Wish {
        if std::mem::take(&mut self.insist) {
            return crate::drive::Wish::Say(crate::session::procedure::Command::TakeAsIs);
        }
        crate::drive::Wish::GoOn
    }

    fn decide(&mut self, decision: crate::session::procedure::Decision) -> crate::drive::Wish {
        use crate::drive::Wish;
        use crate::session::procedure::{Command, Decision};
        match decision {
            Decision::Table => Wish::Say(Command::Accept),
            Decision::Doubt => Wish::Say(Command::Repeat),
            Decision::NoTable => Wish::Stop,
        }
    }
}
