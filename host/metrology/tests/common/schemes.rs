//! Schemes for the tests that need any. Each test binary uses part of it.
#![allow(dead_code)]

use proptest::prelude::*;
use scalewright_metrology::tolerance::{
    AccuracyClass, Application, LoadShare, OwnTable, Scheme, Stage, Step, StepsRefusal,
};

/// The accuracy classes.
pub const CLASSES: [AccuracyClass; 4] = [
    AccuracyClass::I,
    AccuracyClass::II,
    AccuracyClass::III,
    AccuracyClass::IIII,
];

/// A table of `(up to, permitted)` steps.
pub fn steps(pairs: &[(f64, f64)]) -> Result<OwnTable, StepsRefusal> {
    let all: Vec<Step> = (pairs.iter())
        .map(|&(up_to_g, permitted_g)| Step {
            up_to_g,
            permitted_g,
        })
        .collect();
    OwnTable::new(&all)
}

/// Any scheme.
pub fn scheme() -> impl Strategy<Value = Scheme> {
    let class = || prop::sample::select(CLASSES.to_vec());
    let table = prop::collection::vec((1e-6..1e6f64, 0.0..1e3f64), 1..6).prop_map(|rows| {
        let (mut up_to_g, mut permitted_g) = (0.0, 0.0);
        let mut all = Vec::new();
        for (more, wider) in rows {
            permitted_g += wider + 1e-9;
            up_to_g += more + wider + 1e-9;
            all.push((up_to_g, permitted_g));
        }
        Scheme::Own(steps(&all).expect("rising steps"))
    });
    prop_oneof![
        (class(), prop::bool::ANY).prop_map(|(class, first)| Scheme::R76 {
            class,
            stage: if first {
                Stage::Initial
            } else {
                Stage::InService
            },
        }),
        (class(), prop::bool::ANY).prop_map(|(class, first)| Scheme::Handbook44 {
            class,
            application: if first {
                Application::Acceptance
            } else {
                Application::Maintenance
            },
        }),
        (1e-9..99.9f64).prop_map(|p| Scheme::Share(LoadShare::new(p).expect("a share"))),
        table,
    ]
}
