//! Air and buoyancy against printed values and laws.

use proptest::prelude::*;
use scalewright_metrology::air::{
    Air, AirError, AirUncertainty, FORMULA_SHARE, density, standard_pressure_hpa,
};
use scalewright_metrology::buoyancy::{
    Adjusted, BuoyancyError, Density, conventional_g, true_mass_g, weighed,
};

/// CIPM-2007 in full (A. Picard et al., Metrologia 45 (2008) 149-155; all
/// constants from memory), kg/m3, at 400 ppm of carbon dioxide.
fn cipm_2007(t: f64, hpa: f64, percent: f64) -> f64 {
    let (kelvin, p) = (t + 273.15, hpa * 100.0);
    let vapour = (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47
        - 6.343_164_5e3 / kelvin)
        .exp();
    let enhancement = 1.000_62 + 3.14e-8 * p + 5.6e-7 * t * t;
    let x = percent / 100.0 * enhancement * vapour / p;
    let z = 1.0
        - p / kelvin
            * (1.581_23e-6 - 2.9331e-8 * t
                + 1.1043e-10 * t * t
                + (5.707e-6 - 2.051e-8 * t) * x
                + (1.9898e-4 - 2.376e-6 * t) * x * x)
        + (p / kelvin).powi(2) * (1.83e-11 - 0.765e-8 * x * x);
    3.483_740e-3 * p / (z * kelvin) * (1.0 - 0.3780 * x)
}

const EXACT: AirUncertainty = AirUncertainty {
    temperature_k: 0.0,
    pressure_hpa: 0.0,
    humidity_percent: 0.0,
};

fn air(temperature_c: f64, pressure_hpa: f64, humidity_percent: f64) -> Air {
    Air {
        temperature_c,
        pressure_hpa,
        humidity_percent,
    }
}

/// Over the whole stated range the approximation keeps to the full formula. The
/// stated 2e-4 is a standard uncertainty, so that at most twice as much may be seen.
#[test]
fn the_approximation_keeps_its_promise() {
    let (mut sum, mut n, mut worst) = (0.0, 0, 0.0f64);
    for t in 0..=20 {
        for p in 0..=20 {
            for h in 0..=16 {
                let (t, p, h) = (
                    10.0 + f64::from(t),
                    900.0 + 10.0 * f64::from(p),
                    5.0 * f64::from(h),
                );
                let found = density(air(t, p, h), EXACT).expect("air");
                assert!(found.within_range);
                let off = found.kg_m3 / cipm_2007(t, p, h) - 1.0;
                sum += off * off;
                n += 1;
                worst = worst.max(off.abs());
            }
        }
    }
    let spread = (sum / f64::from(n)).sqrt();
    assert!(spread < FORMULA_SHARE, "{spread}");
    assert!(worst < 2.0 * FORMULA_SHARE, "{worst}");
    // And would show a slip in a constant.
    assert!(spread > 1e-5, "{spread}");
}

#[test]
fn air_outside_the_range_says_so() {
    for outside in [
        air(9.0, 1000.0, 50.0),
        air(20.0, 850.0, 50.0),
        air(20.0, 1000.0, 81.0),
    ] {
        assert!(!density(outside, EXACT).expect("air").within_range);
    }
    let refused = |state, error| assert_eq!(density(state, EXACT), Err(error));
    refused(air(99.0, 1000.0, 50.0), AirError::Temperature(99.0));
    refused(air(20.0, 29.92, 50.0), AirError::Pressure(29.92));
    refused(air(20.0, 1000.0, 101.0), AirError::Humidity(101.0));
    assert!(density(air(f64::NAN, 1000.0, 50.0), EXACT).is_err());
    let negative = AirUncertainty {
        temperature_k: -1.0,
        ..EXACT
    };
    assert!(density(air(20.0, 1000.0, 50.0), negative).is_err());
}

