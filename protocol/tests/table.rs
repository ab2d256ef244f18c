//! Tables and settings: what is accepted, and that a lookup is exact, rounded as
//! stated, never falling and bounded, at random places in random tables.

mod support;

use proptest::prelude::*;
use scalewright_protocol::settings::{Settings, SettingsFault};
use scalewright_protocol::table::{Knot, Place, Table, check};
use scalewright_protocol::units::{divide_down, divide_to_nearest, saturate_i32};
use support::exact::Exact;
use support::strategies::{sound_knots, wild_knots};
use support::vectors;

proptest! {
    #![proptest_config(support::many_cases())]

    /// Knots of any kind are judged; those that pass make a sound table.
    #[test]
    fn wild_knots_are_judged(knots in wild_knots(), counts in any::<i32>()) {
        prop_assert_eq!(
            Table::<32>::new(&knots).map(|_| ()),
            check(&knots, 32)
        );
        if let Ok(table) = Table::<32>::new(&knots) {
            let exact = Exact::at(&knots, i64::from(counts), 1);
            prop_assert!(exact.rounds_to(table.lookup(counts).mass));
        }
    }

    /// A lookup is the exact rational value, rounded, at any counts.
    #[test]
    fn a_lookup_is_exact(knots in sound_knots(32), counts in any::<i32>(), near in any::<i32>()) {
        let table = Table::<32>::new(&knots).expect("sound by construction");
        let width = knots[knots.len() - 1].counts - knots[0].counts;
        let close = knots[0].counts - width + near.rem_euclid(3 * width + 1);
        for counts in [counts, close] {
            let exact = Exact::at(&knots, i64::from(counts), 1);
            let reading = table.lookup(counts);
            prop_assert!(exact.rounds_to(reading.mass), "{counts}: {reading:?} {exact:?}");
            prop_assert_eq!(reading.place, exact.place);
            prop_assert_eq!(reading, table.lookup_q8(i64::from(counts) * 256));
        }
    }

    /// The same with fractions of a count.
    #[test]
    fn a_fractional_lookup_is_exact(
        knots in sound_knots(32),
        wide in any::<i64>(),
        near in any::<i64>(),
    ) {
        let table = Table::<32>::new(&knots).expect("sound by construction");
        let low = i64::from(knots[0].counts) * 256;
        let width = i64::from(knots[knots.len() - 1].counts) * 256 - low;
        let close = low - width + near.rem_euclid(3 * width + 1);
        for q8 in [wide, close] {
            let exact = Exact::at(&knots, q8, 256);
            let reading = table.lookup_q8(q8);
            prop_assert!(exact.rounds_to(reading.mass), "{q8}: {reading:?} {exact:?}");
            prop_assert_eq!(reading.place, exact.place);
        }
    }

    /// More counts never read less, knots are met, and the ends hold.
    #[test]
    fn a_lookup_never_falls(knots in sound_knots(32), a in any::<i32>(), b in any::<i32>()) {
        let table = Table::<32>::new(&knots).expect("sound by construction");
        let (low, high) = (a.min(b), a.max(b));
        prop_assert!(table.lookup(low).mass <= table.lookup(high).mass);
        prop_assert!(table.lookup(i32::MIN).mass <= table.lookup(low).mass);
        prop_assert!(table.lookup(high).mass <= table.lookup(i32::MAX).mass);
        prop_assert_eq!(table.lookup_q8(i64::MAX).mass, table.lookup(i32::MAX).mass);
        prop_assert_eq!(table.lookup_q8(i64::MIN).mass, table.lookup(i32::MIN).mass);
        prop_assert_eq!(table.lookup_q8(i64::MAX).place, Place::Beyond);
        for knot in &knots {
            prop_assert_eq!(table.lookup(knot.counts).mass, knot.mass);
        }
    }

    /// Nearest, and of two the one further from zero.
    #[test]
    fn division_is_to_nearest(numerator in any::<i32>(), denominator in 1i64..=1 << 33) {
        for numerator in [i64::from(numerator), i64::from(numerator) << 31] {
            let exact = Exact {
                above: i128::from(numerator),
                below: i128::from(denominator),
                place: Place::Inside,
            };
            let quotient = divide_to_nearest(numerator, denominator);
            if let Ok(quotient) = i32::try_from(quotient) {
                prop_assert!(exact.rounds_to(quotient));
            }
            prop_assert_eq!(divide_to_nearest(numerator, -denominator), 0);
            prop_assert_eq!(divide_to_nearest(numerator, 0), 0);
        }
    }

    /// Of any two numbers, beside 128-bit arithmetic.
    #[test]
    fn division_is_exact(numerator in any::<i64>(), divisor in any::<i64>()) {
        let (down, rest) = divide_down(numerator, divisor);
        if divisor <= 0 {
            prop_assert_eq!((down, rest), (0, 0));
            prop_assert_eq!(divide_to_nearest(numerator, divisor), 0);
        } else {
            let (n, d) = (i128::from(numerator), i128::from(divisor));
            prop_assert_eq!(i128::from(down), n.div_euclid(d));
            prop_assert_eq!(i128::from(rest), n.rem_euclid(d));
            let away = n.signum() * ((2 * n.abs() + d) / (2 * d));
            prop_assert_eq!(i128::from(divide_to_nearest(numerator, divisor)), away);
        }
    }

    /// Ties, which chance does not find: n/2 and (n + 1/2) of even divisors.
    #[test]
    fn halves_of_any_size_go_away_from_zero(half in 1i64..1 << 40, whole in 0i64..1 << 20) {
        let divisor = 2 * half;
        let numerator = whole * divisor + half;
        prop_assert_eq!(divide_to_nearest(numerator, divisor), whole + 1);
        prop_assert_eq!(divide_to_nearest(-numerator, divisor), -(whole + 1));
    }

    /// Settings of any kind are judged without harm, and what passes is bounded.
    #[test]
    fn wild_settings_are_judged(
        quantum_ug in any::<u32>(),
        max in any::<i32>(),
        e in any::<i32>(),
        d in any::<i32>(),
    ) {
        let settings = Settings { quantum_ug, max, e, d, ..vectors::KITCHEN };
        if settings.check().is_ok() {
            prop_assert!(e >= 100 && d >= 1 && d <= e);
            prop_assert!(max <= Settings::MAX_QUANTA && (100..=100_000).contains(&(max / e)));
        }
        prop_assert!(settings.overload_above() >= max || e < 0);
    }
}

