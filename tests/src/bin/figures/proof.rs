//! Figure 3 of topic proof: what a verdict is worth at the limit.

use scalewright::record::proof::Verdict;
use scalewright::session::plan::{PlannedWeight, ScaleSpec};
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::evaluate::evaluate;
use scalewright::session::proof::plan::{Doing, PlannedTest, ProofPlan, ProofStep};
use scalewright::session::proof::{Spot, Test};
use scalewright::session::together;
use scalewright_bench::{BenchSpec, CellSpec, StoredTable, Weight};
use scalewright_metrology::tolerance::{AccuracyClass, Stage, mpe_e};
use scalewright_protocol::table::Knot;
use scalewright_tests::proofs::prove;
use scalewright_tests::sessions::{E_G, MAX_G, each, fresh_counts};

use crate::row::{Bound, Sheet};

/// Scales of figure 3.
const SCALES: u64 = 2000;

/// The one weight they are tried with, of class M1.
const LOAD_G: f64 = 2000.0;
const WITHIN_G: f64 = 0.1;

/// Figure 3: scales whose true error is the limit.
pub fn decisions(sheet: &mut Sheet) {
    Sheet::part("3  2000 simulated scales (Max 5 kg, e 5 g), true error at the limit at 2 kg");
    let told = each(SCALES, |seed| at_the_limit(seed, 1.0));
    let told = match told
        .into_iter()
        .collect::<Result<Vec<[Verdict; 2]>, String>>()
    {
        Ok(told) => told,
        Err(why) => return sheet.failed("a verification", &why),
    };
    let share = |rule: usize, verdict: Verdict| {
        let some = told.iter().filter(|both| both[rule] == verdict).count();
        100.0 * some as f64 / told.len() as f64
    };
    // Standard errors of 2000 draws: 1.12 % and 0.33 %; four of them.
    let between = |sheet: &mut Sheet, name: &str, value: f64, promised: f64, room: f64| {
        sheet.row(
            name,
            value,
            "%",
            Bound::AtLeast(promised - room),
            Bound::Beside,
        );
        sheet.row(
            "  and no more than",
            value,
            "%",
            Bound::AtMost(promised + room),
            Bound::Beside,
        );
    };
    between(
        sheet,
        "simple acceptance passes",
        share(0, Verdict::Passes),
        50.0,
        4.5,
    );
    between(
        sheet,
        "guard bands pass",
        share(1, Verdict::Passes),
        2.275,
        1.3,
    );
    between(
        sheet,
        "guard bands fail",
        share(1, Verdict::Fails),
        2.275,
        1.3,
    );
}

/// One scale whose true error at the load is `times` the limit; its verdicts by
/// simple acceptance and by guard bands.
fn at_the_limit(seed: u64, times: f64) -> Result<[Verdict; 2], String> {
    let mut spec = BenchSpec::poor(200_000 + seed);
    spec.weights =
        scalewright_bench::weights::set_of_class_m1(&[LOAD_G, 1000.0, 1000.0, 500.0], seed);
    spec.cell = CellSpec {
        hysteresis: 0.0,
        creep: [(0.0, 45.0), (0.0, 700.0)],
        drift_g_per_h: 0.0,
        walk_g_per_sqrt_h: 0.0,
        ..spec.cell
    };
    let limit_g = E_G * mpe_e(AccuracyClass::III, Stage::Initial, LOAD_G / E_G);
    let wrong = 1.0 + times * limit_g / LOAD_G;
    spec.stored = Some(table(&spec, wrong));
    let weights: Vec<PlannedWeight> = spec
        .weights
        .iter()
        .map(|weight: &Weight| {
            let half_g = 5e-5 * weight.nominal_g;
            PlannedWeight::new(weight.id.clone(), weight.nominal_g, half_g / 3f64.sqrt())
        })
        .collect();
    debug_assert!((weights[0].may_be_off_g() - WITHIN_G).abs() < 1e-9);
    let scale = ScaleSpec {
        max_g: MAX_G,
        e_g: E_G,
        d_g: E_G,
        class: "III".into(),
    };
    let (mut kept, _) =
        prove(spec, |_| plan(&scale, &weights)).map_err(|fault| fault.to_string())?;
    let both = [false, true].map(|by_guard| {
        if let Some(ProofEntry::ProofBegan { plan, .. }) = kept.first_mut() {
            plan.guarded = by_guard;
        }
        let proof = evaluate(&kept)?;
        let errors = proof
            .tests
            .iter()
            .find(|test| test.test == Test::Errors.name());
        let row = errors.and_then(|test| test.rows.first());
        row.map(|row| row.verdict)
            .ok_or_else(|| "no error was found".to_owned())
    });
    let [simple, guarded] = both;
    Ok([simple?, guarded?])
}

/// The repeatability of the very load, then its error.
fn plan(scale: &ScaleSpec, weights: &[PlannedWeight]) -> ProofPlan {
    let step = |bodies: &[usize], doing| ProofStep {
        load: together::load_of(bodies, weights),
        spot: Spot::Middle,
        doing,
    };
    let once = || [step(&[], Doing::SetZero), step(&[0], Doing::Capture)];
    let tests = vec![
        PlannedTest {
            test: Test::Repeatability,
            steps: (0..10).flat_map(|_| once()).collect(),
        },
        PlannedTest {
            test: Test::Errors,
            steps: once().to_vec(),
        },
    ];
    ProofPlan {
        scale: scale.clone(),
        weights: weights.to_vec(),
        tests,
        impossible: Vec::new(),
        short: false,
        samples: 16,
        scheme: "R76 III initial".into(),
        guarded: false,
        surroundings: scalewright::record::surroundings::Surroundings::default(),
    }
}

/// The cell's own curve, with masses off by a factor.
pub fn table(spec: &BenchSpec, factor: f64) -> StoredTable {
    let quantum_g = f64::from(spec.settings.quantum_ug) * 1e-6;
    let gain = scalewright_bench::adc::gain_of(spec.settings.input);
    let zero_counts = scalewright_bench::adc::code_of(spec.cell.settled_mv_per_v(0.0), gain);
    let knots = (0..=25).map(|n| {
        let load_g = (MAX_G + 9.0 * E_G) * f64::from(n) / 25.0;
        Knot {
            counts: fresh_counts(&spec.cell, load_g).round() as i32,
            mass: (load_g * factor / quantum_g).round() as i32,
        }
    });
    StoredTable {
        zero_counts,
        knots: knots.collect(),
    }
}
