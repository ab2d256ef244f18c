//! The two-wire driver against a pin-level model that measures every edge.
//!
//! Numbers: Avia Semiconductor, "24-Bit Analog-to-Digital Converter (ADC) for
//! Weigh Scales", data sheet, serial interface timing (seen in transcribed
//! pages; the settling times second hand; saturation codes from memory).

use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use scalewright_core::bridge::{BridgeAdc, BridgeFault, Conversion, TwoWireBridge};
use scalewright_core::ports::Critical;
use scalewright_protocol::settings::Input;
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

const HIGH_MIN_NS: u64 = 200;
const HIGH_MAX_NS: u64 = 50_000;
const LOW_MIN_NS: u64 = 200;
const READY_TO_CLOCK_MIN_NS: u64 = 100; // T1
const CLOCK_TO_DATA_MAX_NS: u64 = 100; // T2
const POWER_DOWN_NS: u64 = 60_000;

#[derive(Clone, Copy, PartialEq)]
enum Wire {
    Sound,
    StuckLow,
    StuckHigh,
}

/// The converter. Pin calls take no time at all (the fastest processor there
/// can be); only the delay moves the clock.
struct Chip {
    now_ns: u64,
    period_ns: u64,
    code: i32,
    clock_high: bool,
    edge_ns: u64,
    ready_ns: u64,
    pulses: u32,
    reading: bool,
    next_gain: Input,
    /// Data level now and before the last rising edge.
    data_high: bool,
    data_before: bool,
    asleep: bool,
    wire: Wire,
    guarded: bool,
    /// The pulse at hand began with interrupts allowed.
    open: bool,
    reads: Vec<u32>,
    violations: Vec<String>,
    sleeps: u32,
}

impl Chip {
    fn new(period_ms: u64) -> Rc<RefCell<Self>> {
        Rc::new(RefCell::new(Self {
            now_ns: 0,
            period_ns: period_ms * 1_000_000,
            code: 0,
            clock_high: false,
            edge_ns: 0,
            ready_ns: period_ms * 1_000_000,
            pulses: 0,
            reading: false,
            next_gain: Input::A128,
            data_high: true,
            data_before: true,
            asleep: false,
            wire: Wire::Sound,
            guarded: false,
            open: false,
            reads: Vec::new(),
            violations: Vec::new(),
            sleeps: 0,
        }))
    }

    fn advance(&mut self, ns: u64) {
        self.now_ns += ns;
        if self.clock_high && !self.asleep && self.now_ns - self.edge_ns > POWER_DOWN_NS {
            self.asleep = true;
            self.sleeps += 1;
        }
        if !self.asleep && self.now_ns >= self.ready_ns {
            if self.reading {
                self.finish_read();
            }
            self.data_high = false;
            self.data_before = false;
            self.reading = false;
            self.pulses = 0;
            // Ready again each period even if nobody reads.
            while self.ready_ns + self.period_ns <= self.now_ns {
                self.ready_ns += self.period_ns;
            }
        }
    }

    fn finish_read(&mut self) {
        self.reads.push(self.pulses);
        self.next_gain = match self.pulses {
            25 => Input::A128,
            26 => Input::B32,
            27 => Input::A64,
            other => {
                self.violations.push(format!("{other} pulses"));
                self.next_gain
            }
        };
        self.reading = false;
    }

    fn clock(&mut self, high: bool) {
        if high == self.clock_high {
            return;
        }
        let since = self.now_ns - self.edge_ns;
        if high {
            if self.reading && since < LOW_MIN_NS {
                self.violations.push(format!("clock low for {since} ns"));
            }
            self.clock_high = true;
            self.edge_ns = self.now_ns;
            if self.asleep || (!self.reading && self.data_high && self.pulses == 0) {
                return; // power-down without a reading
            }
            self.open = !self.guarded;
            if !self.reading {
                self.reading = true;
                self.pulses = 0;
                if self.now_ns - self.ready_ns < READY_TO_CLOCK_MIN_NS {
                    self.violations.push("clocked too soon after ready".into());
                }
                self.ready_ns = self.now_ns + self.period_ns;
            }
            self.pulses += 1;
            self.data_before = self.data_high;
            self.data_high = match self.pulses {
                1..=24 => self.code >> (24 - self.pulses) & 1 == 1,
                _ => true,
            };
        } else {
            self.clock_high = false;
            self.edge_ns = self.now_ns;
            if self.asleep {
                self.asleep = false;
                self.next_gain = Input::A128;
                self.data_high = true;
                self.data_before = true;
                self.reading = false;
                self.pulses = 0;
                self.ready_ns = self.now_ns + self.period_ns;
            } else if self.reading {
                if !(HIGH_MIN_NS..=HIGH_MAX_NS).contains(&since) {
                    self.violations.push(format!("clock high for {since} ns"));
                }
                if self.open {
                    self.violations.push("pulse open to interrupts".into());
                }
            }
        }
    }

