//! The contract between a scale and whoever talks to it.
//!
//! Everything that both ends must agree on lives here and nowhere else: the
//! integer units ([`units`]), what a calibration table means ([`table`]), how a scale
//! makes one by itself ([`curve`]) and what a cell's past takes off it ([`hysteresis`]), the messages ([`message`]) and how
//! they become bytes on a serial line ([`codec`], [`frame`], [`stuffing`]). `WIRE.md` beside this crate restates the bytes for
//! somebody who writes a client in another language; the golden frames under
//! `tests/golden` hold both to it.
//!
//! The crate is `no_std`, allocates nothing, has no floating point, and never
//! panics on any input.
//!
//! ```
//! use scalewright_protocol::table::{Knot, Table};
//!
//! // 100 000 counts above zero are 1 000 000 quanta (1 kg at 1 mg).
//! let table: Table<16> = Table::new(&[
//!     Knot { counts: 0, mass: 0 },
//!     Knot { counts: 100_000, mass: 1_000_000 },
//!     Knot { counts: 200_000, mass: 1_990_000 },
//! ])?;
//! assert_eq!(table.lookup(150_000).mass, 1_495_000);
//! # Ok::<(), scalewright_protocol::table::TableFault>(())
//! ```
#![no_std]

pub mod checksum;
pub mod codec;
pub mod cursor;
pub mod curve;
pub mod frame;
pub mod hysteresis;
pub mod message;
pub mod passport;
pub mod pen;
pub mod settings;
pub mod stuffing;
pub mod table;
pub mod tags;
pub mod units;
pub mod wide;

/// Wire version spoken by this crate. Both ends say theirs in the greeting;
/// they work together only when the numbers are equal.
pub const WIRE_VERSION: u16 = 3;
