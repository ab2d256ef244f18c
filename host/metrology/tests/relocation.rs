//! Whether a move matters: against the classes of R 76 and the laws behind it.

mod common;

use common::csv;
use proptest::prelude::*;
use scalewright_metrology::gravity::{Formula, Gravity, Moved, Place, moved};
use scalewright_metrology::relocation::{
    COVERAGE, MAY_SPEND, Need, Shifted, air_shift, loads_g, room_air, worst,
};
use scalewright_metrology::tolerance::{AccuracyClass, Intervals, Scheme, Stage};

fn scheme(class: AccuracyClass) -> Scheme {
    Scheme::R76 {
        class,
        stage: Stage::Initial,
    }
}

fn intervals(e_g: f64) -> Intervals {
    Intervals::new(e_g, e_g).expect("a scale")
}

fn shift(relative: f64, u_relative: f64) -> Moved {
    Moved {
        relative,
        u_relative,
    }
}

/// The steps come from `tests/reference/r76_mpe.csv` (VERIFIED): class III,
/// 0.5 e to 500 e, 1 e to 2000 e, 1.5 e above.
#[test]
fn a_third_of_what_the_class_permits_may_be_spent() {
    assert!(!csv("r76_mpe.csv").is_empty());
    let (scheme, e_2g) = (scheme(AccuracyClass::III), intervals(2.0));
    assert_eq!(loads_g(&scheme, &e_2g, 6000.0), [1000.0, 4000.0, 6000.0]);
    assert_eq!(loads_g(&scheme, &e_2g, 800.0), [800.0]);
    // 1 e in 2000 e is the same as 1.5 e in 3000 e: a third is 1/6000.
    let edge = 1.0 / 6000.0;
    let judged = |relative, u| worst(&shift(relative, u), &scheme, &e_2g, 6000.0).expect("Max");
    assert_eq!(judged(edge * 0.999, 0.0).need(), Need::Nothing);
    assert_eq!(judged(-edge * 0.999, 0.0).need(), Need::Nothing);
    assert_eq!(judged(edge * 1.001, 0.0).need(), Need::Correction);
    assert_eq!(judged(-edge * 1.001, 0.0).need(), Need::Correction);
    // The uncertainty counts against both.
    assert_eq!(judged(0.0, edge / COVERAGE * 1.001).need(), Need::Untold);
    assert_eq!(judged(edge, 1e-6).need(), Need::Untold);
    let far = judged(1e-3, 4e-5);
    assert_eq!((far.load_g, far.permitted_g), (6000.0, 3.0));
    assert!((far.shift_g - 6.0).abs() < 1e-12 && far.is_beyond() && far.is_correctable());
    assert!(!judged(1e-3, 1e-4).is_correctable() && !judged(1e-6, 1e-6).is_seen());
    // Where Max lies just above a step, the step is worse.
    let at_step = worst(&shift(1e-3, 0.0), &scheme, &e_2g, 4100.0).expect("Max");
    assert_eq!(at_step.load_g, 4000.0);
}

/// The note in `tests/reference/gravity.csv` (COMPUTED HERE from VERIFIED
/// constants): 52 to 40 degrees shifts 5000 g by -5.4916 g. By formula that is
/// known to 0.087 per mille: a class III scale of 5 kg in 5 g must be corrected,
/// one of 5 kg in 50 g need not be.
#[test]
fn a_move_south_by_the_published_values() {
    let place = |latitude_deg| {
        let place = Place {
            latitude_deg,
            height_m: 0.0,
        };
        Gravity::by_formula(Formula::Wgs84, place).expect("a place")
    };
    let south = moved(place(52.0), place(40.0));
    let judged =
        |e_g| worst(&south, &scheme(AccuracyClass::III), &intervals(e_g), 5000.0).expect("Max");
    let fine = judged(5.0);
    assert!((fine.shift_g - -5.4916).abs() < 5e-5 && fine.need() == Need::Correction);
    assert_eq!(judged(50.0).need(), Need::Nothing);
}

/// ISO 2533 (VERIFIED on public pages): 845.6 hPa at 1500 m and 1013.25 hPa at
/// the sea; air of 20 C and 50 % then has 1.1993 kg/m3 and, the pressure's part
/// scaled, 1.000 kg/m3 (COMPUTED HERE).
#[test]
fn thinner_air_carries_less() {
    let (sea, high) = (room_air(0.0).expect("air"), room_air(1500.0).expect("air"));
    assert!((sea.kg_m3 - 1.1993).abs() < 5e-5, "{}", sea.kg_m3);
    assert!((high.kg_m3 - 1.0000).abs() < 5e-4, "{}", high.kg_m3);
    let water = air_shift(0.0, 1500.0, 1000.0).expect("water");
    let by_hand = (sea.kg_m3 - high.kg_m3) / (1000.0 - sea.kg_m3);
    assert!((water.relative - by_hand).abs() < 1e-12);
    let steel = air_shift(0.0, 1500.0, 8000.0).expect("steel");
    assert!((steel.relative / water.relative - 0.125).abs() < 2e-4);
    // By hand: 10 hPa, 3 K and 15 % make 0.0179 kg/m3 at the sea, 0.0164 above.
    let by_hand = 0.0179f64.hypot(0.0164) / 1000.0;
    assert!((water.u_relative / by_hand - 1.0).abs() < 5e-3, "{water:?}");
    assert!(air_shift(0.0, 0.0, 1.0).is_err() && air_shift(f64::NAN, 0.0, 1000.0).is_err());
}

proptest! {
    /// Of all loads none suffers more than the worst.
    #[test]
    fn no_load_is_worse_than_the_worst(
        relative in -9e-3..9e-3f64, u in 0.0..1e-3f64, n in 100.0..10_000.0f64, part in 0.0..=1.0f64,
    ) {
        let (moved, e_1g) = (shift(relative, u), intervals(1.0));
        for class in [AccuracyClass::II, AccuracyClass::III, AccuracyClass::IIII] {
            let scheme = scheme(class);
            let worst = worst(&moved, &scheme, &e_1g, n).expect("Max");
            let here = Shifted::at(part * n, &moved, &scheme, &e_1g).expect("a load");
            prop_assert!(here.share().1 <= worst.share().1 * (1.0 + 1e-8));
            // The answers exclude each other.
            let (least, most) = worst.share();
            prop_assert_eq!(worst.need() == Need::Nothing, most <= MAY_SPEND);
            prop_assert_eq!(worst.need() == Need::Correction, least > MAY_SPEND);
        }
    }

    /// There and back in the air is no change; up is never down.
    #[test]
    fn air_up_and_down(a in -500.0..9000.0f64, b in -500.0..9000.0f64, rho in 5.0..20_000.0f64) {
        let (up, down) = (air_shift(a, b, rho).expect("air"), air_shift(b, a, rho).expect("air"));
        let round = (1.0 + up.relative) * (1.0 + down.relative);
        prop_assert!((round - 1.0).abs() < 1e-12);
        prop_assert!((b - a) * up.relative >= 0.0);
    }

    #[test]
    fn garbage_never_panics(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
        let _ = air_shift(a, b, c);
        let judged = worst(&shift(a, b), &scheme(AccuracyClass::III), &intervals(1.0), c);
        if let Ok(judged) = judged {
            let _ = (judged.need(), judged.is_beyond(), judged.is_correctable());
        }
    }
}
