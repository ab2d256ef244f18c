//! The filter: spikes, steps, the mean since the last change, and the noise,
//! against plain references. What is made of it stands in `resting.rs`.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::filter::{Filter, FilterConfig, Filtered, LONGEST};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

/// Sum of twelve uniform values: near enough to normal, sd 1.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

fn noise(rng: &mut ChaCha8Rng, level: i32, sd: f64, count: usize) -> Vec<i32> {
    (0..count)
        .map(|_| level + (sd * normal(rng)).round() as i32)
        .collect()
}

fn run(smoothing: u8, codes: &[i32]) -> Vec<Filtered> {
    let config = FilterConfig {
        smoothing,
        rest_q8: 0,
    };
    let mut filter = Filter::new();
    codes
        .iter()
        .map(|code| *filter.push(&config, *code))
        .collect()
}

/// Rounding towards zero leaves less than one step of q8.
fn is_mean(smooth_q8: i32, codes: &[i32]) -> bool {
    let sum: i64 = codes.iter().map(|code| i64::from(*code)).sum();
    let off = i64::from(smooth_q8) * codes.len() as i64 - sum * 256;
    off.unsigned_abs() < codes.len() as u64
}

proptest! {
    /// Whatever comes: the signal is the mean of the last codes, as many as are
    /// told and no more than 2^n. Codes held back count once they are a step, and
    /// never once one has come back.
    #[test]
    fn the_signal_is_the_mean_of_the_run(
        smoothing in 0u8..=6,
        pieces in prop::collection::vec((CODE_MIN..=CODE_MAX, 0i32..5000, 1usize..90), 1..12),
        seed in any::<u64>(),
    ) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut codes = Vec::new();
        for (level, width, count) in pieces {
            for _ in 0..count {
                let code = level + rng.random_range(-width..=width);
                codes.push(code.clamp(CODE_MIN, CODE_MAX));
            }
        }
        let (mut taken, mut held) = (Vec::new(), Vec::new());
        let mut before = 0;
        for (code, out) in codes.iter().zip(run(smoothing, &codes)) {
            prop_assert_eq!(out.raw, *code);
            if out.spike {
                held.push(*code);
                prop_assert!(held.len() <= 2);
                prop_assert_eq!(out.smooth_q8, before);
                continue;
            }
            let depth = usize::from(out.run).min(1 << smoothing);
            let mut with = taken.clone();
            with.append(&mut held);
            let longer = with.len() > taken.len();
            for list in [&mut taken, &mut with] {
                list.push(*code);
            }
            let last = |list: &[i32]| {
                list.len() >= depth && is_mean(out.smooth_q8, &list[list.len() - depth..])
            };
            if longer && last(&with) {
                taken = with;
            }
            prop_assert!(last(&taken), "{} of {:?}", out.smooth_q8, taken);
            before = out.smooth_q8;
        }
    }

    /// A step of any size above what noise explains is taken whole: the mean of
    /// its first three codes stands with the third.
    #[test]
    fn a_step_passes_whole_with_its_third_code(
        sd in prop_oneof![Just(0.0), 0.3..3000.0f64],
        up in any::<bool>(),
        above in 1.0..1000.0f64,
        seed in any::<u64>(),
    ) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // Beyond the twelve-fold scatter nothing is noise, whatever was learnt.
        let size = (16.0 * sd + 12.0) * above;
        let step = (if up { size } else { -size }).clamp(-4e6, 4e6) as i32;
        let mut codes = noise(&mut rng, 0, sd, 100);
        codes.extend(noise(&mut rng, step, sd, 40));
        let out = run(0, &codes);
        prop_assert!(!out[102].spike);
        // Noise is believed low rather than high: one code in some ten thousand of
        // normal noise is held back, which costs nothing.
        let held = out[102..].iter().filter(|f| f.spike).count();
        prop_assert!(held <= 1, "{held} of 38");
        let taken = out[102..].iter().filter(|f| !f.spike);
        prop_assert!(taken.clone().all(|f| f.smooth_q8 == f.raw * 256));
        prop_assert!(out[102].run <= 3);
        let deep = run(6, &codes);
        prop_assert!(is_mean(deep[102].smooth_q8, &codes[103 - usize::from(deep[102].run)..103]));
    }
}

#[test]
fn full_scale_does_not_overflow() {
    for code in [CODE_MIN, CODE_MAX, i32::MIN, i32::MAX] {
        for smoothing in [0, 6] {
            let out = run(smoothing, &[code; 200]);
            let held = code.clamp(CODE_MIN, CODE_MAX);
            for f in &out {
                assert_eq!(f.smooth_q8, held.wrapping_mul(256));
                assert!(f.saturated);
            }
            assert_eq!((out[199].run, out[199].trend), (LONGEST, 0));
        }
    }
    let ends: Vec<i32> = (0..400)
        .map(|n| if n % 7 < 3 { CODE_MIN } else { CODE_MAX })
        .collect();
    assert!(run(6, &ends).iter().all(|f| f.saturated));
}

#[test]
fn nothing_comes_late() {
    let codes: Vec<i32> = (0..50).map(|n| n * 3).collect();
    for (code, out) in codes.iter().zip(run(0, &codes)) {
        assert_eq!((out.raw, out.smooth_q8), (*code, *code * 256));
    }
}

