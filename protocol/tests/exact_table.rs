//! Every code a 24-bit converter can give, through whole tables, against exact
//! rational arithmetic: the mass is the nearest quantum (so the error is at most
//! half a quantum), a tie goes away from zero, and more counts never read less.
//!
//! The scales reach from 100 g to 2 t; each has settings that pass their own
//! check, so its quantum is at most e/100. All tables run over all 2^24 codes.

mod support;

use scalewright_protocol::settings::{Class, Settings};
use scalewright_protocol::table::{Knot, MASS_LIMIT, Place, Table};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};
use support::exact::Exact;
use support::vectors::KITCHEN;

/// How many codes fell inside the table, on its continuation and beyond.
#[derive(Debug, Default, PartialEq)]
struct Tally {
    inside: u32,
    continued: u32,
    beyond: u32,
}

fn sweep(knots: &[Knot]) -> Tally {
    let table = Table::<32>::new(knots).expect("a sound table");
    let mut tally = Tally::default();
    let mut before = i32::MIN;
    for code in CODE_MIN..=CODE_MAX {
        let reading = table.lookup(code);
        let exact = Exact::at(knots, i64::from(code), 1);
        assert!(
            exact.rounds_to(reading.mass),
            "{code}: {reading:?}, {exact:?}"
        );
        assert_eq!(reading.place, exact.place, "{code}");
        assert!(reading.mass >= before, "{code}: {reading:?} after {before}");
        before = reading.mass;
        match reading.place {
            Place::Inside => tally.inside += 1,
            Place::Continued => tally.continued += 1,
            Place::Beyond => tally.beyond += 1,
        }
    }
    assert_eq!(tally.inside + tally.continued + tally.beyond, 1 << 24);
    tally
}

/// Knots of a cell that bends: `count` of them at even masses up to a little
/// above Max, with a quadratic and a cubic error of some per mille.
fn bent(settings: &Settings, full_counts: i64, count: i64) -> Vec<Knot> {
    settings.check().expect("sound settings");
    let top = i64::from(settings.overload_above());
    let knot = |at: i64| {
        let mass = top * at / (count - 1);
        let straight = full_counts * at / (count - 1);
        // x(1 − x) and x(1 − x)(1 − 2x), x in parts of the whole.
        let square = full_counts * at * (count - 1 - at) / (count - 1) / (count - 1);
        let cube = square * (count - 1 - 2 * at) / (count - 1);
        Knot {
            counts: i32::try_from(straight + square / 125 - cube / 90).expect("24 bits"),
            mass: i32::try_from(mass).expect("settings bound it"),
        }
    };
    (0..count).map(knot).collect()
}

/// The kitchen's bench scale, Max 6 kg, e = 2 g, quantum 10 mg (e/200).
#[test]
fn six_kilograms_with_16_knots() {
    let tally = sweep(&bent(&KITCHEN, 5_100_000, 16));
    assert_eq!(tally.inside, 5_100_001);
    assert_eq!(tally.continued, 2 * 1_275_000);
}

/// Max 100 g, e = 0.01 g, quantum 0.1 mg (e/100), set with two knots.
#[test]
fn a_hundred_grams_with_2_knots() {
    let fine = Settings {
        quantum_ug: 100,
        max: 1_000_000,
        e: 100,
        d: 100,
        class: Class::II,
        ..KITCHEN
    };
    let tally = sweep(&bent(&fine, 3_777_777, 2));
    assert_eq!(tally.inside, 3_777_778);
}

/// Max 2 t, e = 1 kg, quantum 10 g (e/100), a weak signal: 2.4 counts a quantum.
#[test]
fn two_tonnes_with_32_knots() {
    let coarse = Settings {
        quantum_ug: 10_000_000,
        max: 200_000,
        e: 100,
        d: 100,
        ..KITCHEN
    };
    let tally = sweep(&bent(&coarse, 480_023, 32));
    assert_eq!(tally.inside, 480_024);
}

/// Uneven knots from the first code to the last, masses to the limits of a table:
/// nothing is extrapolated, and the products are the largest there are.
#[test]
fn the_whole_range_with_32_uneven_knots() {
    // A fixed sequence, so that a failure comes again.
    let mut seed = 20_260_101u32;
    let mut chance = |low: i64, width: i64| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        low + i64::from(seed >> 8) % width
    };
    // From zero outwards in uneven steps of uneven steepness, then scaled so that
    // the last step ends exactly where it must.
    let mut outwards = |steps: usize, end: i32, end_mass: i32| -> Vec<Knot> {
        let mut path = vec![(0i64, 0i64)];
        for at in 0..steps {
            let run = chance(300_000, 400_000);
            path.push((path[at].0 + run, path[at].1 + run * chance(70, 60)));
        }
        let (far, heavy) = path[steps];
        let scaled = path.iter().skip(1).map(|(counts, mass)| Knot {
            counts: i32::try_from(counts * i64::from(end) / far).expect("24 bits"),
            mass: i32::try_from(mass * i64::from(end_mass) / heavy).expect("28 bits"),
        });
        scaled.collect()
    };
    let mut knots = outwards(15, CODE_MIN, -MASS_LIMIT);
    knots.reverse();
    knots.push(Knot { counts: 0, mass: 0 });
    knots.extend(outwards(16, CODE_MAX, MASS_LIMIT));
    assert_eq!(knots.len(), 32);
    assert_eq!(sweep(&knots).inside, 1 << 24);
}

/// Half a quantum a count: every odd code is a tie, below zero and above.
#[test]
fn ties_over_the_whole_range() {
    let half = CODE_MIN / 2;
    let tie = |counts, mass| Knot { counts, mass };
    let knots = [tie(CODE_MIN, half), tie(0, 0), tie(-CODE_MIN, -half)];
    let tally = sweep(&knots);
    assert_eq!(tally.inside, 1 << 24);
    let table = Table::<3>::new(&knots).expect("a sound table");
    assert_eq!(table.lookup(1).mass, 1);
    assert_eq!(table.lookup(-1).mass, -1);
    assert_eq!(table.lookup(CODE_MAX).mass, -half);
}
