//! The permissible band of the scale as the plots need it. The errors come
//! from the metrology crate; this file only finds where they step.
//!
//! Refuses: a class or an e that makes no sense; then there is no band, and
//! the reports say so instead of drawing one.

use crate::record::outcome::ScaleLine;
use scalewright_metrology::tolerance::{self, AccuracyClass, Stage};

/// Intervals the range is searched in for steps. The closest steps of any
/// class are 5 % of its largest range apart (OIML R 76-1:2006, table 6), so
/// this is ten times finer than needed.
const SEARCHED: u32 = 200;

/// Maximum permissible errors of one scale at initial verification.
#[derive(Clone, Copy, Debug)]
pub struct Band {
    class: AccuracyClass,
    e_g: f64,
}

/// A stretch of loads with one permissible error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Where it begins, g.
    pub from_g: f64,
    /// Where it ends, g.
    pub to_g: f64,
    /// Permissible error, plus or minus, in e.
    pub mpe_e: f64,
}

impl Band {
    /// The band of a scale; `None` when its class or e cannot be used.
    pub fn of(scale: &ScaleLine) -> Option<Self> {
        let class = scale.class.trim().parse().ok()?;
        let usable = scale.e.is_finite() && scale.e > 0.0;
        usable.then_some(Self {
            class,
            e_g: scale.e,
        })
    }

    /// Permissible error at a load, plus or minus, in e.
    pub fn mpe_e(&self, load_g: f64) -> f64 {
        tolerance::mpe_e(self.class, Stage::Initial, load_g / self.e_g)
    }

    /// The stretches from zero to `to_g`, in order; empty when there is none.
    pub fn stretches(&self, to_g: f64) -> Vec<Stretch> {
        let mut found = Vec::new();
        if !to_g.is_finite() || to_g <= 0.0 {
            return found;
        }
        let (mut from_g, mut mpe_e) = (0.0, self.mpe_e(0.0));
        for i in 1..=SEARCHED {
            let here = to_g * f64::from(i) / f64::from(SEARCHED);
            let there = self.mpe_e(here);
            if there != mpe_e {
                let before = to_g * f64::from(i - 1) / f64::from(SEARCHED);
                let step_g = self.step_between(before, here);
                found.push(Stretch {
                    from_g,
                    to_g: step_g,
                    mpe_e,
                });
                (from_g, mpe_e) = (step_g, there);
            }
        }
        found.push(Stretch {
            from_g,
            to_g,
            mpe_e,
        });
        found
    }

    /// Last load, g, that still has the permissible error of `low`.
    fn step_between(&self, mut low: f64, mut high: f64) -> f64 {
        let mpe_e = self.mpe_e(low);
        for _ in 0..80 {
            let middle = low + (high - low) / 2.0;
            if self.mpe_e(middle) == mpe_e {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The metrology crate lets a load count as on the step that is a
    /// billionth above it, for the rounding of the division by e.
    const STEP: f64 = 2e-9;

    fn scale(class: &str, e: f64) -> ScaleLine {
        ScaleLine {
            max: 6000.0,
            e,
            d: e,
            unit: "g".into(),
            class: class.into(),
        }
    }

    /// OIML R 76-1:2006, table 6, class III: 0.5 e to 500 e, 1 e to 2000 e,
    /// then 1.5 e.
    #[test]
    fn class_iii_steps_where_the_table_says() {
        let band = Band::of(&scale("III", 2.0)).unwrap();
        let steps = band.stretches(6000.0);
        assert_eq!(steps.len(), 3);
        for (stretch, (to_g, mpe_e)) in
            steps
                .iter()
                .zip([(1000.0, 0.5), (4000.0, 1.0), (6000.0, 1.5)])
        {
            assert!((stretch.to_g / to_g - 1.0).abs() < STEP, "{stretch:?}");
            assert_eq!(stretch.mpe_e, mpe_e);
        }
    }

    #[test]
    fn nonsense_has_no_band() {
        assert!(Band::of(&scale("III<", 2.0)).is_none());
        assert!(Band::of(&scale("III", 0.0)).is_none());
        assert!(Band::of(&scale("III", f64::NAN)).is_none());
        let band = Band::of(&scale("III", 2.0)).unwrap();
        assert!(band.stretches(f64::NAN).is_empty());
        assert!(band.stretches(0.0).is_empty());
    }
}
