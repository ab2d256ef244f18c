//! The loads that weights make together.
//!
//! Guarantees an end: sets that make very many loads are counted up to a
//! bound, heavy weights first, so that the heaviest loads are among them.

/// Loads counted before counting ends; sixteen weights of no common measure.
const MOST_LOADS: usize = 1 << 16;

/// What weights make together.
pub struct Sums {
    /// Different loads, rising, g; the empty pan is none of them.
    pub loads_g: Vec<f64>,
    /// Whether there are more.
    pub more: bool,
}

/// Loads of any of the masses together, up to `limit_g`; loads that agree to
/// the milligram are one. A millionth more than the limit is forgiven, as a
/// plan does.
pub fn sums(masses_g: impl Iterator<Item = f64>, limit_g: f64) -> Sums {
    let in_mg = |mass_g: f64| (mass_g * 1000.0).round() as u64;
    let limit = in_mg(limit_g * 1.000_001);
    let mut masses: Vec<u64> = masses_g.map(in_mg).collect();
    masses.sort_unstable_by(|a, b| b.cmp(a));
    let mut sums: Vec<u64> = vec![0];
    let mut more = false;
    for mass in masses {
        if sums.len() > MOST_LOADS {
            more = true;
            break;
        }
        let with = sums.iter().map(|sum| sum.saturating_add(mass));
        let mut all: Vec<u64> = with.filter(|sum| *sum <= limit).collect();
        all.extend(&sums);
        // Two rising runs, which the stable sort merges.
        all.sort();
        all.dedup();
        sums = all;
    }
    Sums {
        loads_g: sums.iter().skip(1).map(|mg| *mg as f64 / 1000.0).collect(),
        more,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_sums_are_one_load() {
        let three = sums([200.0, 100.0, 100.0].into_iter(), f64::INFINITY);
        assert_eq!(three.loads_g, [100.0, 200.0, 300.0, 400.0]);
        assert!(!three.more);
        let up_to = sums([200.0, 100.0, 100.0].into_iter(), 300.0);
        assert_eq!(up_to.loads_g, [100.0, 200.0, 300.0]);
        assert!(sums([].into_iter(), 10.0).loads_g.is_empty());
    }

    #[test]
    fn counting_ends() {
        // Powers of two: every set of them is another load.
        let many = sums((0..40).map(|bit| f64::from(bit).exp2()), f64::INFINITY);
        assert!(many.more && many.loads_g.len() >= MOST_LOADS);
        let huge = sums([f64::MAX, 1e300, 2.0].into_iter(), f64::INFINITY);
        assert!(!huge.more && huge.loads_g.first() == Some(&2.0));
        // Ten thousand equal weights are no reason to stop.
        let equal = sums(std::iter::repeat_n(1.0, 10_000), f64::INFINITY);
        assert_eq!(equal.loads_g.len(), 10_000);
    }
}
