//! Figure 7 of topic joint-solve: how many poor scales pass, by the fit of the
//! first issue, by the joint solution, with hysteresis taken off in the scale,
//! and by a calibration that knows everything but the noise.

use scalewright::quantise::{self, DeviceTables, HostTable, mass_g};
use scalewright::session::event::{Capture, Part};
use scalewright::session::plan::Plan;
use scalewright::session::together::is_of_the_fit;
use scalewright_bench::CellSpec;
use scalewright_metrology::candidates::{TableSpace, propose};
use scalewright_metrology::curve::Knots;
use scalewright_metrology::observation::Observation;
use scalewright_metrology::tolerance::{AccuracyClass, Stage, mpe_e};
use scalewright_metrology::uncertainty::net_counts;
use scalewright_tests::sessions::{E_G, MAX_G, Scale, each, fresh_counts, run};

use crate::row::{Bound, Sheet};

/// Scales of the population.
const SCALES: u64 = 1000;

/// The weights beside each: class M1, and enough for Max.
const SET: [f64; 10] = [
    2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 20.0,
];

/// A scale whose cell is as poor as its grade allows: hysteresis 0.05 % and
/// repeatability 0.02 % of Max, a bend of 0 to 0.3 %.
fn poorest(seed: u64) -> Scale {
    let mut scale = Scale::poor(110_000 + seed, &SET);
    scale.spec.cell = CellSpec {
        hysteresis: 5e-4,
        repeatability: 2e-4,
        ..scale.spec.cell
    };
    scale
}

/// How one scale fared: whether every load of the proof, up and down, is within
/// the permissible error.
#[derive(Clone, Copy)]
struct Fared {
    first: bool,
    table: bool,
    corrected: bool,
    perfect: bool,
    /// Whether the scale went on correcting.
    kept: bool,
}

/// Prints the shares.
pub fn print(sheet: &mut Sheet) {
    Sheet::part(
        "7  1000 of the poorest scales (hysteresis 0.05 %, repeatability 0.02 % of Max), Max 5 kg, e 5 g: those that pass up and down",
    );
    let fared = each(SCALES, one);
    let fared = match fared.into_iter().collect::<Result<Vec<Fared>, String>>() {
        Ok(fared) => fared,
        Err(why) => return sheet.failed("a session", &why),
    };
    let share = |of: fn(&Fared) -> bool| {
        100.0 * fared.iter().filter(|one| of(one)).count() as f64 / fared.len() as f64
    };
    let (first, perfect) = (share(|one| one.first), share(|one| one.perfect));
    let corrected = share(|one| one.corrected);
    sheet.beside("fit of the first issue", first, "%");
    sheet.beside("all captures together", share(|one| one.table), "%");
    sheet.beside("  and hysteresis taken off in the scale", corrected, "%");
    sheet.beside(
        "  scales that went on taking it off",
        share(|one| one.kept),
        "%",
    );
    sheet.beside("perfect calibration, the same noise", perfect, "%");
    sheet.row(
        "what was missing to perfect, gained",
        100.0 * (corrected - first) / (perfect - first),
        "%",
        Bound::AtLeast(100.0 / 3.0),
        Bound::Beside,
    );
}

fn one(seed: u64) -> Result<Fared, String> {
    let scale = poorest(seed);
    let plan =
        Plan::new(scale.scale(), scale.weights.clone()).map_err(|fault| fault.to_string())?;
    let ended = run(&scale, &plan, true, true)?;
    let outcome = ended.outcome.ok_or("no outcome")?;
    let proof: Vec<&Capture> = (ended.captures.iter())
        .filter(|capture| capture.part == Part::Verification)
        .collect();
    let first = first_table(&ended.captures)?;
    let quantum_ug = quantise::quantum_ug(E_G);
    let uncorrected = outcome.after.rows.iter().zip(&proof).all(|(row, capture)| {
        let took_off = outcome.correction.is_some_and(|tried| tried.kept);
        let put_back = if took_off { capture.correction_g } else { 0.0 };
        within(row.load_g, row.error_g + put_back)
    });

    // The same scale, its cell without a loop: what is left is noise.
    let mut twin = poorest(seed);
    twin.spec.cell.hysteresis = 0.0;
    let again = run(&twin, &plan, true, true)?;
    let known: Vec<(f64, f64)> = (0..=110)
        .map(|step| MAX_G * f64::from(step) / 100.0)
        .map(|load_g| (fresh_counts(&twin.spec.cell, load_g), load_g))
        .collect();
    let known = Knots::new(known).map_err(|fault| format!("{fault:?}"))?;

    Ok(Fared {
        first: passes(&ended.captures, &|net| mass_g(&first, net, quantum_ug)),
        table: uncorrected,
        corrected: outcome.after.verdict == "pass",
        perfect: passes(&again.captures, &|net| known.lookup(net)),
        kept: outcome.correction.is_some_and(|tried| tried.kept),
    })
}

/// Whether the loads of the proof read right, each from the zero before it.
fn passes(captures: &[Capture], reading_g: &dyn Fn(f64) -> f64) -> bool {
    let mut zero = f64::NAN;
    captures.iter().all(|capture| {
        let net = capture.mean_counts - zero;
        match capture.part {
            Part::VerificationZero => zero = capture.mean_counts,
            Part::Verification => {
                return within(capture.load.mass_g, reading_g(net) - capture.load.mass_g);
            }
            _ => {}
        }
        true
    })
}

fn within(load_g: f64, error_g: f64) -> bool {
    let permitted_g = E_G * mpe_e(AccuracyClass::III, Stage::Initial, load_g / E_G);
    error_g.abs() <= permitted_g
}

/// What the first issue makes of the same captures: the weights taken at their
/// word, drift taken out by the zeros, and the best of its shapes.
fn first_table(captures: &[Capture]) -> Result<HostTable, String> {
    let fit = || captures.iter().filter(|one| is_of_the_fit(one.part));
    let zeros: Vec<(f64, f64)> = fit()
        .filter(|one| one.load.weights.is_empty())
        .map(|one| (one.at_s, one.mean_counts))
        .collect();
    let mut masses: Vec<f64> = fit().map(|one| one.load.mass_g).collect();
    masses.sort_by(f64::total_cmp);
    masses.dedup();
    let observations: Vec<Observation> = fit()
        .filter_map(|one| {
            Some(Observation {
                load: masses.iter().position(|mass| *mass == one.load.mass_g)?,
                counts: net_counts(one.mean_counts, one.at_s, &zeros)?,
                mass_g: one.load.mass_g,
                sd_counts: one.sd_counts / f64::from(one.samples.max(1)).sqrt(),
                rising: !matches!(one.part, Part::Falling | Part::ZeroReturn),
                saturated: one.saturated,
            })
        })
        .collect();
    let quantum_ug = quantise::quantum_ug(E_G);
    let space = TableSpace {
        max_knots: quantise::MOST_KNOTS,
        max_g: MAX_G,
        e_g: E_G,
        reach_g: MAX_G + 9.0 * E_G,
        quantum_g: quantise::quantum_g(quantum_ug),
    };
    let tables = DeviceTables {
        quantum_ug,
        max_knots: space.max_knots,
    };
    let proposal =
        propose(&observations, &space, &tables).map_err(|refusal| refusal.to_string())?;
    quantise::table(&proposal.knots, quantum_ug, space.max_knots).map_err(|fault| fault.to_string())
}
