//! From fields to the bytes of a frame, in the postcard format.
//!
//! The postcard crate's own writer keeps bounds checks that may panic, and asks
//! for whole messages; firmware may not panic, and a small chip has no room for
//! a message beside its frame. So fields go straight into the frame, and what
//! does not fit is told at the end. Owns varints and the order of fields of
//! what a scale says; `tests/outside.rs` holds all of it to the postcard
//! crate's bytes. Never inlined where it is called often, for the flash of
//! small chips.

mod whole;

use crate::frame::{FrameFull, Writer};
use crate::message::{
    CaptureFault, CaptureState, Captured, Event, Refusal, Sample, State, TableHeader,
};
use crate::settings::{Class, Input, Settings, SettingsFault};
use crate::table::{Knot, TableFault};

/// Writes the payload of one frame.
pub struct Pen<'out>(Writer<'out>);

impl<'out> Pen<'out> {
    /// A frame at the front of `out`.
    ///
    /// # Errors
    /// [`FrameFull`] when not even a delimiter fits.
    pub fn new(out: &'out mut [u8]) -> Result<Self, FrameFull> {
        Writer::new(out).map(Self)
    }

    /// Ends the frame; returns its length, bytes.
    ///
    /// # Errors
    /// [`FrameFull`] when it did not fit.
    pub fn finish(self) -> Result<usize, FrameFull> {
        self.0.finish()
    }

    /// One byte.
    pub fn u8(&mut self, value: u8) {
        self.0.push(value);
    }

    /// `00` or `01`.
    pub fn bool(&mut self, value: bool) {
        self.u8(u8::from(value));
    }

