//! The permitted error over the load, as far as the rows of a test tell it.
//!
//! The record has those of the errors of indication. Elsewhere, where the limits
//! of all rows are those of the scale's class, the steps are where the class has
//! them (OIML R 76-1:2006, table 6; in service twice the errors of initial
//! verification, 3.5.2). Of any other scheme only the limits at the loads tried
//! are known, and those are joined.

use super::Kind;
use crate::record::outcome::ScaleLine;
use crate::record::proof::{Proof, ProofRow, TestOutcome};
use crate::report::band::Band;

/// Limits closer than this (relative) are the same.
const SAME: f64 = 1e-6;

/// The permitted error over the load, g over g.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::report) struct Limits {
    corners: Vec<(f64, f64)>,
    stepped: bool,
}

impl Limits {
    /// Those of a test, drawn up to `to_g`: of the errors of indication as the
    /// record has them, of other tests as its rows tell them.
    pub(in crate::report) fn of_test(proof: &Proof, test: &TestOutcome, to_g: f64) -> Self {
        let known = proof.band.iter().map(|one| (one.load_g, one.permitted_g));
        let sound = |(load_g, limit_g): &(f64, f64)| load_g.is_finite() && limit_g.is_finite();
        let corners: Vec<(f64, f64)> = known.filter(sound).collect();
        match Kind::of(test) == Kind::Errors && !corners.is_empty() {
            true => Self {
                corners,
                stepped: true,
            },
            false => Self::of(&test.rows, &proof.scale, to_g),
        }
    }

    /// From the rows of one test, drawn up to `to_g`.
    pub(in crate::report) fn of(rows: &[ProofRow], scale: &ScaleLine, to_g: f64) -> Self {
        let told = rows.iter().map(|row| (row.load_g, row.limit_g));
        let mut told: Vec<(f64, f64)> = told
            .filter(|(load_g, limit_g)| load_g.is_finite() && limit_g.is_finite())
            .collect();
        told.sort_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(corners) = class_steps(&told, scale, to_g) {
            return Self {
                corners,
                stepped: true,
            };
        }
        let ends = (told.first().copied(), told.last().copied());
        if let (Some((from_g, first)), Some((last_g, last))) = ends {
            if from_g > 0.0 {
                told.insert(0, (0.0, first));
            }
            if last_g < to_g && to_g.is_finite() {
                told.push((to_g, last));
            }
        }
        Self {
            corners: told,
            stepped: false,
        }
    }

    /// Corners of the upper edge from the lightest load up: load and limit, g.
    pub(in crate::report) fn corners(&self) -> &[(f64, f64)] {
        &self.corners
    }

    /// Whether the steps are those of what is judged by.
    pub(in crate::report) fn stepped(&self) -> bool {
        self.stepped
    }

    /// The limit at a load, g; not a number where none is known.
    pub(in crate::report) fn at(&self, load_g: f64) -> f64 {
        for pair in self.corners.windows(2) {
            let [(from, low), (to, high)] = pair else {
                continue;
            };
            if (*from..=*to).contains(&load_g) && to > from {
                return low + (high - low) * ((load_g - from) / (to - from));
            }
        }
        self.corners.last().map_or(f64::NAN, |last| last.1)
    }
}

fn class_steps(told: &[(f64, f64)], scale: &ScaleLine, to_g: f64) -> Option<Vec<(f64, f64)>> {
    let band = Band::of(scale)?;
    if told.is_empty() {
        return None;
    }
    let factor = [1.0, 2.0].into_iter().find(|factor| {
        let class_g = |load_g: f64| factor * scale.e * band.mpe_e(load_g);
        told.iter()
            .all(|(load_g, limit_g)| (class_g(*load_g) - limit_g).abs() <= SAME * limit_g.abs())
    })?;
    let stretches = band.stretches(to_g);
    let corners = stretches.iter().flat_map(|stretch| {
        let limit_g = factor * scale.e * stretch.mpe_e;
        [(stretch.from_g, limit_g), (stretch.to_g, limit_g)]
    });
    Some(corners.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::proof::Verdict;

    fn scale() -> ScaleLine {
        ScaleLine {
            max: 6000.0,
            e: 2.0,
            d: 1.0,
            unit: "g".into(),
            class: "III".into(),
        }
    }

    fn row(load_g: f64, limit_g: f64) -> ProofRow {
        ProofRow {
            what: String::new(),
            load_g,
            from_above: false,
            at_s: None,
            value_g: 0.0,
            limit_g,
            expanded_u_g: None,
            k: None,
            inside: None,
            verdict: Verdict::Passes,
            captures: Vec::new(),
        }
    }

    /// OIML R 76-1:2006, table 6, class III (VERIFIED second hand, see
    /// r76_mpe.csv): the step lies at 500 e and 2000 e, wherever the loads are.
    #[test]
    fn a_class_steps_where_it_steps() {
        let rows = [row(400.0, 1.0), row(3000.0, 2.0), row(6000.0, 3.0)];
        let limits = Limits::of(&rows, &scale(), 6000.0);
        assert!(limits.stepped());
        for (load_g, limit_g) in [(999.0, 1.0), (1001.0, 2.0), (3999.0, 2.0), (4001.0, 3.0)] {
            assert_eq!(limits.at(load_g), limit_g, "{load_g}");
        }
        let twice = rows.map(|one| row(one.load_g, 2.0 * one.limit_g));
        let limits = Limits::of(&twice, &scale(), 6000.0);
        assert!(limits.stepped());
        assert_eq!(limits.at(3999.0), 4.0);
    }

    #[test]
    fn what_is_no_class_is_joined() {
        let rows = [row(6000.0, 30.0), row(1000.0, 5.0), row(2000.0, f64::NAN)];
        let limits = Limits::of(&rows, &scale(), 6000.0);
        assert!(!limits.stepped());
        assert_eq!(
            limits.corners(),
            [(0.0, 5.0), (1000.0, 5.0), (6000.0, 30.0)]
        );
        assert_eq!(limits.at(3500.0), 17.5);
        assert!(Limits::of(&[], &scale(), 6000.0).at(1.0).is_nan());
    }
}
