//! The table in a scale: read, foretold, adjusted, compared, changed.
//!
//! | Module | Owns |
//! |---|---|
//! | `reading` | settings, header and points, asked for piece by piece |
//! | `change` | the conversation that offers a change, brings it in and reads it back |
//! | `face` | what a scale shows of counts, by table and settings |
//! | `adjusting` | one load put right by a smooth local correction |
//! | `thinning` | as many points as a board has room for, those that matter |
//! | `weighing` | one load weighed with the capture of everything else |
//! | `foretold` | what a change does at given loads; two tables beside each other |
//!
//! **What a reading is.** Everywhere here it is what a scale shows of a load that
//! was put on an empty pan, net of zero, at rest: with a tare, or a load that was
//! taken down to, a scale shows something else, and no table can tell.

pub mod adjusting;
pub mod change;
pub mod face;
pub mod foretold;
pub mod reading;
mod thinning;
pub mod weighing;
