//! The mathematics of a calibration, in plain `f64`.
//!
//! Owns statistics, least squares, the candidate curves of a calibration and
//! the rules that judge them, and the tolerance tables of the trade.
//! Guarantees: same input, same output; no panic on any input.
//! Refuses: I/O, time, randomness, and any knowledge of the wire.
//!
//! The way through: [`observation::Observation`]s go into
//! [`candidates::propose`], which refuses what [`screening::check`] finds unfit,
//! fits every shape in [`fit`], lays each into
//! the device's points with [`laying::lay`], judges each by leaving one load
//! out at a time, and hands back a [`candidates::Proposal`].

pub mod candidates;
pub mod curve;
pub mod distribution;
pub mod fit;
pub mod joint;
pub mod laying;
pub mod least_squares;
pub mod observation;
pub mod planning;
pub mod refusal;
pub mod regression;
pub mod screening;
pub mod statistics;
pub mod tolerance;
pub mod uncertainty;
pub mod weights;
