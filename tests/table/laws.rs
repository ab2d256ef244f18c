//! Laws of an adjusted table and of what is foretold.

use proptest::prelude::*;
use scalewright::quantise::{HostTable, neutral_settings, quantum_g};
use scalewright::report::{self, Style};
use scalewright::session::table::adjusting::{
    AdjustFault, Adjusted, KEPT_E, MOST_BEND, OUTSIDE_E, Shown, Wanted, adjust,
};
use scalewright::session::table::face::Face;
use scalewright::session::table::foretold::{Look, Side, beside};
use scalewright_protocol::hysteresis::gain;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::support::too_wide;

/// Quanta of e here: the least and the usual (the wire allows 100 and more).
const QUANTA: [i32; 2] = [100, 1000];

/// A scale of 3000 e and a table of a cell that is straight to a per cent.
fn scale() -> impl Strategy<Value = (HostTable, Settings)> {
    let steps = prop::collection::vec((0.3..1.0f64, -0.01..0.01f64), 1..15);
    let rest = (0..3usize, 0..2usize, 0..600u32, 0.05..2.0f64);
    (steps, rest).prop_filter_map(
        "a table",
        |(steps, (below, quanta, loop_e, per_quantum))| {
            let e = QUANTA[quanta];
            let max = 3000 * e;
            let below = below.min(steps.len() - 1);
            let wide: f64 = steps[below..].iter().map(|(run, _)| run).sum();
            // Reaches Max and a little more.
            let unit = f64::from(max) * 1.003 / wide * per_quantum;
            let (mut counts, mut mass) = (0.0, 0.0);
            let mut points = vec![(0.0, 0.0)];
            for (run, steep) in &steps {
                counts += run * unit;
                mass += run * unit / per_quantum * (1.0 + steep);
                points.push((counts, mass));
            }
            let (c0, m0) = points[below];
            let knots: Vec<Knot> = (points.iter())
                .map(|(c, m)| Knot {
                    counts: (c - c0).round() as i32,
                    mass: (m - m0).round() as i32,
                })
                .collect();
            let settings = Settings {
                quantum_ug: 2_000_000 / e as u32,
                max,
                e,
                d: e / 2,
                loop_gain: gain(loop_e * e as u32 / 1000, max),
                ..neutral_settings()
            };
            HostTable::new(&knots).ok().map(|table| (table, settings))
        },
    )
}

/// A load, how wrong it is, what stays, the reach, and the board's points.
fn wish() -> impl Strategy<Value = (f64, f64, Vec<f64>, Option<f64>, usize)> {
    (
        0.002..1.0f64,
        -4.0..4.0f64,
        prop::collection::vec(0.01..1.0f64, 0..4),
        prop::option::of(0.05..1.0f64),
        prop::sample::select(vec![16usize, 32]),
    )
}

struct Case {
    table: HostTable,
    settings: Settings,
    wanted: Wanted,
    e_g: f64,
}

fn case(
    (table, settings): (HostTable, Settings),
    (load, off_e, keep, reach, most_points): (f64, f64, Vec<f64>, Option<f64>, usize),
) -> Case {
    let e_g = f64::from(settings.e) * quantum_g(settings.quantum_ug);
    let max_g = 3000.0 * e_g;
    Case {
        wanted: Wanted {
            load_g: load * max_g,
            shown: Shown::Mass(load * max_g + off_e * e_g),
            keep_g: keep.iter().map(|share| share * max_g).collect(),
            reach_g: reach.map(|share| share * max_g),
            most_points,
        },
        table,
        settings,
        e_g,
    }
}

impl Case {
    fn adjusted(&self) -> Result<Option<Adjusted>, AdjustFault> {
        adjust(&self.table, &self.settings, &self.wanted)
    }

    fn shown_g(&self) -> f64 {
        match self.wanted.shown {
            Shown::Mass(g) => g,
            Shown::Captured { .. } => f64::NAN,
        }
    }