    /// Within T2 of a rising edge the line may still show the bit before.
    fn data_is_high(&self) -> bool {
        match self.wire {
            Wire::StuckLow => false,
            Wire::StuckHigh => true,
            Wire::Sound if self.clock_high && self.now_ns - self.edge_ns < CLOCK_TO_DATA_MAX_NS => {
                self.data_before
            }
            Wire::Sound => self.data_high,
        }
    }
}

type Shared = Rc<RefCell<Chip>>;
struct Clock(Shared);
struct Data(Shared);
struct Delay(Shared);
struct Guard(Shared);

impl ErrorType for Clock {
    type Error = Infallible;
}
impl ErrorType for Data {
    type Error = Infallible;
}
impl OutputPin for Clock {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().clock(false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().clock(true);
        Ok(())
    }
}
impl InputPin for Data {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().data_is_high())
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.borrow().data_is_high())
    }
}
impl DelayNs for Delay {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().advance(u64::from(ns));
    }
}
impl Critical for Guard {
    fn run<R>(&mut self, f: impl FnOnce() -> R) -> R {
        self.0.borrow_mut().guarded = true;
        let result = f();
        self.0.borrow_mut().guarded = false;
        result
    }
}

type Driver = TwoWireBridge<Clock, Data, Delay, Guard>;

fn driver(chip: &Shared, rate_sps: u16) -> Driver {
    TwoWireBridge::new(
        Clock(chip.clone()),
        Data(chip.clone()),
        Delay(chip.clone()),
        Guard(chip.clone()),
        rate_sps,
        0,
    )
}

fn now_ms(chip: &Shared) -> u32 {
    (chip.borrow().now_ns / 1_000_000) as u32
}

/// Polls every millisecond until something comes, for at most `ms`.
fn next(chip: &Shared, bridge: &mut Driver, ms: u32) -> Option<Result<Conversion, BridgeFault>> {
    for _ in 0..ms {
        chip.borrow_mut().advance(1_000_000);
        let told = bridge.poll(now_ms(chip));
        if told.is_some() {
            return told;
        }
    }
    None
}

fn settle(chip: &Shared, bridge: &mut Driver) {
    for _ in 0..4 {
        let told = next(chip, bridge, 200);
        assert!(
            matches!(told, Some(Ok(Conversion { settling: true, .. }))),
            "{told:?}"
        );
    }
}

#[test]
fn codes_come_through_and_every_edge_keeps_the_data_sheet() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    settle(&chip, &mut bridge);
    let codes = [
        0, 1, -1, 0x55_5555, -0x55_5556, 8_388_606, -8_388_607, 123_456,
    ];
    for code in codes {
        chip.borrow_mut().code = code;
        let told = next(&chip, &mut bridge, 200);
        assert_eq!(told, Some(Ok(Conversion::settled(code))));
    }
    // Saturation codes 0x7FFFFF and 0x800000 (from memory).
    for code in [CODE_MAX, CODE_MIN] {
        chip.borrow_mut().code = code;
        match next(&chip, &mut bridge, 200) {
            Some(Ok(c)) => assert!(c.saturated && c.counts == code),
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(chip.borrow().violations, Vec::<String>::new());
    assert_eq!(chip.borrow().sleeps, 0);
}

#[test]
fn the_model_sees_wrong_timing() {
    // Clocks by hand, with no delays at all: the model must complain.
    let chip = Chip::new(100);
    chip.borrow_mut().advance(100_000_000);
    chip.borrow_mut().clock(true);
    chip.borrow_mut().clock(false);
    chip.borrow_mut().clock(true);
    chip.borrow_mut().advance(55_000);
    chip.borrow_mut().clock(false);
    chip.borrow_mut().advance(200_000_000);
    let violations = chip.borrow().violations.join("; ");
    for sign in [
        "interrupts",
        "too soon",
        "high for 0",
        "low for 0",
        "high for 55000",
        "2 pulses",
    ] {
        assert!(violations.contains(sign), "{sign} not in: {violations}");
    }
}

#[test]
fn pulses_choose_the_next_input_and_four_conversions_settle() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    settle(&chip, &mut bridge);
    for (input, pulses) in [(Input::A64, 27), (Input::B32, 26), (Input::A128, 25)] {
        bridge.select(input, 10, now_ms(&chip));
        // The conversion at hand is still of the input before.
        let told = next(&chip, &mut bridge, 200);
        assert!(matches!(told, Some(Ok(Conversion { settling: true, .. }))));
        settle(&chip, &mut bridge);
        let told = next(&chip, &mut bridge, 200);
        assert!(matches!(
            told,
            Some(Ok(Conversion {
                settling: false,
                ..
            }))
        ));
        chip.borrow_mut().advance(101_000_000);
        assert_eq!(chip.borrow().next_gain, input);
        assert_eq!(chip.borrow().reads.last(), Some(&pulses));
    }
    assert_eq!(chip.borrow().violations, Vec::<String>::new());
}

