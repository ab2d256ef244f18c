//! From the bytes of a payload to fields, one by one, in the postcard format.
//!
//! The counterpart of [`crate::pen`], for a scale that has no room for a request
//! beside its frame. It never fails half-way: bytes that are missing or make no
//! number read as 0 and are told at the end ([`Cursor::is_whole`]), so that no
//! check stands behind every field. It holds a place, not the payload, which is
//! lent to it anew with every field. `tests/outside.rs` holds it to the postcard
//! crate's reading.

use crate::message::{CaptureOrder, Stage};
use crate::settings::{Class, Conduct, Input, Settings};
use crate::table::Knot;

/// A place in a payload.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cursor {
    at: u8,
    fault: bool,
}

impl Cursor {
    /// The first byte.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            at: 0,
            fault: false,
        }
    }

    /// Whether all that was read was there and nothing is left.
    #[must_use]
    pub const fn is_whole(&self, payload: &[u8]) -> bool {
        !self.fault && self.at as usize == payload.len()
    }

    /// Whether all that was read was there.
    #[must_use]
    pub const fn is_sound(&self) -> bool {
        !self.fault
    }

    /// One byte.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn u8(&mut self, payload: &[u8]) -> u8 {
        match payload.get(usize::from(self.at)) {
            Some(byte) => {
                self.at = self.at.wrapping_add(1);
                *byte
            }
            None => {
                self.fault = true;
                0
            }
        }
    }

    /// A number in base 128 of at most `bits` bits.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn varint(&mut self, payload: &[u8], bits: u8) -> u32 {
        let mut value = 0u32;
        let mut at = 0u8;
        while at < bits {
            let byte = self.u8(payload);
            let group = u32::from(byte & 0x7F);
            // The highest group holds what is left of the bits.
            let room = bits.wrapping_sub(at);
            if room < 7 && group >> room != 0 {
                break;
            }
            value |= group << at;
            if byte & 0x80 == 0 {
                return value;
            }
            at = at.wrapping_add(7);
        }
        self.fault = true;
        0
    }

    /// A number.
    pub fn u16(&mut self, payload: &[u8]) -> u16 {
        self.varint(payload, 16) as u16
    }

    /// A number.
    pub fn u32(&mut self, payload: &[u8]) -> u32 {
        self.varint(payload, 32)
    }

    /// A signed number.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn i32(&mut self, payload: &[u8]) -> i32 {
        let value = self.varint(payload, 32);
        ((value >> 1) as i32) ^ ((value & 1) as i32).wrapping_neg()
    }

    /// The tag of a choice of at most 128.
    pub fn tag(&mut self, payload: &[u8]) -> u8 {
        self.varint(payload, 32).try_into().unwrap_or(u8::MAX)
    }

    /// A knot.
    pub fn knot(&mut self, payload: &[u8]) -> Knot {
        Knot {
            counts: self.i32(payload),
            mass: self.i32(payload),
        }
    }

    /// Settings, field by field into `into`.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn settings(&mut self, payload: &[u8], into: &mut Settings) {
        into.quantum_ug = self.u32(payload);
        into.max = self.i32(payload);
        into.e = self.i32(payload);
        into.d = self.i32(payload);
        into.class = match self.tag(payload) {
            0 => Class::I,
            1 => Class::II,
            2 => Class::III,
            3 => Class::IIII,
            _ => self.no(Class::I),
        };
        into.rate_sps = self.u16(payload);
        into.input = match self.tag(payload) {
            0 => Input::A128,
            1 => Input::B32,
            2 => Input::A64,
            _ => self.no(Input::A128),
        };
        into.smoothing = self.u8(payload);
        into.rest_tenths_d = self.u8(payload);
        into.rest_ms = self.u16(payload);
        into.loop_gain = self.u16(payload);
        into.conduct = Conduct(self.u8(payload));
    }

    /// Length and bytes: a text, or a list of bytes. None when some are missing.
    pub fn bytes<'p>(&mut self, payload: &'p [u8]) -> &'p [u8] {
        let length = self.u32(payload);
        let from = usize::from(self.at);
        let end = u8::try_from(length)
            .ok()
            .and_then(|length| self.at.checked_add(length));
        match end.and_then(|end| Some((end, payload.get(from..usize::from(end))?))) {
            Some((end, bytes)) => {
                self.at = end;
                bytes
            }
            None => self.no(&[]),
        }
    }

    const fn no<T: Copy>(&mut self, instead: T) -> T {
        self.fault = true;
        instead
    }

    /// What opens a record, into `into`.
    pub fn stage(&mut self, payload: &[u8], into: &mut Stage) {
        self.settings(payload, &mut into.settings);
        into.zero_counts = self.i32(payload);
        into.knots = self.u8(payload);
        into.checksum = self.u32(payload);
    }

    /// What orders a capture.
    pub fn order(&mut self, payload: &[u8]) -> CaptureOrder {
        CaptureOrder {
            samples: self.u16(payload),
            rest_counts: self.u32(payload),
            patience_ms: self.u32(payload),
        }
    }
}
