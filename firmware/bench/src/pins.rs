//! The ADC's two wires as embedded-hal pins on the shared virtual clock, for
//! the core's own driver to clock.
//!
//! Clock high longer than 60 µs powers the chip down; the falling edge after
//! it resets it. Data changes 0.1 µs after a rising edge. 25, 26 or 27 pulses
//! choose input and gain of the next conversion (datasheet cited in
//! [`crate::adc`]).

use core::convert::Infallible;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use scalewright_protocol::settings::Input;

use crate::adc::Converter;
use crate::faults::AdcTrouble;

/// Clock high beyond this powers the chip down, ns.
const POWER_DOWN_NS: u64 = 60_000;
/// From the rising edge to new data, ns (T2, at most).
const DATA_AFTER_NS: u64 = 100;

/// The converter's digital side.
#[derive(Debug)]
pub struct Port {
    /// The analogue side and the clock.
    pub converter: Converter,
    clock_high: bool,
    edge_ns: u64,
    /// Rising edges since the reading began.
    pulses: u32,
    /// The code being shifted out.
    shifting: i32,
    old_level: bool,
}

/// A converter that several pins and the board hold together.
#[derive(Clone, Debug)]
pub struct Wires(Arc<Mutex<Port>>);

impl Wires {
    /// Puts wires on a converter.
    #[must_use]
    pub fn new(converter: Converter) -> Self {
        Self(Arc::new(Mutex::new(Port {
            converter,
            clock_high: false,
            edge_ns: 0,
            pulses: 0,
            shifting: 0,
            old_level: true,
        })))
    }

    /// The converter and its wires. A panic elsewhere does not lock the bench
    /// up: the state is plain numbers and stays usable.
    pub(crate) fn lock(&self) -> MutexGuard<'_, Port> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Clock pin.
    #[must_use]
    pub fn clock(&self) -> ClockPin {
        ClockPin(self.clone())
    }

    /// Data pin.
    #[must_use]
    pub fn data(&self) -> DataPin {
        DataPin(self.clone())
    }

    /// The processor's delay on the same clock.
    #[must_use]
    pub fn delay(&self) -> BenchDelay {
        BenchDelay(self.clone())
    }
}

impl Port {
    /// Lets virtual time run to `at_ns`.
    pub(crate) fn advance_to(&mut self, at_ns: u64) {
        self.end_reading();
        self.converter.advance_to(at_ns);
        if self.clock_high && at_ns.saturating_sub(self.edge_ns) > POWER_DOWN_NS {
            self.converter.power_down();
            self.pulses = 0;
        }
    }

    /// Ends a finished reading: what its pulses chose takes hold as the next
    /// conversion begins, which may put off when that one is due.
    pub(crate) fn end_reading(&mut self) {
        let chosen = match self.pulses {
            25 => Input::A128,
            26 => Input::B32,
            27 => Input::A64,
            _ => return,
        };
        if !self.clock_high {
            self.pulses = 0;
            self.converter.set_input(chosen);
        }
    }

    fn set_clock(&mut self, high: bool) {
        if high == self.clock_high {
            return;
        }
        let now_ns = self.converter.now_ns();
        if high {
            self.old_level = self.settled_level();
            if self.pulses == 0
                && let Some(code) = self.converter.ready()
            {
                self.shifting = code;
                self.pulses = 1;
            } else if self.pulses > 0 {
                self.pulses += 1;
            }
            if self.pulses == 25 {
                // The code is out; the line goes high until the next is ready.
                self.converter.take();
            }
        } else if now_ns.saturating_sub(self.edge_ns) > POWER_DOWN_NS {
            self.pulses = 0;
            self.converter.power_up();
        }
        self.clock_high = high;
        self.edge_ns = now_ns;
    }

    /// Level of the data line once it has settled.
    fn settled_level(&self) -> bool {
        match self.converter.trouble() {
            Some(AdcTrouble::HeldHigh | AdcTrouble::NoPower) => return true,
            Some(AdcTrouble::HeldLow) => return false,
            Some(AdcTrouble::BridgeOpen) | None => {}
        }
        match self.pulses {
            0 => self.converter.ready().is_none(),
            1..=24 => (self.shifting >> (24 - self.pulses)) & 1 == 1,
            _ => true,
        }
    }

    fn level(&self) -> bool {
        let since = self.converter.now_ns().saturating_sub(self.edge_ns);
        if self.clock_high && since < DATA_AFTER_NS {
            self.old_level
        } else {
            self.settled_level()
        }
    }
}

/// The clock line, driven by the processor.
#[derive(Debug)]
pub struct ClockPin(Wires);

