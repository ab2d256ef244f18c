//! Mean and standard deviation of codes, exact to the q8 step, in 64 bits.
//!
//! Sums of squares near full code lose the scatter to cancellation in floating
//! point (NIST StRD "NumAcc3" and "NumAcc4" are built to show it). Here every
//! code is taken relative to the first, and all steps up to the last rounding
//! are exact.

use scalewright_protocol::units::{divide_to_nearest, saturate_i32};

/// Most codes one set may hold; with spans of 2^24 no sum leaves 64 bits.
pub const MOST: u16 = 1024;

/// Sums over a set of codes.
#[derive(Clone, Copy, Debug, Default)]
pub struct Moments {
    shift: i32,
    sum: i64,
    squares: i64,
    count: u16,
}

impl Moments {
    /// No codes.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            shift: 0,
            sum: 0,
            squares: 0,
            count: 0,
        }
    }

    /// Takes one more code, ADC counts; ignored beyond [`MOST`].
    pub fn add(&mut self, counts: i32) {
        if self.count >= MOST {
            return;
        }
        if self.count == 0 {
            self.shift = counts;
        }
        let off = i64::from(counts) - i64::from(self.shift);
        self.sum = self.sum.saturating_add(off);
        self.squares = self.squares.saturating_add(off.saturating_mul(off));
        self.count = self.count.saturating_add(1);
    }

    /// Codes taken.
    #[must_use]
    pub const fn count(&self) -> u16 {
        self.count
    }

    /// Mean, q8 counts, rounded to nearest, ties away from zero; 0 of none.
    #[must_use]
    pub fn mean_q8(&self) -> i32 {
        let count = i64::from(self.count);
        let total = i64::from(self.shift)
            .saturating_mul(count)
            .saturating_add(self.sum);
        saturate_i32(divide_to_nearest(total.saturating_mul(256), count))
    }

    /// Standard deviation with divisor n − 1, q8 counts, rounded to nearest; 0
    /// of fewer than two.
    ///
    /// With the offsets' sum `n·q + r` and their squares' sum about `q`,
    /// `A = Σ(x − q)²`, the variance is `(n·A − r²) / (n·(n − 1))` exactly. `A`
    /// is split by n − 1 so that nothing leaves 64 bits.
    #[must_use]
    pub fn sd_q8(&self) -> u32 {
        let n = i64::from(self.count);
        if n < 2 {
            return 0;
        }
        let q = divide_to_nearest(self.sum, n);
        let r = self.sum.saturating_sub(q.saturating_mul(n));
        let about_q = q.saturating_mul(q.saturating_mul(n).saturating_add(r.saturating_mul(2)));
        let a = self.squares.saturating_sub(about_q).max(0);
        let (Some(whole), Some(part)) = (a.checked_div(n - 1), a.checked_rem(n - 1)) else {
            return 0;
        };
        // variance · 2^16 = whole · 2^16 + rest · 2^16 / divisor
        let divisor = n * (n - 1);
        let rest = (n * part).saturating_sub(r.saturating_mul(r));
        let scaled = rest.saturating_mul(1 << 16);
        let (Some(step), Some(left)) = (
            scaled.checked_div_euclid(divisor),
            scaled.checked_rem_euclid(divisor),
        ) else {
            return 0;
        };
        let square = whole.saturating_mul(1 << 16).saturating_add(step);
        let square = u64::try_from(square).unwrap_or(0);
        let root = square.isqrt();
        // Up when the true value is at least (root + 1/2)² = root² + root + 1/4.
        let middle = root.saturating_mul(root).saturating_add(root);
        let up = square > middle || (square == middle && left.saturating_mul(4) >= divisor);
        u32::try_from(root.saturating_add(u64::from(up))).unwrap_or(u32::MAX)
    }
}
