//! A regular swing in evenly spaced values, told from noise.

use scalewright_metrology::statistics::mean;

/// Fewest values that can be judged.
const FEWEST: usize = 48;
/// Most values used: the newest; a longer series only takes longer.
const MOST: usize = 2048;
/// Lowest lines of the spectrum that are left out: creep and warming live there.
const SLOW_LINES: usize = 3;
/// A swing is only called one when noise alone would show as much in one
/// inspection of this many.
const ODDS: f64 = 1e4;
/// and when it makes up this share of the variance: less disturbs nobody.
const LEAST_SHARE: f64 = 0.2;
/// It must tower so many times above the mean of the lines around it: slow
/// change rises towards low frequencies, but evenly.
const TOWERS: f64 = 8.0;
/// Distance of the lines around it, in lines; the nearest belong to it.
const AROUND: std::ops::RangeInclusive<usize> = 2..=6;

/// A regular swing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Periodic {
    /// Its frequency as it appears in the samples, Hz. The true one may be this,
    /// or this taken from (or added to) any multiple of the rate.
    pub hz: f64,
    /// Its amplitude, in the unit of the values.
    pub amplitude: f64,
    /// Its share of the variance.
    pub share: f64,
}

/// The strongest regular swing in `values`, taken `rate_sps` times a second, if
/// noise does not explain it.
///
/// ```text
/// g = largest line of the periodogram / sum of all;  with m lines of white
/// noise  P(g > x) <= m (1 - x)^(m - 1)     (R. A. Fisher, "Tests of significance
///                                           in harmonic analysis", 1929: from memory)
/// ```
#[must_use]
pub fn find(values: &[f64], rate_sps: f64) -> Option<Periodic> {
    let values = values.get(values.len().saturating_sub(MOST)..)?;
    let count = values.len();
    if count < FEWEST || !(rate_sps.is_finite() && rate_sps > 0.0) {
        return None;
    }
    let n = count as f64;
    let centre = mean(values)?;
    let values: Vec<f64> = values.iter().map(|value| value - centre).collect();
    // The line at half the rate has half the freedom of the others: left out.
    let spectrum: Vec<f64> = (1..count.div_ceil(2))
        .map(|line| power(&values, line as f64 / n))
        .collect();
    let lines = spectrum.get(SLOW_LINES..)?;
    let all: f64 = lines.iter().sum();
    if !(all.is_finite() && all > 0.0) {
        return None;
    }
    let (at, top) = spectrum
        .iter()
        .copied()
        .enumerate()
        .skip(SLOW_LINES)
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let near = |at: Option<usize>| at.and_then(|at| spectrum.get(at)).copied();
    let around: Vec<f64> = AROUND
        .flat_map(|far| [near(at.checked_sub(far)), near(Some(at + far))])
        .flatten()
        .collect();
    // A swing between two lines shows in both: power of the neighbours counts.
    let beside = [near(at.checked_sub(1)), near(Some(at + 1))];
    let together = top + beside.into_iter().flatten().fold(0.0, f64::max);
    let m = lines.len() as f64;
    let chance = m * (1.0 - top / all).powf(m - 1.0);
    let share = (together / all).min(1.0);
    let found = chance < 1.0 / ODDS
        && share >= LEAST_SHARE
        && mean(&around).is_some_and(|level| top > TOWERS * level);
    found.then(|| Periodic {
        hz: (at + 1) as f64 / n * rate_sps,
        amplitude: 2.0 * together.sqrt() / n,
        share,
    })
}

/// Squared size of the Fourier sum at a frequency in cycles per value.
fn power(values: &[f64], frequency: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (k, value) in values.iter().enumerate() {
        let (sin, cos) = (std::f64::consts::TAU * frequency * k as f64).sin_cos();
        re += value * cos;
        im += value * sin;
    }
    re * re + im * im
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Repeatable noise about even between -1 and 1 (a multiplicative
    /// congruential generator, modulus 2^31 - 1, multiplier 48271).
    fn noise(seed: u64, count: usize) -> Vec<f64> {
        let mut state = seed;
        (0..count)
            .map(|_| {
                state = state * 48_271 % 2_147_483_647;
                state as f64 / 1_073_741_823.5 - 1.0
            })
            .collect()
    }

    #[test]
    fn a_swing_is_found_with_frequency_and_amplitude() {
        for (hz, rate, count) in [(2.3, 10.0, 100), (3.1, 10.0, 200), (20.0, 80.0, 800)] {
            let mut values = noise(7, count);
            for (k, value) in values.iter_mut().enumerate() {
                *value += 2.0 * (std::f64::consts::TAU * hz * k as f64 / rate).sin();
            }
            let found = find(&values, rate).expect("a swing");
            assert!((found.hz - hz).abs() <= rate / count as f64, "{found:?}");
            // Half a line off, a sine loses at most a fifth of its power.
            assert!((1.7..=2.3).contains(&found.amplitude), "{found:?}");
        }
    }

    /// One inspection in ten thousand may err, so of two hundred none.
    #[test]
    fn noise_is_no_swing() {
        for seed in 1..=200 {
            assert_eq!(find(&noise(seed * 977, 100), 10.0), None, "seed {seed}");
        }
        assert_eq!(find(&[1.0; 100], 10.0), None);
        assert_eq!(find(&[], 10.0), None);
        assert_eq!(find(&noise(3, 100), f64::NAN), None);
    }

    #[test]
    fn slow_change_is_no_swing() {
        let mut values = noise(5, 200);
        for (k, value) in values.iter_mut().enumerate() {
            *value += 8.0 * (-(k as f64) / 80.0).exp();
        }
        assert_eq!(find(&values, 10.0), None);
    }
}
