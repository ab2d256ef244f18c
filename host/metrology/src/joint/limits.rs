//! A normal estimate cut off at limits.
//!
//! A weight that merely passed its class lies within limits and is no more
//! likely in their middle. The solution takes such a prior as a normal one of
//! the same deviation; here that is taken out again and the limits put in.

use super::Estimate;
use crate::distribution::student_t_two_sided;

/// Steps over the limits; the mean of a rectangle is exact for any number.
const STEPS: usize = 400;

/// The estimate whose normal prior of deviation `half / sqrt 3` about nought is
/// exchanged for a rectangle of that half width, both in the estimate's unit.
pub(super) fn cut_off(with_normal: Estimate, half: f64) -> Estimate {
    let precision = 1.0 / with_normal.u.powi(2) - 3.0 / half.powi(2);
    // What the captures say by themselves: centre and precision.
    let precision = precision.max(0.0);
    let pull = with_normal.value / with_normal.u.powi(2);
    let log_at = |x: f64| pull * x - 0.5 * precision * x * x;
    let at = |step: usize| half * ((step as f64 + 0.5) / STEPS as f64 * 2.0 - 1.0);
    let top = (0..STEPS)
        .map(|step| log_at(at(step)))
        .fold(f64::MIN, f64::max);
    let weight: Vec<f64> = (0..STEPS)
        .map(|step| (log_at(at(step)) - top).exp())
        .collect();
    let total: f64 = weight.iter().sum();
    let mean = weight
        .iter()
        .enumerate()
        .map(|(step, w)| w * at(step))
        .sum::<f64>()
        / total;
    let spread = weight
        .iter()
        .enumerate()
        .map(|(step, w)| w * (at(step) - mean).powi(2))
        .sum::<f64>()
        / total;
    let width = 2.0 * half / STEPS as f64;
    let quantile = |share: f64| {
        let mut sum = 0.0;
        for (step, w) in weight.iter().enumerate() {
            let next = sum + w / total;
            if next >= share {
                return at(step) + width * ((share - sum) / (next - sum) - 0.5);
            }
            sum = next;
        }
        half
    };
    Estimate {
        value: mean,
        u: (spread + width * width / 12.0).sqrt(),
        low: quantile(0.025),
        high: quantile(0.975),
    }
}

/// The value with limits at `k` standard uncertainties either side.
pub(super) fn spread(value: f64, u: f64, k: f64) -> Estimate {
    Estimate {
        value,
        u,
        low: value - k * u,
        high: value + k * u,
    }
}

/// How many standard deviations of a mixture of normals hold 95 % of it, when
/// their variances scatter by `relative` (variance of the variances over the
/// square of their mean): Student's t of the same scatter, 2/nu, in units of its
/// own deviation (JCGM 100:2008, G.3 and E.4.3).
pub(super) fn limits_at(relative: f64) -> f64 {
    let nu = (2.0 / relative).clamp(3.0, 1e6);
    student_t_two_sided(0.95, nu).map_or(1.96, |t| t * ((nu - 2.0) / nu).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_word_from_the_captures_it_is_the_rectangle() {
        let half = 0.05;
        let of_normal = spread(0.0, half / 3f64.sqrt(), 1.96);
        let cut = cut_off(of_normal, half);
        // JCGM 100:2008, 4.3.7: u = half / sqrt 3; 95 % of a rectangle.
        assert!((cut.u - half / 3f64.sqrt()).abs() < 1e-12, "{cut:?}");
        assert!((cut.high - 0.95 * half).abs() < 1e-9 && cut.value.abs() < 1e-12);
    }

    #[test]
    fn captures_far_sharper_than_the_limits_decide_alone() {
        let half = 1.0;
        // Cavity at 0.3 with u = 0.01, joined with the normal prior.
        let precision: f64 = 1.0 / 0.01f64.powi(2) + 3.0;
        let joined = spread(
            0.3 / 0.01f64.powi(2) / precision,
            precision.powf(-0.5),
            1.96,
        );
        let cut = cut_off(joined, half);
        assert!(
            (cut.value - 0.3).abs() < 1e-4 && (cut.u - 0.01).abs() < 2e-4,
            "{cut:?}"
        );
    }

    #[test]
    fn a_scatter_known_for_sure_has_the_limits_of_a_normal() {
        assert!((limits_at(0.0) - 1.959_96).abs() < 1e-4);
        // Student's t with 10 degrees of freedom: 2.228 (JCGM 100:2008, table G.2).
        assert!((limits_at(0.2) - 2.228 * 0.8f64.sqrt()).abs() < 1e-3);
    }

    #[test]
    fn captures_beyond_the_limits_end_at_the_limit() {
        let cut = cut_off(spread(20.0, 0.5, 1.96), 1.0);
        assert!(cut.value > 0.9 && cut.high <= 1.0 && cut.u > 0.0, "{cut:?}");
    }
}
