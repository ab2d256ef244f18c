//! Guided calibration as a state machine: answers and commands in, questions
//! and typed events out. No terminal, no port, no clock; the only time it knows
//! is the device's.

pub mod cell;
pub mod choosing;
pub mod comparing;
mod deciding;
pub mod event;
pub mod expectation;
mod findings;
pub mod foresee;
pub mod judge;
pub mod moving;
pub mod note;
pub mod plan;
pub mod procedure;
pub mod proof;
mod storing;
pub mod table;
pub mod through;
pub mod together;
mod trouble;
mod verdict;
mod weight;
