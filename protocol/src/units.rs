//! Integer units that cross the wire and the flash.
//!
//! - **counts**: one code step of the bridge ADC, `i32`. *Net* counts are
//!   counted from the zero reference.
//! - **q8 counts**: 1/256 of a count, `i32`; a mean of many codes keeps its
//!   fraction, and a 24-bit code times 256 just fits.
//! - **quanta**: the mass unit of a scale, `i32`. How many micrograms one
//!   quantum is stands in the settings ([`crate::settings::Settings`]); it is
//!   fine enough (e/100 or less) that rounding to it is never seen.
//! - **ms**: milliseconds of the device's own clock, `u32`, wrapping after
//!   49.7 days. Compare with [`elapsed_ms`], never with `<`.

/// Lowest code of a 24-bit two's complement converter.
pub const CODE_MIN: i32 = -(1 << 23);
/// Highest code of a 24-bit two's complement converter.
pub const CODE_MAX: i32 = (1 << 23) - 1;

/// Milliseconds from `since` to `now`, right across a wrap of the clock.
///
/// ```
/// assert_eq!(scalewright_protocol::units::elapsed_ms(5, u32::MAX), 6);
/// ```
#[must_use]
pub const fn elapsed_ms(now: u32, since: u32) -> u32 {
    now.wrapping_sub(since)
}

/// Whether `now` has reached `deadline`, for spans below 24.8 days.
///
/// ```
/// use scalewright_protocol::units::reached_ms;
/// assert!(reached_ms(10, 10) && !reached_ms(9, 10));
/// assert!(reached_ms(3, u32::MAX - 3));
/// ```
#[must_use]
pub const fn reached_ms(now: u32, deadline: u32) -> bool {
    now.wrapping_sub(deadline) < 1 << 31
}

/// `numerator / denominator` rounded to the nearest whole number, ties away
/// from zero; 0 when the denominator is not positive.
///
/// ```
/// use scalewright_protocol::units::divide_to_nearest;
/// assert_eq!(divide_to_nearest(5, 2), 3);
/// assert_eq!(divide_to_nearest(-5, 2), -3);
/// assert_eq!(divide_to_nearest(-4, 3), -1);
/// ```
///
/// Never inlined, nor are the next three: 64-bit arithmetic takes much flash on
/// an 8-bit chip.
#[must_use]
#[cfg_attr(target_arch = "avr", inline(never))]
pub const fn divide_to_nearest(numerator: i64, denominator: i64) -> i64 {
    if denominator <= 0 {
        return 0;
    }
    let (down, rest) = divide_down(numerator, denominator);
    let to_next = denominator.wrapping_sub(rest);
    if rest > to_next || (rest == to_next && numerator >= 0) {
        down.wrapping_add(1)
    } else {
        down
    }
}

/// Quotient, rounded down, and the rest, which is never negative: with a
/// quotient `q` it is `numerator − q · divisor`. 0 and 0 when the divisor is not
/// positive.
///
/// ```
/// use scalewright_protocol::units::divide_down;
/// assert_eq!(divide_down(7, 2), (3, 1));
/// assert_eq!(divide_down(-7, 2), (-4, 1));
/// ```
#[must_use]
#[cfg_attr(target_arch = "avr", inline(never))]
pub const fn divide_down(numerator: i64, divisor: i64) -> (i64, i64) {
    if divisor <= 0 {
        return (0, 0);
    }
    // Below zero, -1 - n is divided in place of n: its quotient, turned back in the
    // same way, is the one rounded down. So it takes no signed division.
    let below = numerator >> 63;
    let quotient = match ((numerator ^ below) as u64).checked_div(divisor as u64) {
        Some(quotient) => quotient as i64 ^ below,
        None => 0,
    };
    (
        quotient,
        numerator.wrapping_sub(quotient.wrapping_mul(divisor)),
    )
}

/// `a · b`, exact.
#[must_use]
pub const fn product(a: i32, b: i32) -> i64 {
    a as i64 * b as i64
}

/// `value` held inside what an `i32` can say.
#[must_use]
#[cfg_attr(target_arch = "avr", inline(never))]
pub const fn saturate_i32(value: i64) -> i32 {
    let low = value as i32;
    if low as i64 == value {
        low
    } else if value < 0 {
        i32::MIN
    } else {
        i32::MAX
    }
}
