//! Messages to bytes and back: the postcard format, inside a frame.
//!
//! postcard (its wire format is published as a specification) writes structs
//! and tuples field by field, enums as the variant's position, `Option` as 0 or
//! 1 and the value, lists and texts as a length and the items. `u8` is one
//! byte, other integers are base-128 varints, least significant group first;
//! signed ones are zigzagged before.

use serde::{Deserialize, Serialize, de::DeserializeOwned};

use crate::frame::FrameFull;
use crate::pen::Pen;

/// Longest payload of a frame, bytes. The largest message is a state with a
/// finished capture, 76 bytes at its widest; the rest is room to append.
pub const MAX_PAYLOAD: usize = 96;

/// Room that always takes a frame, bytes: payload, CRC-32, COBS overhead (one
/// byte below 255 of content, and one spare), delimiter at both ends.
pub const MAX_FRAME: usize = MAX_PAYLOAD + 4 + 2 + 2;

/// Why bytes are not a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecodeFault {
    /// Not a message of this wire version.
    Malformed,
    /// A message, and then more bytes.
    Trailing,
}

/// Writes `message` as one complete frame and returns its length.
///
/// # Errors
/// [`FrameFull`] when `out` is shorter than the frame.
pub fn encode<M: Serialize>(message: &M, out: &mut [u8]) -> Result<usize, FrameFull> {
    let mut pen = Pen::new(out)?;
    message.serialize(&mut pen).map_err(|_| FrameFull)?;
    pen.finish()
}

/// Reads the message in a frame's payload.
///
/// # Errors
/// [`DecodeFault`]; never panics, whatever the bytes.
pub fn decode<M: DeserializeOwned>(payload: &[u8]) -> Result<M, DecodeFault> {
    match postcard::take_from_bytes::<M>(payload) {
        Ok((message, [])) => Ok(message),
        Ok(_) => Err(DecodeFault::Trailing),
        Err(_) => Err(DecodeFault::Malformed),
    }
}

/// The wire version in the answer to a greeting. These first fields stand the
/// same in every version, so that a stranger's version can be named even when
/// the rest of its greeting cannot be read; nothing for any other payload.
#[must_use]
pub fn greeting_version(payload: &[u8]) -> Option<u16> {
    #[derive(Deserialize)]
    struct Opening {
        report: u8,
        _id: u16,
        answer: u8,
        wire_version: u16,
    }
    let (opening, _) = postcard::take_from_bytes::<Opening>(payload).ok()?;
    (opening.report == 0 && opening.answer == 1).then_some(opening.wire_version)
}
