//! The mathematics of a calibration, in plain `f64`.
//!
//! Owns statistics, least squares, the candidate curves of a calibration and
//! the rules that judge them, the tolerances of the trade, what an uncertainty
//! makes of a decision by them, and what the tests of a scale tell.
//! Guarantees: same input, same output; no panic on any input.
//! Refuses: I/O, time, randomness, and any knowledge of the wire.
//!
//! The way through: [`observation::Observation`]s go into
//! [`candidates::propose`], which refuses what [`screening::check`] finds unfit,
//! fits every shape in [`fit`], lays each into
//! the device's points with [`laying::lay`], judges each by leaving one load
//! out at a time, and hands back a [`candidates::Proposal`].

pub mod air;
pub mod budget;
pub mod buoyancy;
pub mod candidates;
pub mod comparison;
pub mod curve;
pub mod decision;
pub mod distribution;
pub mod fit;
pub mod gravity;
pub mod joint;
pub mod laying;
pub mod least_squares;
pub mod monte_carlo;
pub mod observation;
pub mod performance;
pub mod planning;
pub mod refusal;
pub mod regression;
pub mod relocation;
pub mod screening;
pub mod statistics;
pub mod tolerance;
pub mod uncertainty;
pub mod weights;
