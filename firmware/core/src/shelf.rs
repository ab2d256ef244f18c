//! What stands in a slot, byte by byte: header places and knots.
//!
//! Owns the offsets; knows nothing of which record is in force. Buffers on the
//! stack stay at one header's 48 bytes.

use scalewright_protocol::checksum::Running;
use scalewright_protocol::message::Refusal;
use scalewright_protocol::table::Knot;

use crate::header::{self, HEADER_BYTES, Header, Place};
use crate::ports::{Slot, Storage};

/// Header places of one slot.
pub const PLACES: usize = 4;
/// Where knots begin.
const KNOTS_AT: usize = PLACES * HEADER_BYTES;
const KNOT_BYTES: usize = 8;

/// What stands in one slot.
pub struct Survey {
    /// Place and number of the newest sound header.
    pub newest: Option<(usize, u32)>,
    /// Newest number on a header that was finished once and is broken.
    pub broken: Option<u32>,
    /// First erased header place.
    pub free: Option<usize>,
    /// Newest number on a header in another layout.
    pub foreign: Option<u32>,
    /// Whether the storage refused.
    pub unreadable: bool,
}

/// A [`Storage`] with that order in it.
#[derive(Debug)]
pub struct Shelf<S>(pub S);

impl<S: Storage> Shelf<S> {
    /// Knots one slot has room for; none when not even the headers fit.
    pub fn knots_fit(&self) -> Option<usize> {
        let room = self.0.slot_bytes().checked_sub(KNOTS_AT)?;
        Some(room / KNOT_BYTES)
    }

    /// Erases a part of a slot from `from` on; says where to go on, if anywhere.
    pub fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, Refusal> {
        self.0.erase(slot, from).map_err(|_| Refusal::Storage)
    }

    /// Writes a header and reads it back. What counts is what reads back, not
    /// what the write says of itself.
    #[inline(never)]
    pub fn write_header(
        &mut self,
        slot: Slot,
        place: usize,
        header: &Header,
    ) -> Result<(), Refusal> {
        let bytes = header::to_bytes(header);
        let at = place.wrapping_mul(HEADER_BYTES);
        let _ = self.0.write(slot, at, &bytes);
        let mut back = [0u8; KNOT_BYTES];
        for (piece, at) in bytes
            .chunks_exact(KNOT_BYTES)
            .zip((at..).step_by(KNOT_BYTES))
        {
            self.0
                .read(slot, at, &mut back)
                .map_err(|_| Refusal::Storage)?;
            if piece != back {
                return Err(Refusal::Storage);
            }
        }
        Ok(())
    }

    #[inline(never)]
    fn place(&mut self, slot: Slot, place: usize) -> Result<[u8; HEADER_BYTES], Refusal> {
        let mut bytes = [0u8; HEADER_BYTES];
        self.0
            .read(slot, place.wrapping_mul(HEADER_BYTES), &mut bytes)
            .map_err(|_| Refusal::Storage)?;
        Ok(bytes)
    }

    /// The sound header at a place.
    #[inline(never)]
    pub fn header(&mut self, slot: Slot, place: usize) -> Result<Header, Refusal> {
        let bytes = self.place(slot, place)?;
        match header::judge(&bytes) {
            Place::Sound { .. } => Ok(header::from_bytes(&bytes)),
            _ => Err(Refusal::Storage),
        }
    }

    /// What the header places of `slot` hold.
    #[inline(never)]
    pub fn survey(&mut self, slot: Slot) -> Survey {
        let mut survey = Survey {
            newest: None,
            broken: None,
            free: None,
            foreign: None,
            unreadable: false,
        };
        for place in 0..PLACES {
            let Ok(bytes) = self.place(slot, place) else {
                survey.unreadable = true;
                continue;
            };
            match header::judge(&bytes) {
                Place::Erased => survey.free = survey.free.or(Some(place)),
                Place::Other => {}
                Place::Broken { sequence } => newest(&mut survey.broken, sequence),
                Place::Foreign { sequence } => newest(&mut survey.foreign, sequence),
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
    /// [`knots_checksum`] forms it.
    #[inline(never)]
    pub fn checksum(&mut self, slot: Slot, knots: u8) -> Result<u32, Refusal> {
        let mut crc = Running::new();
        for at in 0..usize::from(knots) {
            crc.update(&self.knot_bytes(slot, at)?);
        }
        Ok(crc.finish())
    }

    /// The knot at a position.
    pub fn knot(&mut self, slot: Slot, at: usize) -> Result<Knot, Refusal> {
        self.knot_bytes(slot, at).map(|bytes| knot_from(&bytes))
    }

    fn knot_bytes(&mut self, slot: Slot, at: usize) -> Result<[u8; KNOT_BYTES], Refusal> {
        let mut bytes = [0u8; KNOT_BYTES];
        self.0
            .read(slot, knot_at(at), &mut bytes)
            .map_err(|_| Refusal::Storage)?;
        Ok(bytes)
    }

    /// Writes knots from position `from` on.
    pub fn write_knots(&mut self, slot: Slot, from: u8, knots: &[Knot]) -> Result<(), Refusal> {
        for (at, knot) in (usize::from(from)..).zip(knots) {
            let [c0, c1, c2, c3] = knot.counts.to_le_bytes();
            let [m0, m1, m2, m3] = knot.mass.to_le_bytes();
            let bytes = [c0, c1, c2, c3, m0, m1, m2, m3];
            self.0
                .write(slot, knot_at(at), &bytes)
                .map_err(|_| Refusal::Storage)?;
        }
        Ok(())
    }
}

const fn knot_at(at: usize) -> usize {
    KNOTS_AT.saturating_add(at.saturating_mul(KNOT_BYTES))
}

fn newest(place: &mut Option<u32>, sequence: u32) {
    if place.is_none_or(|before| is_newer(sequence, before)) {
        *place = Some(sequence);
    }
}

fn knot_from(bytes: &[u8; KNOT_BYTES]) -> Knot {
    let [c0, c1, c2, c3, m0, m1, m2, m3] = *bytes;
    Knot {
        counts: i32::from_le_bytes([c0, c1, c2, c3]),
        mass: i32::from_le_bytes([m0, m1, m2, m3]),
    }
}

/// Whether `a` follows `b`, right across a wrap of the numbers.
pub const fn is_newer(a: u32, b: u32) -> bool {
    (a.wrapping_sub(b) as i32) > 0
}
