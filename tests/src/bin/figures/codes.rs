//! Figure 2: the table as the device applies it, against exact rational
//! arithmetic over every code a 24-bit converter can give.

use scalewright::quantise::{self, HostTable};
use scalewright::session::plan::ScaleSpec;
use scalewright_metrology::curve::Knots;
use scalewright_protocol::table::{Knot, MASS_LIMIT};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::exact::Exact;
use crate::row::{Bound, Sheet};

/// What a sweep found.
struct Sweep {
    /// Largest departure from the exact mass, quanta.
    worst_quanta: f64,
    /// Codes at which the mass is not the nearest quantum, or the place told
    /// (inside, continued, beyond) is another.
    wrong: u32,
    /// Codes at which the mass falls.
    falls: u32,
}

fn sweep(table: &HostTable) -> Sweep {
    let mut found = Sweep {
        worst_quanta: 0.0,
        wrong: 0,
        falls: 0,
    };
    let mut before = i32::MIN;
    for code in CODE_MIN..=CODE_MAX {
        let reading = table.lookup(code);
        let mass = reading.mass;
        let exact = Exact::at(table.knots(), i64::from(code), 1);
        found.wrong += u32::from(!exact.rounds_to(mass) || exact.place != reading.place);
        let off = (i128::from(mass) * exact.below - exact.above).abs();
        // Both fit 64 bits; the quotient is good to 16 digits.
        found.worst_quanta = found.worst_quanta.max(off as f64 / exact.below as f64);
        found.falls += u32::from(mass < before);
        before = mass;
    }
    found
}

/// The table of a cell with `counts` at Max, bent by some per mille.
fn bent(scale: &ScaleSpec, counts: f64, knots: i32) -> Result<HostTable, String> {
    let top = scale.max_g + 9.0 * scale.e_g;
    let point = |i: i32| {
        let x = f64::from(i) / f64::from(knots - 1);
        let departure = 0.008 * x * (1.0 - x) - 0.011 * x * (1.0 - x) * (1.0 - 2.0 * x);
        ((x + departure) * counts * top / scale.max_g, x * top)
    };
    let knots = Knots::new((0..knots).map(point).collect()).map_err(|fault| fault.to_string())?;
    quantise::table(
        &knots,
        quantise::quantum_ug(scale.e_g),
        quantise::MOST_KNOTS,
    )
    .map_err(|fault| fault.to_string())
}

fn scale(max_g: f64, e_g: f64) -> ScaleSpec {
    ScaleSpec {
        max_g,
        e_g,
        d_g: e_g,
        class: "III".into(),
    }
}

/// Prints figure 2.
pub fn print(sheet: &mut Sheet) {
    Sheet::part("2  the table on the device against exact rational arithmetic, all 2^24 codes");
    // Max, e, counts at Max, knots: e from the finest n to the coarsest.
    let scales = [
        ("Max 100 g, e 1 mg, 2 points", 100.0, 0.001, 3_777_777.0, 2),
        ("Max 6 kg, e 2 g, 16 points", 6e3, 2.0, 5_100_000.0, 16),
        ("Max 2 t, e 1 kg, 32 points", 2e6, 1e3, 480_023.0, 32),
    ];
    let mut tables = Vec::new();
    for (name, max_g, e_g, counts, knots) in scales {
        let scale = scale(max_g, e_g);
        let settings = quantise::settings_for(&scale, &quantise::neutral_settings());
        if let Err(fault) = settings.check() {
            sheet.failed(name, &fault.to_string());
            continue;
        }
        let quantum_e = quantise::quantum_g(settings.quantum_ug) / e_g;
        let quantum = format!("{}: quantum", name.rsplit_once(',').map_or(name, |n| n.0));
        let unit = "of e";
        sheet.row(
            &quantum,
            quantum_e,
            unit,
            Bound::AtMost(0.01),
            Bound::Beside,
        );
        match bent(&scale, counts, knots) {
            Ok(table) => tables.push((name, table)),
            Err(fault) => sheet.failed(name, &fault),
        }
    }
    let knot = |counts, mass| Knot { counts, mass };
    // One quantum in two counts below zero and above: every odd code is a tie.
    let half = CODE_MIN / 2;
    let ties = [knot(CODE_MIN, half), knot(0, 0), knot(-CODE_MIN, -half)];
    let wide = [
        knot(CODE_MIN, -MASS_LIMIT),
        knot(-3_000_001, -100_000_007),
        knot(0, 0),
        knot(2_999_999, 70_000_003),
        knot(CODE_MAX, MASS_LIMIT),
    ];
    for (name, knots) in [
        ("every odd code a tie", &ties[..]),
        ("largest masses", &wide),
    ] {
        match HostTable::new(knots) {
            Ok(table) => tables.push((name, table)),
            Err(fault) => sheet.failed(name, &fault.to_string()),
        }
    }
    let (mut wrong, mut falls) = (0, 0);
    for (name, table) in &tables {
        let found = sweep(table);
        let name = format!("{name}: worst");
        let floor = Bound::AtMost(0.5);
        sheet.row(&name, found.worst_quanta, "quanta", floor, Bound::Beside);
        wrong += found.wrong;
        falls += found.falls;
    }
    let none = Bound::AtMost(0.0);
    let name = "not the nearest quantum, all tables";
    sheet.row(name, f64::from(wrong), "codes", none, Bound::Beside);
    let name = "mass falls while counts rise, all tables";
    sheet.row(name, f64::from(falls), "codes", none, Bound::Beside);
}
