//! What is kept: a calibration's outcome as values, the journal that lets an
//! interrupted one go on, the weights it is made with, a table of permitted errors,
//! what another scale showed, tables of scales, and the form that a certificate is filled in with.

pub mod certificate;
pub mod comparison;
pub mod density;
pub mod foreseen;
mod form;
pub mod journal;
pub mod kept_tables;
pub mod lab;
mod lines;
pub mod mass;
pub mod moved;
pub mod outcome;
pub mod performed;
pub mod place;
pub mod proof;
pub mod readings;
pub mod surroundings;
pub mod table;
pub mod table_file;
pub mod together;
pub mod tolerance;
pub mod weights;
