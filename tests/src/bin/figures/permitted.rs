//! Figure 2 of topic proof: the permitted errors of every scheme and class at
//! their steps.

use scalewright_metrology::tolerance::{AccuracyClass, Application, Intervals, Scheme, Stage};

use crate::row::{Bound, Sheet};

/// 2014/31/EU Annex I table 3 = OIML R 76-1:2006 table 6.
const R76: &str = include_str!("../../../reference/r76_mpe.csv");
/// NIST Handbook 44, 2.20, table 6.
const HANDBOOK: &str = include_str!("../../../reference/hb44_tolerance.csv");

/// Verification intervals to try, g: f64 can't hold most of them exactly.
const E_G: [f64; 6] = [0.001, 0.02, 0.1, 0.5, 2.0, 5000.0];

/// One count of a scale that resolves a hundredth of e.
const COUNT_E: f64 = 0.01;

/// Steps that the tables have: 8 of R 76 in two stages, 10 of Handbook 44 in
/// two applications.
const STEPS: f64 = 36.0;

/// The scheme of a class and a column of a table.
type SchemeOf = dyn Fn(AccuracyClass, usize) -> Scheme;

/// A row of a table: class, from exclusive in e, permitted errors in e.
struct Row {
    class: AccuracyClass,
    from_e: f64,
    permitted_e: [f64; 2],
}

fn rows(text: &str) -> Vec<Row> {
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let row = |line: &str| {
        let mut cells = line.split(',').map(str::trim);
        let class = cells.next()?.parse().ok()?;
        let from_e = cells.next()?.parse().ok()?;
        // The upper bound is the lower one of the next row.
        let mut last = cells.skip(1).map(|cell| cell.parse().ok());
        Some(Row {
            class,
            from_e,
            permitted_e: [last.next()??, last.next()??],
        })
    };
    lines.filter_map(row).collect()
}

/// Prints figure 2.
pub fn steps(sheet: &mut Sheet) {
    Sheet::part("2  permitted errors at each step and one count (0.01 e) either side, six e");
    let r76 = |class, column| Scheme::R76 {
        class,
        stage: match column {
            0 => Stage::Initial,
            _ => Stage::InService,
        },
    };
    let handbook = |class, column| Scheme::Handbook44 {
        class,
        application: match column {
            0 => Application::Maintenance,
            _ => Application::Acceptance,
        },
    };
    let schemes: [(&str, &SchemeOf); 2] = [(R76, &r76), (HANDBOOK, &handbook)];
    let (mut steps, mut loads, mut wrong) = (0, 0, 0);
    for (text, scheme) in schemes {
        let rows = rows(text);
        for pair in rows.windows(2) {
            let [below, above] = pair else { continue };
            if below.class != above.class {
                continue;
            }
            for column in 0..2 {
                steps += 1;
                let scheme = scheme(above.class, column);
                let [lower, upper] = [below, above].map(|row| row.permitted_e.get(column));
                for (off_e, permitted_e) in [(-COUNT_E, lower), (0.0, lower), (COUNT_E, upper)] {
                    for e_g in E_G {
                        for sign in [1.0, -1.0] {
                            let load_g = sign * (above.from_e + off_e) * e_g;
                            let found = Intervals::new(e_g, e_g)
                                .ok()
                                .and_then(|both| scheme.permitted_g(load_g, &both).ok());
                            let right = found.zip(permitted_e).is_some_and(|(g, permitted_e)| {
                                (g / e_g - permitted_e).abs() < 1e-12
                            });
                            loads += 1;
                            wrong += i32::from(!right);
                        }
                    }
                }
            }
        }
    }
    let all = Bound::AtLeast(STEPS);
    sheet.row(
        "steps of all schemes and classes",
        f64::from(steps),
        "steps",
        all,
        Bound::Beside,
    );
    sheet.beside("  loads tried", f64::from(loads), "loads");
    let none = Bound::AtMost(0.0);
    sheet.row(
        "  of them with a wrong permitted error",
        f64::from(wrong),
        "loads",
        none,
        Bound::Beside,
    );
}
