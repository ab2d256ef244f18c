//! What a scale does, for any chip.
//!
//! ```text
//! bridge → filter → rest ┬→ calm ──┐
//!                 └──────┴→ capture, indication → instrument → frames
//! ```
//!
//! The crate owns every step from a bridge ADC's pins to bytes on a line, and
//! knows no chip, no clock and no heap. Time, bytes and samples are handed in;
//! [`instrument::Instrument`] says what to send, what to sample and when to be
//! called again. Samples are worked on in integers only; the one root that is
//! needed (a standard deviation) is taken bit by bit, so no maths library is.
//!
//! No input makes it panic, wait or allocate: the board crate may rely on it.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod bridge;
pub mod calm;
pub mod capture;
pub mod filter;
pub mod font;
pub mod functions;
pub mod indication;
pub mod indicator;
pub mod instrument;
pub mod moments;
pub mod notebook;
pub mod number;
pub mod panel;
pub mod ports;
pub mod rest;
pub mod sampling;
pub mod slots;
pub mod walk;

mod asks;
mod at_the_scale;
mod changes;
mod conversation;
mod header;
mod outbox;
mod sampled;
mod shelf;
mod zero;

use scalewright_protocol::settings::{Class, Conduct, Input, Settings};

/// Version of the firmware, which all boards share: major, minor, patch. A laptop
/// tells by it in which layout a scale stores.
pub const VERSION: (u8, u8, u8) = (
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
);

/// A decimal number of at most three digits.
const fn number(text: &str) -> u8 {
    let mut rest = text.as_bytes();
    let mut number = 0u8;
    while let [digit, others @ ..] = rest {
        number = number
            .wrapping_mul(10)
            .wrapping_add(digit.wrapping_sub(b'0'));
        rest = others;
    }
    number
}

/// What a board is set to before anybody calibrated it: Max 6 kg, e = d = 2 g,
/// 10 conversions per second. A calibration brings its own, but keeps what is said
/// of sampling and rest.
pub const FACTORY: Settings = Settings {
    quantum_ug: 2000,
    max: 3_000_000,
    e: 1000,
    d: 1000,
    class: Class::III,
    rate_sps: 10,
    input: Input::A128,
    smoothing: 3,
    rest_tenths_d: 3,
    rest_ms: 1000,
    loop_gain: 0,
    conduct: Conduct::STARTS_AT_ZERO,
};

/// Settings that say nothing, as zeros: a static that holds them takes no flash.
pub(crate) const BLANK: Settings = Settings {
    quantum_ug: 0,
    max: 0,
    e: 0,
    d: 0,
    class: Class::I,
    rate_sps: 0,
    input: Input::A128,
    smoothing: 0,
    rest_tenths_d: 0,
    rest_ms: 0,
    loop_gain: 0,
    conduct: Conduct(0),
};
