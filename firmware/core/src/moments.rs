//! Mean and standard deviation of codes, exact to the q8 step, in 64 bits.
//!
//! Sums of squares near full code lose the scatter to cancellation in floating
//! point (NIST StRD "NumAcc3" and "NumAcc4" are built to show it). Here every
//! code is taken relative to the first, and all steps up to the last rounding
//! are exact.

use scalewright_protocol::units::{divide_down, divide_to_nearest, product, saturate_i32};

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
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn add(&mut self, counts: i32) {
        if self.count >= MOST {
            return;
        }
        if self.count == 0 {
            self.shift = counts;
        }
        // Codes have 24 bits, so that 1024 squares of differences stay below 2^60.
        let off = i64::from(counts.wrapping_sub(self.shift));
        self.sum = self.sum.wrapping_add(off);
        self.squares = self.squares.wrapping_add(off.wrapping_mul(off));
        self.count = self.count.saturating_add(1);
    }

    /// Codes taken.
    #[must_use]
    pub const fn count(&self) -> u16 {
        self.count
    }

    /// Mean, q8 counts, rounded to nearest, ties away from zero; 0 of none.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn mean_q8(&self) -> i32 {
        let count = i32::from(self.count);
        let total = product(self.shift, count).wrapping_add(self.sum);
        saturate_i32(divide_to_nearest(total << 8, i64::from(count)))
    }

    /// Standard deviation with divisor n − 1, q8 counts, rounded to nearest; 0
    /// of fewer than two.
    ///
    /// With the offsets' sum `n·q + r` and their squares' sum about `q`,
    /// `A = Σ(x − q)²`, the variance is `(n·A − r²) / (n·(n − 1))` exactly. `A`
    /// is split by n − 1 so that nothing leaves 64 bits.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn sd_q8(&self) -> u32 {
        let n = i32::from(self.count);
        if n < 2 {
            return 0;
        }
        // Differences of codes have 25 bits, so q fits 32, and r is at most n/2.
        let q = divide_to_nearest(self.sum, i64::from(n)) as i32;
        let r = self.sum.wrapping_sub(product(q, n)) as i32;
        let about_q = product(q, n)
            .wrapping_add(i64::from(r << 1))
            .wrapping_mul(i64::from(q));
        let a = self.squares.wrapping_sub(about_q);
        let (whole, part) = divide_down(a, i64::from(n - 1));
        // variance · 2^16 = whole · 2^16 + rest · 2^16 / divisor
        let divisor = n.wrapping_mul(n - 1);
        let rest = n.wrapping_mul(part as i32).wrapping_sub(r.wrapping_mul(r));
        let (step, left) = divide_down(i64::from(rest) << 16, i64::from(divisor));
        let square = (whole << 16).wrapping_add(step) as u64;
        let root = root_of(square);
        // Up when the true value is at least (root + 1/2)² = root² + root + 1/4.
        let above = square.wrapping_sub(squared(root));
        let middle = u64::from(root);
        let up = above > middle || (above == middle && (left as i32) << 2 >= divisor);
        root.wrapping_add(u32::from(up))
    }
}

const fn squared(value: u32) -> u64 {
    value as u64 * value as u64
}

/// The root of a square, rounded down, one bit at a time. (The core library's
/// `isqrt` is the same number faster, but keeps a table of 512 bytes in RAM on
/// an 8-bit chip; a test compares the two.)
pub(crate) fn root_of(square: u64) -> u32 {
    let mut root = 0u32;
    let mut bit = 1u32 << 31;
    while bit != 0 {
        let trial = root | bit;
        if squared(trial) <= square {
            root = trial;
        }
        bit >>= 1;
    }
    root
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_is_that_of_the_core_library() {
        let mut value = 1u64;
        for n in 0..200_000u64 {
            value = value.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(n);
            let square = value >> (n % 64);
            assert_eq!(u64::from(root_of(square)), square.isqrt(), "{square}");
        }
        for square in [0, 1, 2, 3, 4, u64::MAX, u64::MAX - 1, 1 << 62] {
            assert_eq!(u64::from(root_of(square)), square.isqrt(), "{square}");
        }
    }
}