/// A national institute's public page: 0.1 K, 0.5 hPa and 5 % of humidity move
/// the density by 360, 500 and 350 parts in a million (seen on that page).
#[test]
fn the_state_of_the_air_moves_its_density() {
    let relative = |u| {
        let found = density(air(20.0, 1013.25, 50.0), u).expect("air");
        let formula = FORMULA_SHARE * found.kg_m3;
        1e6 * (found.u_kg_m3.powi(2) - formula.powi(2)).sqrt() / found.kg_m3
    };
    let cases = [
        (
            AirUncertainty {
                temperature_k: 0.1,
                ..EXACT
            },
            360.0,
        ),
        (
            AirUncertainty {
                pressure_hpa: 0.5,
                ..EXACT
            },
            500.0,
        ),
        (
            AirUncertainty {
                humidity_percent: 5.0,
                ..EXACT
            },
            350.0,
        ),
    ];
    for (u, printed) in cases {
        let found = relative(u);
        assert!((found / printed - 1.0).abs() < 0.25, "{found} {printed}");
        // The derivative against a difference.
        let state = |side: f64| {
            let moved = air(
                20.0 + side * u.temperature_k,
                1013.25 + side * u.pressure_hpa,
                50.0 + side * u.humidity_percent,
            );
            density(moved, EXACT).expect("air").kg_m3
        };
        let difference = 1e6 * (state(0.5) - state(-0.5)).abs() / state(0.0);
        assert!(
            (found / difference - 1.0).abs() < 1e-4,
            "{found} {difference}"
        );
    }
}

/// The standard atmosphere as public copies of the table of 1964 print it:
/// pressure in hPa, height in m, rounded to a metre (verified there).
#[test]
fn the_standard_atmosphere_is_that_of_the_tables() {
    let printed = [
        (1050.0, -302.0),
        (1000.0, 111.0),
        (950.0, 540.0),
        (900.0, 988.0),
        (850.0, 1457.0),
        (800.0, 1949.0),
        (700.0, 3012.0),
        (600.0, 4206.0),
        (500.0, 5574.0),
        (400.0, 7185.0),
        (300.0, 9164.0),
    ];
    for (hpa, height) in printed {
        let found = standard_pressure_hpa(height).expect("a height");
        // A metre is at most 0.12 hPa.
        assert!((found - hpa).abs() < 0.07, "{height}: {found}");
    }
    assert!(standard_pressure_hpa(f64::NAN).is_err());
    assert!(standard_pressure_hpa(11_001.0).is_err());
}

/// `tests/reference/buoyancy.toml`: OIML D 28:2004; two ratios verified in a
/// public explainer, the others computed from the formula.
#[test]
fn conventional_mass_to_the_printed_digits() {
    let file: toml::Table = include_str!("../../../tests/reference/buoyancy.toml")
        .parse()
        .expect("TOML");
    let ratios = file["relative_mc_minus_m"].as_table().expect("a table");
    assert_eq!(ratios.len(), 7);
    for (body, printed) in ratios {
        let (_, rho) = body.rsplit_once('_').expect("a density in the name");
        let rho: f64 = rho.parse().expect("a density");
        let found = conventional_g(1.0, rho).expect("a body") - 1.0;
        let printed = printed.as_float().expect("a number");
        assert!(
            (found - printed).abs() <= 5e-7 * printed.abs() + 1e-15,
            "{body}: {found}"
        );
        let back = true_mass_g(conventional_g(123.0, rho).expect("a body"), rho);
        assert!((back.expect("a body") - 123.0).abs() < 1e-12);
    }
}

/// A kilogram of water by the formula of the file, worked out by hand: in the
/// air of the adjustment, 1.2 kg/m3, it reads 0.9988/0.99985 kg.
#[test]
fn water_reads_a_gram_less() {
    let adjusted = Adjusted {
        weights_kg_m3: 8000.0,
        air: None,
    };
    let water = Density::exact(1000.0);
    let read = weighed(1000.0, water, Density::exact(1.2), adjusted).expect("water");
    assert!(
        (read.reading_g - 998.949_842_476).abs() < 1e-8,
        "{}",
        read.reading_g
    );
    assert_eq!(read.u_g, 0.0);
    // Thinner air on a mountain, the adjustment made in the valley.
    let valley = Adjusted {
        air: Some(Density::exact(1.2)),
        ..adjusted
    };
    let mountain = weighed(1000.0, water, Density::exact(1.0), valley).expect("water");
    assert!(
        (mountain.reading_g - 999.149_872_481).abs() < 1e-8,
        "{}",
        mountain.reading_g
    );
}

