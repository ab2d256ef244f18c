//! The board: the unchanged firmware core, a converter, a cell, a person.
//!
//! **The rule of time.** Virtual time runs only while the device has an open
//! wait, one event after another and as fast as the machine can; otherwise it
//! stands still. So a rehearsal depends on its seed and on what was said, never
//! on how fast anybody said it. ([`Board::run_to`] lets time run regardless,
//! for a bench that somebody plays with by hand.)

use std::fmt;
use std::time::Duration;

use scalewright_core::indicator::Front;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_protocol::settings::Input;
use scalewright_protocol::units::{elapsed_ms, reached_ms};

use crate::BenchSpec;
use crate::adc::Converter;
use crate::bridge::Bridge;
use crate::desk::{Desk, Order};
use crate::dice::Purpose;
use crate::faults::{AdcTrouble, AdcTroubleSpan, Line, Spikes};
use crate::flash::{FlashImage, SimFlash};
use crate::operator::Operator;
use crate::physics::Cell;
use crate::pins::Wires;

/// Knots the bench's device has room for.
pub const KNOTS: usize = 32;

/// Rates of the ADC, conversions per second (datasheet: the RATE pin).
pub const RATES_SPS: [u16; 2] = [10, 80];

/// Who the bench's device says it is.
pub(crate) fn identity(spec: &BenchSpec) -> Identity {
    Identity {
        device_id: spec.device_id,
        board: "bench",
        firmware: FIRMWARE,
        rates_sps: &RATES_SPS,
    }
}

/// Version the bench's firmware announces.
const FIRMWARE: (u8, u8, u8) = scalewright_core::VERSION;

/// A whole scale on the bench.
pub struct Board {
    spec: BenchSpec,
    instrument: Instrument<SimFlash, KNOTS>,
    flash: SimFlash,
    wires: Wires,
    bridge: Bridge,
    selected: (Input, u16),
    operator: Operator,
    desk: Desk,
    line_in: Line,
    line_out: Line,
    /// Virtual time the device was switched on, ns.
    boot_ns: u64,
    ordered_trouble: Option<AdcTrouble>,
    /// Display and keys, if there are any.
    front: Option<Front>,
    /// Keys held down, a bit each from the left, and until when, ns.
    pressed: (u8, u64),
    arrived: Vec<u8>,
}

impl fmt::Debug for Board {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Board")
            .field("device_id", &self.spec.device_id)
            .field("now_ns", &self.now_ns())
            .finish_non_exhaustive()
    }
}

impl Board {
    /// A board made to `spec`, just switched on, with `image` in its flash.
    #[must_use]
    pub fn new(spec: BenchSpec, image: FlashImage) -> Self {
        let seed = spec.seed;
        let (probability, size_counts) = spec.spikes;
        let converter = Converter::new(
            Cell::new(spec.cell.clone(), seed),
            spec.settings.rate_sps,
            spec.settling,
            Spikes::new(probability, size_counts, seed),
            seed,
        );
        let wires = Wires::new(converter);
        let flash = SimFlash::new(image);
        let bridge = Bridge::new(spec.read_by, &wires, spec.settings.rate_sps, 0);
        let mut instrument = Instrument::new(identity(&spec), flash.clone(), spec.settings, 0);
        let front = spec.front.then(|| Front::new(0, &mut instrument));
        Self {
            front,
            pressed: (0, 0),
            operator: Operator::new(spec.weights.clone(), spec.habits.clone(), seed),
            desk: Desk::new(spec.weights.clone(), flash.clone()),
            line_in: Line::new(spec.line_in.clone(), seed, Purpose::LineIn),
            line_out: Line::new(spec.line_out.clone(), seed, Purpose::LineOut),
            selected: (Input::A128, spec.settings.rate_sps),
            boot_ns: 0,
            ordered_trouble: None,
            arrived: Vec::new(),
            spec,
            instrument,
            flash,
            wires,
            bridge,
        }
    }

    /// The handle for whoever loads the pan or breaks things.
    #[must_use]
    pub fn desk(&self) -> Desk {
        self.desk.clone()
    }