/// The data line, read by the processor.
#[derive(Debug)]
pub struct DataPin(Wires);

/// Waiting, in virtual time.
#[derive(Debug)]
pub struct BenchDelay(Wires);

impl ErrorType for ClockPin {
    type Error = Infallible;
}

impl OutputPin for ClockPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.lock().set_clock(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.lock().set_clock(true);
        Ok(())
    }
}

impl ErrorType for DataPin {
    type Error = Infallible;
}

impl InputPin for DataPin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.lock().level())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.lock().level())
    }
}

impl DelayNs for BenchDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.0.lock().converter.tick_ns(u64::from(ns));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adc::{Settling, code_of};
    use crate::faults::Spikes;
    use crate::physics::{Cell, CellSpec, Position};

    struct Bed {
        wires: Wires,
        clock: ClockPin,
        data: DataPin,
        delay: BenchDelay,
    }

    impl Bed {
        /// 5 kg on the ideal cell: 1 mV/V.
        fn new() -> Self {
            let mut cell = Cell::new(CellSpec::ideal(), 1);
            cell.set_load(5000.0, Position::default());
            let converter = Converter::new(cell, 10, Settling::Withheld, Spikes::none(), 1);
            let wires = Wires::new(converter);
            Self {
                clock: wires.clock(),
                data: wires.data(),
                delay: wires.delay(),
                wires,
            }
        }

        fn run_ms(&mut self, ms: u64) {
            let now_ns = self.wires.lock().converter.now_ns();
            self.wires.lock().advance_to(now_ns + ms * 1_000_000);
        }

        fn pulse(&mut self) -> bool {
            self.clock.set_high().unwrap();
            self.delay.delay_ns(1000);
            let high = self.data.is_high().unwrap();
            self.clock.set_low().unwrap();
            self.delay.delay_ns(1000);
            high
        }

        fn read(&mut self, pulses: u32) -> i32 {
            let bits = (0..24).fold(0, |bits, _| bits << 1 | u32::from(self.pulse()));
            (24..pulses).for_each(|_| assert!(self.pulse(), "high after the data"));
            (bits << 8) as i32 >> 8
        }
    }

    #[test]
    fn pulses_choose_the_next_input_and_gain() {
        let mut bed = Bed::new();
        bed.run_ms(399);
        assert!(bed.data.is_high().unwrap(), "not settled before 400 ms");
        bed.run_ms(1);
        assert!(bed.data.is_low().unwrap());
        assert_eq!(bed.read(27), code_of(1.0, 128.0));
        bed.run_ms(399);
        assert!(bed.data.is_high().unwrap(), "a new gain settles again");
        bed.run_ms(1);
        assert_eq!(bed.read(26), code_of(1.0, 64.0));
        bed.run_ms(400);
        assert_eq!(bed.read(25), 0, "input B is shorted");
        bed.run_ms(400);
        assert_eq!(bed.read(25), code_of(1.0, 128.0));
        bed.run_ms(100);
        assert_eq!(bed.read(25), code_of(1.0, 128.0), "no change, no settling");
    }

    #[test]
    fn a_long_high_clock_powers_down_and_resets() {
        let mut bed = Bed::new();
        bed.run_ms(400);
        bed.read(27);
        bed.run_ms(400);
        // 50 us are allowed: nothing is lost.
        bed.clock.set_high().unwrap();
        bed.delay.delay_ns(50_000);
        bed.clock.set_low().unwrap();
        assert!(bed.wires.lock().converter.due_ns().is_some());
        assert_eq!(bed.wires.lock().converter.input(), Input::A64);
        // Above 60 us it sleeps, silent, and wakes on input A at gain 128.
        bed.clock.set_high().unwrap();
        bed.delay.delay_ns(61_000);
        bed.run_ms(1000);
        assert!(bed.data.is_high().unwrap());
        assert_eq!(bed.wires.lock().converter.due_ns(), None);
        bed.clock.set_low().unwrap();
        bed.run_ms(400);
        assert_eq!(bed.read(25), code_of(1.0, 128.0));
    }

    #[test]
    fn data_follow_the_clock_after_a_tenth_of_a_microsecond() {
        let mut bed = Bed::new();
        bed.run_ms(400);
        // 1 mV/V is 0x20C49C: the third bit is the first that is set.
        assert_eq!(code_of(1.0, 128.0), 0x20_C49C);
        bed.pulse();
        bed.pulse();
        bed.clock.set_high().unwrap();
        assert!(bed.data.is_low().unwrap(), "still the second bit");
        bed.delay.delay_ns(100);
        assert!(bed.data.is_high().unwrap());
    }
}
