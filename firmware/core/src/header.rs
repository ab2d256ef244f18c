//! The bytes of a record's header in storage.
//!
//! ```text
//!  0  mark "kiln"          4     24  max, quanta        4
//!  4  layout version       1     28  e, quanta          4
//!  5  knots                1     32  d, quanta          4
//!  6  kinds, see below     1     36  rate, 1/s          2
//!  7  smoothing            1     38  rest window, ms    2
//!  8  sequence             4     40  loop gain, 2^-24  2
//! 12  zero reference       4     42  rest, tenths of d  1
//! 16  checksum of knots    4     43  CRC-32 of 0 to 42  4
//! 20  quantum, ug          4     47  end mark           1
//! ```
//!
//! All little-endian. Kinds are the class, 0 to 3, 4 times the input, 0 to 2, and
//! 16 times the conduct. The end mark is the last byte written: with it the write was finished, so a
//! wrong CRC then means decay and not a power cut.
//!
//! A later layout may change everything but this: mark, layout version and
//! sequence where they are, the CRC over what stands before it at 43, and the
//! end mark. By these a firmware knows a record that it cannot read.

//!
//! Headers are read four bytes at a time from where they lie, and only a header
//! to be written stands in memory as bytes: on a small chip a buffer handed
//! about costs more flash than the reading.

use scalewright_protocol::checksum::Running;
use scalewright_protocol::message::{Refusal, Stage};
use scalewright_protocol::passport::LAYOUT_VERSION as LAYOUT;
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};

use crate::BLANK;
use crate::ports::{Slot, Storage};
use crate::shelf::Shelf;

/// Length of a header, bytes.
pub const HEADER_BYTES: usize = 48;
const MARK: u32 = u32::from_le_bytes(*b"kiln");
const END: u8 = 0xA6;
const KNOTS_AT: usize = 4;
const SEQUENCE_AT: usize = 8;
const CHECKSUM_AT: usize = 16;
/// Where the bytes stand that the CRC covers last, and the CRC's first.
const SEAM_AT: usize = 40;

/// What a header says: the record's number, and what opened it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    pub sequence: u32,
    pub stage: Stage,
}

impl Header {
    /// Says nothing yet.
    pub const fn blank() -> Self {
        Self {
            sequence: 0,
            stage: Stage {
                settings: BLANK,
                zero_counts: 0,
                knots: 0,
                checksum: 0,
            },
        }
    }
}

/// What stands in the place of a header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Only erased bytes.
    Erased,
    /// Never finished, half erased, or something else altogether.
    Other,
    /// A sound header in another layout.
    Foreign { sequence: u32 },
    /// Once finished under this number (if that can be believed), now broken.
    Broken { sequence: u32 },
    /// A header.
    Sound { sequence: u32 },
}

/// A header's bytes while it is written.
struct Put {
    bytes: [u8; HEADER_BYTES],
    at: u8,
}

impl Put {
    /// The lowest `count` bytes of `value`.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn number(&mut self, value: u32, count: u8) {
        let mut left = value;
        for _ in 0..count {
            if let Some(place) = self.bytes.get_mut(usize::from(self.at)) {
                *place = left as u8;
            }
            left >>= 8;
            self.at = self.at.wrapping_add(1);
        }
    }
}

impl<S: Storage> Shelf<S> {
    /// What stands in a header place.
    pub fn judge(&mut self, slot: Slot, place: u8) -> Place {
        let begin = usize::from(place) * HEADER_BYTES;
        let mut crc = Running::new();
        let mut erased = true;
        for at in (0..SEAM_AT).step_by(4) {
            let word = self.word(slot, begin + at);
            erased &= word == u32::MAX;
            crc.word(word);
        }
        let seam = self.word(slot, begin + SEAM_AT);
        let tail = self.word(slot, begin + SEAM_AT + 4);
        if erased && seam & tail == u32::MAX {
            return Place::Erased;
        }
        let [a, b, c, _] = seam.to_le_bytes();
        crc.push(a);
        crc.push(b);
        crc.push(c);
        let kept = seam >> 24 | tail << 8;
        if self.word(slot, begin) != MARK || (tail >> 24) as u8 != END {
            return Place::Other;
        }
        let [layout, _, kinds, _] = self.word(slot, begin + KNOTS_AT).to_le_bytes();
        let sequence = self.word(slot, begin + SEQUENCE_AT);
        if crc.finish() != kept {
            Place::Broken { sequence }
        } else if layout != LAYOUT {
            Place::Foreign { sequence }
        } else if kinds & 12 == 12 || kinds >> 4 > Conduct::ALL.0 {
            Place::Broken { sequence }
        } else {
            Place::Sound { sequence }
        }
    }

