//! The two-wire 24-bit bridge ADC: from mV/V to a code, in virtual time.
//!
//! Owns the conversion schedule, gain, quantisation, saturation and settling,
//! and the virtual clock everything on the bench shares. [`crate::pins`] puts
//! wires on it. Numbers after Avia Semiconductor, "24-Bit Analog-to-Digital
//! Converter (ADC) for Weigh Scales"; what is from memory says so.

use scalewright_protocol::settings::Input;
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::dice::{Dice, Purpose};
use crate::faults::{AdcTrouble, Spikes};
use crate::physics::Cell;

/// Conversions after power-up, reset or a change of input or gain until the
/// output is settled: 400 ms at 10 per second, 50 ms at 80 (datasheet, second
/// hand).
pub const SETTLING_CONVERSIONS: u8 = 4;

/// Weight of the last four conversion intervals in one code, newest first. The
/// settling time says that the digital filter spans four intervals; its shape
/// is an assumption (binomial, as of a cascade of averages).
const FILTER: [f64; 4] = [0.125, 0.375, 0.375, 0.125];

/// What the data line says while the filter is filling.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Settling {
    /// Conversions come as always, old and new signal mixed: the harsher
    /// reading of the datasheet, so the one the bench takes.
    #[default]
    Smeared,
    /// No conversion is offered until the filter is full.
    Withheld,
}

/// Code of `mv_per_v` at this gain, ADC counts:
/// `code = mV/V ÷ 1000 · 2 · gain · 2^23`, rounded and held inside 24 bits.
/// The full scale is half the reference over the gain, and the reference is the
/// excitation, which therefore drops out.
#[must_use]
pub fn code_of(mv_per_v: f64, gain: f64) -> i32 {
    let exact = mv_per_v / 1000.0 * 2.0 * gain * f64::from(1 << 23);
    // `as` saturates and makes 0 of NaN; the clamp brings it to 24 bits.
    (exact.round() as i32).clamp(CODE_MIN, CODE_MAX)
}

/// Gain of an input.
#[must_use]
pub fn gain_of(input: Input) -> f64 {
    match input {
        Input::A128 => 128.0,
        Input::B32 => 32.0,
        Input::A64 => 64.0,
    }
}

/// The cell wired to input A, and what a conversion makes of it: mV/V in, code
/// out. Whoever owns the schedule (the bench's converter, or one at the pins of
/// an emulated chip) says when.
#[derive(Clone, Debug)]
pub struct Signal {
    /// The cell; the operator reaches it here.
    pub cell: Cell,
    cell_ns: u64,
    filter: [f64; 4],
    noise: Dice,
    spikes: Spikes,
}

impl Signal {
    /// An empty filter before this cell, at time 0.
    #[must_use]
    pub fn new(cell: Cell, spikes: Spikes, seed: u64) -> Self {
        Self {
            cell,
            cell_ns: 0,
            filter: [0.0; 4],
            noise: Dice::new(seed, Purpose::Conversion),
            spikes,
        }
    }

    /// Empties the filter: the converter was without power.
    pub fn restart(&mut self) {
        self.filter = [0.0; 4];
    }

    /// Lets the cell's time run to `at_ns`.
    pub fn run_to(&mut self, at_ns: u64) {
        if at_ns > self.cell_ns {
            self.cell.advance((at_ns - self.cell_ns) as f64 * 1e-9);
            self.cell_ns = at_ns;
        }
    }

    /// The code of a conversion that ends now, ADC counts.
    pub fn convert(&mut self, input: Input, rate_sps: u16) -> i32 {
        // Input B has nothing wired to it but a short.
        let signal = match input {
            Input::A128 | Input::A64 => self.cell.output_mv_per_v(),
            Input::B32 => 0.0,
        };
        self.filter.rotate_right(1);
        self.filter[0] = signal;
        let mut mv_per_v: f64 = self.filter.iter().zip(FILTER).map(|(s, w)| s * w).sum();
        let noise = self.cell.noise_mv_per_v(rate_sps);
        if noise > 0.0 {
            mv_per_v += noise * self.noise.normal();
        }
        self.spikes.strike(code_of(mv_per_v, gain_of(input)))
    }
}

