//! Mean and standard deviation against certified sets, and the capture itself.
//!
//! NIST StRD = NIST/ITL Statistical Reference Datasets, univariate summary
//! statistics; certified values copied from the sets' own headers.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::capture::{Capture, check_order};
use scalewright_core::filter::{Filter, FilterConfig};
use scalewright_core::moments::Moments;
use scalewright_core::rest::Rest;
use scalewright_protocol::message::{CaptureFault, CaptureOrder, CaptureState, Captured};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

fn moments(codes: impl IntoIterator<Item = i32>) -> Moments {
    let mut moments = Moments::new();
    for code in codes {
        moments.add(code);
    }
    moments
}

/// The NumAcc pattern: a first value, then one below and one above, in turn.
fn num_acc(middle: i32, count: usize) -> impl Iterator<Item = i32> {
    (0..count).map(move |n| middle + [0, -1, 1][if n == 0 { 0 } else { 2 - n % 2 }])
}

#[test]
fn strd_num_acc() {
    // StRD "NumAcc1": 10000001, 10000003, 10000002; s = 1.
    assert_eq!(moments([10_000_001, 10_000_003, 10_000_002]).sd_q8(), 256);
    // StRD "NumAcc2": 1001 values, 1.2 then 1.1 and 1.3 in turn; mean 1.2,
    // s 0.1. In tenths.
    let set = moments(num_acc(12, 1001));
    assert_eq!((set.mean_q8(), set.sd_q8()), (12 * 256, 256));
    // StRD "NumAcc3": the same about 1000000.2; in tenths, less 2 000 000 to
    // stay inside 24 bits (which leaves s as it is).
    let set = moments(num_acc(10_000_002 - 2_000_000, 1001));
    assert_eq!((set.mean_q8(), set.sd_q8()), (8_000_002 * 256, 256));
    // In the manner of "NumAcc4", right at both ends of the range.
    for middle in [CODE_MAX - 1, CODE_MIN + 1] {
        let set = moments(num_acc(middle, 1001));
        assert_eq!((set.mean_q8(), set.sd_q8()), (middle * 256, 256));
        assert_eq!(set.count(), 1001);
    }
}

#[test]
fn strd_michelso() {
    // StRD "Michelso": 100 speeds of light, in 0.01 thousand km/s from 29900;
    // mean 299.8524, s 0.0790105478190518.
    #[rustfmt::skip]
    let hundredths = [
        85, 74, 90, 107, 93, 85, 95, 98, 98, 88, 100, 98, 93, 65, 76, 81, 100, 100, 96, 96,
        96, 94, 96, 94, 88, 80, 85, 88, 90, 84, 83, 79, 81, 88, 88, 83, 80, 79, 76, 80,
        88, 88, 88, 86, 72, 72, 62, 86, 97, 95, 88, 91, 85, 87, 84, 84, 85, 84, 84, 84,
        89, 81, 81, 82, 80, 77, 76, 74, 75, 76, 91, 92, 89, 86, 88, 72, 84, 85, 85, 78,
        89, 84, 78, 81, 76, 81, 79, 81, 82, 85, 87, 87, 81, 74, 81, 94, 95, 80, 81, 87,
    ];
    // Finer by 100, so that q8 shows seven digits: 0.0001/256 of the unit.
    let set = moments(hundredths.map(|h| 2_990_000 + h * 100));
    assert_eq!(
        f64::from(set.mean_q8()),
        (299.8524f64 * 10_000.0 * 256.0).round()
    );
    assert_eq!(
        f64::from(set.sd_q8()),
        (0.079_010_547_819_051_8f64 * 10_000.0 * 256.0).round()
    );
}

