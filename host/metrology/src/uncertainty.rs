//! Small steps between raw captures and observations.
//!
//! Owns the weighted mean, the hysteresis seen between loading and unloading,
//! and the zero that drifts while loads are on. Refuses by `None`.

use crate::observation::Observation;

/// A mean and its standard uncertainty, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightedMean {
    /// The mean.
    pub mean: f64,
    /// Its standard uncertainty, from the given uncertainties alone.
    pub u: f64,
}

/// The mean of `(value, u)` pairs weighted by 1/u^2; `None` without pairs or
/// with a `u` that isn't a positive finite number.
///
/// ```text
/// m = sum(x/u^2) / sum(1/u^2),  u(m) = 1/sqrt(sum(1/u^2))        (common practice)
/// ```
pub fn weighted_mean(values: &[(f64, f64)]) -> Option<WeightedMean> {
    let usable = |u: f64| u.is_finite() && u > 0.0;
    let least = (values.iter()).fold(f64::INFINITY, |least, (_, u)| least.min(*u));
    if values.is_empty() || !values.iter().all(|(x, u)| usable(*u) && x.is_finite()) {
        return None;
    }
    let weight = |u: f64| (least / u).powi(2);
    let total: f64 = values.iter().map(|(_, u)| weight(*u)).sum();
    let mean = values.iter().map(|(x, u)| x * weight(*u)).sum::<f64>() / total;
    let u = least / total.sqrt();
    Some(WeightedMean { mean, u })
}

/// What unloading reads above loading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hysteresis {
    /// Mean over loads of unloading minus loading, in counts.
    pub mean_counts: f64,
    /// The difference that is largest in size, in counts, its sign kept.
    pub largest_counts: f64,
    /// Mass at which it was seen, in g.
    pub at_g: f64,
}

/// The hysteresis over all loads captured both ways, in counts; `None` when
/// there are none.
pub fn hysteresis(observations: &[Observation]) -> Option<Hysteresis> {
    let side = |load: usize, rising: bool| {
        let counts: Vec<f64> = (observations.iter())
            .filter(|o| o.load == load && o.rising == rising && o.mass_g > 0.0)
            .map(|o| o.counts)
            .collect();
        crate::statistics::mean(&counts)
    };
    let mut seen: Vec<(usize, f64)> = (observations.iter()).map(|o| (o.load, o.mass_g)).collect();
    seen.sort_by_key(|s| s.0);
    seen.dedup_by_key(|s| s.0);
    let differences: Vec<(f64, f64)> = (seen.iter())
        .filter_map(|(load, mass_g)| Some((side(*load, false)? - side(*load, true)?, *mass_g)))
        .collect();
    let (largest_counts, at_g) = differences
        .iter()
        .copied()
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    let counts: Vec<f64> = differences.iter().map(|d| d.0).collect();
    Some(Hysteresis {
        mean_counts: crate::statistics::mean(&counts)?,
        largest_counts,
        at_g,
    })
}

/// Counts net of the zero at time `t`, the zero drawn straight between the
/// zeros before and after; before the first and after the last it stays.
///
/// `zeros` are `(time, counts)` in any order, in the unit of `t`. `None`
/// without zeros or with numbers that aren't finite.
///
/// ```
/// use scalewright_metrology::uncertainty::net_counts;
/// let zeros = [(0.0, 100.0), (10.0, 110.0)];
/// assert_eq!(net_counts(1105.0, 5.0, &zeros), Some(1000.0));
/// assert_eq!(net_counts(1105.0, 5.0, &[]), None);
/// ```
pub fn net_counts(raw: f64, t: f64, zeros: &[(f64, f64)]) -> Option<f64> {
    let finite = zeros.iter().all(|z| z.0.is_finite() && z.1.is_finite());
    if !finite || !raw.is_finite() || !t.is_finite() {
        return None;
    }
    let latest = |late: bool| {
        (zeros.iter())
            .filter(|z| if late { z.0 >= t } else { z.0 <= t })
            .min_by(|a, b| (a.0 - t).abs().total_cmp(&(b.0 - t).abs()))
    };
    let zero = match (latest(false), latest(true)) {
        (Some(a), Some(b)) if b.0 > a.0 => a.1 + (b.1 - a.1) * ((t - a.0) / (b.0 - a.0)),
        (Some(one), _) | (None, Some(one)) => one.1,
        (None, None) => return None,
    };
    Some(raw - zero)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quiet_value_weighs_more() {
        let m = weighted_mean(&[(10.0, 1.0), (20.0, 2.0)]).expect("usable");
        assert!((m.mean - 12.0).abs() < 1e-12);
        assert!((m.u - (0.8f64).sqrt()).abs() < 1e-12);
        assert_eq!(weighted_mean(&[(1.0, 0.0)]), None);
    }

    #[test]
    fn hysteresis_is_unloading_minus_loading() {
        let o = |load, counts, rising| Observation {
            load,
            counts,
            mass_g: load as f64 * 100.0,
            sd_counts: 0.0,
            rising,
            saturated: false,
        };
        let all = [
            o(1, 1000.0, true),
            o(2, 2000.0, true),
            o(3, 3000.0, true),
            o(2, 2006.0, false),
            o(1, 1002.0, false),
        ];
        let h = hysteresis(&all).expect("two loads both ways");
        assert_eq!(h.mean_counts, 4.0);
        assert_eq!((h.largest_counts, h.at_g), (6.0, 200.0));
        assert_eq!(hysteresis(&all[..3]), None);
    }

    #[test]
    fn zero_stays_outside_its_times() {
        let zeros = [(10.0, 5.0), (0.0, 1.0)];
        assert_eq!(net_counts(10.0, -3.0, &zeros), Some(9.0));
        assert_eq!(net_counts(10.0, 30.0, &zeros), Some(5.0));
        assert_eq!(net_counts(f64::NAN, 0.0, &zeros), None);
    }
}