    fn faces<'a>(&'a self, new: &'a HostTable) -> [Face<'a>; 2] {
        [&self.table, new].map(|table| Face {
            table,
            settings: &self.settings,
        })
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    /// The load reads right, what is kept is kept, zero and what lies outside
    /// stays, and in between nothing goes further than at the load.
    #[test]
    fn an_adjusted_table_does_what_it_shall(scale in scale(), wish in wish()) {
        let case = case(scale, wish);
        let Ok(Some(adjusted)) = case.adjusted() else { return Ok(()) };
        let [old, new] = case.faces(&adjusted.table);
        let unit = quantum_g(case.settings.quantum_ug);
        prop_assert!(adjusted.table.knots().len() <= case.wanted.most_points);
        prop_assert_eq!(new.mass(0), 0);
        prop_assert_eq!(adjusted.table.knots()[0].counts.min(0), case.table.knots()[0].counts.min(0));

        let q8 = old.net_q8_at(case.shown_g()).expect("it was shown");
        let off = (new.mass_g(q8) - case.wanted.load_g) / unit;
        prop_assert!(off.abs() <= 1.51, "{off} quanta off: {adjusted:?}");

        for kept_g in &case.wanted.keep_g {
            let Some(q8) = old.net_q8_at(*kept_g) else { continue };
            let moved_e = (new.mass_g(q8) - old.mass_g(q8)) / case.e_g;
            prop_assert!(moved_e.abs() <= KEPT_E, "{kept_g} g moved by {moved_e} e");
        }
        let missing_e = (case.wanted.load_g - case.shown_g()) / case.e_g;
        let slack_e = OUTSIDE_E.max(missing_e.abs() / 10.0) + 0.03;
        let end = case.table.knots().last().expect("an end").counts;
        for step in 0..=400 {
            let q8 = i64::from(end) * 256 * step / 400;
            let moved_e = (new.mass_g(q8) - old.mass_g(q8)) / case.e_g;
            let at_g = old.mass_g(q8);
            let inside = (adjusted.feet_g.0..=adjusted.feet_g.1).contains(&at_g);
            if inside {
                let (low, high) = (missing_e.min(0.0) - slack_e, missing_e.max(0.0) + slack_e);
                prop_assert!((low..=high).contains(&moved_e), "{moved_e} e at {at_g} g");
            } else {
                prop_assert!(moved_e.abs() <= KEPT_E, "{moved_e} e at {at_g} g, outside");
            }
        }
    }

    /// Always rising, and nowhere much steeper or flatter than before: between
    /// any two points further apart than 20 e.
    #[test]
    fn an_adjusted_table_rises_and_bends_little(scale in scale(), wish in wish()) {
        let case = case(scale, wish);
        let Ok(Some(adjusted)) = case.adjusted() else { return Ok(()) };
        prop_assert!(adjusted.bend <= MOST_BEND);
        let [old, new] = case.faces(&adjusted.table);
        let end = i64::from(case.table.knots().last().expect("an end").counts) * 256;
        let mut before = None;
        for step in 0..=140 {
            let q8 = end * step / 140;
            let now = (old.table.lookup_q8(q8).mass, new.table.lookup_q8(q8).mass);
            if let Some((x, y)) = before.replace(now) {
                prop_assert!(now.1 > y, "it falls");
                let share = f64::from(now.1 - y) / f64::from(now.0 - x) - 1.0;
                // What points may be off by over such a step comes on top.
                let room = 2.0 * OUTSIDE_E.max(f64::abs(case.wanted.load_g - case.shown_g()) / case.e_g / 10.0)
                    * f64::from(case.settings.e) / f64::from(now.0 - x);
                prop_assert!(share.abs() <= MOST_BEND + room + 0.001, "{share} at {x}, room {room}");
            }
        }
    }

    /// Once right, always right: nothing is left to do.
    #[test]
    fn adjusting_again_does_nothing(scale in scale(), wish in wish()) {
        let case = case(scale, wish);
        let Ok(Some(adjusted)) = case.adjusted() else { return Ok(()) };
        let again = Wanted {
            shown: Shown::Mass(case.wanted.load_g),
            keep_g: Vec::new(),
            ..case.wanted.clone()
        };
        prop_assert_eq!(adjust(&adjusted.table, &case.settings, &again), Ok(None));
        let same = Wanted { shown: Shown::Mass(case.wanted.load_g), ..case.wanted.clone() };
        if let Ok(found) = adjust(&case.table, &case.settings, &same) {
            prop_assert_eq!(found, None);
        }
    }

    /// A captured load is put right by its own counts and correction, whatever
    /// the cell remembers.
    #[test]
    fn a_captured_load_is_put_right(
        scale in scale(), load in 0.02..1.0f64, off_e in -3.0..3.0f64, correction in -300..300i32,
    ) {
        let case = case(scale, (load, off_e, Vec::new(), None, 32));
        let unit = quantum_g(case.settings.quantum_ug);
        let correction = correction * case.settings.e / 1000;
        let wished = ((case.shown_g() / unit).round() as i32).wrapping_add(correction);
        let end = case.table.knots().last().expect("an end").counts;
        let found = (0..i64::from(end) * 256)
            .step_by(usize::try_from(end / 300).expect("above zero") * 256)
            .find(|q8| case.table.lookup_q8(*q8).mass >= wished);
        let Some(q8) = found else { return Ok(()) };
        let wanted = Wanted {
            load_g: f64::from(case.table.lookup_q8(q8).mass - correction) * unit - off_e * case.e_g,
            shown: Shown::Captured { net_counts: q8 as f64 / 256.0, correction },
            ..case.wanted.clone()
        };
        let Ok(Some(adjusted)) = adjust(&case.table, &case.settings, &wanted) else { return Ok(()) };
        let reads = f64::from(adjusted.table.lookup_q8(q8).mass - correction);
        prop_assert!((reads - wanted.load_g / unit).abs() <= 1.51);
    }

    /// Nonsense makes a reason, never a table that is none.
    #[test]
    fn any_wish_makes_a_table_or_a_reason(
        scale in scale(), load_g in any::<f64>(), shown_g in any::<f64>(),
        net in any::<f64>(), correction in any::<i32>(),
        keep_g in prop::collection::vec(any::<f64>(), 0..4),
        reach_g in prop::option::of(any::<f64>()), most_points in 0..40usize,
    ) {
        let (table, settings) = scale;
        for shown in [Shown::Mass(shown_g), Shown::Captured { net_counts: net, correction }] {
            for load_g in [load_g, 1000.0] {
                let wanted = Wanted { load_g, shown, keep_g: keep_g.clone(), reach_g, most_points };
                match adjust(&table, &settings, &wanted) {
                    Ok(Some(adjusted)) => prop_assert!(adjusted.table.knots().len() <= most_points),
                    Ok(None) => {}
                    Err(fault) => prop_assert!(!fault.to_string().contains("NaN kg")),
                }
            }
        }
    }

    /// What is foretold is what the device's own lookup says of both tables.
    #[test]
    fn foretold_is_looked_up(scale in scale(), wish in wish()) {
        let case = case(scale, wish);
        let Ok(Some(adjusted)) = case.adjusted() else { return Ok(()) };
        let side = |table: &HostTable| Side {
            name: "one".into(), table: table.clone(), settings: case.settings, zero_counts: None,
        };
        let (one, other) = (side(&case.table), side(&adjusted.table));
        let looks = [Look { load_g: case.wanted.load_g, shown_g: Some(case.shown_g()),
            why: scalewright::record::table::Why::Adjusted }];
        let record = beside(&one, &other, &looks);
        let [old, new] = case.faces(&adjusted.table);
        for line in &record.loads {
            let q8 = old.net_q8_at(line.one_g).expect("a load");
            prop_assert_eq!(old.mass_g(q8), line.one_g);
            prop_assert_eq!(new.mass_g(q8), line.other_g);
            let d_g = f64::from(case.settings.d) * quantum_g(case.settings.quantum_ug);
            prop_assert!((line.other_indicated_g / d_g - (line.other_indicated_g / d_g).round()).abs() < 1e-6);
            prop_assert!((line.other_indicated_g - line.other_g).abs() <= d_g / 2.0 + 1e-9);
        }
        let text = report::tables::beside(&record, ("shows now", "will show"), Style::PLAIN);
        prop_assert_eq!(too_wide(&text), [""; 0]);
        let page = report::tables::page(&record);
        let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
        let parsed = roxmltree::Document::parse_with_options(&page, options);
        prop_assert!(parsed.is_ok());
        prop_assert!(!page.contains("NaN") && !text.contains("NaN"));
        prop_assert_eq!(beside(&one, &one, &[]).most, None);
    }
}

