//! An outcome as a run would give it, in the glaze kitchen of a pottery
//! studio: a bench scale of Max 6 kg, e = 2 g, class III, first set with a
//! single weight of 1 kg. The numbers are made, not measured: a cell with a
//! quadratic error, some hysteresis and a little noise.

mod found;
pub mod proof;

use scalewright::record::outcome::*;

pub use found::{bad_weight, tossed, undecided};

const E_G: f64 = 2.0;

/// Counts a gram of the made-up cell.
const COUNTS_A_GRAM: f64 = 612.4;

/// The weights of the studio.
const BOX: [(&str, f64); 8] = [
    ("K1 2 kg M1", 2000.0),
    ("K2 2 kg M1", 2000.0),
    ("K3 1 kg M1", 1000.0),
    ("K4 1 kg M1", 1000.0),
    ("H1 500 g M1", 500.0),
    ("H2 200 g M1", 200.0),
    ("H3 100 g M1", 100.0),
    ("H4 200 g M1", 200.0),
];

/// Error in e of the scale while it is set with 1 kg only.
fn old_error_e(load_g: f64) -> f64 {
    let kg = load_g / 1000.0;
    -0.83 * kg * (kg - 1.0)
}

/// OIML R 76-1:2006, table 6, class III, initial verification.
fn mpe_e(load_g: f64) -> f64 {
    match load_g / E_G {
        n if n <= 500.0 => 0.5,
        n if n <= 2000.0 => 1.0,
        _ => 1.5,
    }
}

fn verification(title: &str, rows: &[(f64, f64)], u_e: f64) -> Verification {
    let rows: Vec<VerificationRow> = rows
        .iter()
        .map(|&(load_g, error_e)| VerificationRow {
            load_g,
            error_g: error_e * E_G,
            error_e,
            mpe_e: mpe_e(load_g),
            expanded_u_e: u_e + load_g * 1e-5,
            pass: error_e.abs() <= mpe_e(load_g),
            from_above: false,
        })
        .collect();
    let worst = rows
        .iter()
        .max_by(|a, b| a.error_e.abs().total_cmp(&b.error_e.abs()))
        .copied()
        .unwrap();
    let passed = rows.iter().filter(|row| row.pass).count();
    let of = rows.len();
    Verification {
        title: title.into(),
        largest_error_e: worst.error_e.abs(),
        largest_at_g: worst.load_g,
        passed,
        of,
        verdict: if passed == of { "pass" } else { "fail" }.into(),
        rows,
    }
}

fn capture(purpose: Purpose, mass_g: f64, at_s: f64, residual_g: Option<f64>) -> LoadLine {
    // From the heaviest down, as one would take them out of the box.
    let mut rest_g = mass_g;
    let mut weights = Vec::new();
    for (name, weight_g) in BOX {
        if rest_g >= weight_g {
            rest_g -= weight_g;
            weights.push(name.to_owned());
        }
    }
    let wobble = (at_s * 12.9898).sin() * 3.0;
    LoadLine {
        purpose,
        mass_g,
        weights,
        net_counts: mass_g * COUNTS_A_GRAM * (1.0 + old_error_e(mass_g) * 1e-5) + wobble,
        sd_counts: 96.0 + wobble,
        samples: 40,
        at_s,
        residual_g,
    }
}

fn candidate(
    name: &str,
    title: &str,
    error_e: Option<f64>,
    points: usize,
    note: Option<&str>,
) -> CandidateLine {
    CandidateLine {
        name: name.into(),
        title: title.into(),
        leave_one_out_error: error_e.map(|e| e * E_G),
        leave_one_out_error_e: error_e,
        leave_one_out_largest_e: error_e.map(|e| e * 1.9),
        residual_e: error_e.map(|e| e * 0.6),
        points,
        chosen: name == "joint",
        note: note.map(Into::into),
    }
}

