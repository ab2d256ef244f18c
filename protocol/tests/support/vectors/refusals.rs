//! Every refusal.

use scalewright_protocol::message::*;
use scalewright_protocol::settings::SettingsFault;
use scalewright_protocol::table::TableFault;

use super::{Vector, refusal, report};

/// Refusals that say all by themselves.
pub fn all() -> Vec<Vector> {
    let top = u8::MAX;
    let widest = Report::Refusal {
        id: u16::MAX,
        refusal: Refusal::Range { field: top },
    };
    vec![
        refusal(
            "refusal.unknown",
            Refusal::Unknown,
            "a message of a later day",
        ),
        refusal(
            "refusal.range",
            Refusal::Range { field: 0 },
            "the first field",
        ),
        report("refusal.range.widest", widest, "highest numbers"),
        refusal(
            "refusal.not-staging",
            Refusal::NotStaging,
            "knots without a beginning",
        ),
        refusal(
            "refusal.stage-order",
            Refusal::StageOrder { expected: 6 },
            "knot 6 was due",
        ),
        refusal(
            "refusal.stage-order.widest",
            Refusal::StageOrder { expected: top },
            "highest number",
        ),
        refusal(
            "refusal.stage-incomplete",
            Refusal::StageIncomplete { received: 2 },
            "two came",
        ),
        refusal(
            "refusal.stage-incomplete.widest",
            Refusal::StageIncomplete { received: top },
            "highest number",
        ),
        refusal(
            "refusal.stage-checksum",
            Refusal::StageChecksum,
            "not what was announced",
        ),
        refusal(
            "refusal.quantum-in-use",
            Refusal::QuantumInUse,
            "send the table with them",
        ),
        refusal(
            "refusal.nothing-to-roll-back",
            Refusal::NothingToRollBack,
            "the only record",
        ),
        refusal(
            "refusal.not-at-rest",
            Refusal::NotAtRest,
            "somebody leans on it",
        ),
        refusal(
            "refusal.zero-range",
            Refusal::ZeroRange,
            "more than 4 % of Max",
        ),
        refusal("refusal.not-calibrated", Refusal::NotCalibrated, "no table"),
        refusal("refusal.adc-fault", Refusal::AdcFault, "a wire is loose"),
        refusal("refusal.storage", Refusal::Storage, "the old record stays"),
        refusal("refusal.tare-range", Refusal::TareRange, "below zero"),
        refusal("refusal.sealed", Refusal::Sealed, "started without the key"),
        refusal("refusal.busy", Refusal::Busy, "Ida is at the keys"),
    ]
}

/// Refusals that carry the fault of a table or of settings.
pub fn of_tables_and_settings() -> Vec<Vector> {
    let top = u8::MAX;
    let table = |name, fault, note| refusal(name, Refusal::Table(fault), note);
    let settings = |name, fault, note| refusal(name, Refusal::Settings(fault), note);
    let many = TableFault::TooMany { knots: 17, fit: 16 };
    let many_widest = TableFault::TooMany {
        knots: top,
        fit: top,
    };
    vec![
        table(
            "refusal.table.too-few",
            TableFault::TooFew { knots: 1 },
            "one knot",
        ),
        table("refusal.table.too-many", many, "17 where 16 fit"),
        table(
            "refusal.table.too-many.widest",
            many_widest,
            "highest numbers",
        ),
        table(
            "refusal.table.counts-order",
            TableFault::CountsOrder { at: 2 },
            "counts fall",
        ),
        table(
            "refusal.table.mass-order",
            TableFault::MassOrder { at: 2 },
            "mass falls",
        ),
        table(
            "refusal.table.counts-range",
            TableFault::CountsRange { at: 0 },
            "no such code",
        ),
        table(
            "refusal.table.mass-range",
            TableFault::MassRange { at: top },
            "too heavy",
        ),
        table(
            "refusal.table.no-zero",
            TableFault::NoZero,
            "no knot (0, 0)",
        ),
        table(
            "refusal.table.slope",
            TableFault::Slope { at: 3 },
            "a wrong weight",
        ),
        settings(
            "refusal.settings.quantum",
            SettingsFault::Quantum,
            "coarser than e/100",
        ),
        settings(
            "refusal.settings.interval",
            SettingsFault::ScaleInterval,
            "d above e",
        ),
        settings(
            "refusal.settings.capacity",
            SettingsFault::Capacity,
            "Max below 100 e",
        ),
        settings("refusal.settings.rate", SettingsFault::Rate, "no such rate"),
        settings(
            "refusal.settings.smoothing",
            SettingsFault::Smoothing,
            "depth 7",
        ),
        settings(
            "refusal.settings.rest",
            SettingsFault::Rest,
            "an empty window",
        ),
        settings(
            "refusal.settings.conduct",
            SettingsFault::Conduct,
            "a bit without a meaning",
        ),
    ]
}
