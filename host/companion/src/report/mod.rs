//! Reports of a calibration and of a verification: values in, text out.
//!
//! Every report is drawn from one [`Outcome`], that of a verification from its
//! [`Proof`], that of a set of weights from its [`Review`]; none reads a clock, a port or a file, so the same values
//! always give the same report. Whatever the
//! outcome holds (gaps, numbers that are none, hostile names) a report is
//! well formed and says "unknown" where nothing is known.
//!
//! | Call | Gives |
//! |---|---|
//! | [`page`] | one HTML file that needs nothing else |
//! | [`table`] | the report in the terminal |
//! | [`json()`] | the outcome for other programs |
//! | [`proof_page`] | a verification as one HTML file |
//! | [`proof_table`] | the same in the terminal |
//! | [`weights()`] | a review of weights in the terminal |
//! | [`foreseen()`] | what a plan will be worth, in the terminal |
//! | [`comparison`] | two scales on the same loads: terminal and page |
//! | [`moved`] | what a move makes of a scale, in the terminal |
//! | [`tables`] | the table in a scale, two tables beside each other: terminal and page |
//! | [`error_curve`], [`sparkline`] | small text graphics, also for a live view |

pub mod band;
mod columns;
pub mod comparison;
pub mod dcc;
mod foreseen;
pub mod html;
pub mod json;
pub mod moved;
pub mod number;
pub mod plots;
mod proof;
mod sections;
pub mod style;
pub mod svg;
pub mod tables;
pub mod text;
mod text_chart;
mod text_line;
pub mod together;
mod weights;
mod words;

pub use foreseen::foreseen;
pub use html::page;
pub use json::json;
pub use proof::{proof_page, proof_table};
pub use text::table;
pub use text_chart::{error_curve, sparkline};
pub use text_line::Style;
pub use weights::weights;

#[cfg(doc)]
use crate::{record::outcome::Outcome, record::proof::Proof, review::Review};
