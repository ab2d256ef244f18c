//! The curve through a few loads, against a parabola, against `f64`, and against a
//! published load cell.

use proptest::prelude::*;
use scalewright_protocol::curve::through;
use scalewright_protocol::table::{Knot, Table, TableFault, check};

const fn load(counts: i32, mass: i32) -> Knot {
    Knot { counts, mass }
}

/// 6 kg in quanta of 2 mg over 2.6 million counts, bent by `bend` of Max.
fn cell(counts: f64, bend: f64, cubic: f64) -> f64 {
    let x = counts / 2_600_000.0;
    3e6 * (x + bend * 4.0 * x * (1.0 - x) * (1.0 + cubic * (x - 0.5)))
}

fn loads(shares: &[f64], bend: f64, cubic: f64) -> Vec<Knot> {
    shares
        .iter()
        .map(|share| {
            let counts = (share * 2_600_000.0).round();
            load(counts as i32, cell(counts, bend, cubic).round() as i32)
        })
        .collect()
}

/// Largest departure from the cell up to the last load, quanta.
fn worst(loads: &[Knot], bend: f64, cubic: f64) -> f64 {
    let knots = through::<32>(loads, 0).expect("a table");
    let table: Table<32> = Table::new(&knots).expect("a table");
    let end = loads.last().expect("a load").counts;
    (0..=1000)
        .map(|n| {
            let counts = (i64::from(end) * n / 1000) as i32;
            (f64::from(table.lookup(counts).mass) - cell(f64::from(counts), bend, cubic)).abs()
        })
        .fold(0.0, f64::max)
}

#[test]
fn a_parabola_is_met_by_any_loads() {
    // 0.08 % of Max is the bend of the demonstration's cell: 4.8 g of 6 kg.
    for shares in [
        &[0.5, 1.0][..],
        &[0.1, 1.0],
        &[0.2, 0.4, 0.7, 1.0],
        &[1.0 / 6.0, 1.0 / 3.0, 0.5, 2.0 / 3.0, 5.0 / 6.0, 1.0],
    ] {
        for bend in [0.0008, -0.0008, 0.003] {
            let loads = loads(shares, bend, 0.0);
            // Four chords an interval at least: (h/4)²/8 · f", and rounding.
            let widest = shares
                .iter()
                .zip([0.0].iter().chain(shares))
                .map(|(to, from)| to - from)
                .fold(0.0, f64::max);
            let chord = 3e6 * bend.abs() * widest * widest / 4.0;
            let found = worst(&loads, bend, 0.0);
            assert!(found <= chord + 2.5, "{shares:?}, {bend}: {found}");
        }
    }
}

/// Without the bend between loads the same loads leave nine times as much.
#[test]
fn two_loads_of_a_bent_cell_do() {
    let (bend, cubic) = (0.0008, 0.1);
    let two = loads(&[0.5, 1.0], bend, cubic);
    let straight = |counts: i32| {
        let (from, to) = if counts < two[0].counts {
            (load(0, 0), two[0])
        } else {
            (two[0], two[1])
        };
        f64::from(from.mass)
            + f64::from(to.mass - from.mass) * f64::from(counts - from.counts)
                / f64::from(to.counts - from.counts)
    };
    let chords = (0..=1000)
        .map(|n| (i64::from(two[1].counts) * n / 1000) as i32)
        .map(|counts| (straight(counts) - cell(f64::from(counts), bend, cubic)).abs())
        .fold(0.0, f64::max);
    let bent = worst(&two, bend, cubic);
    // e = 1000 quanta: from 0.6 e to a ninth of that.
    assert!(chords > 580.0, "{chords}");
    assert!(bent < 65.0, "{bent}");
}

/// NIST StRD, Pontius: deflection of a load cell under 20 loads, each twice
/// (tests/reference/strd, VERIFIED). Five of the loads make the table, the other
/// fifteen are judged: the certified model is a parabola, its residual standard
/// deviation 0.000205 in units of deflection.
#[test]
fn five_loads_of_a_published_cell_tell_the_other_fifteen() {
    let text = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../tests/reference/strd/Pontius.dat"),
    )
    .expect("the data set");
    let pairs: Vec<(f64, f64)> = text
        .lines()
        .skip(60)
        .filter_map(|line| {
            let mut columns = line.split_whitespace().map(str::parse::<f64>);
            Some((columns.next()?.ok()?, columns.next()?.ok()?))
        })
        .collect();
    assert_eq!(pairs.len(), 40);
    // Deflection in steps of 10^-5, mass in steps of a kilogram; mean of both runs.
    let mut cell: Vec<Knot> = Vec::new();
    for pair in pairs.iter().filter(|(_, load)| *load > 0.0) {
        let of_load = pairs.iter().filter(|(_, other)| *other == pair.1);
        let counts = of_load.map(|(y, _)| y).sum::<f64>() / 2.0 * 1e5;
        let knot = load(counts.round() as i32, (pair.1 / 1000.0).round() as i32);
        if !cell.contains(&knot) {
            cell.push(knot);
        }
    }
    cell.sort_by_key(|knot| knot.counts);
    assert_eq!(cell.len(), 20);
    let chosen: Vec<Knot> = cell.iter().skip(3).step_by(4).copied().collect();
    assert_eq!(chosen.len(), 5);
    let knots = through::<32>(&chosen, 3_200).expect("a table");
    let table: Table<32> = Table::new(&knots).expect("a table");
    // 150 000 units make 0.11 of deflection: 0.000205 is 0.28 of these steps.
    for knot in &cell {
        let off = f64::from(table.lookup(knot.counts).mass - knot.mass);
        assert!(off.abs() <= 2.0, "{knot:?}: {off}");
    }
}