/// Exact by other means: 128-bit integers and a search for the root.
fn reference_sd_q8(codes: &[i32]) -> u32 {
    let n = codes.len() as i128;
    let sum: i128 = codes.iter().map(|c| i128::from(*c)).sum();
    let squares: i128 = codes.iter().map(|c| i128::from(*c).pow(2)).sum();
    // variance = (n·Σx² − (Σx)²) / (n·(n − 1)); sd_q8 is the r with
    // (2r − 1)² <= 4·2^16·variance < (2r + 1)².
    let four = 4 * 65_536 * (n * squares - sum * sum);
    let divisor = n * (n - 1);
    let (mut low, mut high) = (0i128, 1i128 << 33);
    while high - low > 1 {
        let middle = (low + high) / 2;
        if (2 * middle - 1).pow(2) * divisor <= four {
            low = middle;
        } else {
            high = middle;
        }
    }
    low as u32
}

#[test]
fn exact_to_the_q8_step_over_random_sets() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for round in 0..4000 {
        let count = [2, 3, 5, 16, 64, 255, 1024][round % 7];
        let span = 1i32 << rng.random_range(0..=23);
        let middle = rng.random_range(CODE_MIN / 2..CODE_MAX / 2);
        let codes: Vec<i32> = (0..count)
            .map(|_| (middle + rng.random_range(-span..=span)).clamp(CODE_MIN, CODE_MAX))
            .collect();
        let set = moments(codes.iter().copied());
        assert_eq!(
            set.sd_q8(),
            reference_sd_q8(&codes),
            "{count} codes within {span}"
        );
        let sum: i64 = codes.iter().map(|c| i64::from(*c)).sum();
        let off = i64::from(set.mean_q8()) * count as i64 - sum * 256;
        assert!(off.abs() * 2 <= count as i64);
    }
}

#[test]
fn the_widest_sets_do_not_overflow() {
    for count in [2usize, 1023, 1024] {
        let codes: Vec<i32> = (0..count)
            .map(|n| if n % 2 == 0 { CODE_MIN } else { CODE_MAX })
            .collect();
        assert_eq!(
            moments(codes.iter().copied()).sd_q8(),
            reference_sd_q8(&codes)
        );
    }
    assert_eq!((Moments::new().mean_q8(), Moments::new().sd_q8()), (0, 0));
    assert_eq!((moments([5]).mean_q8(), moments([5]).sd_q8()), (1280, 0));
}

/// A signal chain as the instrument has it.
struct Chain {
    filter: Filter,
    rest: Rest,
    config: FilterConfig,
    now_ms: u32,
    capture: Capture,
}

impl Chain {
    fn new(order: CaptureOrder) -> Self {
        let mut rest = Rest::new();
        rest.resize(10);
        Self {
            filter: Filter::new(),
            rest,
            config: FilterConfig {
                smoothing: 2,
                rest_q8: 100 << 8,
            },
            now_ms: 0,
            capture: started(&order, 500 * 256, 0),
        }
    }

    /// Feeds samples until one ends the capture.
    fn feed(&mut self, codes: impl IntoIterator<Item = i32>) -> Option<CaptureState> {
        for code in codes {
            self.now_ms += 100;
            let filtered = self.filter.push(&self.config, code);
            self.rest.push(filtered);
            if self.capture.sample(self.now_ms, filtered, &self.rest) {
                return Some(self.capture.state());
            }
        }
        None
    }
}

const ORDER: CaptureOrder = CaptureOrder {
    samples: 16,
    rest_counts: 100,
    patience_ms: 60_000,
};

fn captured(state: Option<CaptureState>) -> Captured {
    match state {
        Some(CaptureState::Captured(captured)) => captured,
        other => panic!("not captured: {other:?}"),
    }
}

#[test]
fn mean_and_scatter_are_those_of_the_unsmoothed_samples() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let codes: Vec<i32> = (0..200)
        .map(|_| 50_000 + rng.random_range(-30..=30))
        .collect();
    let mut chain = Chain::new(ORDER);
    let result = captured(chain.feed(codes.iter().copied()));
    assert_eq!(
        (result.samples, result.restarts, result.saturated),
        (16, 0, false)
    );
    assert_eq!(result.ended_ms - result.began_ms, 1500);
    let first = (result.began_ms / 100 - 1) as usize;
    let expected = moments(codes[first..first + 16].iter().copied());
    assert_eq!(result.mean_q8, expected.mean_q8());
    assert_eq!(result.sd_q8, expected.sd_q8());
}

