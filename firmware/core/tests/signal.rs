//! Filter and stability window against plain floating-point references.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::filter::{Filter, FilterConfig, Filtered};
use scalewright_core::rest::Rest;
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

/// Sum of twelve uniform values: near enough to normal, sd 1.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

fn run(smoothing: u8, codes: &[i32]) -> Vec<Filtered> {
    let config = FilterConfig { smoothing };
    let mut filter = Filter::new();
    codes
        .iter()
        .filter_map(|code| filter.push(&config, *code))
        .collect()
}

#[test]
fn smoothing_is_the_exact_mean_of_the_last_codes() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for smoothing in 0..=6u8 {
        // Noise this wide leaves no spikes by the rule, so despiked = raw.
        let codes: Vec<i32> = (0..400)
            .map(|_| rng.random_range(CODE_MIN..=CODE_MAX))
            .collect();
        let out = run(smoothing, &codes);
        let despiked: Vec<f64> = out.iter().map(|f| f64::from(f.despiked)).collect();
        for (at, f) in out.iter().enumerate() {
            let first = (at + 1).saturating_sub(1 << smoothing);
            let window = &despiked[first..=at];
            let mean_q8 = 256.0 * window.iter().sum::<f64>() / window.len() as f64;
            let off = (f64::from(f.smooth_q8) - mean_q8).abs();
            let allowed = if window.len() == 1 << smoothing {
                0.0
            } else {
                0.5
            };
            assert!(off <= allowed, "depth {smoothing}, sample {at}: {off}");
        }
    }
}

#[test]
fn full_scale_does_not_overflow() {
    for code in [CODE_MIN, CODE_MAX, i32::MIN, i32::MAX] {
        for smoothing in [0, 6] {
            let out = run(smoothing, &[code; 200]);
            let held = code.clamp(CODE_MIN, CODE_MAX);
            assert_eq!(out[190].smooth_q8, held.wrapping_mul(256));
            assert!(out[190].saturated);
        }
    }
}

#[test]
fn what_comes_out_belongs_to_the_code_two_before() {
    let codes: Vec<i32> = (0..50).map(|n| n * 3).collect();
    let raw: Vec<i32> = run(0, &codes).iter().map(|f| f.raw).collect();
    assert_eq!(raw, codes[2..48]);
}

#[test]
fn one_or_two_wild_codes_vanish_and_a_step_passes_whole() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let quiet: Vec<i32> = (0..300)
        .map(|_| 1000 + (20.0 * normal(&mut rng)) as i32)
        .collect();
    for length in [1, 2] {
        let mut codes = quiet.clone();
        for code in &mut codes[150..150 + length] {
            *code = CODE_MAX;
        }
        let out = run(0, &codes);
        assert!(out.iter().all(|f| f.despiked.abs_diff(1000) < 200));
        assert_eq!(
            out.iter().filter(|f| f.raw == CODE_MAX && f.spike).count(),
            length
        );
        assert!(
            out.iter().all(|f| !f.saturated),
            "a spike saturates nothing"
        );
    }
    let mut codes = quiet.clone();
    for code in &mut codes[150..] {
        *code += 500_000;
    }
    let out = run(0, &codes);
    assert!(
        out.iter().all(|f| f.despiked == f.raw),
        "no code near a step is changed"
    );
}

#[test]
fn normal_noise_is_left_alone() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for sd in [0.3, 3.0, 50.0, 5000.0] {
        let codes: Vec<i32> = (0..100_000)
            .map(|_| (sd * normal(&mut rng)).round() as i32)
            .collect();
        let out = run(0, &codes);
        let spikes = out.iter().filter(|f| f.spike).count();
        let squares = |value: fn(&Filtered) -> i32| -> f64 {
            out.iter().map(|f| f64::from(value(f)).powi(2)).sum()
        };
        let kept = squares(|f| f.despiked) / squares(|f| f.raw);
        assert!(spikes <= 50, "{spikes} of 100 000 at sd {sd}");
        // What is missing from a variance; half of it from a deviation.
        assert!(kept > 0.997, "{kept} of the variance at sd {sd}");
    }
}

#[test]
fn spikes_of_20_deviations_are_found_in_noise() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let mut found = 0;
    for _ in 0..200 {
        let mut codes: Vec<i32> = (0..100).map(|_| (50.0 * normal(&mut rng)) as i32).collect();
        codes[60] += 1000;
        found += u32::from(run(0, &codes)[58].spike);
    }
    assert!(found >= 198, "{found} of 200");
}

#[test]
fn a_restart_forgets_everything() {
    let config = FilterConfig { smoothing: 3 };
    let mut filter = Filter::new();
    for _ in 0..50 {
        filter.push(&config, CODE_MAX);
    }
    filter.restart();
    let out: Vec<Filtered> = (0..6).filter_map(|n| filter.push(&config, n)).collect();
    assert_eq!(out.len(), 2);
    assert_eq!(out[0].smooth_q8, 2 * 256);
    assert!(!out[0].saturated);
}

/// The window done the long way: every value with its time.
fn spread_since(values: &[(u32, i32)], now: u32, back_ms: u32) -> u32 {
    let inside = values
        .iter()
        .filter(|(at, _)| now - at <= back_ms)
        .map(|(_, v)| *v);
    inside
        .clone()
        .max()
        .unwrap()
        .abs_diff(inside.min().unwrap())
}

#[test]
fn spread_lies_between_that_of_the_window_and_of_an_eighth_more() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for (window_ms, step_ms) in [
        (1000u16, 100u32),
        (1000, 13),
        (500, 7),
        (3000, 100),
        (100, 100),
    ] {
        let mut rest = Rest::new(window_ms);
        let mut values = Vec::new();
        let mut level = 0;
        for n in 0..2000u32 {
            let now = n * step_ms;
            if rng.random_range(0..40) == 0 {
                level = rng.random_range(-1_000_000..1_000_000);
            }
            let value = level + rng.random_range(-50..50);
            values.push((now, value));
            rest.push(now, value);
            let window = u32::from(window_ms);
            let bucket = window.div_ceil(8);
            let least = spread_since(&values, now, window);
            let most = spread_since(&values, now, window + bucket);
            let spread = rest.spread_q8();
            assert!(
                (least..=most).contains(&spread),
                "{least} <= {spread} <= {most}"
            );
            assert_eq!(rest.within(u32::MAX), n >= 1 && now >= window);
        }
    }
}

#[test]
fn drift_counts_as_unrest() {
    let mut rest = Rest::new(1000);
    for n in 0..100 {
        rest.push(n * 100, n as i32 * 10);
    }
    assert!(rest.within(120) && !rest.within(99));
}

#[test]
fn rest_survives_the_wrap_of_the_clock_and_ends_with_a_gap() {
    let mut rest = Rest::new(1000);
    let begin = u32::MAX - 1500;
    for n in 0..40u32 {
        rest.push(begin.wrapping_add(n * 100), 7);
        assert_eq!(rest.within(0), n >= 10);
    }
    rest.push(begin.wrapping_add(40 * 100 + 1200), 7);
    assert!(!rest.within(0), "a gap as long as the window");
}
