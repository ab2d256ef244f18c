//! Whether the pan was touched while it should have been left alone: a signal
//! that leaves its place is told from one that is noisy there.

use scalewright_metrology::statistics::{mean, sample_sd};

use super::figures::median;

/// Codes in a part, at least: enough that their scatter is that of the noise.
const PART: usize = 8;
/// Parts, at most: a touch of a second shows among ten of them.
const MOST_PARTS: usize = 40;
/// Parts, at least: most must have been left alone to tell what that looks like.
const FEWEST_PARTS: usize = 5;
/// The mean of a part left its place when it is so many standard deviations of
/// one code from there: chosen here, far above the 0.35 (1/sqrt 8) of white noise,
/// since noise that rises towards low frequencies gives more.
const LEFT_SD: f64 = 8.0;
/// and at least this far, ADC counts: half of what counts as a finger.
const LEFT_COUNTS: f64 = 100.0;

/// A signal that left its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// How long after the first code, s.
    pub at_s: f64,
    /// How far, ADC counts, with its sign.
    pub by_counts: f64,
}

/// The touch in `codes`, ADC counts, taken at `times_s`; a steady drift is none.
#[must_use]
pub fn find(times_s: &[f64], codes: &[f64]) -> Option<Touch> {
    let part = codes.len().div_ceil(MOST_PARTS).max(PART);
    let parts: Vec<&[f64]> = codes.chunks_exact(part).collect();
    if parts.len() < FEWEST_PARTS {
        return None;
    }
    let means: Vec<f64> = parts.iter().filter_map(|codes| mean(codes)).collect();
    let scatter: Vec<f64> = parts.iter().filter_map(|codes| sample_sd(codes)).collect();
    // One step or two, up and down, do not move the median.
    let later = means.iter().skip(1);
    let steps: Vec<f64> = means
        .iter()
        .zip(later)
        .map(|(one, next)| next - one)
        .collect();
    let drift = median(&steps)?;
    let level: Vec<f64> = (means.iter().enumerate())
        .map(|(index, mean)| mean - drift * index as f64)
        .collect();
    let place = median(&level)?;
    let far = (LEFT_SD * median(&scatter)?).max(LEFT_COUNTS);
    let off = |level: &f64| level - place;
    let by_counts = level
        .iter()
        .map(off)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    if by_counts.abs() <= far {
        return None;
    }
    let first = level.iter().position(|level| off(level).abs() > far)?;
    Some(Touch {
        at_s: times_s.get(first * part)? - times_s.first()?,
        by_counts,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten seconds at ten a second about a place, ±50 counts, and `more` on top.
    fn found(more: impl Fn(f64) -> f64) -> Option<Touch> {
        let times_s: Vec<f64> = (0..100).map(|k| f64::from(k) / 10.0).collect();
        let mut dice = 1u64;
        let codes: Vec<f64> = times_s
            .iter()
            .map(|t| {
                dice = dice * 48_271 % 2_147_483_647;
                4e5 + (dice % 101) as f64 - 50.0 + more(*t)
            })
            .collect();
        find(&times_s, &codes)
    }

    #[test]
    fn a_finger_is_told_wherever_it_comes_and_whether_it_leaves() {
        for (from, to) in [(0.0, 2.0), (4.0, 5.6), (3.0, 6.0), (7.0, 10.0), (4.8, 10.0)] {
            let touch = found(|t| {
                if (from..to).contains(&t) {
                    20_000.0
                } else {
                    0.0
                }
            });
            let touch = touch.unwrap_or_else(|| panic!("{from} to {to} s"));
            // The first or the last part may be the place it left.
            assert!(
                touch.by_counts.abs() > 10_000.0,
                "{from} to {to}: {touch:?}"
            );
        }
        let touch = found(|t| {
            if (4.0..5.6).contains(&t) {
                -9_000.0
            } else {
                0.0
            }
        });
        let touch = touch.expect("a pull");
        assert_eq!(touch.at_s, 4.0);
        assert!((touch.by_counts + 9_000.0).abs() < 100.0, "{touch:?}");
    }

    #[test]
    fn drift_creep_and_noise_are_no_touch() {
        assert_eq!(found(|_| 0.0), None);
        assert_eq!(found(|t| 300.0 * t), None);
        assert_eq!(found(|t| 600.0 * (-t / 30.0).exp()), None);
        assert_eq!(found(|t| 200.0 * (6.0 * t).sin()), None);
        // Slow noise, and a quiet signal that wanders by less than a finger does.
        assert_eq!(found(|t| 200.0 * (1.2 * t).sin()), None);
        let times_s: Vec<f64> = (0..100).map(|k| f64::from(k) / 10.0).collect();
        let step: Vec<f64> = times_s
            .iter()
            .map(|t| if *t < 7.0 { 0.0 } else { 60.0 })
            .collect();
        assert_eq!(find(&times_s, &step), None);
        assert_eq!(find(&[], &[]), None);
        assert_eq!(find(&[0.0; 20], &[1.0; 20]), None);
    }
}
