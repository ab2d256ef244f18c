//! Reports of a comparison of two scales: values in, text out.
//!
//! Guarantees what the other reports do: the same values give the same text,
//! names from outside can't break it, no line is wider than the style.

mod page;
mod text;
mod words;

pub use page::page;
pub use text::table;