#[test]
fn what_lies_beyond_the_last_load_goes_straight_on() {
    let knots = through::<32>(&loads(&[0.25, 0.5], 0.0008, 0.0), 3_018_000).expect("a table");
    let [.., before, last] = knots.as_slice() else {
        panic!()
    };
    assert!((last.mass - 3_018_000).abs() <= 1);
    assert!(last.counts > before.counts);
    let table: Table<32> = Table::new(&knots).expect("a table");
    assert!((table.lookup(last.counts).mass - last.mass).abs() <= 1);
    // A last load near Max is left to the table's own continuation.
    let near = through::<32>(&loads(&[0.5, 1.0], 0.0, 0.0), 3_018_000).expect("a table");
    assert_eq!(near.last().map(|knot| knot.mass), Some(3_000_000));
}

#[test]
fn loads_that_make_no_table_say_why() {
    let fault = |loads: &[Knot]| through::<8>(loads, 0).err();
    assert_eq!(fault(&[]), Some(TableFault::TooFew { knots: 1 }));
    assert_eq!(
        fault(&[load(100, 100), load(100, 200)]),
        Some(TableFault::CountsOrder { at: 2 })
    );
    assert_eq!(
        fault(&[load(100, 200), load(200, 200)]),
        Some(TableFault::MassOrder { at: 2 })
    );
    assert_eq!(
        fault(&[load(-100, 100)]),
        Some(TableFault::CountsOrder { at: 1 })
    );
    // 1 kg said, 2 kg put on: the first piece is less than half as steep as all.
    assert_eq!(
        fault(&[load(40_000, 100_000), load(60_000, 320_000)]),
        Some(TableFault::Slope { at: 1 })
    );
    let nine: Vec<Knot> = (1..=9).map(|n| load(n * 100, n * 100)).collect();
    assert_eq!(
        fault(&nine),
        Some(TableFault::TooMany { knots: 10, fit: 8 })
    );
    assert_eq!(
        fault(&[load(i32::MAX, 100)]),
        Some(TableFault::CountsRange { at: 1 })
    );
    assert_eq!(
        fault(&[load(100, i32::MAX)]),
        Some(TableFault::MassRange { at: 1 })
    );
}

/// The formula of the module's head in `f64`.
fn reference(loads: &[Knot], counts: i32) -> f64 {
    let mut points = vec![(0.0, 0.0)];
    points.extend(
        loads
            .iter()
            .map(|knot| (f64::from(knot.counts), f64::from(knot.mass))),
    );
    let x = f64::from(counts);
    let at = points.windows(2).position(|w| x <= w[1].0).expect("inside");
    let slope = |at: usize| (points[at + 1].1 - points[at].1) / (points[at + 1].0 - points[at].0);
    let h = |at: usize| points[at + 1].0 - points[at].0;
    let left = (at > 0).then(|| h(at).powi(2) * (slope(at) - slope(at - 1)) / (h(at) + h(at - 1)));
    let right = (at + 2 < points.len())
        .then(|| h(at).powi(2) * (slope(at + 1) - slope(at)) / (h(at) + h(at + 1)));
    let bend = match (left, right) {
        (Some(a), Some(b)) if a * b <= 0.0 => 0.0,
        (Some(a), Some(b)) if a.abs() < b.abs() => a,
        (_, Some(b)) => b,
        (Some(a), None) => a,
        (None, None) => 0.0,
    };
    let t = (x - points[at].0) / h(at);
    points[at].1 + t * h(at) * slope(at) - t * (1.0 - t) * bend
}

proptest! {
    /// Any loads: a table or a reason, never a panic; and where a table, one that
    /// holds every load, is sound and follows the formula.
    #[test]
    fn any_loads_make_a_sound_table_or_a_reason(
        steps in prop::collection::vec((1i32..3_000_000, 1i32..4_000_000), 0..12),
        reach in any::<i32>(),
    ) {
        let mut knot = load(0, 0);
        let loads: Vec<Knot> = steps.iter().map(|(counts, mass)| {
            knot = load(knot.counts.saturating_add(*counts), knot.mass.saturating_add(*mass));
            knot
        }).collect();
        if let Ok(knots) = through::<32>(&loads, reach) {
            prop_assert_eq!(check(&knots, 32), Ok(()));
            for load in &loads {
                prop_assert!(knots.contains(load));
            }
        }
    }

    #[test]
    fn knots_lie_on_the_formula(
        shares in prop::collection::vec(1u32..1000, 1..8),
        bend in -0.003f64..0.003,
        cubic in -0.5f64..0.5,
        noise in prop::collection::vec(-60i32..60, 8),
    ) {
        let mut shares = shares;
        shares.sort_unstable();
        shares.dedup();
        let shares: Vec<f64> = shares.iter().map(|n| f64::from(*n) / 1000.0).collect();
        let mut loads = loads(&shares, bend, cubic);
        for (load, by) in loads.iter_mut().zip(noise) {
            load.mass += by;
        }
        if let Ok(knots) = through::<32>(&loads, 0) {
            for knot in knots.iter().skip(1) {
                let wanted = reference(&loads, knot.counts);
                // The bend is rounded to 1/256 quantum, the mass to one.
                prop_assert!((f64::from(knot.mass) - wanted).abs() <= 0.51, "{knot:?} {wanted}");
            }
        }
    }

    #[test]
    fn any_numbers_at_all_do_no_harm(
        loads in prop::collection::vec((any::<i32>(), any::<i32>()), 0..40),
        reach in any::<i32>(),
    ) {
        let loads: Vec<Knot> = loads.iter().map(|(c, m)| load(*c, *m)).collect();
        let _ = through::<16>(&loads, reach);
        let _ = through::<1>(&loads, reach);
    }
}