/// A straight table of 500 counts a g to 6 kg, in steps of 1 mg, and its scale.
fn six_kg() -> (HostTable, Settings) {
    let knot = |counts, mass| Knot { counts, mass };
    let table = HostTable::new(&[knot(0, 0), knot(3_000_000, 6_000_000)]).expect("a table");
    let settings = Settings {
        quantum_ug: 1000,
        max: 6_000_000,
        e: 2000,
        d: 1000,
        ..neutral_settings()
    };
    (table, settings)
}

/// Four grams at two kilograms: by hand. The correction fades from all of it at
/// the load to half of it half-way to its foot (cos² of 45 degrees).
#[test]
fn half_way_to_its_foot_half_is_left() {
    let (table, settings) = six_kg();
    let wanted = Wanted {
        load_g: 2000.0,
        shown: Shown::Mass(2004.0),
        keep_g: vec![1004.0],
        reach_g: Some(2000.0),
        most_points: 32,
    };
    let adjusted = adjust(&table, &settings, &wanted)
        .expect("possible")
        .expect("a change");
    let (from_g, to_g) = adjusted.feet_g;
    assert!((from_g - 1004.0).abs() < 0.01 && (to_g - 4004.0).abs() < 0.01);
    let face = Face {
        table: &adjusted.table,
        settings: &settings,
    };
    for (shown_g, due_g) in [
        (1004.0, 1004.0),
        (1504.0, 1502.0),
        (2004.0, 2000.0),
        (3004.0, 3002.0),
        (4004.0, 4004.0),
        (6000.0, 6000.0),
    ] {
        let q8 = (shown_g * 500.0 * 256.0) as i64;
        assert!(
            (face.mass_g(q8) - due_g).abs() < 0.05,
            "{shown_g}: {}",
            face.mass_g(q8)
        );
    }
    // 4 g over 1000 g: steepness changes by pi/2 times 0.4 %.
    assert!((adjusted.bend - std::f64::consts::FRAC_PI_2 * 0.004).abs() < 1e-6);
}

