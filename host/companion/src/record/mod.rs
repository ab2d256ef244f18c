//! What is kept: a calibration's outcome as values, the journal that lets an
//! interrupted one go on, and the weights it is made with.

pub mod certificate;
pub mod density;
pub mod foreseen;
pub mod journal;
pub mod mass;
pub mod outcome;
pub mod proof;
pub mod together;
pub mod weights;
