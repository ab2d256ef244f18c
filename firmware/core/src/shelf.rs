//! What stands in a slot, byte by byte: header places and knots.
//!
//! Owns the offsets; knows nothing of which record is in force. Reading never
//! fails half-way: what cannot be read is 0, and [`Shelf::sound`] tells.

use scalewright_protocol::checksum::Running;
use scalewright_protocol::message::Refusal;
use scalewright_protocol::table::Knot;

use crate::header::{HEADER_BYTES, Place};
use crate::ports::{Slot, Storage};

/// Header places of one slot.
pub const PLACES: u8 = 4;
/// Where knots begin.
const KNOTS_AT: usize = PLACES as usize * HEADER_BYTES;
const KNOT_BYTES: usize = 8;

/// What stands in one slot.
pub struct Survey {
    /// Place and number of the newest sound header.
    pub newest: Option<(u8, u32)>,
    /// Newest number on a header that was finished once and is broken, or is in the
    /// layout of another version of the firmware.
    pub lost: Option<u32>,
    /// The first header place that is erased.
    pub free: Option<u8>,
    /// Whether one is in the layout of another version.
    pub foreign: bool,
    /// Whether the storage refused.
    pub unreadable: bool,
}

/// A [`Storage`] with that order in it.
#[derive(Debug)]
pub struct Shelf<S> {
    /// The memory.
    pub storage: S,
    failed: bool,
}

impl<S> Shelf<S> {
    /// Over `storage`; nothing is read yet.
    pub const fn new(storage: S) -> Self {
        Self {
            storage,
            failed: false,
        }
    }
}

impl<S: Storage> Shelf<S> {
    /// Knots one slot has room for; none when not even the headers fit.
    pub fn knots_fit(&self) -> Option<usize> {
        let room = self.storage.slot_bytes().checked_sub(KNOTS_AT)?;
        Some(room / KNOT_BYTES)
    }

    /// Whether all could be read since this was asked last.
    pub fn sound(&mut self) -> Result<(), Refusal> {
        if core::mem::take(&mut self.failed) {
            Err(Refusal::Storage)
        } else {
            Ok(())
        }
    }

    /// Four bytes, lowest first.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn word(&mut self, slot: Slot, at: usize) -> u32 {
        let mut bytes = [0u8; 4];
        if self.storage.read(slot, at, &mut bytes).is_err() {
            self.failed = true;
        }
        u32::from_le_bytes(bytes)
    }

    /// Erases a part of a slot from `from` on; says where to go on, if anywhere.
    pub fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, Refusal> {
        self.storage.erase(slot, from).map_err(|_| Refusal::Storage)
    }

    /// What the header places of `slot` hold.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn survey(&mut self, slot: Slot) -> Survey {
        let mut survey = Survey {
            newest: None,
            lost: None,
            free: None,
            foreign: false,
            unreadable: false,
        };
        for place in 0..PLACES {
            let found = self.judge(slot, place);
            if self.sound().is_err() {
                survey.unreadable = true;
                continue;
            }
            match found {
                Place::Erased => survey.free = survey.free.or(Some(place)),
                Place::Other => {}
                Place::Broken { sequence } => newest(&mut survey.lost, sequence),
                Place::Foreign { sequence } => {
                    survey.foreign = true;
                    newest(&mut survey.lost, sequence);
                }
                Place::Sound { sequence } => {
                    if survey.newest.is_none_or(|(_, n)| is_newer(sequence, n)) {
                        survey.newest = Some((place, sequence));
                    }
                }
            }
        }
        survey
    }

    /// CRC-32 of the knots in `slot` as they read back, as
    /// [`scalewright_protocol::table::knots_checksum`] forms it.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn checksum(&mut self, slot: Slot, knots: u8) -> Result<u32, Refusal> {
        let mut crc = Running::new();
        let mut at = KNOTS_AT;
        for _ in 0..knots {
            crc.word(self.word(slot, at));
            crc.word(self.word(slot, at + 4));
            at += KNOT_BYTES;
        }
        self.sound().map(|()| crc.finish())
    }

    /// The knot at a position.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn knot(&mut self, slot: Slot, at: usize) -> Knot {
        let at = knot_at(at);
        Knot {
            counts: self.word(slot, at) as i32,
            mass: self.word(slot, at + 4) as i32,
        }
    }

    /// Writes knots from position `from` on.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn write_knots(&mut self, slot: Slot, from: u8, knots: &[Knot]) -> Result<(), Refusal> {
        let mut at = knot_at(usize::from(from));
        for knot in knots {
            for number in [knot.counts, knot.mass] {
                self.storage
                    .write(slot, at, &number.to_le_bytes())
                    .map_err(|_| Refusal::Storage)?;
                at += 4;
            }
        }
        Ok(())
    }
}

const fn knot_at(at: usize) -> usize {
    KNOTS_AT.wrapping_add(at.wrapping_mul(KNOT_BYTES))
}

#[cfg_attr(target_arch = "avr", inline(never))]
fn newest(place: &mut Option<u32>, sequence: u32) {
    if place.is_none_or(|before| is_newer(sequence, before)) {
        *place = Some(sequence);
    }
}

/// Whether `a` follows `b`, right across a wrap of the numbers.
#[cfg_attr(target_arch = "avr", inline(never))]
pub const fn is_newer(a: u32, b: u32) -> bool {
    (a.wrapping_sub(b) as i32) > 0
}
