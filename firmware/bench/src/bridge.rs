//! The two ways a board reads its converter: the core's driver on the pins, or
//! codes handed over directly.
//!
//! The direct way is for populations of thousands of scales: same codes, same
//! schedule to the nanosecond, same settling flags (a test holds it to that),
//! without the two hundred pin movements of a reading. With broken wiring it
//! says the same fault, but not at the same instant.

use scalewright_core::bridge::{
    BridgeAdc, BridgeFault, Conversion, FAULT_REPEAT_MS, SETTLING_CONVERSIONS, TwoWireBridge,
};
use scalewright_core::ports::Unguarded;
use scalewright_protocol::settings::Input;
use scalewright_protocol::units::elapsed_ms;

use crate::faults::AdcTrouble;
use crate::pins::{BenchDelay, ClockPin, DataPin, Wires};

/// How codes come from the converter to the core.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ReadBy {
    /// The core's driver clocks the pins, as on a real board.
    #[default]
    Pins,
    /// Codes are handed over directly: fast.
    Codes,
}

/// A bridge ADC of either kind.
#[derive(Debug)]
pub(crate) enum Bridge {
    Pins(TwoWireBridge<ClockPin, DataPin, BenchDelay, Unguarded>),
    Codes(Handover),
}

impl Bridge {
    pub(crate) fn new(read_by: ReadBy, wires: &Wires, rate_sps: u16, now_ms: u32) -> Self {
        match read_by {
            ReadBy::Pins => Self::Pins(TwoWireBridge::new(
                wires.clock(),
                wires.data(),
                wires.delay(),
                Unguarded,
                rate_sps,
                now_ms,
            )),
            ReadBy::Codes => Self::Codes(Handover::new(wires.clone())),
        }
    }

    pub(crate) fn poll(&mut self, now_ms: u32) -> Option<Result<Conversion, BridgeFault>> {
        match self {
            Self::Pins(bridge) => bridge.poll(now_ms),
            Self::Codes(bridge) => bridge.poll(now_ms),
        }
    }

    pub(crate) fn select(&mut self, input: Input, rate_sps: u16, now_ms: u32) {
        match self {
            Self::Pins(bridge) => bridge.select(input, rate_sps, now_ms),
            Self::Codes(bridge) => bridge.select(input, rate_sps, now_ms),
        }
    }
}

/// Codes without pins.
#[derive(Debug)]
pub(crate) struct Handover {
    wires: Wires,
    wanted: Input,
    applied: Input,
    rate_sps: u16,
    settling: u8,
    told: Option<(BridgeFault, u32)>,
}

impl Handover {
    pub(crate) fn new(wires: Wires) -> Self {
        let rate_sps = wires.lock().converter.rate_sps();
        Self {
            wires,
            wanted: Input::A128,
            applied: Input::A128,
            rate_sps,
            settling: SETTLING_CONVERSIONS,
            told: None,
        }
    }

    pub(crate) fn select(&mut self, input: Input, rate_sps: u16, _now_ms: u32) {
        self.wanted = input;
        if rate_sps != self.rate_sps {
            self.rate_sps = rate_sps;
            self.settling = SETTLING_CONVERSIONS;
        }
    }

    pub(crate) fn poll(&mut self, now_ms: u32) -> Option<Result<Conversion, BridgeFault>> {
        let mut port = self.wires.lock();
        let fault = match port.converter.trouble() {
            Some(AdcTrouble::HeldHigh | AdcTrouble::NoPower) => Some(BridgeFault::Silent),
            Some(AdcTrouble::HeldLow) => Some(BridgeFault::Stuck),
            Some(AdcTrouble::BridgeOpen) | None => None,
        };
        if let Some(fault) = fault {
            if let Some((before, told_ms)) = self.told
                && before == fault
                && elapsed_ms(now_ms, told_ms) < FAULT_REPEAT_MS
            {
                return None;
            }
            self.told = Some((fault, now_ms));
            self.settling = SETTLING_CONVERSIONS;
            return Some(Err(fault));
        }
        let code = port.converter.take()?;
        self.told = None;
        let mut conversion = Conversion::settled(code);
        conversion.settling = self.settling > 0;
        self.settling = self.settling.saturating_sub(1);
        let pulses = match self.wanted {
            Input::A128 => 25,
            Input::B32 => 26,
            Input::A64 => 27,
        };
        // What the driver takes: 1 us before the first pulse, 2 us a pulse.
        port.converter.tick_ns(1000 + pulses * 2000);
        if self.applied != self.wanted {
            self.applied = self.wanted;
            self.settling = SETTLING_CONVERSIONS;
            conversion.settling = true;
            port.converter.set_input(self.wanted);
        }
        Some(Ok(conversion))
    }
}
