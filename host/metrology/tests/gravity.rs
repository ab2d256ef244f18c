//! Gravity against printed values and laws.

mod common;

use common::csv;
use proptest::prelude::*;
use scalewright_metrology::gravity::{
    Formula, Gravity, GravityError, HEIGHTS_M, LOCAL_ANOMALY_M_S2, MOST_RELATIVE, Place, moved,
    normal_gravity_m_s2, smallest_move,
};

const FORMULAS: [Formula; 3] = [Formula::Wgs84, Formula::Grs80, Formula::Oiml];

fn at(latitude_deg: f64, height_m: f64) -> Place {
    Place {
        latitude_deg,
        height_m,
    }
}

fn gravity(formula: Formula, latitude_deg: f64, height_m: f64) -> f64 {
    normal_gravity_m_s2(formula, at(latitude_deg, height_m)).expect("on the ground")
}

/// `tests/reference/gravity.csv`: constants verified on public pages, values
/// computed from them; every printed digit, both hemispheres.
#[test]
fn normal_gravity_to_the_printed_digits() {
    let rows = csv("gravity.csv");
    assert_eq!(rows.len(), 6);
    for row in rows {
        let number: Vec<f64> = row.iter().map(|c| c.parse().expect("number")).collect();
        let columns = [
            (Formula::Wgs84, 0.0, 5e-11),
            (Formula::Grs80, 0.0, 5e-11),
            (Formula::Oiml, 0.0, 5e-10),
            (Formula::Oiml, 500.0, 5e-10),
        ];
        for ((formula, height_m, half_digit), printed) in columns.into_iter().zip(&number[1..]) {
            for latitude in [number[0], -number[0]] {
                let g = gravity(formula, latitude, height_m);
                // A rounding of f64 beyond half of the last digit.
                let off = (g - printed).abs();
                assert!(
                    off <= half_digit + 4e-15,
                    "{formula:?} {latitude} {height_m}: {g}"
                );
            }
        }
    }
}

/// Textbooks give 0.3086 mGal/m at 45 degrees (seen on public pages) and 0.3083
/// at the pole (from memory). The second order is 3 g h^2/a^2, by the law.
#[test]
fn height_takes_off_what_textbooks_say() {
    for formula in [Formula::Wgs84, Formula::Grs80] {
        let per_m =
            |latitude| (gravity(formula, latitude, 0.0) - gravity(formula, latitude, 1.0)) * 1e5;
        assert!((per_m(45.0) - 0.3086).abs() < 5e-5, "{}", per_m(45.0));
        assert!((per_m(90.0) - 0.3083).abs() < 1e-4, "{}", per_m(90.0));
        // Second order: the fall slows down, by 3 g h^2 / a^2 in full.
        let fall = |h: f64| gravity(formula, 45.0, 0.0) - gravity(formula, 45.0, h);
        let bend = 2.0 * fall(2000.0) - fall(4000.0);
        let expected = 9.806 * 3.0 * (16e6 - 8e6) / 6_378_137f64.powi(2);
        assert!((bend / expected - 1.0).abs() < 1e-3, "{bend}");
    }
    let oiml = gravity(Formula::Oiml, 45.0, 0.0) - gravity(Formula::Oiml, 45.0, 1000.0);
    assert!((oiml - 0.003_085).abs() < 1e-12);
}

/// The note in `tests/reference/gravity.csv`, computed from the WGS84 values.
#[test]
fn a_scale_moved_south_reads_less() {
    let place = |latitude| {
        let g = gravity(Formula::Wgs84, latitude, 0.0);
        Gravity::measured(g, 0.0).expect("possible")
    };
    let south = moved(place(52.0), place(40.0));
    assert!(
        (south.relative - -1.098_317_8e-3).abs() < 5e-11,
        "{}",
        south.relative
    );
    assert!((south.reading_g(5000.0) - 4994.5084).abs() < 5e-5);
    assert!((south.shift_g(5000.0).0 - -5.4916).abs() < 5e-5);
    let north = moved(place(40.0), place(52.0));
    assert!((south.table_factor() - (1.0 + north.relative)).abs() < 1e-15);
    assert!((south.reading_g(5000.0) * south.table_factor() - 5000.0).abs() < 1e-9);
}

/// From the thinnest to the strongest pull there is by formula; COMPUTED HERE.
#[test]
fn every_move_on_the_ground_is_possible_and_none_beyond() {
    for formula in FORMULAS {
        let least = Gravity::by_formula(formula, at(0.0, HEIGHTS_M.1)).expect("a place");
        let most = Gravity::by_formula(formula, at(90.0, HEIGHTS_M.0)).expect("a place");
        for there_and_back in [moved(least, most), moved(most, least)] {
            assert!(there_and_back.is_possible(), "{there_and_back:?}");
            assert!(there_and_back.relative.abs() > 0.9 * MOST_RELATIVE);
        }
    }
    let measured = |g| Gravity::measured(g, 0.0).expect("possible by itself");
    assert!(!moved(measured(9.75), measured(9.85)).is_possible());
}

