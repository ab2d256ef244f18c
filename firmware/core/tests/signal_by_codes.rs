//! The filter keeps sums and brings them up to date code by code; here the same is
//! worked out anew from all codes each time, and must come to the same.

use proptest::prelude::*;
use scalewright_core::filter::{Filter, FilterConfig, Filtered, LONGEST, SPIKE_FLOOR_COUNTS};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

const NOISE_MAX_Q4: u16 = u16::MAX / 3;

/// The plain way.
#[derive(Default)]
struct Plain {
    codes: Vec<i64>,
    held: Vec<i64>,
    run: usize,
    noise_q4: u16,
}

impl Plain {
    fn known_noise_q4(&self) -> u16 {
        match self.noise_q4 {
            0 => NOISE_MAX_Q4,
            noise_q4 => noise_q4,
        }
    }

    fn believe_more(&mut self, by_q4: u16) {
        self.noise_q4 = (self.noise_q4 + by_q4).min(NOISE_MAX_Q4);
    }

    /// The code taken so many before the newest; 0 before the first.
    fn code(&self, ago: usize) -> i64 {
        let at = self.codes.len().checked_sub(ago + 1);
        at.map_or(0, |at| self.codes[at])
    }

    fn sum(&self, skipped: usize, count: usize) -> i64 {
        (skipped..skipped + count).map(|ago| self.code(ago)).sum()
    }

    /// Nothing while the code is held back.
    fn push(&mut self, config: &FilterConfig, code: i32) -> Option<(i64, u64, bool, u64)> {
        let code = i64::from(code.clamp(CODE_MIN, CODE_MAX));
        let moved = (self.code(0) - self.code(1)).unsigned_abs();
        let limit =
            2 * moved + u64::from(self.known_noise_q4() / 2) + u64::from(SPIKE_FLOOR_COUNTS);
        if self.run > 0 && (code - self.code(0)).unsigned_abs() > limit {
            self.held.push(code);
            if self.held.len() < 3 {
                return None;
            }
            self.codes.append(&mut self.held);
            self.run = 3;
            self.believe_more(self.noise_q4 / 8 + 16);
        } else {
            self.held.clear();
            self.codes.push(code);
            self.run = (self.run + 1).min(usize::from(LONGEST));
        }
        let mut bound_q4 = u64::from(self.known_noise_q4()) * 8;
        let mut floor_q4 = u64::from(config.rest_q8 >> 6);
        let mut k = 1;
        while k <= self.run / 2 {
            if (self.sum(0, k) - self.sum(k, k)).unsigned_abs() > (bound_q4 + floor_q4) >> 4 {
                self.run = k;
            }
            (k, floor_q4, bound_q4) = (2 * k, 2 * floor_q4, bound_q4 + bound_q4 / 2);
        }
        Some(self.told(1usize << config.smoothing.min(6)))
    }

    /// Mean q8, trend, saturated and uncertainty q4.
    fn told(&mut self, most: usize) -> (i64, u64, bool, u64) {
        let depth = most.min(self.run) as i64;
        let mean_q8 = self.sum(0, depth as usize) * 256 / depth;
        let half = self.run / 2;
        let trend = (self.sum(0, half) - self.sum(half, half)).unsigned_abs();
        let ends = [i64::from(CODE_MIN), i64::from(CODE_MAX)];
        let saturated = (0..depth as usize).any(|ago| ends.contains(&self.code(ago)));
        let apart = |ago| (self.code(ago) - self.code(ago + 1)).unsigned_abs();
        let rough: u64 = (0..self.run - 1).map(apart).sum();
        let mean_q2 = (4 * rough).checked_div(self.run as u64 - 1).unwrap_or(0);
        let rough_q4 = (mean_q2.min(u64::from(NOISE_MAX_Q4) * 4 / 14) * 14 / 4).max(4) as u16;
        if !saturated || self.noise_q4 == 0 {
            match self.noise_q4 {
                0 if self.run >= 6 => self.noise_q4 = rough_q4,
                0 => {}
                noise_q4 if self.run >= 9 && rough_q4 <= noise_q4 => {
                    self.noise_q4 -= (noise_q4 - rough_q4) / 4;
                }
                noise_q4 => self.believe_more(noise_q4 / 128 + 1),
            }
        }
        let most_q4 = u64::from(self.known_noise_q4().max(rough_q4));
        let roots = (1..).find(|root| root * root >= 256 * depth as u64);
        let unsure_q4 = most_q4 * 16 / roots.expect("a root");
        (mean_q8, trend, saturated, unsure_q4)
    }
}

fn same(filtered: &Filtered, plain: &Plain, told: Option<(i64, u64, bool, u64)>) {
    assert_eq!(usize::from(filtered.run), plain.run);
    assert_eq!(filtered.noise_q4, plain.noise_q4);
    assert_eq!(filtered.spike, told.is_none());
    let Some((mean_q8, trend, saturated, unsure_q4)) = told else {
        return;
    };
    assert_eq!(i64::from(filtered.smooth_q8), mean_q8);
    assert_eq!(u64::from(filtered.trend), trend);
    assert_eq!(filtered.saturated, saturated);
    assert_eq!(u64::from(filtered.unsure_q4), unsure_q4);
}

/// A stretch of a signal: how many codes, where it goes, how noisy it is.
fn stretch() -> impl Strategy<Value = (usize, i32, u32)> {
    let level = prop_oneof![
        -(1i32 << 23)..1 << 23,
        -2000..2000i32,
        Just(CODE_MIN),
        Just(CODE_MAX)
    ];
    (1usize..150, level, 0u32..16)
}

proptest! {
    #[test]
    fn sums_kept_are_sums_worked_out(
        stretches in prop::collection::vec(stretch(), 1..8),
        smoothing in 0u8..8, rest_shift in 0u32..22,
        chances in prop::collection::vec(any::<u32>(), 300),
        gaps in prop::collection::vec(0usize..1000, 0..3),
    ) {
        let config = FilterConfig { smoothing, rest_q8: (1 << rest_shift) - 1 };
        let (mut filter, mut plain) = (Filter::new(), Plain::default());
        let mut chances = chances.iter().cycle();
        let mut count = 0;
        for (codes, level, noise) in stretches {
            for _ in 0..codes {
                count += 1;
                if gaps.contains(&count) {
                    filter.part();
                    plain.run = 0;
                    plain.held.clear();
                }
                let chance = *chances.next().expect("a cycle");
                let wild = chance % 40 == 0;
                let off = if wild { chance >> 8 } else { chance >> 8 & ((1 << noise) - 1) };
                let code = level.saturating_add(off as i32);
                let told = plain.push(&config, code);
                same(filter.push(&config, code), &plain, told);
            }
        }
    }
}
