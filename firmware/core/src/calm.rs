//! A last digit that does not flicker and never hides a change.
//!
//! A mean near the middle between two steps would show now one, now the other,
//! for no reason but noise. So the step that was shown stays until the mean lies
//! beyond the change-over point by more than it may be wrong by
//! ([`crate::rest::Rest::spread_q8`]), at most a fifth of d. As the mean comes to
//! rest and grows longer the band shrinks, and little of it is left.

use scalewright_protocol::settings::Settings;

use crate::filter::distance;
use crate::indication::round_to;

/// The band is counted in 64ths of d; a fifth of d are so many.
const BAND_MAX: u32 = 13;

/// How far a net mass may lie from the step shown before another is shown,
/// quanta, when the mean may be wrong by `spread_q8`: half of d and the band.
/// `limit_q8` is worth the settings' tenths of d.
#[must_use]
pub fn keep(spread_q8: u32, limit_q8: u32, settings: &Settings) -> u32 {
    // Of a tenth of d a 64th of it is 10/64, near enough 1/6. How often the limit goes
    // into that is counted, as it is seldom often: an 8-bit chip divides slowly.
    let mut left = spread_q8.wrapping_mul(u32::from(settings.rest_tenths_d).wrapping_mul(6));
    let mut parts = 0u32;
    while limit_q8 > 0 && left >= limit_q8 && parts < BAND_MAX {
        left = left.wrapping_sub(limit_q8);
        parts = parts.wrapping_add(1);
    }
    // d is below 2^23: it is at most e, and Max at least 100 e.
    parts.wrapping_add(32).wrapping_mul(settings.d as u32) >> 6
}

/// The step to show for a net mass, when `shown` was shown last; all in quanta.
#[must_use]
pub fn step(net: i32, shown: i32, keep: u32, d: i32) -> i32 {
    if distance(net, shown) <= keep {
        shown
    } else {
        round_to(net, d)
    }
}
