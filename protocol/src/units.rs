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
/// Never inlined: on an 8-bit chip each copy costs hundreds of bytes of flash.
#[must_use]
#[inline(never)]
pub const fn divide_to_nearest(numerator: i64, denominator: i64) -> i64 {
    if denominator <= 0 {
        return 0;
    }
    let half = denominator / 2;
    let moved = if numerator < 0 {
        numerator.saturating_sub(half)
    } else {
        numerator.saturating_add(half)
    };
    match moved.checked_div(denominator) {
        Some(quotient) => quotient,
        None => 0,
    }
}

/// `value` held inside what an `i32` can say.
#[must_use]
pub const fn saturate_i32(value: i64) -> i32 {
    if value > i32::MAX as i64 {
        i32::MAX
    } else if value < i32::MIN as i64 {
        i32::MIN
    } else {
        value as i32
    }
}
