//! From codes to a quiet signal: spikes out, then a moving mean. Integers only.
//!
//! Spike rejection is the Hampel identifier (R. K. Pearson, "Outliers in
//! process modeling and identification", IEEE Transactions on Control Systems
//! Technology 10(1), 2002; cited from memory): a code is compared with the median of the five
//! around it and replaced by it only when it lies far outside the usual
//! scatter. Unlike a plain median it leaves sound codes untouched, so that
//! their standard deviation stays true; one or two wild codes vanish, three in
//! a row are a real step and pass whole. Looking two codes ahead means that
//! everything comes out two conversions late.

use scalewright_protocol::units::{CODE_MAX, CODE_MIN, divide_to_nearest, saturate_i32};

/// A code further from the median than this many times the usual scatter is a
/// spike. The scatter is a running mean of the window's median absolute
/// deviation, about 0.58 standard deviations of normal noise in windows of five
/// (simulated), so that the limit lies near 7 standard deviations: of normal
/// noise one code in 4000 is taken, and 0.15 % of the variance.
pub const SPIKE_FACTOR: u32 = 12;
/// Nothing nearer than this is a spike, ADC counts: a noiseless signal has a
/// scatter of 0.
pub const SPIKE_FLOOR_COUNTS: u32 = 8;
/// Deepest smoothing, as a power of two.
pub const SMOOTHING_MAX: u8 = 6;
const RING: usize = 1 << SMOOTHING_MAX;

/// How to filter; does not change while samples flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FilterConfig {
    /// The signal follows the mean of the last 2^n samples, n from 0 to
    /// [`SMOOTHING_MAX`].
    pub smoothing: u8,
}

/// What comes out for one code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filtered {
    /// The code as converted, ADC counts.
    pub raw: i32,
    /// The same, or the median of its neighbours when it was a spike, counts.
    pub despiked: i32,
    /// Whether it was one.
    pub spike: bool,
    /// Usual scatter, q8 counts: see [`SPIKE_FACTOR`].
    pub scatter_q8: u32,
    /// Mean of the last 2^n despiked codes, q8 counts.
    pub smooth_q8: i32,
    /// Whether any code in that mean stood at an end of the range.
    pub saturated: bool,
}

/// The state of a filter.
#[derive(Clone, Debug)]
pub struct Filter {
    recent: [i32; 5],
    filled: u8,
    scatter_q8: u32,
    /// Codes of 24 bits, lowest byte first: a quarter less RAM than as `i32`.
    ring: [[u8; 3]; RING],
    next: u8,
    held: u8,
    /// Sum over the ring; 64 codes of 24 bits stay below 2^29.
    sum: i32,
    /// Codes in the ring that stand at an end of the range.
    ends: u8,
}

impl Default for Filter {
    fn default() -> Self {
        Self::new()
    }
}

impl Filter {
    /// A filter that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            recent: [0; 5],
            filled: 0,
            scatter_q8: 0,
            ring: [[0; 3]; RING],
            next: 0,
            held: 0,
            sum: 0,
            ends: 0,
        }
    }

    /// Forgets all samples.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn restart(&mut self) {
        self.filled = 0;
        self.scatter_q8 = 0;
        self.next = 0;
        self.held = 0;
        self.sum = 0;
        self.ends = 0;
    }

    /// Takes the next code (held inside 24 bits); what comes out belongs to the
    /// code two before it. Nothing comes out for the first four.
    pub fn push(&mut self, config: &FilterConfig, code: i32) -> Option<Filtered> {
        self.recent.rotate_left(1);
        let [.., last] = &mut self.recent;
        *last = code.clamp(CODE_MIN, CODE_MAX);
        if self.filled < 4 {
            self.filled = self.filled.wrapping_add(1);
            return None;
        }
        let [_, _, raw, _, _] = self.recent;
        let median = median_of_5(&self.recent);
        // Two codes of 24 bits are less than 2^24 apart, so q8 just fits.
        let mut deviations = self.recent;
        for code in &mut deviations {
            *code = code.wrapping_sub(median).wrapping_abs();
        }
        let now_q8 = median_of_5(&deviations).unsigned_abs() << 8;
        if self.filled == 4 {
            self.filled = 5;
            self.scatter_q8 = now_q8;
        } else {
            self.scatter_q8 = (self.scatter_q8 - self.scatter_q8 / 4).wrapping_add(now_q8 / 4);
        }
        let limit = spike_limit_q8(self.scatter_q8) / 256 + SPIKE_FLOOR_COUNTS;
        let spike = raw.abs_diff(median) > limit;
        let despiked = if spike { median } else { raw };
        let smooth_q8 = self.smooth(config.smoothing, despiked);
        Some(Filtered {
            raw,
            despiked,
            spike,
            scatter_q8: self.scatter_q8,
            smooth_q8,
            saturated: self.ends > 0,
        })
    }

    /// The mean of the last 2^n, q8. Exact once the ring holds 2^n codes, since
    /// n is at most 8; before that rounded to the nearest.
    fn smooth(&mut self, smoothing: u8, code: i32) -> i32 {
        let depth = smoothing.min(SMOOTHING_MAX);
        let size = 1u8 << depth;
        // A depth taken back while running: begin anew rather than mix.
        if self.held > size {
            self.next = 0;
            self.held = 0;
            self.sum = 0;
            self.ends = 0;
        }
        let at = self.next & (size - 1);
        self.next = at.wrapping_add(1);
        if let Some(place) = self.ring.get_mut(usize::from(at)) {
            let [low, middle, high, _] = code.to_le_bytes();
            let [a, b, c] = core::mem::replace(place, [low, middle, high]);
            if self.held == size {
                let oldest = i32::from_le_bytes([0, a, b, c]) >> 8;
                self.sum = self.sum.wrapping_sub(oldest);
                self.ends = self.ends.wrapping_sub(u8::from(at_end(oldest)));
            } else {
                self.held = self.held.wrapping_add(1);
            }
        }
        self.sum = self.sum.wrapping_add(code);
        self.ends = self.ends.wrapping_add(u8::from(at_end(code)));
        if self.held == size {
            self.sum << (8 - depth)
        } else {
            let sum_q8 = i64::from(self.sum) << 8;
            saturate_i32(divide_to_nearest(sum_q8, i64::from(self.held)))
        }
    }
}

/// The usual scatter times [`SPIKE_FACTOR`], held at the largest `u32`.
#[must_use]
#[cfg_attr(target_arch = "avr", inline(never))]
pub const fn spike_limit_q8(scatter_q8: u32) -> u32 {
    const MOST: u32 = u32::MAX / SPIKE_FACTOR;
    if scatter_q8 > MOST {
        u32::MAX
    } else {
        scatter_q8 * SPIKE_FACTOR
    }
}

const fn at_end(code: i32) -> bool {
    code <= CODE_MIN || code >= CODE_MAX
}

/// The middle one: the value that no more than two are below and no more than
/// two are above. Counting needs no copy and no exchange.
#[cfg_attr(target_arch = "avr", inline(never))]
fn median_of_5(values: &[i32; 5]) -> i32 {
    let [mut median, ..] = *values;
    for candidate in values {
        let mut below = 0u8;
        let mut above = 0u8;
        for value in values {
            below = below.wrapping_add(u8::from(value < candidate));
            above = above.wrapping_add(u8::from(value > candidate));
        }
        if below <= 2 && above <= 2 {
            median = *candidate;
        }
    }
    median
}
