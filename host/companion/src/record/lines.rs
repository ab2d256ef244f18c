//! Where in a text something stands, as people count.

/// The line of a byte of a text, from 1.
pub(in crate::record) fn line_at(text: &str, at: usize) -> usize {
    text.get(..at).unwrap_or(text).matches('\n').count() + 1
}