#[test]
fn one_or_two_wild_codes_vanish() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let quiet = noise(&mut rng, 1000, 20.0, 300);
    for wild in [&[CODE_MAX][..], &[CODE_MAX; 2], &[CODE_MAX, CODE_MIN]] {
        let mut codes = quiet.clone();
        codes[150..150 + wild.len()].copy_from_slice(wild);
        for smoothing in [0, 3, 6] {
            let out = run(smoothing, &codes);
            assert!(
                out.iter()
                    .all(|f| f.smooth_q8.abs_diff(256_000) < 200 * 256)
            );
            let held: Vec<i32> = out.iter().filter(|f| f.spike).map(|f| f.raw).collect();
            assert_eq!(held, wild);
            assert!(
                out.iter().all(|f| !f.saturated),
                "a spike saturates nothing"
            );
            assert!(out[170].run >= LONGEST - 2, "a spike is no change");
        }
    }
}

#[test]
fn normal_noise_is_left_alone() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for sd in [0.3, 3.0, 50.0, 2000.0] {
        let codes = noise(&mut rng, 0, sd, 100_000);
        let out = run(0, &codes);
        let squares = |kept: fn(&&Filtered) -> bool| -> f64 {
            out.iter()
                .filter(kept)
                .map(|f| f64::from(f.raw).powi(2))
                .sum()
        };
        let spikes = out.iter().filter(|f| f.spike).count();
        // The filter before this one took 0.25 in 1000 and 0.15 % of the variance.
        assert!(spikes <= 5, "{spikes} of 100 000 at sd {sd}");
        let kept = squares(|f| !f.spike) / squares(|_| true);
        assert!(kept > 0.9995, "{kept} of the variance at sd {sd}");
    }
}

#[test]
fn spikes_of_20_deviations_are_found_in_noise() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let mut found = 0;
    for _ in 0..2000 {
        let mut codes = noise(&mut rng, 0, 50.0, 100);
        codes[60] += 1000;
        found += u32::from(run(0, &codes)[60].spike);
    }
    assert!(found >= 1990, "{found} of 2000");
}

/// The noise that is believed, and how seldom noise alone passes for a change:
/// at 10 conversions a second an hour has 36 000.
#[test]
fn noise_is_learnt_and_seldom_taken_for_a_change() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for sd in [2.0, 50.0, 1000.0] {
        let codes = noise(&mut rng, 0, sd, 360_000);
        let out = run(3, &codes);
        let settled = &out[1000..];
        let mean = settled
            .iter()
            .map(|f| f64::from(f.noise_q4) / 16.0)
            .sum::<f64>()
            / settled.len() as f64;
        assert!((0.85..1.1).contains(&(mean / sd)), "{mean} of {sd}");
        let changes = out
            .windows(2)
            .skip(1000)
            .filter(|pair| pair[1].run < pair[0].run)
            .count();
        println!("sd {sd}: {} changes an hour", changes as f64 / 10.0);
        assert!(changes <= 30, "{changes} changes in ten hours at sd {sd}");
    }
}

/// What is found, and how soon: a change of the mean by so many standard
/// deviations of a code leaves the run within so many codes, in 9 cases of 10.
#[test]
fn a_small_change_is_found_when_the_mean_can_tell() {
    for (size, codes) in [(20.0, 3), (9.0, 4), (6.0, 8), (6.0, 16), (5.0, 40)] {
        let mut found = 0;
        for seed in 0..400 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut all = noise(&mut rng, 0, 50.0, 200);
            all.extend(noise(&mut rng, (50.0 * size) as i32, 50.0, codes));
            let last = run(3, &all)[199 + codes];
            found += u32::from(usize::from(last.run) <= codes + codes / 2 + 1);
        }
        println!("{size} {codes}: {found}");
        assert!(found >= 360, "{found} of 400 at {size} deviations");
    }
}

/// From a signal without noise, to one with
/// much: what is believed catches up within a minute at 10/s.
#[test]
fn more_noise_is_believed_in_time() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let mut codes = vec![0; 100];
    codes.extend(noise(&mut rng, 0, 60.0, 1000));
    let out = run(3, &codes);
    assert!(out[90].noise_q4 < 16);
    let believed = [200, 300, 400, 600, 1000].map(|at| out[at].noise_q4);
    println!("believed {believed:?}");
    assert!(believed[3] > 16 * 40, "{believed:?}");
    assert!(out[700..].iter().all(|f| !f.spike));
}

#[test]
fn a_restart_forgets_everything() {
    let config = FilterConfig {
        smoothing: 3,
        rest_q8: 0,
    };
    let mut filter = Filter::new();
    for _ in 0..50 {
        filter.push(&config, CODE_MAX);
    }
    filter.restart();
    assert_eq!(filter.out(), Filter::new().out());
    for n in 0..3 {
        assert_eq!(filter.push(&config, n).smooth_q8, n * 128);
        assert!(!filter.out().saturated && !filter.out().spike);
    }
}

/// After a gap the next code stands alone, whatever it is, and the noise is
/// still known.
#[test]
fn a_new_run_begins_with_the_next_code() {
    let config = FilterConfig {
        smoothing: 3,
        rest_q8: 0,
    };
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for next in [0, 900_000, CODE_MIN] {
        let mut filter = Filter::new();
        for code in noise(&mut rng, 0, 10.0, 100) {
            filter.push(&config, code);
        }
        let known_q4 = filter.out().noise_q4;
        filter.part();
        let out = *filter.push(&config, next);
        assert_eq!((out.smooth_q8, out.run, out.spike), (next * 256, 1, false));
        assert!(out.noise_q4.abs_diff(known_q4) <= 8);
    }
}
