//! Schemes for the tests that need any. Each test binary uses part of it.
#![allow(dead_code)]

use proptest::prelude::*;
use scalewright_metrology::tolerance::{
    AccuracyClass, Application, LoadShare, OwnTable, Scheme, Stage, Step, StepsRefusal, Title,
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
        .map(|&(up_to_g, permitted_g)| Step::of_mass(up_to_g, permitted_g))
        .collect();
    OwnTable::new(&all)
}

/// Any scheme.
pub fn scheme() -> impl Strategy<Value = Scheme> {
    let class = || prop::sample::select(CLASSES.to_vec());
    let step = (1e-6..1e6f64, 0.0..1e3f64, prop::bool::ANY);
    let title = prop::option::of(("[a-zA-Z0-9(),:;%é' ]{1,30}", "[^\"\\p{C}]{1,30}"));
    let table = (prop::collection::vec(step, 1..6), title).prop_map(|(rows, title)| {
        let (mut up_to_g, mut permitted_g) = (0.0, 0.0);
        let mut all = Vec::new();
        for (more, wider, share) in rows {
            permitted_g += wider + 1e-9;
            let begins_g: f64 = up_to_g;
            up_to_g += more + wider + 1e-9;
            let percent = LoadShare::new(100.0 * permitted_g / begins_g).ok();
            all.push(match percent {
                Some(percent) if share => {
                    permitted_g *= up_to_g / begins_g * (1.0 + 1e-12);
                    Step::of_share(up_to_g, percent)
                }
                _ => Step::of_mass(up_to_g, permitted_g),
            });
        }
        let table = OwnTable::new(&all).expect("rising steps");
        let title = title.and_then(|(name, source)| Title::new(&name, &source).ok());
        Scheme::Own(match title {
            Some(title) => table.titled(title),
            None => table,
        })
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