#[test]
fn a_step_at_any_moment_stays_out_of_the_mean() {
    // The bound the module states: limit · 2^smoothing / samples, and nothing
    // for steps that a single sample gives away. 5 counts are the noise.
    let hidden = 100.0 * 4.0 / 16.0 + 5.0;
    for (step, bound) in [
        (110, hidden),
        (150, hidden),
        (300, 5.0),
        (1000, 5.0),
        (100_000, 5.0),
    ] {
        for moment in 10..60 {
            let mut rng = ChaCha8Rng::seed_from_u64(moment);
            let mut chain = Chain::new(ORDER);
            let result = captured(chain.feed((0..200).map(|n| {
                let level = if n < moment { 0 } else { step };
                level + rng.random_range(-5..=5)
            })));
            let mean = f64::from(result.mean_q8) / 256.0;
            let near = mean.abs().min((mean - f64::from(step)).abs());
            assert!(near < bound, "step {step} at {moment}: mean {mean}");
        }
    }
}

#[test]
fn a_movement_restarts_and_is_counted() {
    let mut chain = Chain::new(ORDER);
    assert_eq!(chain.feed([0; 20]), None);
    assert!(matches!(
        chain.capture.state(),
        CaptureState::Averaging { .. }
    ));
    assert_eq!(chain.feed([9000; 3]), None);
    assert_eq!(chain.capture.state(), CaptureState::Settling);
    let result = captured(chain.feed([9000; 60]));
    assert_eq!((result.mean_q8, result.restarts), (9000 * 256, 1));
}

#[test]
fn a_single_spike_neither_restarts_nor_counts() {
    let mut chain = Chain::new(ORDER);
    let result = captured(chain.feed((0..60).map(|n| if n == 20 { CODE_MAX } else { 10 })));
    assert_eq!(
        (result.mean_q8, result.sd_q8, result.restarts),
        (2560, 0, 0)
    );
    assert!(!result.saturated);
}

#[test]
fn saturation_is_noted() {
    let mut chain = Chain::new(ORDER);
    assert!(captured(chain.feed([CODE_MAX; 60])).saturated);
}

#[test]
fn patience_ends_with_the_cause() {
    let order = CaptureOrder {
        patience_ms: 5000,
        ..ORDER
    };
    let mut chain = Chain::new(order);
    let end = chain.feed((0..100).map(|n| n * 1000));
    assert_eq!(end, Some(CaptureState::Failed(CaptureFault::Restless)));
    assert!((5000..=5100).contains(&chain.now_ms));
    let mut deaf = started(&order, 0, 100);
    assert!(!deaf.tick(5099) && deaf.tick(5100));
    assert_eq!(deaf.state(), CaptureState::Failed(CaptureFault::NoSamples));
}

#[test]
fn orders_out_of_range_name_the_field() {
    assert_eq!(check_order(&ORDER), Ok(()));
    assert_eq!(
        check_order(&CaptureOrder {
            samples: 0,
            ..ORDER
        }),
        Err(0)
    );
    assert_eq!(
        check_order(&CaptureOrder {
            samples: 1025,
            ..ORDER
        }),
        Err(0)
    );
    assert_eq!(
        check_order(&CaptureOrder {
            rest_counts: (1 << 24) + 1,
            ..ORDER
        }),
        Err(1)
    );
    assert_eq!(
        check_order(&CaptureOrder {
            patience_ms: 0,
            ..ORDER
        }),
        Err(2)
    );
    assert_eq!(
        check_order(&CaptureOrder {
            patience_ms: u32::MAX,
            ..ORDER
        }),
        Err(2)
    );
}

fn started(order: &CaptureOrder, own_limit_q8: u32, now_ms: u32) -> Capture {
    let mut capture = Capture::idle();
    capture.begin(order, own_limit_q8, now_ms);
    capture
}
