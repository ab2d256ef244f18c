//! What a scale does, for any chip.
//!
//! ```text
//! bridge → filter → rest ┐
//!                 └──────┴→ capture, indication → instrument → frames
//! ```
//!
//! The crate owns every step from a bridge ADC's pins to bytes on a line, and
//! knows no chip, no clock and no heap. Time, bytes and samples are handed in;
//! [`instrument::Instrument`] says what to send, what to sample and when to be
//! called again. Samples are worked on in integers only; the one root that is
//! needed (a standard deviation) is `u64::isqrt`, so no maths library is.
//!
//! No input makes it panic, wait or allocate: the board crate may rely on it.
#![no_std]

pub mod bridge;
pub mod capture;
pub mod filter;
pub mod indication;
pub mod instrument;
pub mod moments;
pub mod ports;
pub mod rest;
pub mod slots;

mod asks;
mod conversation;
mod header;
mod outbox;
mod shelf;
