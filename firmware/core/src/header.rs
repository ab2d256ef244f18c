//! The bytes of a record's header in storage.
//!
//! ```text
//!  0  mark "kiln"          4     24  max, quanta        4
//!  4  layout version       1     28  e, quanta          4
//!  5  knots                1     32  d, quanta          4
//!  6  class 0..3           1     36  rate, 1/s          2
//!  7  input 0..2           1     38  rest window, ms    2
//!  8  sequence             4     40  smoothing          1
//! 12  zero reference       4     41  rest, tenths of d  1
//! 16  checksum of knots    4     42  0                  1
//! 20  quantum, ug          4     43  CRC-32 of 0 to 42  4
//!                                47  end mark           1
//! ```
//!
//! All little-endian. The end mark is the last byte written: with it the write
//! was finished, so a wrong CRC then means decay and not a power cut.
//!
//! A later layout may change everything but this: mark, layout version and
//! sequence where they are, the CRC over what stands before it at 43, and the
//! end mark. By these a firmware knows a record that it cannot read.

use scalewright_protocol::checksum::crc32;
use scalewright_protocol::passport::LAYOUT_VERSION as LAYOUT;
use scalewright_protocol::settings::{Class, Input, Settings};

/// Length of a header, bytes.
pub const HEADER_BYTES: usize = 48;
const CHECKED_BYTES: usize = 43;
const MARK: [u8; 4] = *b"kiln";
const END: u8 = 0xA6;

/// What a header says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    pub sequence: u32,
    pub zero_counts: i32,
    pub knots: u8,
    pub checksum: u32,
    pub settings: Settings,
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
    /// A header; [`from_bytes`] reads it.
    Sound { sequence: u32 },
}

/// The bytes of `header`.
#[inline(never)]
pub fn to_bytes(header: &Header) -> [u8; HEADER_BYTES] {
    let mut put = Put {
        bytes: [0; HEADER_BYTES],
        at: 0,
    };
    let s = &header.settings;
    put.number(u32::from_le_bytes(MARK), 4);
    put.number(u32::from(LAYOUT), 1);
    put.number(u32::from(header.knots), 1);
    put.number(s.class as u32, 1);
    put.number(s.input as u32, 1);
    put.number(header.sequence, 4);
    put.number(header.zero_counts as u32, 4);
    put.number(header.checksum, 4);
    put.number(s.quantum_ug, 4);
    put.number(s.max as u32, 4);
    put.number(s.e as u32, 4);
    put.number(s.d as u32, 4);
    put.number(u32::from(s.rate_sps), 2);
    put.number(u32::from(s.rest_ms), 2);
    put.number(u32::from(s.smoothing), 1);
    put.number(u32::from(s.rest_tenths_d), 1);
    put.number(0, 1);
    let crc = checked(&put.bytes);
    put.number(crc, 4);
    put.number(u32::from(END), 1);
    put.bytes
}

fn checked(bytes: &[u8; HEADER_BYTES]) -> u32 {
    crc32(bytes.get(..CHECKED_BYTES).unwrap_or(&[]))
}

/// What `bytes` are.
#[inline(never)]
pub fn judge(bytes: &[u8; HEADER_BYTES]) -> Place {
    if bytes.iter().all(|b| *b == 0xFF) {
        return Place::Erased;
    }
    let mut take = Take(bytes.iter());
    let mark = take.number(4);
    let layout = take.number(1);
    let [_, class, input] = [take.number(1), take.number(1), take.number(1)];
    let sequence = take.number(4);
    let tail = bytes.get(CHECKED_BYTES..).unwrap_or(&[]);
    let mut tail = Take(tail.iter());
    let crc = tail.number(4);
    if mark != u32::from_le_bytes(MARK) || tail.number(1) != u32::from(END) {
        return Place::Other;
    }
    if crc != checked(bytes) {
        return Place::Broken { sequence };
    }
    if layout != u32::from(LAYOUT) {
        return Place::Foreign { sequence };
    }
    if class > 3 || input > 2 {
        return Place::Broken { sequence };
    }
    Place::Sound { sequence }
}

/// The header in `bytes`, which are [`Place::Sound`].
#[inline(never)]
pub fn from_bytes(bytes: &[u8; HEADER_BYTES]) -> Header {
    let mut take = Take(bytes.iter());
    take.number(4);
    take.number(1);
    let knots = take.number(1) as u8;
    let class = match take.number(1) {
        0 => Class::I,
        1 => Class::II,
        2 => Class::III,
        _ => Class::IIII,
    };
    let input = match take.number(1) {
        0 => Input::A128,
        1 => Input::B32,
        _ => Input::A64,
    };
    let sequence = take.number(4);
    let zero_counts = take.number(4) as i32;
    let checksum = take.number(4);
    let quantum_ug = take.number(4);
    let max = take.number(4) as i32;
    let e = take.number(4) as i32;
    let d = take.number(4) as i32;
    let rate_sps = take.number(2) as u16;
    let rest_ms = take.number(2) as u16;
    let smoothing = take.number(1) as u8;
    let rest_tenths_d = take.number(1) as u8;
    Header {
        sequence,
        zero_counts,
        knots,
        checksum,
        settings: Settings {
            quantum_ug,
            max,
            e,
            d,
            class,
            rate_sps,
            input,
            smoothing,
            rest_tenths_d,
            rest_ms,
        },
    }
}

/// Writes numbers one after the other.
struct Put {
    bytes: [u8; HEADER_BYTES],
    at: usize,
}

impl Put {
    /// The lowest `count` bytes of `value`.
    #[inline(never)]
    fn number(&mut self, value: u32, count: usize) {
        for byte in value.to_le_bytes().iter().take(count) {
            if let Some(place) = self.bytes.get_mut(self.at) {
                *place = *byte;
            }
            self.at = self.at.wrapping_add(1);
        }
    }
}

/// Reads them again.
struct Take<'a>(core::slice::Iter<'a, u8>);

impl Take<'_> {
    /// A number of `count` bytes; past the end come zeros.
    #[inline(never)]
    fn number(&mut self, count: u8) -> u32 {
        let mut bytes = [0u8; 4];
        for byte in bytes.iter_mut().take(usize::from(count)) {
            *byte = self.0.next().copied().unwrap_or(0);
        }
        u32::from_le_bytes(bytes)
    }
}
