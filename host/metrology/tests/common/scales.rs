//! A scale under test and its readings. Each test binary uses part of it.
#![allow(dead_code)]

use scalewright_metrology::performance::{Instrument, LoadReading, Reading};
use scalewright_metrology::tolerance::Intervals;

/// The numbers of tests/reference/r76_rules.toml.
pub fn rules() -> toml::Table {
    super::common::reference("r76_rules.toml")
        .parse()
        .expect("toml")
}

/// One of them.
pub fn rule(table: &str, key: &str) -> f64 {
    let value = &rules()[table][key];
    let whole = value.as_integer().map(|v| v as f64);
    value.as_float().or(whole).expect("a number")
}

/// A scale with d = e, read in steps of d.
pub fn scale(scheme: &str, e_g: f64, max_g: f64, min_g: f64) -> Instrument {
    let scheme = scheme.parse().expect("scheme");
    let intervals = Intervals::new(e_g, e_g).expect("intervals");
    Instrument::new(scheme, intervals, max_g, min_g).expect("a scale")
}

/// Class III, e = 2 g, Max 6 kg, read in steps of 0.01 g.
pub fn fine() -> Instrument {
    let coarse = scale("R76 III initial", 2.0, 6000.0, 40.0);
    coarse.read_in_steps_of(0.01).expect("finer")
}

/// A load and what it was shown as, in g.
pub fn at(load_g: f64, indication_g: f64) -> LoadReading {
    LoadReading {
        load_g,
        reading: Reading::shown(indication_g),
    }
}

/// Nothing on, nothing shown.
pub const ZERO: LoadReading = LoadReading {
    load_g: 0.0,
    reading: Reading {
        indication_g: 0.0,
        added_g: None,
    },
};