/// The limits themselves are inside, the next number is not.
#[test]
fn limits_of_tables_and_settings_are_where_they_stand() {
    use scalewright_protocol::table::{MASS_LIMIT, NET_COUNTS_LIMIT, TableFault};
    let pair = |counts, mass| [Knot { counts: 0, mass: 0 }, Knot { counts, mass }];
    let verdict = |counts, mass| check(&pair(counts, mass), 32);
    assert_eq!(verdict(NET_COUNTS_LIMIT, MASS_LIMIT), Ok(()));
    assert_eq!(
        verdict(NET_COUNTS_LIMIT + 1, 1),
        Err(TableFault::CountsRange { at: 1 })
    );
    assert_eq!(
        verdict(1, MASS_LIMIT + 1),
        Err(TableFault::MassRange { at: 1 })
    );
    assert_eq!(verdict(0, 1), Err(TableFault::CountsOrder { at: 1 }));
    assert_eq!(verdict(1, 0), Err(TableFault::MassOrder { at: 1 }));
    assert_eq!(check(&[], 32), Err(TableFault::TooFew { knots: 0 }));
    assert_eq!(
        check(&pair(1, 1)[..1], 32),
        Err(TableFault::TooFew { knots: 1 })
    );
    assert_eq!(
        check(&pair(1, 1), 1),
        Err(TableFault::TooMany { knots: 2, fit: 1 })
    );
    let no_zero = [Knot { counts: 1, mass: 1 }, Knot { counts: 2, mass: 2 }];
    assert_eq!(check(&no_zero, 32), Err(TableFault::NoZero));
    // The whole rises 1 a count over 400 counts; a segment may rise 0.5 to 2.
    let bent = |mass| {
        let knots = [
            Knot { counts: 0, mass: 0 },
            Knot { counts: 100, mass },
            Knot {
                counts: 400,
                mass: 400,
            },
        ];
        check(&knots, 32)
    };
    assert_eq!(bent(50), Ok(()));
    assert_eq!(bent(200), Ok(()));
    assert_eq!(bent(49), Err(TableFault::Slope { at: 1 }));
    assert_eq!(bent(201), Err(TableFault::Slope { at: 1 }));
    assert_eq!(bent(251), Err(TableFault::Slope { at: 1 }));

    let kitchen = vectors::KITCHEN;
    let with = |change: fn(&mut Settings)| {
        let mut settings = kitchen;
        change(&mut settings);
        settings.check()
    };
    assert_eq!(kitchen.check(), Ok(()));
    assert_eq!(kitchen.overload_above(), 601_800);
    assert_eq!(with(|s| s.e = 99), Err(SettingsFault::Quantum));
    assert_eq!(with(|s| s.quantum_ug = 0), Err(SettingsFault::Quantum));
    assert_eq!(with(|s| s.d = 0), Err(SettingsFault::ScaleInterval));
    assert_eq!(with(|s| s.d = 201), Err(SettingsFault::ScaleInterval));
    assert_eq!(with(|s| s.max = 19_999), Err(SettingsFault::Capacity));
    assert_eq!(with(|s| s.max = 20_000), Ok(()));
    assert_eq!(with(|s| s.max = 20_000_200), Err(SettingsFault::Capacity));
    assert_eq!(with(|s| s.max = 20_000_000), Ok(()));
    assert_eq!(with(|s| s.max = -1), Err(SettingsFault::Capacity));
    assert_eq!(with(|s| s.rate_sps = 0), Err(SettingsFault::Rate));
    assert_eq!(with(|s| s.smoothing = 7), Err(SettingsFault::Smoothing));
    assert_eq!(with(|s| s.rest_ms = 10_001), Err(SettingsFault::Rest));
    assert_eq!(with(|s| s.rest_ms = 0), Err(SettingsFault::Rest));
    assert_eq!(with(|s| s.rest_tenths_d = 0), Err(SettingsFault::Rest));
}

/// Ties go away from zero by the sign of the mass, not of the step.
#[test]
fn ties_go_away_from_zero() {
    let rising = |counts, mass| Knot { counts, mass };
    let table = Table::<4>::new(&[rising(-4, -3), rising(0, 0), rising(4, 3)]).expect("sound");
    // 2 counts are 1.5 quanta, −2 are −1.5; 1 is 0.75.
    let mass = |counts| table.lookup(counts).mass;
    assert_eq!([mass(-2), mass(-1), mass(1), mass(2)], [-2, -1, 1, 2]);
    // Segments that start below zero and reach above it do not exist: (0, 0) is
    // a knot. On the continuation the sign is that of the end.
    assert_eq!(table.lookup(6).mass, 5);
    assert_eq!(table.lookup(-6).mass, -5);
}

#[test]
fn numbers_are_held_at_the_ends_of_an_i32() {
    assert_eq!(saturate_i32(i64::MAX), i32::MAX);
    assert_eq!(saturate_i32(i64::MIN), i32::MIN);
    assert_eq!(saturate_i32(-5), -5);
}