/// The converter with the cell wired to its input A.
#[derive(Clone, Debug)]
pub struct Converter {
    /// The cell, and what a conversion makes of it.
    pub signal: Signal,
    now_ns: u64,
    due_ns: u64,
    rate_sps: u16,
    input: Input,
    unsettled: u8,
    settling: Settling,
    powered: bool,
    /// The last code, until it is read.
    ready: Option<i32>,
    trouble: Option<AdcTrouble>,
}

impl Converter {
    /// Powered up at time 0, on input A with gain 128.
    #[must_use]
    pub fn new(cell: Cell, rate_sps: u16, settling: Settling, spikes: Spikes, seed: u64) -> Self {
        let mut converter = Self {
            signal: Signal::new(cell, spikes, seed),
            now_ns: 0,
            due_ns: 0,
            rate_sps: rate_sps.max(1),
            input: Input::A128,
            unsettled: 0,
            settling,
            powered: true,
            ready: None,
            trouble: None,
        };
        converter.begin_settling();
        converter
    }

    /// Virtual time, ns.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.now_ns
    }

    /// When the next conversion ends, ns; `None` in power-down.
    #[must_use]
    pub fn due_ns(&self) -> Option<u64> {
        self.powered.then_some(self.due_ns)
    }

    /// Input and gain of the conversion at work.
    #[must_use]
    pub fn input(&self) -> Input {
        self.input
    }

    /// Conversions per second.
    #[must_use]
    pub fn rate_sps(&self) -> u16 {
        self.rate_sps
    }

    /// Conversions still to come before the output is settled.
    #[must_use]
    pub fn unsettled(&self) -> u8 {
        self.unsettled
    }

    /// What is wrong with the wiring now.
    #[must_use]
    pub fn trouble(&self) -> Option<AdcTrouble> {
        self.trouble
    }

    /// Breaks or mends the wiring.
    pub fn set_trouble(&mut self, trouble: Option<AdcTrouble>) {
        let unpowered = |t| t == Some(AdcTrouble::NoPower);
        let regained = unpowered(self.trouble) && !unpowered(trouble);
        self.trouble = trouble;
        if regained {
            self.power_up();
        }
    }

    /// The RATE pin: conversions start anew and have to settle.
    pub fn set_rate(&mut self, rate_sps: u16) {
        let rate_sps = rate_sps.max(1);
        if rate_sps != self.rate_sps {
            self.rate_sps = rate_sps;
            self.begin_settling();
        }
    }

    /// The next conversion is of `input`; a change has to settle.
    pub fn set_input(&mut self, input: Input) {
        if input != self.input {
            self.input = input;
            self.begin_settling();
        }
    }

    /// The clock line was high for too long.
    pub(crate) fn power_down(&mut self) {
        self.powered = false;
        self.ready = None;
    }

    /// Back from power-down, reset to input A and gain 128 (datasheet).
    pub(crate) fn power_up(&mut self) {
        self.powered = true;
        self.input = Input::A128;
        self.signal.restart();
        self.begin_settling();
    }

    fn begin_settling(&mut self) {
        self.ready = None;
        self.unsettled = SETTLING_CONVERSIONS;
        self.due_ns = self.now_ns.saturating_add(self.period_ns());
    }

    fn period_ns(&self) -> u64 {
        1_000_000_000 / u64::from(self.rate_sps)
    }

    /// Lets virtual time run to `at_ns`, with every conversion due on the way.
    pub fn advance_to(&mut self, at_ns: u64) {
        while self.powered && self.due_ns <= at_ns {
            let due_ns = self.due_ns;
            self.signal.run_to(due_ns);
            self.now_ns = self.now_ns.max(due_ns);
            self.convert();
            self.due_ns = due_ns.saturating_add(self.period_ns());
        }
        self.signal.run_to(at_ns);
        self.now_ns = self.now_ns.max(at_ns);
    }

    /// Moves the clock alone: the microseconds of a reading. What falls due
    /// meanwhile is caught up by the next [`Self::advance_to`].
    pub(crate) fn tick_ns(&mut self, ns: u64) {
        self.now_ns = self.now_ns.saturating_add(ns);
    }

    fn convert(&mut self) {
        if self.unsettled > 0 {
            self.unsettled -= 1;
        }
        let mut code = self.signal.convert(self.input, self.rate_sps);
        if self.trouble == Some(AdcTrouble::BridgeOpen) {
            code = CODE_MAX;
        }
        let withheld = self.settling == Settling::Withheld && self.unsettled > 0;
        self.ready = (!withheld).then_some(code);
    }

    /// The code waiting to be read.
    #[must_use]
    pub fn ready(&self) -> Option<i32> {
        self.ready
    }

    /// Takes the code waiting to be read.
    pub(crate) fn take(&mut self) -> Option<i32> {
        self.ready.take()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::{CellSpec, Position};

    /// 1 and 2 mV/V at gain 128, from the formula and Vref = excitation; that
    /// full scale is half the reference over the gain is from memory and agrees
    /// with the ±20, 40 and 80 mV at 5 V the datasheet prints.
    #[test]
    fn codes_follow_the_ratiometric_formula() {
        assert_eq!(code_of(1.0, 128.0), 2_147_484);
        assert_eq!(code_of(2.0, 128.0), 4_294_967);
        assert_eq!(code_of(2.0, 64.0), 2_147_484);
        assert_eq!(code_of(-1.0, 128.0), -2_147_484);
        // 5 V, gain 128: ±19.53 mV, printed as ±20 mV.
        let full_mv_at_5_v = 5.0 * 1000.0 * 0.5 / 128.0;
        assert!((full_mv_at_5_v - 19.531_25_f64).abs() < 1e-9);
    }

    #[test]
    fn codes_saturate_at_both_ends() {
        assert_eq!(code_of(3.906_25, 128.0), CODE_MAX);
        assert_eq!(code_of(50.0, 128.0), CODE_MAX);
        assert_eq!(code_of(-3.906_25, 128.0), CODE_MIN);
        assert_eq!(code_of(-50.0, 128.0), CODE_MIN);
    }

    #[test]
    fn a_step_is_settled_with_the_fourth_conversion() {
        let mut converter = Converter::new(
            Cell::new(CellSpec::ideal(), 1),
            10,
            Settling::Smeared,
            Spikes::none(),
            1,
        );
        converter.advance_to(1_000_000_000);
        converter.signal.cell.set_load(5000.0, Position::default());
        let mut codes = Vec::new();
        for tenth in 11..=15 {
            converter.advance_to(tenth * 100_000_000);
            codes.push(converter.take().expect("a conversion every 100 ms"));
        }
        let full = code_of(1.0, 128.0);
        assert!(codes[0] < codes[1] && codes[1] < codes[2] && codes[2] < full);
        assert_eq!(&codes[3..], &[full, full]);
    }

    #[test]
    fn withheld_settling_offers_nothing_for_400_ms_at_10_and_50_ms_at_80() {
        for (rate, first_ms) in [(10, 400), (80, 50)] {
            let mut converter = Converter::new(
                Cell::new(CellSpec::ideal(), 1),
                rate,
                Settling::Withheld,
                Spikes::none(),
                1,
            );
            let first = (1..1000)
                .find(|ms| {
                    converter.advance_to(ms * 1_000_000);
                    converter.ready().is_some()
                })
                .expect("settles");
            assert_eq!(first, first_ms);
        }
    }
}
