//! Division of 128 bits, once.
//!
//! A chip has no such instruction, and the library's code for it is long: it
//! stands in these two functions, which are never merged into others.

/// `numerator / denominator`, rounded down; 0 when there is nothing to divide by.
#[must_use]
#[inline(never)]
pub fn quotient(numerator: u128, denominator: u128) -> u128 {
    numerator.checked_div(denominator).unwrap_or(0)
}

/// The same to the nearest, ties up.
#[must_use]
#[inline(never)]
pub fn to_nearest(numerator: u128, denominator: u128) -> u128 {
    quotient(numerator.saturating_add(denominator >> 1), denominator)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_go_up_and_nothing_divides_to_nothing() {
        let nearest =
            [(4, 3), (5, 3), (3, 2), (1, 2), (0, 7), (7, 0)].map(|(a, b)| to_nearest(a, b));
        assert_eq!(nearest, [1, 2, 2, 1, 0, 0]);
        assert_eq!(quotient(u128::MAX, 1), u128::MAX);
        assert_eq!(to_nearest(u128::MAX, u128::MAX), 1);
    }
}