#[test]
fn settling_lasts_400_ms_at_10_and_50_ms_at_80_per_second() {
    for (period_ms, rate, settled_ms) in [(100, 10, 400), (12, 80, 48)] {
        let chip = Chip::new(period_ms);
        let mut bridge = driver(&chip, rate);
        settle(&chip, &mut bridge);
        let at = now_ms(&chip);
        assert!(
            at >= settled_ms && at < settled_ms + 20,
            "{at} ms at {rate}/s"
        );
    }
}

#[test]
fn a_silent_converter_is_told_at_once_then_now_and_then_and_comes_back() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    settle(&chip, &mut bridge);
    chip.borrow_mut().wire = Wire::StuckHigh;
    let began = now_ms(&chip);
    assert_eq!(
        next(&chip, &mut bridge, 2000),
        Some(Err(BridgeFault::Silent))
    );
    let told = now_ms(&chip);
    // Three periods after the last conversion.
    assert!((295..=310).contains(&(told - began)), "{} ms", told - began);
    assert_eq!(
        next(&chip, &mut bridge, 2000),
        Some(Err(BridgeFault::Silent))
    );
    let gap = now_ms(&chip) - told;
    assert!((500..=800).contains(&gap), "told again after {gap} ms");
    chip.borrow_mut().wire = Wire::Sound;
    settle(&chip, &mut bridge);
    chip.borrow_mut().code = 77;
    assert_eq!(
        next(&chip, &mut bridge, 200),
        Some(Ok(Conversion::settled(77)))
    );
}

/// A module whose rate pin is strapped to 10 per second, and 80 are set.
#[test]
fn a_converter_slower_than_set_is_not_silent() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 80);
    for _ in 0..30 {
        assert!(matches!(next(&chip, &mut bridge, 700), Some(Ok(_))));
    }
}

#[test]
fn a_stuck_line_is_told_and_comes_back() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    settle(&chip, &mut bridge);
    chip.borrow_mut().wire = Wire::StuckLow;
    assert_eq!(next(&chip, &mut bridge, 200), Some(Err(BridgeFault::Stuck)));
    let told = now_ms(&chip);
    assert_eq!(
        next(&chip, &mut bridge, 2000),
        Some(Err(BridgeFault::Stuck))
    );
    let gap = now_ms(&chip) - told;
    assert!((495..=510).contains(&gap), "told again after {gap} ms");
    chip.borrow_mut().wire = Wire::Sound;
    settle(&chip, &mut bridge);
    chip.borrow_mut().code = -5;
    assert_eq!(
        next(&chip, &mut bridge, 200),
        Some(Ok(Conversion::settled(-5)))
    );
    assert!(chip.borrow().sleeps > 0, "the converter was restarted");
}

#[test]
fn a_long_gap_between_polls_is_no_silence() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    settle(&chip, &mut bridge);
    chip.borrow_mut().wire = Wire::StuckHigh;
    // As in a flash erase of 5 s, with the line high at its end by chance.
    chip.borrow_mut().advance(5_000_000_000);
    assert_eq!(bridge.poll(now_ms(&chip)), None);
    chip.borrow_mut().wire = Wire::Sound;
    assert!(matches!(next(&chip, &mut bridge, 150), Some(Ok(_))));
}

#[test]
fn power_down_holds_the_clock_high_and_wakes_on_gain_128() {
    let chip = Chip::new(100);
    let mut bridge = driver(&chip, 10);
    bridge.select(Input::A64, 10, 0);
    settle(&chip, &mut bridge);
    bridge.power_down();
    assert!(chip.borrow().asleep);
    assert_eq!(next(&chip, &mut bridge, 1000), None);
    bridge.power_up(now_ms(&chip));
    assert!(!chip.borrow().asleep);
    // Asleep it forgot the choice: one conversion at 128, then four of the new.
    let told = next(&chip, &mut bridge, 200);
    assert!(matches!(told, Some(Ok(Conversion { settling: true, .. }))));
    settle(&chip, &mut bridge);
    let told = next(&chip, &mut bridge, 200);
    assert!(matches!(
        told,
        Some(Ok(Conversion {
            settling: false,
            ..
        }))
    ));
    assert_eq!(chip.borrow().next_gain, Input::A64);
    assert_eq!(chip.borrow().violations, Vec::<String>::new());
}