    /// Base 128, least significant group first, top bit set on all but the last.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn u32(&mut self, mut value: u32) {
        while value >= 0x80 {
            self.u8(value as u8 | 0x80);
            value >>= 7;
        }
        self.u8(value as u8);
    }

    /// As [`Self::u32`].
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn u16(&mut self, value: u16) {
        self.u32(u32::from(value));
    }

    /// 0, −1, 1, −2 … as 0, 1, 2, 3 …
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn i32(&mut self, value: i32) {
        self.u32(((value << 1) ^ (value >> 31)) as u32);
    }

    /// `00`, or `01` and the value.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn i32_or_nothing(&mut self, value: Option<i32>) {
        self.bool(value.is_some());
        if let Some(value) = value {
            self.i32(value);
        }
    }

    /// Length and bytes: a text, or a list of bytes.
    pub fn bytes(&mut self, bytes: &[u8]) {
        self.u32(bytes.len() as u32);
        for byte in bytes {
            self.u8(*byte);
        }
    }

    /// A knot.
    pub fn knot(&mut self, knot: &Knot) {
        self.i32(knot.counts);
        self.i32(knot.mass);
    }

    /// The settings.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn settings(&mut self, settings: &Settings) {
        self.u32(settings.quantum_ug);
        self.i32(settings.max);
        self.i32(settings.e);
        self.i32(settings.d);
        self.u8(match settings.class {
            Class::I => 0,
            Class::II => 1,
            Class::III => 2,
            Class::IIII => 3,
        });
        self.u16(settings.rate_sps);
        self.u8(match settings.input {
            Input::A128 => 0,
            Input::B32 => 1,
            Input::A64 => 2,
        });
        self.u8(settings.smoothing);
        self.u8(settings.rest_tenths_d);
        self.u16(settings.rest_ms);
        self.u16(settings.loop_gain);
        self.u8(settings.conduct.0);
    }

    /// Header of a table.
    pub fn table(&mut self, table: &TableHeader) {
        self.u32(table.sequence);
        self.u8(table.knots);
        self.u32(table.checksum);
        self.i32(table.zero_counts);
        self.bool(table.previous);
    }

    /// A sample.
    pub fn sample(&mut self, sample: &Sample) {
        self.u32(sample.sequence);
        self.u32(sample.at_ms);
        self.i32(sample.raw_counts);
        self.i32(sample.smooth_q8);
        self.i32_or_nothing(sample.mass);
        self.u16(sample.flags.0);
    }

    /// The state.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn state(&mut self, state: &State) {
        self.u32(state.at_ms);
        self.u32(state.sequence);
        self.i32(state.smooth_q8);
        self.u32(state.spread_q8);
        self.i32(state.zero_counts);
        self.i32_or_nothing(state.mass);
        self.i32_or_nothing(state.indication);
        self.u16(state.flags.0);
        self.capture(&state.capture);
        self.i32(state.correction);
    }

    /// Where a capture stands.
    pub fn capture(&mut self, capture: &CaptureState) {
        match capture {
            CaptureState::Idle => self.u8(0),
            CaptureState::Settling => self.u8(1),
            CaptureState::Averaging { done, of } => {
                self.u8(2);
                self.u16(*done);
                self.u16(*of);
            }
            CaptureState::Captured(captured) => {
                self.u8(3);
                self.captured(captured);
            }
            CaptureState::Failed(fault) => {
                self.u8(4);
                self.u8(match fault {
                    CaptureFault::Restless => 0,
                    CaptureFault::NoSamples => 1,
                    CaptureFault::Cancelled => 2,
                });
            }
        }
    }

    fn captured(&mut self, captured: &Captured) {
        self.i32(captured.mean_q8);
        self.u32(captured.sd_q8);
        self.u16(captured.samples);
        self.u32(captured.began_ms);
        self.u32(captured.ended_ms);
        self.u8(captured.restarts);
        self.bool(captured.saturated);
    }

    /// A change, as the scale kept it.
    pub fn event(&mut self, event: &Event) {
        self.u32(event.counter);
        self.u8(event.kind as u8);
        self.u32(event.checksum);
        self.u32(event.when_s);
        self.bytes(event.text.as_bytes());
    }

    /// Why a request was not carried out.
    pub fn refusal(&mut self, refusal: Refusal) {
        // Tag, and the one field that some have.
        let (tag, field) = match refusal {
            Refusal::Unknown => (0, None),
            Refusal::Range { field } => (1, Some(field)),
            Refusal::NotStaging => (2, None),
            Refusal::StageOrder { expected } => (3, Some(expected)),
            Refusal::StageIncomplete { received } => (4, Some(received)),
            Refusal::StageChecksum => (5, None),
            Refusal::Table(fault) => {
                self.u8(6);
                self.table_fault(fault);
                return;
            }
            Refusal::Settings(fault) => (7, Some(settings_fault(fault))),
            Refusal::QuantumInUse => (8, None),
            Refusal::NothingToRollBack => (9, None),
            Refusal::NotAtRest => (10, None),
            Refusal::ZeroRange => (11, None),
            Refusal::NotCalibrated => (12, None),
            Refusal::AdcFault => (13, None),
            Refusal::Storage => (14, None),
            Refusal::TareRange => (15, None),
            Refusal::Sealed => (16, None),
            Refusal::Busy => (17, None),
        };
        self.u8(tag);
        if let Some(field) = field {
            self.u8(field);
        }
    }

    fn table_fault(&mut self, fault: TableFault) {
        let (tag, field) = match fault {
            TableFault::TooFew { knots } => (0, knots),
            TableFault::TooMany { knots, fit } => {
                self.u8(1);
                self.u8(knots);
                self.u8(fit);
                return;
            }
            TableFault::CountsOrder { at } => (2, at),
            TableFault::MassOrder { at } => (3, at),
            TableFault::CountsRange { at } => (4, at),
            TableFault::MassRange { at } => (5, at),
            TableFault::NoZero => {
                self.u8(6);
                return;
            }
            TableFault::Slope { at } => (7, at),
        };
        self.u8(tag);
        self.u8(field);
    }
}

const fn settings_fault(fault: SettingsFault) -> u8 {
    match fault {
        SettingsFault::Quantum => 0,
        SettingsFault::ScaleInterval => 1,
        SettingsFault::Capacity => 2,
        SettingsFault::Rate => 3,
        SettingsFault::Smoothing => 4,
        SettingsFault::Rest => 5,
        SettingsFault::Conduct => 6,
    }
}
