//! Laws of a scaled table, of the hysteresis gain beside it, and of what is said.

use proptest::prelude::*;
use scalewright::quantise::{HostTable, net_q8_at, scaled};
use scalewright::record::place;
use scalewright::report;
use scalewright::session::moving::{between, told};
use scalewright::session::plan::ScaleSpec;
use scalewright_protocol::hysteresis::{Plays, gain};
use scalewright_protocol::table::{Knot, Table};

use super::move_of;
use super::support::too_wide;

fn table() -> impl Strategy<Value = HostTable> {
    let steps = prop::collection::vec((20_000..30_000i32, 30_000..45_000i32), 1..30);
    (steps, 0..3usize).prop_filter_map("a table", |(steps, below)| {
        let below = below.min(steps.len() - 1);
        let sum = |n: usize| {
            steps[..n]
                .iter()
                .fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
        };
        let (c0, m0) = sum(below);
        let knots: Vec<Knot> = (0..=steps.len())
            .map(|n| (sum(n).0 - c0, sum(n).1 - m0))
            .map(|(counts, mass)| Knot { counts, mass })
            .collect();
        HostTable::new(&knots).ok()
    })
}

proptest! {
    /// Every reading is multiplied, to the rounding of integers: half a quantum
    /// of the knots, and half of each lookup.
    #[test]
    fn a_scaled_table_reads_scaled(
        old in table(), relative in -9e-3..9e-3f64, part in 0.0..1.0f64,
    ) {
        let factor = move_of(relative).table_factor();
        let new = scaled(&old, factor).expect("a table");
        prop_assert_eq!(old.knots().len(), new.knots().len());
        for (a, b) in old.knots().iter().zip(new.knots()) {
            prop_assert_eq!(a.counts, b.counts);
            prop_assert!((f64::from(a.mass) * factor - f64::from(b.mass)).abs() <= 0.5);
        }
        let ends = [0, old.knots().len() - 1].map(|at| f64::from(old.knots()[at].counts));
        let net = (ends[0] + (ends[1] - ends[0]) * part) as i32;
        let (before, after) = (old.lookup(net).mass, new.lookup(net).mass);
        prop_assert!((f64::from(before) * factor - f64::from(after)).abs() <= 1.51);
        // And back again.
        let back = scaled(&new, 1.0 / factor).expect("a table");
        for (a, b) in old.knots().iter().zip(back.knots()) {
            prop_assert!((a.mass - b.mass).abs() <= 1);
        }
    }

    #[test]
    fn any_factor_makes_a_table_or_a_reason(old in table(), factor in any::<f64>()) {
        if let Ok(new) = scaled(&old, factor) {
            prop_assert!(Table::<32>::new(new.knots()).is_ok());
        }
    }

    /// The counts found are the first that read so much.
    #[test]
    fn counts_are_found_for_a_mass(old in table(), mass_g in -100.0..2000.0f64) {
        let quanta = mass_g.round() as i32;
        match net_q8_at(&old, mass_g, 1_000_000) {
            Some(q8) => {
                prop_assert!(old.lookup_q8(q8).mass >= quanta);
                prop_assert!(old.lookup_q8(q8 - 1).mass < quanta);
            }
            None => prop_assert!(quanta <= 0),
        }
    }

    /// A gain is a width over a load: it stays when all masses are scaled. What
    /// would be exact has Max scaled as well; Max stays a mass, and near it the
    /// departure rises by 8/3 of the loop over Max (half of 1/b for b = Max/8,
    /// and as much of 1/b for b = 3 Max/8, of both the mean).
    #[test]
    fn the_gain_goes_with_the_mass(
        loads in prop::collection::vec(0.0..1.0f64, 1..40),
        relative in -9e-3..9e-3f64,
        width_share in 0.0..0.005_8f64,
    ) {
        const MAX: i32 = 3_000_000; // e = 1000 quanta.
        let factor = move_of(relative).table_factor();
        let gain = gain((f64::from(MAX) * width_share) as u32, MAX);
        let (mut then, mut now) = (Plays::exercised(), Plays::exercised());
        for load in loads {
            // The old table's quanta at home's counts, and the new table's.
            let old = (f64::from(MAX) * load) as i32;
            let new = (f64::from(old) * factor).round() as i32;
            let due = f64::from(old - then.follow(old, MAX, gain)) * factor;
            let told = f64::from(new - now.follow(new, MAX, gain));
            let loop_share = (factor - 1.0).abs() * width_share * f64::from(MAX);
            prop_assert!((told - due).abs() <= 8.0 / 3.0 * 1.01 * loop_share + 2.0, "{} {}", told, due);
        }
    }

    /// Any two places and any scale make a report of 80 columns or a reason.
    #[test]
    fn any_move_can_be_told(
        a in -90.0..90.0f64, h in -500.0..9000.0f64, g in 9.76..9.84f64,
        max_g in 1.0..1e6f64, n in 100.0..1e5f64, rho in 500.0..23_000.0f64,
    ) {
        let from = place::parse(&format!("{a:.3}N, {h:.1}m"));
        let from = from.or_else(|_| place::parse(&format!("{:.3}S,{h:.1}m", -a))).expect("a place");
        let to = place::parse(&format!("{g:.6} m/s2, {h:.0}m")).expect("gravity");
        let e_g = max_g / n;
        let scale = ScaleSpec { max_g, e_g, d_g: e_g, class: "II".into() };
        if let Ok(record) = told(&from, &to, &scale, rho) {
            let text = report::moved::moved(&record, report::Style::PLAIN);
            prop_assert_eq!(too_wide(&text), [""; 0]);
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        } else {
            prop_assert!(between(&from, &to).is_err());
        }
    }
}
