//! Test weights with true masses inside their class.
//!
//! Owns the studio's set and how a true mass is drawn. A weight's true mass is
//! known to the bench alone; a host is told id and nominal value.

use crate::dice::{Dice, Purpose};

/// One weight.
#[derive(Clone, Debug, PartialEq)]
pub struct Weight {
    /// What is written on it.
    pub id: String,
    /// Nominal mass, g.
    pub nominal_g: f64,
    /// True mass, g.
    pub true_g: f64,
}

impl Weight {
    /// A weight that is exactly what it says.
    #[must_use]
    pub fn exact(id: &str, nominal_g: f64) -> Self {
        Self {
            id: id.to_owned(),
            nominal_g,
            true_g: nominal_g,
        }
    }
}

/// Nominal mass in g and tolerance in mg of class M1: OIML R 111-1:2004,
/// table 1 (the column M1).
const CLASS_M1: [(f64, f64); 12] = [
    (1.0, 1.0),
    (2.0, 1.2),
    (5.0, 1.6),
    (10.0, 2.0),
    (20.0, 2.5),
    (50.0, 3.0),
    (100.0, 5.0),
    (200.0, 10.0),
    (500.0, 25.0),
    (1000.0, 50.0),
    (2000.0, 100.0),
    (5000.0, 250.0),
];

/// Tolerance of a class M1 weight, mg (OIML R 111-1:2004, table 1); `None` for
/// a nominal value the bench does not keep.
#[must_use]
pub fn class_m1_tolerance_mg(nominal_g: f64) -> Option<f64> {
    CLASS_M1
        .iter()
        .find(|(nominal, _)| (nominal - nominal_g).abs() < 1e-9)
        .map(|(_, tolerance)| *tolerance)
}

/// Nominal values of the studio's set, g: 6.1 kg in all.
const STUDIO_G: [f64; 11] = [
    2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 20.0, 10.0,
];

/// The studio's set of class M1, named W1 to W11 from the heaviest down, true
/// masses drawn by `seed`.
#[must_use]
pub fn studio_set(seed: u64) -> Vec<Weight> {
    set_of_class_m1(&STUDIO_G, seed)
}

/// Weights of these nominal values, each true mass drawn evenly inside the
/// class M1 tolerance: nothing else is known of a weight that merely passed
/// (rectangular distribution, JCGM 100:2008 clause 4.3.7). A value outside the
/// table is taken as exact.
#[must_use]
pub fn set_of_class_m1(nominals_g: &[f64], seed: u64) -> Vec<Weight> {
    let mut dice = Dice::new(seed, Purpose::Weights);
    nominals_g
        .iter()
        .enumerate()
        .map(|(at, nominal_g)| {
            let tolerance_g = class_m1_tolerance_mg(*nominal_g).unwrap_or(0.0) / 1000.0;
            Weight {
                id: format!("W{}", at + 1),
                nominal_g: *nominal_g,
                true_g: nominal_g + dice.between(-tolerance_g, tolerance_g),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_studio_set_is_inside_its_class_and_sums_to_6100_g() {
        for seed in 0..200 {
            let set = studio_set(seed);
            let nominal: f64 = set.iter().map(|w| w.nominal_g).sum();
            assert_eq!(nominal, 6100.0);
            for weight in &set {
                let limit_g = class_m1_tolerance_mg(weight.nominal_g).expect("kept") / 1000.0;
                assert!((weight.true_g - weight.nominal_g).abs() <= limit_g);
            }
        }
        // They are not all the same: chance did its work.
        assert_ne!(studio_set(1), studio_set(2));
        assert_eq!(studio_set(1), studio_set(1));
    }

    #[test]
    fn tolerances_are_those_of_r_111() {
        // OIML R 111-1:2004 table 1, class M1.
        assert_eq!(class_m1_tolerance_mg(10.0), Some(2.0));
        assert_eq!(class_m1_tolerance_mg(1000.0), Some(50.0));
        assert_eq!(class_m1_tolerance_mg(2000.0), Some(100.0));
        assert_eq!(class_m1_tolerance_mg(3.0), None);
    }
}