    /// Virtual time, ns.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.wires.lock().converter.now_ns()
    }

    fn device_ms(&self, now_ns: u64) -> u32 {
        // The device's clock wraps after 49.7 days, as a real one does.
        (now_ns.saturating_sub(self.boot_ns) / 1_000_000) as u32
    }

    /// Whether time would run now.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.instrument.waiting() && !self.flash.is_dead()
    }

    /// Bytes arrive at the device; what it says at once is added to `out`.
    pub fn feed(&mut self, bytes: &[u8], out: &mut Vec<u8>) {
        self.follow_orders(out);
        let mut arrived = std::mem::take(&mut self.arrived);
        arrived.clear();
        self.line_in.pass(bytes, &mut arrived);
        let now_ns = self.now_ns();
        // One frame at a time, so that each reply leaves before the next
        // request is read.
        for part in arrived.split_inclusive(|byte| *byte == 0) {
            self.tell(now_ns, Event::Bytes(part), out);
        }
        self.arrived = arrived;
    }

    /// Hands one event to the firmware and carries away what it says.
    fn tell(&mut self, now_ns: u64, event: Event<'_>, out: &mut Vec<u8>) {
        if self.flash.is_dead() {
            return;
        }
        let now_ms = self.device_ms(now_ns);
        self.instrument.handle(now_ms, event);
        if self.flash.is_dead() {
            return;
        }
        loop {
            let saying = self.instrument.output();
            let length = saying.len();
            if length == 0 {
                // This flash is quick: what is being stored is stored now.
                if self.instrument.is_storing() && !self.flash.is_dead() {
                    self.instrument.handle(now_ms, Event::Tick);
                    continue;
                }
                break;
            }
            self.line_out.pass(saying, out);
            self.instrument.sent(length);
        }
        let selected = self.instrument.adc();
        if selected != self.selected {
            self.selected = selected;
            let (input, rate_sps) = selected;
            self.wires.lock().converter.set_rate(rate_sps);
            self.bridge.select(input, rate_sps, now_ms);
        }
    }

    /// Lets time run for as long as a wait is open.
    pub fn run_until_idle(&mut self, out: &mut Vec<u8>) {
        while self.step(out).is_some() {}
    }

    /// Runs to the next event if a wait is open; says how much virtual time
    /// passed, or `None` when time stands still.
    pub fn step(&mut self, out: &mut Vec<u8>) -> Option<Duration> {
        self.follow_orders(out);
        if !self.is_waiting() {
            return None;
        }
        let before_ns = self.now_ns();
        self.advance(u64::MAX, out);
        Some(Duration::from_nanos(
            self.now_ns().saturating_sub(before_ns),
        ))
    }

    /// Lets time run to `until_ns`, wait or no wait.
    pub fn run_to(&mut self, until_ns: u64, out: &mut Vec<u8>) {
        self.follow_orders(out);
        while self.now_ns() < until_ns {
            self.advance(until_ns, out);
        }
    }

    /// To the next event, but not beyond `until_ns`.
    fn advance(&mut self, until_ns: u64, out: &mut Vec<u8>) {
        let (now_ns, due_ns) = {
            let mut port = self.wires.lock();
            port.end_reading();
            let now_ns = port.converter.now_ns();
            let asleep_ns = now_ns.saturating_add(ASLEEP_STEP_NS);
            (now_ns, port.converter.due_ns().unwrap_or(asleep_ns))
        };
        // A reading takes microseconds, in which something may have come due:
        // time never runs backwards.
        let mut at_ns = due_ns.min(until_ns);
        if let Some(act_ns) = self.operator.due_ns() {
            at_ns = at_ns.min(act_ns);
        }
        if let Some(deadline_ns) = self.deadline_ns(now_ns).filter(|ns| *ns > now_ns) {
            at_ns = at_ns.min(deadline_ns);
        }
        let at_ns = at_ns.max(now_ns);
        {
            let mut port = self.wires.lock();
            let trouble = self
                .ordered_trouble
                .or_else(|| trouble_at(&self.spec.adc_troubles, at_ns));
            if trouble != port.converter.trouble() {
                port.converter.set_trouble(trouble);
            }
            port.advance_to(at_ns);
        }
        if self.operator.due_ns().is_some_and(|ns| ns <= at_ns) {
            self.operator
                .act(at_ns, &mut self.wires.lock().converter.signal.cell);
            self.show();
        }
        if at_ns >= due_ns {
            let now_ms = self.device_ms(at_ns);
            if let Some(sample) = self.bridge.poll(now_ms) {
                self.tell(at_ns, Event::Sample(sample), out);
            }
        }
        let now_ms = self.device_ms(at_ns);
        let due = self.instrument.next_deadline_ms();
        if due.is_some_and(|deadline_ms| reached_ms(now_ms, deadline_ms)) {
            self.tell(at_ns, Event::Tick, out);
        }
        self.turn_front(at_ns, now_ms);
    }

    /// Keys and display. What differs is painted at once: this display is quick.
    fn turn_front(&mut self, now_ns: u64, now_ms: u32) {
        let Some(front) = &mut self.front else {
            return;
        };
        if self.flash.is_dead() {
            return;
        }
        let (keys, until_ns) = self.pressed;
        let down = if now_ns < until_ns { keys } else { 0 };
        front.turn(now_ms, down, &mut self.instrument);
        for _ in 0..MOST_TILES {
            if let Some(tile) = front.paint(now_ms, &self.instrument) {
                self.desk.paint(tile.page, tile.column, &tile.columns);
            }
        }
    }

    /// When the firmware wants to be called, ns of virtual time.
    fn deadline_ns(&self, now_ns: u64) -> Option<u64> {
        let deadline_ms = self.instrument.next_deadline_ms()?;
        let now_ms = self.device_ms(now_ns);
        if reached_ms(now_ms, deadline_ms) {
            return Some(now_ns);
        }
        let whole_ms = now_ns.saturating_sub(self.boot_ns) / 1_000_000;
        let ahead_ms = u64::from(elapsed_ms(deadline_ms, now_ms));
        Some(self.boot_ns + (whole_ms + ahead_ms) * 1_000_000)
    }

    fn follow_orders(&mut self, out: &mut Vec<u8>) {
        let mut moved = false;
        while let Some(order) = self.desk.next_order() {
            moved = true;
            let now_ns = self.now_ns();
            match order {
                Order::Ask(load) => self.operator.ask(&load, now_ns),
                Order::Correct => self.operator.correct(now_ns),
                Order::Place(load_g) => self
                    .operator
                    .place(load_g, &mut self.wires.lock().converter.signal.cell),
                Order::Knock(amplitude_g) => {
                    self.wires.lock().converter.signal.cell.knock(amplitude_g);
                }
                Order::Trouble(trouble) => self.ordered_trouble = trouble,
                Order::LineIn(faults) => {
                    self.line_in = Line::new(faults, self.spec.seed, Purpose::LineIn);
                }
                Order::LineOut(faults) => {
                    self.line_out = Line::new(faults, self.spec.seed, Purpose::LineOut);
                }
                Order::Curve(curve) => self
                    .wires
                    .lock()
                    .converter
                    .signal
                    .cell
                    .exchange_curve(curve),
                Order::Restart { keys } => self.restart(now_ns, keys, out),
                Order::Press { keys, for_ms } => {
                    self.pressed = (keys, now_ns + u64::from(for_ms) * 1_000_000);
                }
            }
        }
        if moved {
            self.show();
        }
    }

    /// The device is switched off and on: the flash stays, all else is new.
    fn restart(&mut self, now_ns: u64, keys: u8, out: &mut Vec<u8>) {
        self.flash.revive();
        self.boot_ns = now_ns;
        {
            let mut port = self.wires.lock();
            port.converter.power_down();
            port.converter.set_rate(self.spec.settings.rate_sps);
            port.converter.power_up();
        }
        let rate_sps = self.spec.settings.rate_sps;
        self.bridge = Bridge::new(self.spec.read_by, &self.wires, rate_sps, 0);
        self.selected = (Input::A128, rate_sps);
        self.instrument = Instrument::new(
            identity(&self.spec),
            self.flash.clone(),
            self.spec.settings,
            0,
        );
        if keys & UNLOCKING != 0 {
            self.instrument.unlock();
        }
        if self.spec.front {
            self.front = Some(Front::new(0, &mut self.instrument));
        }
        self.tell(now_ns, Event::Tick, out);
    }

    fn show(&self) {
        self.desk.show(
            self.operator.true_load_g(),
            self.operator.mistake(),
            self.now_ns() as f64 * 1e-9,
        );
    }
}

/// The key that opens a sealed scale, held at its start.
const UNLOCKING: u8 = 1 << 2;

/// Tiles of the display.
const MOST_TILES: usize = 64;

/// How far time moves at once while the converter sleeps, ns.
const ASLEEP_STEP_NS: u64 = 100_000_000;

fn trouble_at(spans: &[AdcTroubleSpan], at_ns: u64) -> Option<AdcTrouble> {
    let at_s = at_ns as f64 * 1e-9;
    spans
        .iter()
        .find(|span| at_s >= span.from_s && at_s < span.until_s)
        .map(|span| span.trouble)
}
