//! How well captures tell one body from the others.
//!
//! Of the posterior of two bodies the stated priors are taken out again, and
//! the other body is left free: what remains for the first is what the captures
//! say even if it is the other that is wrong.

/// What is known of two bodies, in one unit: variances and covariance after the
/// captures, variances stated beforehand (`None`: nothing).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pair {
    pub(crate) own: f64,
    pub(crate) other: f64,
    pub(crate) both: f64,
    pub(crate) own_stated: Option<f64>,
    pub(crate) other_stated: Option<f64>,
}

/// Variance of a body by the captures alone; infinite where they say nothing.
pub(crate) fn alone(variance: f64, stated: Option<f64>) -> f64 {
    let precision = 1.0 / variance - stated.map_or(0.0, |stated| 1.0 / stated);
    if precision > 0.0 {
        1.0 / precision
    } else {
        f64::INFINITY
    }
}

/// The same with the other body of the pair left free; infinite where the two
/// can't be told apart.
pub(crate) fn beside(pair: Pair) -> f64 {
    let determinant = pair.own * pair.other - pair.both * pair.both;
    if determinant <= 0.0 || determinant.is_nan() {
        return f64::INFINITY;
    }
    let stated = |stated: Option<f64>| stated.map_or(0.0, |stated| 1.0 / stated);
    // Precision of the captures: inverse of the block, less the priors.
    let own = pair.other / determinant - stated(pair.own_stated);
    let other = pair.own / determinant - stated(pair.other_stated);
    let both = -pair.both / determinant;
    if other <= 0.0 {
        // Of the other body the captures say nothing at all.
        return if own > 0.0 { 1.0 / own } else { f64::INFINITY };
    }
    let left = own - both * both / other;
    // Below this the difference is rounding of two large precisions.
    if left > 1e-6 * own.abs() {
        1.0 / left
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_bodies_only_ever_together_are_not_told_apart() {
        // Prior variance 1 each; their sum is measured with variance 0.01.
        let k = 1.0 / (2.0 + 0.01);
        let pair = Pair {
            own: 1.0 - k,
            other: 1.0 - k,
            both: -k,
            own_stated: Some(1.0),
            other_stated: Some(1.0),
        };
        assert_eq!(beside(pair), f64::INFINITY);
        // Alone each looks known: by the sum and the other's prior.
        assert!((alone(1.0 - k, Some(1.0)) - 1.01).abs() < 1e-9);
    }

    #[test]
    fn two_bodies_measured_by_themselves_are() {
        let posterior = 1.0 / (1.0 + 1.0 / 0.04);
        let pair = Pair {
            own: posterior,
            other: posterior,
            both: 0.0,
            own_stated: Some(1.0),
            other_stated: Some(1.0),
        };
        assert!((beside(pair) - 0.04).abs() < 1e-12);
    }
}
