//! Mean, deviation and autocorrelation of readings.
//!
//! Guarantees two-pass sums: raw counts near eight million lose every digit of
//! their scatter in a one-pass sum of squares (StRD NumAcc4 shows it).
//! Refuses samples too small for the quantity, by `None`.

/// The arithmetic mean, in the unit of the values; `None` without values.
///
/// A second pass adds the mean of the residuals, which removes most of the
/// rounding of the first sum.
///
/// ```
/// use scalewright_metrology::statistics::mean;
/// assert_eq!(mean(&[1.0, 2.0, 6.0]), Some(3.0));
/// assert_eq!(mean(&[]), None);
/// ```
pub fn mean(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let n = values.len() as f64;
    let first = values.iter().sum::<f64>() / n;
    Some(first + values.iter().map(|v| v - first).sum::<f64>() / n)
}

/// Sum of squared deviations from the mean, and the mean; two passes.
fn squares(values: &[f64]) -> Option<(f64, f64)> {
    let centre = mean(values)?;
    Some((values.iter().map(|v| (v - centre).powi(2)).sum(), centre))
}

/// The sample standard deviation (divisor n - 1), in the unit of the values;
/// `None` below two values.
///
/// ```
/// use scalewright_metrology::statistics::sample_sd;
/// assert_eq!(sample_sd(&[1.0, 3.0]), Some(2f64.sqrt()));
/// assert_eq!(sample_sd(&[1.0]), None);
/// ```
pub fn sample_sd(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let (sum, _) = squares(values)?;
    Some((sum / (values.len() - 1) as f64).sqrt())
}

/// The lag-1 autocorrelation coefficient, without unit; `None` below two
/// values or without scatter.
///
/// ```text
/// r = sum (y[i] - m)(y[i+1] - m) / sum (y[i] - m)^2     (NIST StRD univariate definition)
/// ```
pub fn lag1_autocorrelation(values: &[f64]) -> Option<f64> {
    let (sum, centre) = squares(values)?;
    if values.len() < 2 || sum <= 0.0 {
        return None;
    }
    let lagged: f64 = values
        .iter()
        .zip(values.iter().skip(1))
        .map(|(a, b)| (a - centre) * (b - centre))
        .sum();
    Some(lagged / sum)
}

/// The standard deviation pooled over groups, in the unit of the values, and
/// its degrees of freedom; `None` when no group has two values.
///
/// ```text
/// s^2 = sum over groups of squared deviations / sum (n - 1)   (common practice)
/// ```
pub fn pooled_sd<G: AsRef<[f64]>>(groups: &[G]) -> Option<(f64, usize)> {
    let mut sum = 0.0;
    let mut dof = 0;
    for group in groups {
        let values = group.as_ref();
        if values.len() < 2 {
            continue;
        }
        let (part, _) = squares(values)?;
        sum += part;
        dof += values.len() - 1;
    }
    (dof > 0).then(|| ((sum / dof as f64).sqrt(), dof))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pools_only_groups_with_scatter() {
        let groups: [&[f64]; 3] = [&[1.0, 3.0], &[7.0], &[10.0, 10.0, 13.0]];
        let (sd, dof) = pooled_sd(&groups).expect("two groups have scatter");
        assert_eq!(dof, 3);
        assert!((sd - (8.0f64 / 3.0).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn constant_values_have_no_autocorrelation() {
        assert_eq!(lag1_autocorrelation(&[5.0, 5.0, 5.0]), None);
    }
}
