//! Figures 4 and 5a of topic proof: a long verification on the bench, its
//! report computed again from its file, and how long that takes.

use std::path::{Path, PathBuf};
use std::time::Instant;

use scalewright::record::journal::{Contents, Journal};
use scalewright::record::proof::Proof;
use scalewright::report::proof_page;
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::{self, ProofEntry};
use scalewright::session::proof::evaluate::evaluate;
use scalewright::session::proof::plan::ProofPlan;
use scalewright::session::proof::prover::Prover;
use scalewright_tests::proofs::{Hand, attend};
use scalewright_tests::sessions::Scale;
use scalewright_tests::traced::{Traced, traced};

use crate::commands::Given;
use crate::proof::table;
use crate::row::{Bound, Sheet};

/// Captures that a file must hold.
const CAPTURES: usize = 200;

/// Runs that are timed.
const RUNS: usize = 11;

/// A full set for Max 5 kg.
const FULL: [f64; 10] = [
    2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 20.0,
];

/// Prints figures 4 and 5a.
pub fn long_verification(sheet: &mut Sheet, given: &Given) {
    let title = "4  traceability: numbers of a verification's report from its file alone";
    Sheet::part(title);
    let file = match verified(&given.built.join("figures-verification")) {
        Ok(file) => file,
        Err(why) => return sheet.failed("a verification of 200 captures", &why),
    };
    match read(&file) {
        Ok((entries, proof)) => from_file(sheet, &entries, &proof),
        Err(why) => sheet.failed("the report from the file", &why),
    }
    Sheet::part("5a  report of a long verification: file read, evaluated, page written");
    match timed(&file) {
        Ok((captures, mut seconds)) => {
            let floor = Bound::AtLeast(CAPTURES as f64);
            sheet.row(
                "captures in the file",
                captures as f64,
                "captures",
                floor,
                Bound::Beside,
            );
            seconds.sort_by(f64::total_cmp);
            let median = seconds.get(RUNS / 2).copied().unwrap_or(f64::NAN);
            let name = format!("file to page, median of {RUNS}");
            sheet.row(&name, median, "s", Bound::AtMost(1.0), Bound::Beside);
        }
        Err(why) => sheet.failed("the report", &why),
    }
}

/// All tests on a scale that is right, with repeatability and errors many times
/// over; the session file.
fn verified(folder: &Path) -> Result<PathBuf, String> {
    std::fs::create_dir_all(folder).map_err(|fault| fault.to_string())?;
    let file = folder.join("verification.session.jsonl");
    // A file of an earlier run.
    let _ = std::fs::remove_file(&file);
    let mut scale = Scale::poor(77, &FULL);
    scale.spec.stored = Some(table(&scale.spec, 1.0));
    let scheme = "R76 III initial".to_owned();
    let plan = ProofPlan::new(
        scale.scale(),
        scale.weights,
        &Test::ALL,
        true,
        scheme,
        false,
    );
    let mut plan = plan.map_err(|fault| fault.to_string())?;
    let captures = |plan: &ProofPlan| {
        let steps = plan.tests.iter().flat_map(|one| &one.steps);
        steps.filter(|step| step.doing.captures()).count()
    };
    let once: Vec<_> = plan.tests.iter().map(|one| one.steps.clone()).collect();
    for _ in 0..CAPTURES {
        if captures(&plan) >= CAPTURES {
            break;
        }
        for (planned, steps) in plan.tests.iter_mut().zip(&once) {
            if matches!(planned.test, Test::Repeatability | Test::Errors) {
                planned.steps.extend(steps.iter().cloned());
            }
        }
    }
    let mut journal = Journal::create(&file).map_err(|fault| fault.to_string())?;
    let made = |_: &_| Prover::new(plan);
    let (ended, _) = attend(scale.spec, made, Hand::at, Some(&mut journal), Vec::new());
    ended.map_err(|fault| fault.to_string())?;
    Ok(file)
}

fn read(file: &Path) -> Result<(Vec<ProofEntry>, Proof), String> {
    let (_, contents): (Journal, Contents<ProofEntry>) =
        Journal::open(file).map_err(|fault| fault.to_string())?;
    let proof = evaluate(&contents.entries)?;
    Ok((contents.entries, proof))
}

fn from_file(sheet: &mut Sheet, entries: &[ProofEntry], proof: &Proof) {
    let Some(found) = traced(entries, proof) else {
        return sheet.failed("the report from the file", "it begins no verification");
    };
    let values: usize = proof.tests.iter().map(|test| test.rows.len()).sum();
    // A mass is rounded to a quantum; a value is made of up to three.
    for (name, all, quanta, numbers) in [
        ("values beside their limits", values, 3.0, &found.values),
        (
            "gross masses of the captures",
            proof.captures.len(),
            1.0,
            &found.gross,
        ),
    ] {
        let off = |one: &&Traced| {
            let off_g = (one.said_g - one.from_file_g).abs();
            off_g.is_nan() || off_g > quanta * found.quantum_g
        };
        let wrong: Vec<&Traced> = numbers.iter().filter(off).collect();
        let right = (numbers.len() - wrong.len()) as f64;
        let floor = Bound::AtLeast((all as f64).max(1.0));
        sheet.row(name, right, &format!("of {all}"), floor, Bound::Beside);
        for one in wrong {
            println!(
                "      {}: {} g, {} g from the file",
                one.what, one.said_g, one.from_file_g
            );
        }
    }
}

/// Captures, and the seconds of each run.
fn timed(file: &Path) -> Result<(usize, Vec<f64>), String> {
    let mut seconds = Vec::new();
    let mut captures = 0;
    for _ in 0..RUNS {
        let began = Instant::now();
        let (entries, proof) = read(file)?;
        let page = proof_page(&proof);
        seconds.push(began.elapsed().as_secs_f64());
        if page.len() < 1000 {
            return Err("the page is empty".into());
        }
        captures = entry::captures(&entries).len();
    }
    Ok((captures, seconds))
}
