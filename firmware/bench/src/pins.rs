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
