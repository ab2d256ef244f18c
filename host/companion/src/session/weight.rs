//! A weight at hand, as a plan knows it.
//!
//! Owns what is known of its mass and in what sense. Guarantees that plans
//! written before a field existed stay readable: each field that came later
//! has a value that means what was meant without it.

use serde::{Deserialize, Serialize};

/// In what sense the mass of a weight is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// Within limits, as by its class: rectangular, of half width `u_g` times
    /// the root of 3 (JCGM 100:2008, 4.3.7).
    #[default]
    Class,
    /// With a stated uncertainty: normal, `u_g` its standard deviation.
    Stated,
    /// Not at all: a substitution load, of which `mass_g` is only the rough
    /// value.
    Not,
}

/// A weight at hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedWeight {
    /// Its name, as on its label.
    pub id: String,
    /// Its conventional mass as known, g.
    pub mass_g: f64,
    /// Standard uncertainty of that mass, g.
    pub u_g: f64,
    /// In what sense it is known.
    #[serde(default)]
    pub known: Known,
    /// Its density, kg/m3, if it was given; `u_g` covers what the air then
    /// does to its reading.
    #[serde(default)]
    pub density_kg_m3: Option<f64>,
    /// Which filling of a vessel it is, of a substitution load.
    #[serde(default)]
    pub filling: Option<Filling>,
}

/// One filling of a vessel such as a jug.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Filling {
    /// Name of the vessel.
    pub vessel: String,
    /// Which filling, from 0.
    pub turn: usize,
}

impl PlannedWeight {
    /// A weight known within limits, of no stated density.
    pub fn new(id: impl Into<String>, mass_g: f64, u_g: f64) -> Self {
        Self {
            id: id.into(),
            mass_g,
            u_g,
            known: Known::Class,
            density_kg_m3: None,
            filling: None,
        }
    }

    /// How far its mass may be off, g: the limits of a class, or the expanded
    /// uncertainty (k = 2).
    #[must_use]
    pub fn may_be_off_g(&self) -> f64 {
        match self.known {
            Known::Class => self.u_g * 3f64.sqrt(),
            Known::Stated | Known::Not => self.u_g * 2.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::plan::{Load, Plan, ScaleSpec, looks_like};

    #[test]
    fn a_weight_of_an_old_plan_is_one_of_a_class() {
        let old = r#"{"id":"W1","mass_g":2000.0,"u_g":0.0577}"#;
        let read: PlannedWeight = serde_json::from_str(old).expect("readable");
        assert_eq!(read, PlannedWeight::new("W1", 2000.0, 0.0577));
    }

    #[test]
    fn what_is_written_reads_back() {
        let mut weight = PlannedWeight::new("jug", 4000.0, 400.0);
        weight.known = Known::Not;
        weight.density_kg_m3 = Some(1000.0);
        let text = serde_json::to_string(&weight).expect("JSON");
        assert!(text.contains("\"known\":\"not\""), "{text}");
        assert_eq!(
            serde_json::from_str::<PlannedWeight>(&text).ok(),
            Some(weight)
        );
    }

    #[test]
    fn nothing_is_proved_by_what_is_not_known() {
        let scale = ScaleSpec {
            max_g: 6000.0,
            e_g: 2.0,
            d_g: 2.0,
            class: "III".into(),
        };
        let mut weights: Vec<PlannedWeight> = [3000.0, 2000.0, 500.0]
            .iter()
            .map(|mass_g| PlannedWeight::new(mass_g.to_string(), *mass_g, 0.1))
            .collect();
        let mut jug = PlannedWeight::new("jug", 1000.0, 100.0);
        jug.known = Known::Not;
        weights.push(jug.clone());
        let with = Plan::new(scale.clone(), weights.clone()).expect("a plan");
        // The calibration uses it; the proof, and what a signal looks like, don't.
        assert!(with.fit.iter().any(|load| load.weights.contains(&jug.id)));
        assert!(
            with.verify
                .iter()
                .all(|load| !load.weights.contains(&jug.id))
        );
        assert_eq!(with.single_span_g, 500.0);
        assert_eq!(with.looks_like(1000.0, 1.0), []);
        jug.known = Known::Stated;
        weights.pop();
        weights.push(jug);
        let known = Plan::new(scale, weights).expect("a plan");
        assert_eq!(known.single_span_g, 1000.0);
        assert_eq!(known.looks_like(1000.0, 1.0).len(), 1);
    }

    #[test]
    fn a_mass_looks_like_the_empty_pan_before_it_looks_like_a_small_weight() {
        let weights = [1000.0, 2.0].map(|g| PlannedWeight::new(g.to_string(), g, 0.1));
        let like = |mass_g| looks_like(&weights, 6000.0, mass_g, 4.0);
        assert_eq!(like(3.0), [Load::empty()]);
        assert_eq!(like(-3.0), [Load::empty()]);
        assert_eq!(like(5.0)[0].weights, ["2"]);
        assert_eq!(like(1001.0)[0].weights, ["1000"]);
        assert_eq!(like(500.0), []);
    }

    #[test]
    fn limits_and_expanded_uncertainties_are_what_may_be_off() {
        // Class M1, 2 kg: 100 mg (OIML R 111-1:2004, table 1).
        let mut weight = PlannedWeight::new("W1", 2000.0, 0.1 / 3f64.sqrt());
        assert!((weight.may_be_off_g() - 0.1).abs() < 1e-12);
        weight.known = Known::Stated;
        weight.u_g = 0.05;
        assert_eq!(weight.may_be_off_g(), 0.1);
    }
}
