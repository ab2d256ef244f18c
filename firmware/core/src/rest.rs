//! Whether a load is at rest: how far the mean may still be from where it ends.
//!
//! Three things can be wrong with a mean: noise is left in it, it is on its way,
//! or a swing hides in it that happens to stand still. Rest is when each of them
//! is small. None needs a waiting time: a quiet cell gets its mark after a few
//! codes, a noisy one when its mean is good enough.
//!
//! - **Noise**: three standard deviations of the mean.
//! - **Trend**: how far the halves of the run are apart on average, drawn on to
//!   half the window; a longer run counts as it is.
//! - **Echo**: how far the mean moved of late beyond noise, fading away as slowly
//!   as a swing may, and averaged out by the run. Codes taken once a period of a
//!   swing stand as still as a load does; only the past betrays it.

use scalewright_protocol::units::elapsed_ms;

use crate::filter::{Filtered, LONGEST, distance};

/// Fewest codes that show rest: these, and an eighth of the window up to the
/// most.
const FEWEST: u8 = 4;
const FEWEST_MOST: u8 = 32;
/// So many standard deviations pass for noise.
const DEVIATIONS: u16 = 3;
/// An echo over the length of the run, times this, may still be in the mean.
const ECHO_PARTS: u16 = 12;
/// Three of the slowest conversion periods, ms.
pub const GAP_MS: u32 = 300;
/// What is further than this is told as this, q4 counts: no rest, whatever the
/// limit.
const FAR_Q4: u16 = u16::MAX;

/// What is known of rest.
#[derive(Clone, Debug)]
pub struct Rest {
    /// Codes in the window.
    codes: u16,
    heard_ms: u32,
    last_q8: i32,
    echo_q4: u16,
    spread_q4: u16,
    /// Codes since the last change; 0 when nothing was heard.
    run: u8,
    /// Fewest of them that show rest.
    fewest: u8,
}

impl Default for Rest {
    fn default() -> Self {
        Self::new()
    }
}

impl Rest {
    /// Nothing heard, and no window.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            codes: 0,
            heard_ms: 0,
            last_q8: 0,
            echo_q4: 0,
            spread_q4: 0,
            run: 0,
            fewest: 0,
        }
    }

    /// Forgets all that was heard; the window has so many codes from now on.
    pub fn resize(&mut self, codes: u16) {
        self.codes = codes;
        self.fewest = ((codes >> 3) as u8).clamp(FEWEST, FEWEST_MOST);
        self.restart();
    }

    /// Forgets all that was heard.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn restart(&mut self) {
        self.run = 0;
        self.echo_q4 = 0;
        self.spread_q4 = 0;
    }

    /// Notes that a code came; whether the one before is longer ago than
    /// `window_ms` and [`GAP_MS`] together, so that it says nothing of now.
    pub const fn hear(&mut self, now_ms: u32, window_ms: u16) -> bool {
        let away_ms = elapsed_ms(now_ms, self.heard_ms);
        self.heard_ms = now_ms;
        away_ms > window_ms as u32 + GAP_MS
    }

    /// Takes what came out of the filter.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn push(&mut self, sample: &Filtered) {
        if sample.spike {
            return;
        }
        if self.run == 0 {
            self.last_q8 = sample.smooth_q8;
        }
        self.run = sample.run;
        let moved_q4 = held_q4(distance(sample.smooth_q8, self.last_q8) >> 4)
            .saturating_sub(sample.noise_q4.wrapping_mul(DEVIATIONS));
        self.last_q8 = sample.smooth_q8;
        // Three eighths of the window to 1/e: 0.4 s, a slow swing of a bench
        // scale (common practice).
        let fade = (self.codes >> 1).wrapping_sub(self.codes >> 3);
        let faded_q4 = self.echo_q4.checked_div(fade).unwrap_or(self.echo_q4);
        let left_q4 = self.echo_q4.wrapping_sub(faded_q4).saturating_sub(1);
        self.echo_q4 = left_q4.max(moved_q4);
        // The sums differ by less than 2^30. The halves lie half a run apart, so
        // that over the run is over half the window.
        let halves = u32::from(self.run / 2);
        let apart_q2 = (sample.trend << 2).checked_div(halves).unwrap_or(0);
        let over = self.codes.max(u16::from(self.run));
        let trend = u32::from(held_q4(apart_q2 << 2)).wrapping_mul(u32::from(over));
        let echo = u32::from(self.echo_q4).wrapping_mul(u32::from(ECHO_PARTS));
        let moving = trend.max(echo).checked_div(u32::from(self.run));
        self.spread_q4 =
            held_q4(moving.unwrap_or(0)).max(sample.unsure_q4.wrapping_mul(DEVIATIONS));
    }

    /// How far the mean may be from where it ends, q8 counts: the largest of
    /// noise, trend and echo. 0 when nothing was heard; held at 4096 counts.
    #[must_use]
    pub const fn spread_q8(&self) -> u32 {
        (self.spread_q4 as u32) << 4
    }

    /// Whether enough was heard and that is at most `limit_q8`, q8 counts, or
    /// twice that for a load that already counts as at rest.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn within(&self, limit_q8: u32, already: bool) -> bool {
        self.run >= self.fewest && self.spread_q8() >> already as u8 <= limit_q8
    }

    /// Whether it is at most `limit_q8` although it may still drift: two codes of a
    /// run are enough, since a steady drift parts one run after the other before it
    /// is long enough for rest.
    #[must_use]
    pub const fn drifts_within(&self, limit_q8: u32) -> bool {
        self.run >= 2 && self.spread_q8() <= limit_q8
    }

    /// Whether it is at most `limit_q8` and nothing changed for two windows, or for
    /// the longest run.
    #[must_use]
    pub const fn settled(&self, limit_q8: u32) -> bool {
        (self.run == LONGEST || self.run as u16 >= self.codes.saturating_mul(2))
            && self.within(limit_q8, false)
    }
}

#[cfg_attr(target_arch = "avr", inline(never))]
fn held_q4(value_q4: u32) -> u16 {
    u16::try_from(value_q4).unwrap_or(FAR_Q4)
}
