//! Coverage intervals from the trials, without sorting all of them.
//!
//! Only the two tails matter: the order statistics of the probabilistically
//! symmetric interval lie at their inner ends, and the shortest interval has
//! one end in each. JCGM 101:2008, 7.7 and 5.3.4 (from memory).

use super::Interval;

/// Symmetric and shortest interval that hold `coverage` of the trials.
/// `None` where there are too few, or not all finite.
///
/// ```text
/// q = the whole number nearest p M,  r = (M - q)/2 rounded up:
/// symmetric  [y(r), y(r + q)]
/// shortest   [y(j), y(j + q)] of least width, j = 1 ... M - q
/// ```
pub(super) fn intervals(trials: &[f64], coverage: f64) -> Option<(Interval, Interval)> {
    let all = trials.len();
    let inside = (coverage * all as f64).round() as usize;
    // As many starts as there are trials outside.
    let starts = all.checked_sub(inside).filter(|starts| *starts >= 2)?;
    if inside < starts {
        return None;
    }
    let (lower, upper) = candidates(trials, starts);
    let (lower, upper) = (least(lower, starts)?, least(upper, starts)?);
    let pair = |at: usize| {
        let low_g = value(*lower.get(at)?);
        let high_g = value(!*upper.get(starts - 1 - at)?);
        Some(Interval { low_g, high_g })
    };
    let symmetric = pair(starts.div_ceil(2) - 1)?;
    let shortest = (0..starts)
        .filter_map(pair)
        .min_by(|a, b| a.width_g().total_cmp(&b.width_g()))?;
    Some((symmetric, shortest))
}

/// The trials at the front from which the tails are guessed: they are as
/// random as any.
const GUESSED_FROM: usize = 2048;

/// A whole number that lies among others as the trial among trials: they sort
/// in half the time. Its complement lies the other way round.
fn key(trial: f64) -> i64 {
    let bits = trial.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// The trial of a key.
fn value(key: i64) -> f64 {
    f64::from_bits((key ^ (((key >> 63) as u64) >> 1) as i64) as u64)
}

/// Keys among which the `starts` smallest are, and complements of keys among
/// which the largest are: of what passes a limit guessed from the first
/// trials, or of all should the guess have left out too many.
fn candidates(trials: &[f64], starts: usize) -> (Vec<i64>, Vec<i64>) {
    let mut first: Vec<i64> = trials.iter().take(GUESSED_FROM).map(|x| key(*x)).collect();
    first.sort_unstable();
    let share = starts as f64 / trials.len() as f64;
    // Five deviations of the number of first trials that lie in the tail.
    let count = share * first.len() as f64;
    let far = (count + 5.0 * count.sqrt()).ceil() as usize;
    let low = first.get(far).copied().unwrap_or(i64::MAX);
    let high = (first.len().checked_sub(1 + far)).and_then(|place| first.get(place));
    let high = high.copied().unwrap_or(i64::MIN);
    let (mut lower, mut upper) = (vec![0; trials.len()], vec![0; trials.len()]);
    let (mut below, mut above) = (0, 0);
    // Written always and counted if meant: a jump would be guessed wrong often.
    for trial in trials {
        let key = key(*trial);
        if let (Some(one), Some(other)) = (lower.get_mut(below), upper.get_mut(above)) {
            (*one, *other) = (key, !key);
        }
        below += usize::from(key <= low);
        above += usize::from(key >= high);
    }
    if below < starts || above < starts {
        let all = trials.iter().map(|trial| key(*trial));
        return (all.clone().collect(), all.map(|key| !key).collect());
    }
    lower.truncate(below);
    upper.truncate(above);
    (lower, upper)
}

/// The `count` smallest in order; `None` when there are fewer.
fn least(mut keys: Vec<i64>, count: usize) -> Option<Vec<i64>> {
    let last = count.checked_sub(1).filter(|last| *last < keys.len())?;
    keys.select_nth_unstable(last);
    keys.truncate(count);
    keys.sort_unstable();
    Some(keys)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::monte_carlo::generator;
    use rand_xoshiro::rand_core::Rng;

    /// The same from all of the trials in order.
    fn in_order(trials: &[f64], coverage: f64) -> (Interval, Interval) {
        let mut all = trials.to_vec();
        all.sort_unstable_by(f64::total_cmp);
        let inside = (coverage * all.len() as f64).round() as usize;
        let outside = all.len() - inside;
        let pair = |at: usize| Interval {
            low_g: all[at],
            high_g: all[at + inside],
        };
        let shortest = (0..outside).map(pair);
        let shortest = shortest.min_by(|a, b| a.width_g().total_cmp(&b.width_g()));
        (pair(outside.div_ceil(2) - 1), shortest.expect("some"))
    }

    #[test]
    fn tails_say_what_all_trials_in_order_say() {
        let mut rng = generator(3);
        let mut even = |count: usize| -> Vec<f64> {
            (0..count).map(|_| (rng.next_u64() >> 11) as f64).collect()
        };
        let skew = |all: Vec<f64>| all.into_iter().map(|x| x * x * x).collect();
        for count in [100, 1000, 1001, 2048, 5000, 20_000] {
            let both: [Vec<f64>; 2] = [even(count), skew(even(count))];
            for trials in both {
                for coverage in [0.9545, 0.95, 0.6] {
                    let found = intervals(&trials, coverage);
                    assert_eq!(found, Some(in_order(&trials, coverage)), "{count}");
                }
            }
        }
    }

    #[test]
    fn a_wrong_guess_changes_nothing() {
        // In order, the first trials are the smallest: the guess fails.
        let rising: Vec<f64> = (0..10_000).map(f64::from).collect();
        let falling: Vec<f64> = (0..10_000).rev().map(f64::from).collect();
        let same = vec![1.0; 10_000];
        for trials in [rising, falling, same] {
            assert_eq!(intervals(&trials, 0.9545), Some(in_order(&trials, 0.9545)));
        }
        assert_eq!(intervals(&[], 0.9545), None);
        assert_eq!(intervals(&[1.0; 20], 0.9545), None);
        assert_eq!(intervals(&[1.0; 20], 0.1), None);
    }
}
