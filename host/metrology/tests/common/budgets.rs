//! Budgets that several tests use.
#![allow(dead_code)]

use scalewright_metrology::budget::{
    Budget, Buoyancy, CalibrationPoint, Contribution, Eccentricity, InUse, Knowledge, LineCheck,
    LineThroughZero, Placing, Repeatability, Temperature, Weight,
};
use scalewright_metrology::weights::WeightClass;

pub fn share(name: &str, knowledge: Knowledge) -> Contribution {
    Contribution::new(name, knowledge).expect("a share")
}

/// A point like those of tests/reference/cg18_case.toml.
pub fn point(indication_g: f64, weights_g: &[f64]) -> CalibrationPoint {
    CalibrationPoint {
        indication_g,
        weights: (weights_g.iter())
            .map(|g| Weight::of_class(*g, WeightClass::M1))
            .collect(),
        zero_interval_g: 1.0,
        interval_g: 1.0,
        repeatability: Repeatability::from_readings(&[2000.0, 2000.0, 2001.0, 2000.0, 2000.0])
            .expect("five readings"),
        eccentricity: Some(Eccentricity {
            largest_difference_g: -1.0,
            test_load_g: 1000.0,
        }),
        buoyancy: Buoyancy::NotAdjusted,
        convection_g: 0.0,
        zero_drift_g: 0.0,
        table_u_g: 0.0,
        others: Vec::new(),
    }
}

pub fn u_of(budget: &Budget, name: &str) -> f64 {
    let found = (budget.contributions().iter()).find(|one| one.name() == name);
    found.unwrap_or_else(|| panic!("no {name}")).u_g()
}

pub fn in_use() -> InUse {
    InUse {
        zero_interval_g: 1.0,
        interval_g: 1.0,
        repeatability: Repeatability {
            sd_g: 0.5,
            dof: 9.0,
            averaged: 1,
        },
        eccentricity: Some((
            Eccentricity {
                largest_difference_g: 1.0,
                test_load_g: 1000.0,
            },
            Placing::Anywhere,
        )),
        temperature: Some(Temperature {
            per_k: 1e-5,
            span_k: 20.0,
        }),
        air_relative: 1.5e-5,
        adjustment_relative: 1e-4,
        zero_drift_g: 0.5,
        line: LineThroughZero {
            slope: 1e-3,
            u_slope: 2e-4,
            check: LineCheck {
                chi2: 3.0,
                dof: 3.0,
                within_expanded: true,
            },
        },
        corrected: false,
    }
}
