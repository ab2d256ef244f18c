//! Whether a load is at rest: the spread of the smoothed signal in a window.
//!
//! Spread is highest minus lowest, so it holds scatter and drift alike. The
//! window is kept as nine buckets of an eighth of its length, each with its
//! highest and lowest value: 72 bytes at any rate. It looks back at least the
//! window's length and at most an eighth more.

use scalewright_protocol::units::reached_ms;

/// Parts of a window, and the highest position of a bucket.
const PARTS: u8 = 8;
const BUCKETS: usize = 9;

#[derive(Clone, Copy, Debug)]
struct Span {
    low: i32,
    high: i32,
}

impl Span {
    /// Makes it hold what `other` holds, too.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn widen(&mut self, other: &Self) {
        if other.low < self.low {
            self.low = other.low;
        }
        if other.high > self.high {
            self.high = other.high;
        }
    }
}

const EMPTY: Span = Span {
    low: i32::MAX,
    high: i32::MIN,
};

/// The stability window.
#[derive(Clone, Debug)]
pub struct Rest {
    window_ms: u16,
    buckets: [Span; BUCKETS],
    newest: u8,
    /// When the newest bucket ends, and from when on the whole window was seen.
    bucket_ends_ms: u32,
    full_ms: u32,
    samples: u8,
    full: bool,
    spread_q8: u32,
}

impl Rest {
    /// An empty window of this length, ms.
    #[must_use]
    pub const fn new(window_ms: u16) -> Self {
        Self {
            window_ms,
            buckets: [Span { low: 0, high: 0 }; BUCKETS],
            newest: 0,
            bucket_ends_ms: 0,
            full_ms: 0,
            samples: 0,
            full: false,
            spread_q8: 0,
        }
    }

    /// Forgets all values; the window has this length, ms, from now on.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn resize(&mut self, window_ms: u16) {
        self.window_ms = window_ms;
        self.restart();
    }

    /// Forgets all values. Buckets are emptied by the first value that comes.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn restart(&mut self) {
        self.samples = 0;
        self.full = false;
        self.spread_q8 = 0;
    }

    /// Takes the next smoothed value.
    pub fn push(&mut self, now_ms: u32, smooth_q8: i32) {
        let width_ms = u32::from((self.window_ms.wrapping_add(7) / 8).max(1));
        if self.samples == 0 {
            self.begin(now_ms, width_ms);
        }
        let mut turns = 0u8;
        while reached_ms(now_ms, self.bucket_ends_ms) {
            if turns == PARTS {
                // A gap longer than the window: what was before says nothing.
                self.restart();
                self.begin(now_ms, width_ms);
                break;
            }
            turns += 1;
            self.bucket_ends_ms = self.bucket_ends_ms.wrapping_add(width_ms);
            self.newest = if self.newest == PARTS {
                0
            } else {
                self.newest + 1
            };
            if let Some(bucket) = self.buckets.get_mut(usize::from(self.newest)) {
                *bucket = EMPTY;
            }
        }
        let mut all = Span {
            low: smooth_q8,
            high: smooth_q8,
        };
        if let Some(bucket) = self.buckets.get_mut(usize::from(self.newest)) {
            bucket.widen(&all);
        }
        for bucket in &self.buckets {
            all.widen(bucket);
        }
        self.spread_q8 = (all.high as u32).wrapping_sub(all.low as u32);
        // Latched, so that the clock's wrap after 49 days of rest goes unseen.
        self.full |= self.samples > 0 && reached_ms(now_ms, self.full_ms);
        self.samples = self.samples.saturating_add(1);
    }

    /// The first bucket begins now.
    fn begin(&mut self, now_ms: u32, width_ms: u32) {
        self.buckets = [EMPTY; BUCKETS];
        self.bucket_ends_ms = now_ms.wrapping_add(width_ms);
        self.full_ms = now_ms.wrapping_add(u32::from(self.window_ms));
    }

    /// Highest minus lowest value in the window, q8 counts; 0 when empty.
    #[must_use]
    pub const fn spread_q8(&self) -> u32 {
        self.spread_q8
    }

    /// Whether the whole window has been seen and its spread is at most
    /// `limit_q8`, q8 counts.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub const fn within(&self, limit_q8: u32) -> bool {
        self.full && self.spread_q8 <= limit_q8
    }
}
