//! A chip, the bench's cell wired to it, and the bench's operator before it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use scalewright_bench::adc::Signal;
use scalewright_bench::faults::Spikes;
use scalewright_bench::operator::Operator;
use scalewright_bench::physics::Cell;
use scalewright_bench::{BenchSpec, LoadOrder, Weight};
use scalewright_protocol::units::CODE_MAX;
use serde_json::json;

use super::emulator::{Board, Conversion, Emulator, Ran, Stop, image};

/// What stands before the chip: cell and operator, in its virtual time.
pub struct World {
    signal: Signal,
    operator: Operator,
    weights: Vec<Weight>,
    /// A bridge wire is off: every code at the end of the range.
    pub bridge_open: bool,
    /// Added to one code and taken from the next, ADC counts.
    pub ripple: i32,
    /// Put on with each conversion, up to Max, and taken off likewise, g.
    pub pouring_g: f64,
    max_g: f64,
    now_us: u64,
}

impl World {
    fn new(spec: &BenchSpec) -> Self {
        let (probability, size_counts) = spec.spikes;
        Self {
            signal: Signal::new(
                Cell::new(spec.cell.clone(), spec.seed),
                Spikes::new(probability, size_counts, spec.seed),
                spec.seed,
            ),
            operator: Operator::new(spec.weights.clone(), spec.habits.clone(), spec.seed),
            weights: spec.weights.clone(),
            bridge_open: false,
            ripple: 0,
            pouring_g: 0.0,
            max_g: spec.cell.max_g,
            now_us: 0,
        }
    }

    fn code(&mut self, conversion: Conversion) -> i32 {
        let at_ns = conversion.at_us * 1000;
        self.now_us = conversion.at_us;
        while let Some(due_ns) = self.operator.due_ns().filter(|ns| *ns <= at_ns) {
            self.signal.run_to(due_ns);
            self.operator.act(due_ns, &mut self.signal.cell);
        }
        if self.pouring_g != 0.0 {
            self.pour();
        }
        self.signal.run_to(at_ns);
        let code = self.signal.convert(conversion.input, conversion.rate_sps);
        self.ripple = -self.ripple;
        if self.bridge_open {
            CODE_MAX
        } else {
            code + self.ripple
        }
    }

    fn pour(&mut self) {
        let load_g = self.operator.true_load_g() + self.pouring_g;
        if load_g > self.max_g || load_g < 0.0 {
            self.pouring_g = -self.pouring_g;
            return;
        }
        self.operator.place(load_g, &mut self.signal.cell);
    }
}

/// A chip on the rig.
pub struct Rig {
    /// The chip.
    pub emulator: Emulator,
    /// What stands before it.
    pub world: World,
    /// Which board it is.
    pub board: Board,
    last: Option<Conversion>,
    /// When the rate of conversions changed, us, and to what.
    rates: Vec<(u64, u16)>,
}

/// A rig in several hands: the link's and the operator's.
pub type Shared = Arc<Mutex<Rig>>;

/// The rig, for a moment.
pub fn hold(rig: &Shared) -> MutexGuard<'_, Rig> {
    rig.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Rig {
    /// The image of `board` switched on before the cell and operator of `spec`.
    #[must_use]
    pub fn new(board: Board, spec: &BenchSpec) -> Self {
        Self {
            emulator: Emulator::start(board, &image(board)),
            world: World::new(spec),
            board,
            last: None,
            rates: Vec::new(),
        }
    }

    /// The same, to be shared.
    #[must_use]
    pub fn shared(self) -> Shared {
        Arc::new(Mutex::new(self))
    }

    /// Lets at most `us` pass; stops soon after a frame with `until_output`.
    pub fn run(&mut self, us: u64, until_output: bool) -> Ran {
        let Self {
            emulator,
            world,
            last,
            rates,
            ..
        } = self;
        emulator.run(us, until_output, &mut |conversion| {
            *last = Some(conversion);
            if rates
                .last()
                .is_none_or(|(_, rate)| *rate != conversion.rate_sps)
            {
                rates.push((conversion.at_us, conversion.rate_sps));
            }
            Some(world.code(conversion))
        })
    }

    /// Lets `us` pass, whatever is sent.
    ///
    /// # Panics
    /// When the chip stops on the way.
    pub fn pass(&mut self, us: u64) -> Ran {
        let ran = self.run(us, false);
        assert_eq!(ran.stop, Stop::Time);
        ran
    }

    /// Conversions per second at this time.
    #[must_use]
    pub fn rate_at(&self, at_us: u64) -> u16 {
        let before = self
            .rates
            .iter()
            .rev()
            .find(|(from_us, _)| *from_us <= at_us);
        before.map_or(10, |(_, rate_sps)| *rate_sps)
    }

    /// Virtual time of the last conversion and the time between two, us.
    #[must_use]
    pub fn rhythm(&self) -> Option<(u64, u64)> {
        self.last
            .map(|c| (c.at_us, 1_000_000 / u64::from(c.rate_sps.max(1))))
    }

    /// Asks the operator for exactly these weights.
    pub fn put_on<I: IntoIterator<Item = S>, S: Into<String>>(&mut self, ids: I) {
        let now_ns = self.world.now_us * 1000;
        self.world.operator.ask(&LoadOrder::of(ids), now_ns);
    }

    /// Tells the operator that something is wrong with the load.
    pub fn put_right(&mut self) {
        let now_ns = self.world.now_us * 1000;
        self.world.operator.correct(now_ns);
    }

    /// Puts exactly `load_g` on the pan, at once.
    pub fn place_g(&mut self, load_g: f64) {
        self.world
            .operator
            .place(load_g, &mut self.world.signal.cell);
    }

    /// The weights at hand.
    #[must_use]
    pub fn weights(&self) -> &[Weight] {
        &self.world.weights
    }

    /// True mass on the pan, g.
    #[must_use]
    pub fn true_load_g(&self) -> f64 {
        self.world.operator.true_load_g()
    }

    /// "whole", "data_high", "data_low" or "unplugged".
    pub fn wires(&mut self, state: &str) {
        self.emulator
            .command(&json!({"do": "wires", "state": state}));
    }

    /// Which keys are down: zero, tare, view.
    pub fn keys(&mut self, down: [bool; 3]) {
        self.emulator.command(&json!({"do": "keys", "down": down}));
    }

    /// A new chip with the same memory.
    pub fn restart(&mut self, reason: &str) {
        self.emulator
            .command(&json!({"do": "restart", "reason": reason}));
        if reason == "power" {
            self.world.signal.restart();
        }
        self.last = None;
    }

    /// Power dies after so many more bytes are erased or written.
    pub fn cut_after(&mut self, bytes: Option<u64>) {
        self.emulator
            .command(&json!({"do": "cut_after", "bytes": bytes}));
    }
}