/// The outcome of the studio's scale.
pub fn studio() -> Outcome {
    let tried = [
        200.0, 500.0, 1000.0, 1800.0, 2500.0, 3500.0, 4000.0, 4500.0, 5500.0, 6000.0,
    ];
    let left = [
        0.04, -0.06, 0.11, -0.14, 0.09, 0.21, 0.31, 0.22, -0.18, -0.27,
    ];
    let old: Vec<(f64, f64)> = tried
        .iter()
        .zip(left)
        .map(|(&g, rest)| (g, old_error_e(g) + 0.3 * rest))
        .collect();
    let new: Vec<(f64, f64)> = tried.into_iter().zip(left).collect();

    let mut loads = vec![capture(Purpose::Zero, 0.0, 62.0, Some(0.01))];
    let mut at_s = 62.0;
    for (purpose, sign) in [(Purpose::Rising, -1.0), (Purpose::Falling, 1.0)] {
        for step in 1..=6 {
            let kg = f64::from(if sign < 0.0 { step } else { 7 - step });
            at_s += 31.0;
            let loop_g = sign * 0.05 * kg * (6.6 - kg);
            let residual = loop_g + 0.03 * (kg * 7.0).sin();
            loads.push(capture(purpose, kg * 1000.0, at_s, Some(residual)));
        }
        at_s += 31.0;
        loads.push(capture(Purpose::Zero, 0.0, at_s, Some(sign * 0.02)));
    }
    for load_g in tried {
        at_s += 28.0;
        loads.push(capture(Purpose::Verification, load_g, at_s, None));
    }

    Outcome {
        together: Some(found::studio()),
        correction: None,
        version: "0.1.0".into(),
        date: "2026-05-02T14:05:00+02:00".into(),
        seed: Some(7),
        device: DeviceLine {
            id: "4F2A".into(),
            board: "bench".into(),
            firmware: "0.1.0".into(),
            wire_version: 1,
            max_points: 32,
        },
        scale: ScaleLine {
            max: 6000.0,
            e: E_G,
            d: 1.0,
            unit: "g".into(),
            class: "III".into(),
        },
        noise: Noise {
            sd_e: Some(0.083),
            sd_counts: 101.7,
            supports_d_g: Some(1.0),
            samples_counts: (0..600).map(noise_counts).collect(),
            seconds: 60.0,
        },
        loads,
        candidates: vec![
            candidate(
                "single span",
                "one straight line set at 6 kg",
                Some(4.41),
                2,
                None,
            ),
            candidate(
                "two spans",
                "two straight lines that meet at half load",
                Some(1.12),
                3,
                None,
            ),
            candidate(
                "straight line",
                "the best line through all captures",
                Some(3.07),
                2,
                None,
            ),
            candidate(
                "polynomial, degree 2",
                "a parabola through zero",
                Some(0.171),
                12,
                None,
            ),
            candidate(
                "polynomial, degree 3",
                "a cubic through zero",
                Some(0.19),
                12,
                None,
            ),
            candidate(
                "segments",
                "straight pieces between the loads",
                Some(0.62),
                7,
                None,
            ),
            candidate(
                "smooth_curve",
                "bends as little as the captures allow",
                Some(0.164),
                11,
                None,
            ),
            candidate("joint", "all captures together", Some(0.088), 11, None),
            candidate(
                "free segments",
                "straight pieces with free joints",
                None,
                0,
                Some("needs at least 9 different loads, there were 6"),
            ),
        ],
        choice: "curve, weights, zero and hysteresis are solved together; a load left out is \
                 predicted to 0.09 e on average; of the plain shapes the parabola comes close, \
                 because this cell bends evenly"
            .into(),
        table: TableLine {
            points: (0..11)
                .map(|i| f64::from(i) * 620.0)
                .map(|mass_g| PointLine {
                    counts: (mass_g * COUNTS_A_GRAM * (1.0 + old_error_e(mass_g) * 1e-5)) as i32,
                    mass_g,
                })
                .collect(),
            checksum: "9c41d07e".into(),
            quantum_g: 0.001,
            zero_counts: 84_213,
            sequence: 3,
        },
        before: verification("set with one weight of 1 kg", &old, 0.09),
        after: verification("with the new table", &new, 0.11),
        before_curve: (0..=120)
            .map(|i| f64::from(i) * 50.0)
            .map(|g| (g, old_error_e(g)))
            .collect(),
        after_band: (0..=60)
            .map(|i| f64::from(i) * 100.0)
            .map(|g| (g, 0.03 + 0.02 * g / 6000.0))
            .collect(),
        findings: vec![
            "The cell reads 0.6 g apart between rising and falling loads at 3 kg; the table \
             goes through the middle."
                .into(),
            "The zero moved by 0.04 g during the run.".into(),
        ],
        not_tested: vec![
            "Loads off the centre of the pan.".into(),
            "Temperatures other than that of the room on the day.".into(),
            "Creep: a load left on for longer than a minute.".into(),
        ],
        device_s: 812.0,
        wall_s: 2.4,
    }
}

/// Noise without a random generator: enough sines that it looks like it.
fn noise_counts(i: i32) -> f64 {
    let t = f64::from(i);
    let sum: f64 = [1.7, 2.9, 0.41, 5.3, 3.77, 7.1]
        .iter()
        .map(|w| (t * w + w * w).sin())
        .sum();
    (sum * 58.0).round()
}

