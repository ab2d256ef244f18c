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
    /// A header.
    Sound(Header),
}

/// The bytes of `header`.
pub fn to_bytes(header: &Header) -> [u8; HEADER_BYTES] {
    let mut bytes = [0u8; HEADER_BYTES];
    let s = &header.settings;
    let mut put = Put(&mut bytes);
    put.next(MARK);
    put.next([
        LAYOUT,
        header.knots,
        class_code(s.class),
        input_code(s.input),
    ]);
    put.next(header.sequence.to_le_bytes());
    put.next(header.zero_counts.to_le_bytes());
    put.next(header.checksum.to_le_bytes());
    put.next(s.quantum_ug.to_le_bytes());
    put.next(s.max.to_le_bytes());
    put.next(s.e.to_le_bytes());
    put.next(s.d.to_le_bytes());
    put.next(s.rate_sps.to_le_bytes());
    put.next(s.rest_ms.to_le_bytes());
    put.next([s.smoothing, s.rest_tenths_d, 0]);
    let crc = crc32(bytes.get(..CHECKED_BYTES).unwrap_or(&[])).to_le_bytes();
    if let Some(tail) = bytes.last_chunk_mut::<5>() {
        let [a, b, c, d] = crc;
        *tail = [a, b, c, d, END];
    }
    bytes
}

/// What `bytes` are.
pub fn from_bytes(bytes: &[u8; HEADER_BYTES]) -> Place {
    if bytes.iter().all(|b| *b == 0xFF) {
        return Place::Erased;
    }
    let mut take = Take(bytes);
    let mark: [u8; 4] = take.next();
    let [layout, knots, class, input] = take.next();
    let sequence = u32::from_le_bytes(take.next());
    let zero_counts = i32::from_le_bytes(take.next());
    let checksum = u32::from_le_bytes(take.next());
    let quantum_ug = u32::from_le_bytes(take.next());
    let max = i32::from_le_bytes(take.next());
    let e = i32::from_le_bytes(take.next());
    let d = i32::from_le_bytes(take.next());
    let rate_sps = u16::from_le_bytes(take.next());
    let rest_ms = u16::from_le_bytes(take.next());
    let [smoothing, rest_tenths_d, _] = take.next();
    let crc = u32::from_le_bytes(take.next());
    let [end] = take.next();
    if mark != MARK || end != END {
        return Place::Other;
    }
    let right = crc == crc32(bytes.get(..CHECKED_BYTES).unwrap_or(&[]));
    if right && layout != LAYOUT {
        return Place::Foreign { sequence };
    }
    let (true, Some(class), Some(input)) = (right, class_from(class), input_from(input)) else {
        return Place::Broken { sequence };
    };
    Place::Sound(Header {
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
    })
}

const fn class_code(class: Class) -> u8 {
    match class {
        Class::I => 0,
        Class::II => 1,
        Class::III => 2,
        Class::IIII => 3,
    }
}

const fn class_from(code: u8) -> Option<Class> {
    Some(match code {
        0 => Class::I,
        1 => Class::II,
        2 => Class::III,
        3 => Class::IIII,
        _ => return None,
    })
}

const fn input_code(input: Input) -> u8 {
    match input {
        Input::A128 => 0,
        Input::B32 => 1,
        Input::A64 => 2,
    }
}

const fn input_from(code: u8) -> Option<Input> {
    Some(match code {
        0 => Input::A128,
        1 => Input::B32,
        2 => Input::A64,
        _ => return None,
    })
}

struct Put<'a>(&'a mut [u8]);

impl Put<'_> {
    fn next<const N: usize>(&mut self, bytes: [u8; N]) {
        if let Some((head, tail)) = core::mem::take(&mut self.0).split_first_chunk_mut::<N>() {
            *head = bytes;
            self.0 = tail;
        }
    }
}

struct Take<'a>(&'a [u8]);

impl Take<'_> {
    fn next<const N: usize>(&mut self) -> [u8; N] {
        match self.0.split_first_chunk::<N>() {
            Some((head, tail)) => {
                self.0 = tail;
                *head
            }
            None => [0; N],
        }
    }
}
