//! The form of a scale interval and the range of indication.

use super::STEP_ROUNDING;

/// Whether an interval is 1, 2 or 5 times a whole power of ten
/// (R 76-1, 4.2.2.1 = 2014/31/EU Annex I, 2.2.1), rounding of f64 forgiven.
pub fn is_scale_interval(interval: f64) -> bool {
    if !(interval.is_finite() && interval > 0.0) {
        return false;
    }
    let decade = 10f64.powi(interval.log10().floor() as i32);
    let mantissa = interval / decade;
    // 10 stands for 1 of the next decade, reached when log10 rounds down.
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .any(|m| (mantissa - m).abs() < STEP_ROUNDING * m)
}

/// Whether a load is within the range of indication: at most Max + 9 e
/// (2014/31/EU Annex I, 9).
pub fn may_indicate(load_g: f64, max_g: f64, e_g: f64) -> bool {
    load_g <= max_g + 9.0 * e_g
}

/// The smallest scale interval (1, 2 or 5 times a power of ten: OIML R 76-1:2006,
/// 4.2.2.1) that is not below `least`; 0 when that is no positive number.
///
/// ```
/// use scalewright_metrology::tolerance::interval_at_least;
/// assert_eq!(interval_at_least(0.13), 0.2);
/// assert_eq!(interval_at_least(5.0), 5.0);
/// assert_eq!(interval_at_least(f64::NAN), 0.0);
/// ```
#[must_use]
pub fn interval_at_least(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 0.0;
    }
    let exponent = least.log10().floor() as i32;
    [(1.0, 0), (2.0, 0), (5.0, 0), (1.0, 1)]
        .into_iter()
        // Dividing by a whole power of ten gives the f64 nearest to 0.2.
        .map(|(step, up)| match exponent + up {
            below @ ..=-1 => step / 10f64.powi(-below),
            above => step * 10f64.powi(above),
        })
        .find(|interval| *interval >= least * (1.0 - 1e-9))
        .unwrap_or(least)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_1_2_or_5() {
        for (least, interval) in [
            (0.0, 0.0),
            (0.09, 0.1),
            (0.1, 0.1),
            (0.100_1, 0.2),
            (0.3, 0.5),
            (0.6, 1.0),
            (3.0, 5.0),
            (7.0, 10.0),
            (2_000.0, 2_000.0),
        ] {
            assert_eq!(interval_at_least(least), interval, "{least}");
        }
    }
}