#[test]
fn local_anomalies_make_a_move_uncertain() {
    let here = Gravity::by_formula(Formula::Wgs84, at(48.0, 200.0)).expect("a place");
    let still = moved(here, here);
    assert_eq!(still.relative, 0.0);
    let expected = std::f64::consts::SQRT_2 * LOCAL_ANOMALY_M_S2 / here.g_m_s2;
    assert!((still.u_relative / expected - 1.0).abs() < 1e-12);
    assert_eq!(still.shift_g(-1000.0).1, 1000.0 * still.u_relative);
    let surveyed = Gravity::measured(9.81, 1e-6).expect("possible");
    assert!(moved(surveyed, surveyed).u_relative < 2e-7);
}

#[test]
fn the_smallest_move_shifts_by_just_that() {
    let place = at(48.0, 300.0);
    let (max_g, shift_g) = (6000.0, 0.5);
    for formula in FORMULAS {
        let found = smallest_move(formula, place, max_g, shift_g).expect("a place");
        let here = gravity(formula, 48.0, 300.0);
        let latitude = found.latitude_deg.expect("near enough");
        let height = found.height_m.expect("near enough");
        let shift = |g: f64| max_g * ((g - here) / here).abs();
        let north = shift(gravity(formula, 48.0 + latitude, 300.0));
        let south = shift(gravity(formula, 48.0 - latitude, 300.0));
        assert!((north.max(south) - shift_g).abs() < 1e-6, "{north} {south}");
        let up = shift(gravity(formula, 48.0, 300.0 + height));
        let down = shift(gravity(formula, 48.0, 300.0 - height));
        assert!((up.max(down) - shift_g).abs() < 1e-6, "{up} {down}");
        // 8.3e-5 of g: about a degree, some 270 m.
        assert!((0.8..1.1).contains(&latitude) && (250.0..280.0).contains(&height));
    }
    // A coarse kitchen scale may go anywhere.
    let coarse = smallest_move(Formula::Wgs84, place, 100.0, 1.0).expect("a place");
    assert_eq!((coarse.latitude_deg, coarse.height_m), (None, None));
    // At the pole and at the equator there is one way to go.
    for latitude in [0.0, 90.0, -90.0] {
        let edge = smallest_move(Formula::Wgs84, at(latitude, HEIGHTS_M.1), max_g, shift_g);
        let edge = edge.expect("a place");
        assert!(edge.latitude_deg.is_some() && edge.height_m.is_some());
    }
}

#[test]
fn places_off_the_ground_are_refused() {
    for formula in FORMULAS {
        for bad in [90.1, -91.0, f64::NAN, f64::INFINITY] {
            let refused = normal_gravity_m_s2(formula, at(bad, 0.0));
            assert!(matches!(refused, Err(GravityError::Latitude(_))), "{bad}");
        }
        for bad in [-501.0, 9001.0, f64::NAN, f64::NEG_INFINITY] {
            let refused = normal_gravity_m_s2(formula, at(0.0, bad));
            assert!(matches!(refused, Err(GravityError::Height(_))), "{bad}");
        }
    }
    assert!(Gravity::measured(981.0, 0.0).is_err());
    assert!(Gravity::measured(9.81, -1.0).is_err());
    assert!(smallest_move(Formula::Oiml, at(0.0, 0.0), 0.0, 1.0).is_err());
    let told = GravityError::Latitude(4807.0).to_string();
    assert!(told.contains("-90 and 90"), "{told}");
}

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), -1e4..1e4, Just(0.0), Just(f64::NAN)]
}

proptest! {
    /// There and back again is no move.
    #[test]
    fn moves_cancel(a in -90.0..90.0, b in -90.0..90.0, h in -500.0..9000.0) {
        let place = |latitude, height| {
            Gravity::by_formula(Formula::Wgs84, at(latitude, height)).expect("a place")
        };
        let (one, other) = (place(a, h), place(b, 0.0));
        let round = (1.0 + moved(one, other).relative) * (1.0 + moved(other, one).relative);
        prop_assert!((round - 1.0).abs() < 1e-15);
    }

    #[test]
    fn garbage_never_panics(v in proptest::array::uniform4(anything())) {
        let place = at(v[0], v[1]);
        for formula in FORMULAS {
            if let Ok(g) = normal_gravity_m_s2(formula, place) {
                prop_assert!((9.7..9.9).contains(&g));
            }
            if let Ok(found) = smallest_move(formula, place, v[2], v[3]) {
                prop_assert!(found.latitude_deg.is_none_or(|l| (0.0..=90.0).contains(&l)));
            }
        }
        if let (Ok(a), Ok(b)) = (Gravity::measured(v[0], v[1]), Gravity::measured(v[2], v[3])) {
            prop_assert!(moved(a, b).relative.is_finite());
        }
    }
}