#[test]
fn what_would_bend_too_much_is_refused_with_the_reach_that_would_do() {
    let (table, settings) = six_kg();
    let wanted = |load_g: f64, off_g: f64, keep_g: &[f64], reach_g, most_points| Wanted {
        load_g,
        shown: Shown::Mass(load_g + off_g),
        keep_g: keep_g.to_vec(),
        reach_g,
        most_points,
    };
    let refused = |wanted: Wanted| {
        let fault = adjust(&table, &settings, &wanted).expect_err("too much");
        fault.to_string()
    };
    let said = refused(wanted(2000.0, 4.0, &[1900.0], None, 32));
    assert!(said.contains("1.9 kg, which is kept"), "{said}");
    // pi/2 times 4 g by 2 %: 314.2 g.
    assert!(said.contains("a reach of 315 g would do"), "{said}");
    assert!(refused(wanted(100.0, 4.0, &[], None, 32)).contains("zero, which stays"));
    assert!(refused(wanted(2000.0, 4.0, &[], Some(200.0), 32)).contains("the reach asked for"));
    assert!(refused(wanted(6000.0, 200.0, &[], None, 32)).contains("Max is no more"));
    assert!(refused(wanted(2000.0, 4.0, &[], None, 3)).contains("the 3 points"));
    assert!(refused(wanted(7000.0, 4.0, &[], None, 32)).contains("not above zero and up to Max"));
    assert!(refused(wanted(1.0, 0.5, &[], None, 32)).contains("too near zero"));
    assert!(refused(wanted(2000.0, 4.0, &[2001.0], None, 32)).contains("can't be kept"));
    assert!(refused(wanted(2000.0, 6000.0, &[], None, 32)).contains("never shows"));
    // Tables of 16 points are enough for the usual case.
    assert!(
        adjust(
            &table,
            &settings,
            &wanted(2000.0, 4.0, &[1000.0, 4000.0], None, 16)
        )
        .is_ok()
    );
}
