//! The laptop's side of Scalewright: finds a scale, walks its builder through
//! calibration, proves the result and reports it.
//!
//! The way of a calibration: [`link`] speaks to the device, [`session`] decides
//! what to ask next, [`drive`] brings the two together, [`quantise`] turns
//! fitted curves into the integers of the device's table, [`record`] keeps what
//! happened and [`report`] draws it; [`review`] says beforehand what a set of
//! weights is good for. [`cli`] is the `scalewright` command.

pub mod certifying;
pub mod changing;
pub mod cli;
pub mod drive;
pub mod firmware;
pub mod inspect;
pub mod link;
pub mod population;
pub mod proving;
pub mod quantise;
pub mod record;
pub mod report;
pub mod review;
pub mod session;
pub mod wording;
