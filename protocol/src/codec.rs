//! Messages to bytes and back: the postcard format, inside a frame.
//!
//! postcard (its wire format is published as a specification) writes structs
//! and tuples field by field, enums as the variant's position, `Option` as 0 or
//! 1 and the value, lists and texts as a length and the items. `u8` is one
//! byte, other integers are base-128 varints, least significant group first;
//! signed ones are zigzagged before.

use serde::{Serialize, de::DeserializeOwned};

use crate::frame::{self, FrameFull};

/// Longest payload of a frame, bytes. The largest message is the staging of six
/// knots at their widest.
pub const MAX_PAYLOAD: usize = 96;

/// Longest frame on the line, bytes: payload, CRC-32, COBS overhead, delimiter
/// at both ends.
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
    let mut payload = [0u8; MAX_PAYLOAD];
    let used = postcard::to_slice(message, &mut payload).map_err(|_| FrameFull)?;
    frame::encode(used, out)
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
