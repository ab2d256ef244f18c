//! Weighing functions: what a scale can do with a mass besides showing it.
//!
//! Each is arithmetic on whole numbers that knows no key, no display and no
//! instrument: masses in quanta come in, what follows from them goes out. The
//! rules they keep stand beside them with their source.

pub mod counting;
pub mod extended;
pub mod limits;
pub mod peak;
pub mod preferences;
pub mod preset;
pub mod unit;
