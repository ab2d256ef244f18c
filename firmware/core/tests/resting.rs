//! Rest as the filter and its judge see it: when the mark may come, when not.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::filter::{Filter, FilterConfig};
use scalewright_core::rest::{GAP_MS, Rest};
use scalewright_protocol::units::CODE_MAX;

/// Ten codes a second.
const STEP_MS: u32 = 100;
const WINDOW_MS: u16 = 1000;
/// Limit of rest, counts.
const LIMIT: u32 = 128;

struct Chain {
    filter: Filter,
    rest: Rest,
    config: FilterConfig,
    now_ms: u32,
}

impl Chain {
    fn new(smoothing: u8) -> Self {
        let mut rest = Rest::new();
        rest.resize(10);
        Self {
            filter: Filter::new(),
            rest,
            config: FilterConfig {
                smoothing,
                rest_q8: LIMIT << 8,
            },
            now_ms: 0,
        }
    }

    fn push(&mut self, code: i32) -> bool {
        self.now_ms = self.now_ms.wrapping_add(STEP_MS);
        if self.rest.hear(self.now_ms, WINDOW_MS) {
            self.filter.part();
        }
        self.rest.push(self.filter.push(&self.config, code));
        self.rest.within(LIMIT << 8, false)
    }

    /// Codes of one level until rest; none after 200.
    fn until_rest(&mut self, mut code: impl FnMut() -> i32) -> Option<usize> {
        (1..=200).find(|_| self.push(code()))
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

#[test]
fn a_quiet_cell_rests_after_a_few_codes_and_a_noisy_one_when_its_mean_is_good() {
    // After a small step, which leaves no echo; the noise is known.
    for (sd, from, to) in [(0.0, 4, 8), (10.0, 4, 10), (60.0, 6, 13), (110.0, 8, 16)] {
        let mut counts = Vec::new();
        for seed in 0..200 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut chain = Chain::new(4);
            chain.until_rest(|| (sd * normal(&mut rng)) as i32);
            for _ in 0..100 {
                chain.push((sd * normal(&mut rng)) as i32);
            }
            let step = 14.0f64.mul_add(sd, 200.0);
            let mut code = || (step + sd * normal(&mut rng)) as i32;
            // Two are held back; the third shows the step.
            for _ in 0..2 {
                chain.push(code());
            }
            counts.extend(chain.until_rest(code).map(|codes| codes + 2));
        }
        counts.sort_unstable();
        println!("sd {sd}: {:?}", [0, 20, 100, 180, 199].map(|at| counts[at]));
        assert_eq!(counts.len(), 200, "all come to rest at sd {sd}");
        let middle = counts[100];
        assert!((from..=to).contains(&middle), "{middle} codes at sd {sd}");
    }
    // Too noisy for its smoothing: three deviations of the mean of 16 stay above.
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut chain = Chain::new(4);
    let rests = (0..2000)
        .filter(|_| chain.push((250.0 * normal(&mut rng)) as i32))
        .count();
    assert_eq!(rests, 0);
}

#[test]
fn movement_faster_than_the_limit_in_half_a_window_is_no_rest() {
    // The limit in half a window, five codes, are 25.6 counts in a code.
    for (speed, rests) in [
        (3.0, true),
        (12.0, true),
        (40.0, false),
        (100.0, false),
        (20_000.0, false),
    ] {
        for sd in [0.0, 5.0] {
            let mut rng = ChaCha8Rng::seed_from_u64(7);
            let mut chain = Chain::new(3);
            let marks = (0..300)
                .filter(|n| chain.push((speed * f64::from(*n) + sd * normal(&mut rng)) as i32))
                .count();
            if rests {
                assert!(marks > 20, "{marks} marks at {speed}");
            } else {
                assert_eq!(marks, 0, "at {speed} with noise {sd}");
            }
        }
    }
}

/// A swing taken once a period: an exponential, and with a phase it stands
/// still for a moment on its way.
#[test]
fn a_swing_taken_once_a_period_is_no_rest_while_it_is_large() {
    let mut worst = 0.0f64;
    for hz in [0.05f64, 0.2, 0.3, 0.5] {
        for phase in 0..60 {
            let phase = f64::from(phase) / 60.0 * core::f64::consts::TAU;
            let mut chain = Chain::new(3);
            for _ in 0..100 {
                chain.push(0);
            }
            for n in 0..60 {
                let t = f64::from(n) / 10.0;
                let left = 30_000.0 * (-t / 0.35).exp();
                let swing = left * (core::f64::consts::TAU * hz * t + phase).cos();
                let rests = chain.push(200_000 + swing as i32);
                // Two codes are held back. Three limits are 0.9 d.
                if rests && n > 2 {
                    worst = worst.max(swing.abs() / f64::from(LIMIT));
                }
            }
        }
    }
    println!("{worst} limits");
    assert!(worst < 3.0, "a swing of {worst} limits");
}

#[test]
fn a_spike_ends_no_rest_and_a_step_does() {
    let mut chain = Chain::new(3);
    for _ in 0..30 {
        chain.push(500);
    }
    assert!(chain.push(CODE_MAX) && chain.push(CODE_MAX) && chain.push(500));
    assert!(chain.push(9000) && chain.push(9000), "held back");
    assert!(!chain.push(9000));
}

#[test]
fn rest_survives_the_wrap_of_the_clock_and_ends_with_a_gap() {
    let mut chain = Chain::new(3);
    chain.now_ms = u32::MAX - 1500;
    chain.until_rest(|| 7);
    for _ in 0..40 {
        assert!(chain.push(7));
    }
    let gap_ms = u32::from(WINDOW_MS) + GAP_MS;
    chain.now_ms = chain.now_ms.wrapping_add(gap_ms - STEP_MS);
    assert!(chain.push(7), "a gap just short enough");
    chain.now_ms = chain.now_ms.wrapping_add(gap_ms);
    assert!(!chain.push(7), "a longer one");
    assert!(!chain.push(7) && !chain.push(7) && chain.push(7));
}

#[test]
fn more_calm_than_a_mark_asks_for_two_windows() {
    let mut chain = Chain::new(3);
    for n in 1..40 {
        chain.push(7);
        assert_eq!(chain.rest.settled(LIMIT << 8), n >= 20, "code {n}");
    }
    assert!(!chain.rest.settled(0), "noise is never taken to be nothing");
}

#[test]
fn nothing_heard_is_no_rest() {
    let mut chain = Chain::new(3);
    assert!(!chain.rest.within(u32::MAX, true));
    chain.until_rest(|| 7);
    chain.rest.restart();
    assert!(!chain.rest.within(u32::MAX, true));
    assert_eq!(chain.rest.spread_q8(), 0);
}