/// The uncertainty against differences of the reading itself.
#[test]
fn densities_make_a_reading_uncertain() {
    let (object, air) = (2700.0, 1.15);
    for then in [None, Some(1.22)] {
        let read = |object_kg_m3: f64, air_kg_m3: f64, then: Option<f64>| {
            let adjusted = Adjusted {
                weights_kg_m3: 7950.0,
                air: then.map(Density::exact),
            };
            let (body, air) = (Density::exact(object_kg_m3), Density::exact(air_kg_m3));
            weighed(500.0, body, air, adjusted)
                .expect("a body")
                .reading_g
        };
        let (u_object, u_air) = (20.0, 0.03);
        let step = |u: f64, f: &dyn Fn(f64) -> f64| (f(0.5 * u) - f(-0.5 * u)).abs();
        let parts = [
            step(u_object, &|v| read(object + v, air, then)),
            step(u_air, &|v| read(object, air + v, then)),
            step(u_air, &|v| {
                then.map_or(0.0, |t| read(object, air, Some(t + v)))
            }),
        ];
        let expected = parts.iter().map(|p| p * p).sum::<f64>().sqrt();
        let with = |kg_m3, u_kg_m3| Density { kg_m3, u_kg_m3 };
        let adjusted = Adjusted {
            weights_kg_m3: 7950.0,
            air: then.map(|kg_m3| with(kg_m3, u_air)),
        };
        let found = weighed(500.0, with(object, u_object), with(air, u_air), adjusted);
        let found = found.expect("a body").u_g;
        assert!((found / expected - 1.0).abs() < 1e-4, "{found} {expected}");
    }
}

#[test]
fn what_floats_is_refused() {
    assert_eq!(conventional_g(1.0, 1.0), Err(BuoyancyError::Body(1.0)));
    assert_eq!(
        true_mass_g(f64::INFINITY, 8000.0),
        Err(BuoyancyError::Mass(f64::INFINITY))
    );
    let adjusted = Adjusted {
        weights_kg_m3: 8000.0,
        air: None,
    };
    let steel = Density::exact(7850.0);
    let refused = weighed(1.0, steel, Density::exact(1200.0), adjusted);
    assert_eq!(refused, Err(BuoyancyError::Air(1200.0)));
    let doubtful = Density {
        kg_m3: 1.2,
        u_kg_m3: f64::NAN,
    };
    assert!(weighed(1.0, steel, doubtful, adjusted).is_err());
}

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), -1e4..1e4, Just(0.0), Just(f64::NAN)]
}

proptest! {
    /// What was read as conventional mass in reference air reads as such.
    #[test]
    fn conventional_mass_is_the_reading_in_reference_air(rho in 100.0..22000.0, m in 0.001..1e5) {
        let adjusted = Adjusted { weights_kg_m3: 8000.0, air: None };
        let read = weighed(m, Density::exact(rho), Density::exact(1.2), adjusted).expect("a body");
        let conventional = conventional_g(m, rho).expect("a body");
        prop_assert!((read.reading_g / conventional - 1.0).abs() < 1e-14);
    }

    #[test]
    fn garbage_never_panics(v in proptest::array::uniform8(anything())) {
        let u = AirUncertainty { temperature_k: v[3], pressure_hpa: v[4], humidity_percent: v[5] };
        if let Ok(found) = density(air(v[0], v[1], v[2]), u) {
            prop_assert!(found.kg_m3 > 0.0 && found.kg_m3 < 3.0 && !found.u_kg_m3.is_nan());
        }
        let _ = standard_pressure_hpa(v[6]);
        let of = |kg_m3, u_kg_m3| Density { kg_m3, u_kg_m3 };
        let adjusted = Adjusted { weights_kg_m3: v[6], air: Some(of(v[4], v[5])) };
        if let Ok(found) = weighed(v[7], of(v[0], v[1]), of(v[2], v[3]), adjusted) {
            prop_assert!(!found.reading_g.is_nan());
        }
    }
}
