//! The last digit: calm at a change-over point, and never far from the mass.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::FACTORY;
use scalewright_core::calm::{keep, step};
use scalewright_core::indication::round_to;
use scalewright_protocol::settings::Settings;

/// The limit of rest, q8 counts, worth three tenths of d.
const LIMIT_Q8: u32 = 30_000;

fn settings(d: i32) -> Settings {
    Settings {
        d,
        rest_tenths_d: 3,
        ..FACTORY
    }
}

proptest! {
    /// Whatever the mass does: the step shown is a multiple of d and no further
    /// off than d/2 and 0.2 d (and 1/64 of d, in which the band is counted).
    #[test]
    fn no_change_is_hidden(
        d in 1i32..5_000_000,
        course in prop::collection::vec((any::<i32>(), 0u32..(1 << 20)), 1..60),
    ) {
        let settings = settings(d);
        let mut shown = 0;
        for (net, spread_q8) in course {
            let net = net / 4;
            shown = step(net, shown, keep(spread_q8, LIMIT_Q8, &settings), d);
            prop_assert_eq!(shown % d, 0);
            let off = f64::from(net.abs_diff(shown)) / f64::from(d);
            prop_assert!(off <= 0.5 + 0.2 + 1.0 / 64.0 + 1.0 / f64::from(d), "{} d", off);
        }
    }

    /// A mean that is sure is rounded, but at the very middle.
    #[test]
    fn no_band_is_left_when_nothing_is_unsure(d in 1i32..5_000_000, net in -1_000_000_000..1_000_000_000, shown in any::<i16>()) {
        let shown = i32::from(shown) * (d / 40_000).max(1) / d * d;
        let now = step(net, shown, keep(0, LIMIT_Q8, &settings(d)), d);
        prop_assert!(now == round_to(net, d) || net.abs_diff(now) <= d.unsigned_abs() / 2);
    }
}

#[test]
fn the_band_is_what_the_spread_is_worth_up_to_a_fifth_of_d() {
    let settings = settings(6400);
    // Half of d are 3200 quanta; the limit is worth 0.3 d = 1920.
    for (spread_q8, band) in [
        (0, 0),
        (LIMIT_Q8 / 10, 192),
        (LIMIT_Q8 / 4, 480),
        (LIMIT_Q8 / 2, 960),
        (LIMIT_Q8, 1300),
        (1 << 20, 1300),
    ] {
        let found = keep(spread_q8, LIMIT_Q8, &settings) - 3200;
        assert!(found.abs_diff(band) <= 100, "{found} for {band}");
    }
    assert_eq!(keep(1 << 20, 0, &settings), 3200, "no limit, no band");
}

/// A mass at the middle between two steps, with noise of the mean of 0.05 d:
/// three deviations of it are the spread. Rounding alone changes at every other
/// reading.
#[test]
fn a_mass_at_the_middle_does_not_flicker() {
    let d = 1000;
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let keep = keep(LIMIT_Q8 / 2, LIMIT_Q8, &settings(d));
    let (mut shown, mut rounded) = (0, 0);
    let (mut changes, mut flickers) = (0, 0);
    for _ in 0..10_000 {
        let noise: f64 = (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
        let net = 10_500 + (50.0 * noise).round() as i32;
        let now = step(net, shown, keep, d);
        changes += u32::from(now != shown);
        shown = now;
        flickers += u32::from(round_to(net, d) != rounded);
        rounded = round_to(net, d);
    }
    assert!(flickers > 4000, "{flickers}");
    assert!(changes <= 60, "{changes} of 10 000");
}
