//! Hysteresis: what a load cell remembers, and what that takes off its mass.
//!
//! A cell reads a little more on the way down than on the way up. A table is
//! laid through the middle of the two; [`Plays`] remember where the load came
//! from and say how far from the middle a reading lies. Laptop and device apply
//! the same code, so that both correct to the same quantum.
//!
//! The memory is two plays (backlash elements; M. A. Krasnosel'skii, A. V.
//! Pokrovskii, "Systems with Hysteresis", 1989, from memory), `b` = Max/8 and
//! 3 Max/8 wide. Each spans the masses from `low` to `low + b`: the uncorrected
//! gross mass `x` moves freely inside, and pushes it along at either end. With
//! `w` the greatest width of the full loop from 0 to Max and back,
//!
//! ```text
//! correction = w · mean over both of (low − middle(x)) / b
//! middle(x)  = (max(x − b, 0) + min(x, Max − b)) / 2 from 0 to Max, and
//!              below 0 and above Max as far from its value there as x is
//! ```
//!
//! and the corrected mass is `x − correction`. On the full loop the mean goes
//! from −1/2, rising, to 1/2, falling; after a load below zero or above Max it
//! may come to −1 or 1, never further.
//!
//! A device divides by nothing for this: it is told a *gain*, `w` as a share of
//! 3/2 Max in steps of 2^−24 ([`gain`]), so that a sample costs one product. The
//! widest loop that can be told, 65 535 steps, is 0.586 % of Max.
//!
//! A backlash element of half play `h` that follows `x` within `x − h ..= x + h`
//! is the same, its position being `low + h`.
//!
//! All quantities are quanta. Max is rounded to the nearest multiple of 8, a tie
//! up, so that all but the correction is exact in whole numbers; that is rounded
//! to the nearest quantum, a tie up.
//!
//! `max` is one that settings may have, 0 to
//! [`MAX_QUANTA`](crate::settings::Settings::MAX_QUANTA); any other does no harm
//! and means nothing. A mass may be any number.
//!
//! ```
//! use scalewright_protocol::hysteresis::{Plays, gain};
//!
//! // Max 6 kg in quanta of 10 mg; the loop is 2 g wide.
//! let max = 600_000;
//! let gain = gain(200, max);
//! let mut plays = Plays::exercised();
//! assert_eq!(plays.follow(300_000, max, gain), -100);
//! plays.follow(600_000, max, gain);
//! assert_eq!(plays.follow(300_000, max, gain), 100);
//! ```

use crate::units::{divide_to_nearest, product};

/// Steps of a gain in one.
const ONE: u32 = 24;

/// What to tell a device so that it corrects a full loop of `width` quanta: 0
/// for none, and the greatest gain for what is wider than can be told.
#[must_use]
pub const fn gain(width: u32, max: i32) -> u16 {
    let gain = divide_to_nearest((width as i64) << ONE, three_halves(max));
    if gain > u16::MAX as i64 {
        u16::MAX
    } else {
        gain as u16
    }
}

/// Greatest width of the full loop that a device corrects by `gain`, quanta.
#[must_use]
pub const fn width(gain: u16, max: i32) -> u32 {
    divide_to_nearest(gain as i64 * three_halves(max), 1 << ONE) as u32
}

/// What a cell remembers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plays {
    /// Where the narrow play and the wide one begin, quanta.
    lows: [i32; 2],
}

impl Plays {
    /// After full loadings and unloadings, empty: both plays begin at 0, whatever
    /// Max is.
    #[must_use]
    pub const fn exercised() -> Self {
        Self { lows: [0; 2] }
    }

    /// The uncorrected gross mass is now `mass` quanta. Says what is to be taken
    /// off it by that gain: quanta, at most the width of the full loop either
    /// way. A gain of 0 corrects nothing, and nothing is remembered.
    pub fn follow(&mut self, mass: i32, max: i32, gain: u16) -> i32 {
        if gain == 0 {
            return 0;
        }
        // 29 and 16 bits.
        let sum = product(self.push(mass, max), i32::from(gain));
        (sum.wrapping_add(1 << (ONE - 1)) >> ONE) as i32
    }

    /// What [`Self::follow`] would say, were `mass` to come now.
    #[must_use]
    pub fn correction(&self, mass: i32, max: i32, gain: u16) -> i32 {
        let mut now = *self;
        now.follow(mass, max, gain)
    }

    /// Follows `mass`; the mean departure, in parts of which 3/2 Max make one.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn push(&mut self, mass: i32, max: i32) -> i32 {
        let max = round(max);
        let mut play = max >> 3;
        let mut sum = 0i32;
        for low in &mut self.lows {
            let inside = past(*low, mass, play);
            // Not below the old `low`, or all of `mass`.
            *low = mass.wrapping_sub(inside);
            // Twice x − middle(x), less twice x − low: `off / 2b` is a departure,
            // and of their mean `off / 4b` with 4b of 1/2 and 3/2 Max.
            let off = past(0, mass, play)
                .wrapping_add(past(max.wrapping_sub(play), mass, play))
                .wrapping_sub(inside << 1);
            sum = sum.wrapping_mul(3).wrapping_add(off);
            play = play.wrapping_mul(3);
        }
        sum
    }
}

/// How far `mass` lies above `from`: 0 at least and `play` at most.
#[cfg_attr(target_arch = "avr", inline(never))]
const fn past(from: i32, mass: i32, play: i32) -> i32 {
    // The difference of any two fits without its sign.
    let above = mass.wrapping_sub(from) as u32;
    if mass <= from {
        0
    } else if above > play as u32 {
        play
    } else {
        above as i32
    }
}

/// The nearest multiple of 8, a tie up, held inside 28 bits so that no sum above
/// leaves 32.
const fn round(max: i32) -> i32 {
    max.wrapping_add(4) & 0x0FFF_FFF8
}

/// 3/2 Max, quanta.
const fn three_halves(max: i32) -> i64 {
    let max = round(max) as i64;
    max + (max >> 1)
}
