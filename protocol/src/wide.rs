//! Arithmetic in 128 bits, once.
//!
//! A chip has no such instructions, and the library's code for them is long: it
//! stands in these functions, which are never merged into others.

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

/// `numerator / denominator` to the nearest, ties away from zero; 0 when the
/// denominator is not positive.
#[must_use]
#[inline(never)]
pub fn signed_to_nearest(numerator: i128, denominator: i128) -> i128 {
    let size = u128::try_from(denominator).unwrap_or(0);
    let quotient = to_nearest(numerator.unsigned_abs(), size) as i128;
    if numerator < 0 {
        quotient.wrapping_neg()
    } else {
        quotient
    }
}

/// `a · b`, exact.
#[must_use]
#[inline(never)]
pub fn product(a: i64, b: i64) -> i128 {
    i128::from(a).wrapping_mul(i128::from(b))
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

    #[test]
    fn ties_go_away_from_zero_on_either_side() {
        let nearest = [(3, 2), (-3, 2), (-4, 3), (-5, 3), (1, 0), (1, -1)]
            .map(|(a, b)| signed_to_nearest(a, b));
        assert_eq!(nearest, [2, -2, -1, -2, 0, 0]);
        assert_eq!(product(i64::MIN, i64::MIN), 1 << 126);
        assert_eq!(signed_to_nearest(i128::MIN + 1, 1), i128::MIN + 1);
    }
}