    /// How many knots a sound header announces, and their checksum.
    pub fn announced(&mut self, slot: Slot, place: u8) -> (u8, u32) {
        let begin = usize::from(place) * HEADER_BYTES;
        let [_, knots, _, _] = self.word(slot, begin + KNOTS_AT).to_le_bytes();
        (knots, self.word(slot, begin + CHECKSUM_AT))
    }

    /// Reads a sound header.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn read_header(&mut self, slot: Slot, place: u8, header: &mut Header) {
        let begin = usize::from(place) * HEADER_BYTES;
        let mut at = begin + KNOTS_AT;
        let mut next = || {
            let word = self.word(slot, at);
            at += 4;
            word
        };
        let [_, knots, kinds, smoothing] = next().to_le_bytes();
        header.sequence = next();
        let stage = &mut header.stage;
        stage.knots = knots;
        stage.zero_counts = next() as i32;
        stage.checksum = next();
        let settings = &mut stage.settings;
        settings.smoothing = smoothing;
        settings.conduct = Conduct(kinds >> 4);
        settings.class = match kinds & 3 {
            0 => Class::I,
            1 => Class::II,
            2 => Class::III,
            _ => Class::IIII,
        };
        settings.input = match kinds >> 2 & 3 {
            0 => Input::A128,
            1 => Input::B32,
            _ => Input::A64,
        };
        settings.quantum_ug = next();
        settings.max = next() as i32;
        settings.e = next() as i32;
        settings.d = next() as i32;
        let word = next();
        settings.rate_sps = word as u16;
        settings.rest_ms = (word >> 16) as u16;
        let word = next();
        settings.loop_gain = word as u16;
        settings.rest_tenths_d = (word >> 16) as u8;
    }

    /// Writes a header and reads it back. What counts is what reads back, not
    /// what the write says of itself.
    pub fn write_header(&mut self, slot: Slot, place: u8, header: &Header) -> Result<(), Refusal> {
        let put = bytes_of(header);
        let begin = usize::from(place) * HEADER_BYTES;
        let _ = self.storage.write(slot, begin, &put.bytes);
        let (words, _) = put.bytes.as_chunks::<4>();
        let mut at = begin;
        let mut same = true;
        for word in words {
            same &= self.word(slot, at) == u32::from_le_bytes(*word);
            at += 4;
        }
        self.sound()?;
        if same { Ok(()) } else { Err(Refusal::Storage) }
    }
}

fn bytes_of(header: &Header) -> Put {
    let mut put = Put {
        bytes: [0; HEADER_BYTES],
        at: 0,
    };
    let stage = &header.stage;
    let s: &Settings = &stage.settings;
    put.number(MARK, 4);
    put.number(u32::from(LAYOUT), 1);
    put.number(u32::from(stage.knots), 1);
    let kinds = s.class as u8 | (s.input as u8) << 2 | s.conduct.0 << 4;
    put.number(u32::from(kinds), 1);
    put.number(u32::from(s.smoothing), 1);
    put.number(header.sequence, 4);
    put.number(stage.zero_counts as u32, 4);
    put.number(stage.checksum, 4);
    put.number(s.quantum_ug, 4);
    put.number(s.max as u32, 4);
    put.number(s.e as u32, 4);
    put.number(s.d as u32, 4);
    put.number(u32::from(s.rate_sps), 2);
    put.number(u32::from(s.rest_ms), 2);
    put.number(u32::from(s.loop_gain), 2);
    put.number(u32::from(s.rest_tenths_d), 1);
    let mut crc = Running::new();
    for byte in put.bytes.iter().take(usize::from(put.at)) {
        crc.push(*byte);
    }
    put.number(crc.finish(), 4);
    put.number(u32::from(END), 1);
    put
}
