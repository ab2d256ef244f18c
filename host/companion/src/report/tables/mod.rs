//! Reports of tables: the one in a scale, and two beside each other. Values in,
//! text out.
//!
//! Guarantees what the other reports do: the same values give the same text,
//! names from outside can't break it, no line is wider than the style.

mod page;
mod text;

pub use page::page;
pub use text::{adjustment, beside, brought_in, shown};
