//! How long a call takes, for the examples that are set beside others.

use std::time::Instant;

/// Median and least seconds of one call: the least is what other programs on
/// the machine disturb least.
pub fn seconds(repeats: usize, mut call: impl FnMut()) -> (f64, f64) {
    let mut times: Vec<f64> = (0..repeats.max(1))
        .map(|_| {
            let start = Instant::now();
            call();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    (times[times.len() / 2], times[0])
}
