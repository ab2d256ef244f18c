//! Whether a load is at rest: the spread of the smoothed signal in a window.
//!
//! Spread is highest minus lowest, so it holds scatter and drift alike. The
//! window is kept as nine buckets of an eighth of its length, each with its
//! highest and lowest value: 72 bytes at any rate. It looks back at least the
//! window's length and at most an eighth more.

use scalewright_protocol::units::elapsed_ms;

const PARTS: u16 = 8;
const BUCKETS: usize = 9;

#[derive(Clone, Copy, Debug)]
struct Span {
    low: i32,
    high: i32,
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
    newest: usize,
    bucket_began_ms: u32,
    began_ms: u32,
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
            buckets: [EMPTY; BUCKETS],
            newest: 0,
            bucket_began_ms: 0,
            began_ms: 0,
            samples: 0,
            full: false,
            spread_q8: 0,
        }
    }

    /// Forgets all values; the window has this length, ms, from now on.
    pub const fn resize(&mut self, window_ms: u16) {
        self.window_ms = window_ms;
        self.restart();
    }

    /// Forgets all values.
    pub const fn restart(&mut self) {
        self.buckets = [EMPTY; BUCKETS];
        self.newest = 0;
        self.samples = 0;
        self.full = false;
        self.spread_q8 = 0;
    }

    /// Takes the next smoothed value.
    #[inline(never)]
    pub fn push(&mut self, now_ms: u32, smooth_q8: i32) {
        let width_ms = u32::from(self.window_ms.div_ceil(PARTS).max(1));
        if self.samples == 0 {
            self.begin(now_ms);
        }
        let mut turns = 0;
        while elapsed_ms(now_ms, self.bucket_began_ms) >= width_ms {
            turns += 1;
            if turns > PARTS {
                // A gap longer than the window: what was before says nothing.
                self.restart();
                self.begin(now_ms);
                break;
            }
            self.bucket_began_ms = self.bucket_began_ms.wrapping_add(width_ms);
            self.newest = self.newest.wrapping_add(1);
            if self.newest >= BUCKETS {
                self.newest = 0;
            }
            if let Some(bucket) = self.buckets.get_mut(self.newest) {
                *bucket = EMPTY;
            }
        }
        if let Some(bucket) = self.buckets.get_mut(self.newest) {
            bucket.low = bucket.low.min(smooth_q8);
            bucket.high = bucket.high.max(smooth_q8);
        }
        self.samples = self.samples.saturating_add(1);
        // Latched, so that the clock's wrap after 49 days of rest goes unseen.
        self.full |=
            self.samples >= 2 && elapsed_ms(now_ms, self.began_ms) >= u32::from(self.window_ms);
        let mut all = EMPTY;
        for bucket in &self.buckets {
            all.low = all.low.min(bucket.low);
            all.high = all.high.max(bucket.high);
        }
        self.spread_q8 = all.high.abs_diff(all.low);
    }

    /// The first bucket begins now.
    const fn begin(&mut self, now_ms: u32) {
        self.bucket_began_ms = now_ms;
        self.began_ms = now_ms;
    }

    /// Highest minus lowest value in the window, q8 counts; 0 when empty.
    #[must_use]
    pub const fn spread_q8(&self) -> u32 {
        self.spread_q8
    }

    /// Whether the whole window has been seen and its spread is at most
    /// `limit_q8`, q8 counts.
    #[must_use]
    pub const fn within(&self, limit_q8: u32) -> bool {
        self.full && self.spread_q8 <= limit_q8
    }
}
