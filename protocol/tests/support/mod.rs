//! What the wire tests share: both directions as one type, hexadecimal text, and
//! the way through encoder and decoder.

// Each test file is a program of its own and uses a part of this.
#![allow(dead_code)]

pub mod document;
pub mod exact;
pub mod strategies;
pub mod vectors;

use proptest::test_runner::Config as ProptestConfig;
use scalewright_protocol::codec::{self, DecodeFault, MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::frame::{Decoder, Event, FrameFault};
use scalewright_protocol::message::{Report, Request};

/// A message of either direction.
#[derive(Clone, Debug, PartialEq)]
pub enum Message {
    /// Laptop to scale.
    Request(Request),
    /// Scale to laptop.
    Report(Report),
}

impl Message {
    /// The complete frame.
    pub fn frame(&self) -> Vec<u8> {
        let mut out = [0; MAX_FRAME];
        let used = match self {
            Self::Request(request) => codec::encode(request, &mut out),
            Self::Report(report) => codec::encode(report, &mut out),
        }
        .expect("a message fits MAX_FRAME");
        out[..used].to_vec()
    }

    /// The payload inside the frame, by the decoder.
    pub fn payload(&self) -> Vec<u8> {
        match receive(&self.frame()).as_slice() {
            [Received::Payload(payload)] => payload.clone(),
            other => panic!("one frame gave {other:?}"),
        }
    }

    /// The message of the same direction in `payload`.
    pub fn decode_same_way(&self, payload: &[u8]) -> Result<Self, DecodeFault> {
        match self {
            Self::Request(_) => codec::decode(payload).map(Self::Request),
            Self::Report(_) => codec::decode(payload).map(Self::Report),
        }
    }

    /// The message as Rust prints it, without the direction.
    pub fn text(&self) -> String {
        match self {
            Self::Request(request) => format!("{request:?}"),
            Self::Report(report) => format!("{report:?}"),
        }
    }
}

/// An [`Event`] that owns its payload.
#[derive(Clone, Debug, PartialEq)]
pub enum Received {
    /// A sound frame.
    Payload(Vec<u8>),
    /// A dropped one.
    Broken(FrameFault),
}

/// Everything a receiver of [`MAX_PAYLOAD`] makes of `line`.
pub fn receive(line: &[u8]) -> Vec<Received> {
    let mut decoder = Decoder::<{ MAX_PAYLOAD + 4 }>::new();
    receive_with(&mut decoder, line)
}

/// Everything `decoder` makes of `line`.
pub fn receive_with<const N: usize>(decoder: &mut Decoder<N>, line: &[u8]) -> Vec<Received> {
    line.iter()
        .filter_map(|byte| match decoder.push(*byte)? {
            Event::Payload(payload) => Some(Received::Payload(payload.to_vec())),
            Event::Broken(fault) => Some(Received::Broken(fault)),
        })
        .collect()
}

/// Many cases, and a failing one is only printed: the source tree is not a place
/// for a test to write to.
pub fn many_cases() -> ProptestConfig {
    ProptestConfig {
        cases: 2_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// `bytes` as pairs of hexadecimal digits with blanks between.
pub fn hex(bytes: &[u8]) -> String {
    let pairs: Vec<String> = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    pairs.join(" ")
}

/// The bytes of hexadecimal text; blanks do not matter.
pub fn unhex(text: &str) -> Vec<u8> {
    let digits: Vec<u32> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| {
            c.to_digit(16)
                .unwrap_or_else(|| panic!("{c:?} in {text:?}"))
        })
        .collect();
    assert!(digits.len().is_multiple_of(2), "half a byte in {text:?}");
    let byte = |pair: &[u32]| u8::try_from(pair[0] * 16 + pair[1]).expect("two digits");
    digits.chunks(2).map(byte).collect()
}