/// The same scale with everything missing or no number at all.
pub fn hopeless() -> Outcome {
    let mut outcome = studio();
    let nan = f64::NAN;
    outcome.noise.sd_e = Some(nan);
    outcome.noise.sd_counts = f64::INFINITY;
    outcome.noise.supports_d_g = Some(f64::NEG_INFINITY);
    outcome.noise.samples_counts = vec![nan, f64::INFINITY];
    outcome.noise.seconds = nan;
    outcome.scale.max = nan;
    outcome.scale.e = f64::INFINITY;
    outcome.scale.d = nan;
    for load in &mut outcome.loads {
        load.mass_g = nan;
        load.net_counts = f64::NEG_INFINITY;
        load.sd_counts = nan;
        load.at_s = nan;
        load.residual_g = Some(nan);
    }
    for line in &mut outcome.candidates {
        line.leave_one_out_error = Some(nan);
        line.leave_one_out_error_e = Some(nan);
        line.leave_one_out_largest_e = Some(f64::INFINITY);
        line.residual_e = Some(nan);
    }
    for point in &mut outcome.table.points {
        point.mass_g = nan;
    }
    outcome.table.quantum_g = nan;
    for verification in [&mut outcome.before, &mut outcome.after] {
        verification.largest_error_e = nan;
        verification.largest_at_g = f64::INFINITY;
        for row in &mut verification.rows {
            row.load_g = nan;
            row.error_g = f64::INFINITY;
            row.error_e = f64::NEG_INFINITY;
            row.mpe_e = nan;
            row.expanded_u_e = nan;
        }
    }
    outcome.before_curve = vec![(nan, f64::INFINITY); 5];
    outcome.after_band = vec![(f64::NEG_INFINITY, nan); 5];
    outcome.together = Some(found::hopeless());
    outcome.device_s = nan;
    outcome.wall_s = f64::NEG_INFINITY;
    outcome
}

/// The same scale with every list empty and every text blank.
pub fn bare() -> Outcome {
    let mut outcome = studio();
    outcome.loads.clear();
    outcome.candidates.clear();
    outcome.table.points.clear();
    outcome.noise.samples_counts.clear();
    outcome.noise.sd_e = None;
    outcome.noise.supports_d_g = None;
    outcome.before_curve.clear();
    outcome.after_band.clear();
    outcome.together = Some(Default::default());
    outcome.findings.clear();
    outcome.not_tested.clear();
    outcome.seed = None;
    for verification in [&mut outcome.before, &mut outcome.after] {
        verification.rows.clear();
        verification.of = 0;
        verification.passed = 0;
        verification.title.clear();
    }
    for text in [
        &mut outcome.version,
        &mut outcome.date,
        &mut outcome.device.id,
        &mut outcome.device.board,
        &mut outcome.device.firmware,
        &mut outcome.scale.class,
        &mut outcome.choice,
        &mut outcome.table.checksum,
    ] {
        text.clear();
    }
    outcome
}

/// The same scale as recorded before there was anything to say of all captures
/// together.
pub fn of_old() -> Outcome {
    let mut outcome = studio();
    outcome.together = None;
    outcome
}

/// What somebody unkind could write into every text of a record.
pub const HOSTILE: &str =
    "</script><script>alert(1)</script>\"'&amp;<!--]]>\u{0}\u{1b}[2J\u{202e}秤";

/// The same scale with [`HOSTILE`] in every text.
pub fn hostile() -> Outcome {
    let mut outcome = studio();
    for text in [
        &mut outcome.version,
        &mut outcome.date,
        &mut outcome.device.id,
        &mut outcome.device.board,
        &mut outcome.device.firmware,
        &mut outcome.scale.unit,
        &mut outcome.choice,
        &mut outcome.table.checksum,
        &mut outcome.before.title,
        &mut outcome.before.verdict,
        &mut outcome.after.title,
    ] {
        *text = HOSTILE.into();
    }
    for load in &mut outcome.loads {
        load.weights = vec![HOSTILE.into(); 2];
    }
    for line in &mut outcome.candidates {
        line.name = HOSTILE.into();
        line.title = HOSTILE.into();
        line.note = Some(HOSTILE.into());
    }
    outcome.together = Some(found::named(HOSTILE));
    outcome.findings = vec![HOSTILE.repeat(6)];
    outcome.not_tested = vec![HOSTILE.into()];
    outcome
}

/// The same scale with numbers too large for any picture.
pub fn huge() -> Outcome {
    let mut outcome = studio();
    outcome.scale.max = f64::MAX;
    outcome.scale.e = f64::MIN_POSITIVE;
    outcome.together = Some(found::huge());
    outcome.noise.samples_counts = vec![f64::MAX, f64::MIN, 0.0];
    outcome.noise.sd_counts = f64::MIN_POSITIVE;
    outcome.before_curve = vec![(0.0, f64::MIN), (f64::MAX, f64::MAX)];
    for load in &mut outcome.loads {
        load.residual_g = Some(f64::MAX);
        load.net_counts = f64::MIN;
    }
    for (i, line) in outcome.candidates.iter_mut().enumerate() {
        line.leave_one_out_error_e = Some(if i % 2 == 0 { 1e300 } else { 1e-300 });
    }
    for verification in [&mut outcome.before, &mut outcome.after] {
        verification.largest_error_e = f64::MAX;
        verification.passed = usize::MAX;
        for row in &mut verification.rows {
            row.error_e = f64::MIN;
            row.error_g = f64::MAX;
            row.expanded_u_e = f64::MAX;
        }
    }
    outcome
}
