//! Topic proof: what a calibration certificate of a bench verification is worth.

use std::path::{Path, PathBuf};
use std::process::Command;

use scalewright::record::journal;
use scalewright_tests::certificates::{FORM, Traced, traced};
use scalewright_tests::schema::{Held, hold};

use crate::row::{Bound, Sheet};

/// The row of the schema.
const VALID: &str = "valid against PTB's schema 3.1.2 (1 yes, 0 no)";

/// Figure 4: the certificate of a bench verification made by the command.
pub fn print(sheet: &mut Sheet) {
    Sheet::part("4  certificate of a bench verification (`rehearse --verify`, Max 6 kg, e 2 g)");
    let folder = std::env::temp_dir().join(format!("scalewright-figure-{}", std::process::id()));
    let made = certificate(&folder);
    let _ = std::fs::remove_dir_all(&folder);
    match made {
        Ok((xml, traced)) => rows(sheet, &xml, &traced),
        Err(why) => sheet.failed("a certificate", &why),
    }
}

fn rows(sheet: &mut Sheet, xml: &str, traced: &Traced) {
    match hold(xml) {
        Held::Valid => sheet.row(VALID, 1.0, "-", Bound::AtLeast(1.0), Bound::AtLeast(1.0)),
        Held::Invalid(why) => {
            sheet.row(VALID, 0.0, "-", Bound::AtLeast(1.0), Bound::AtLeast(1.0));
            println!("      {why}");
        }
        Held::Skipped(why) => sheet.failed(VALID, &why),
    }
    let mut all = |name: &str, (found, of): (usize, usize)| {
        let floor = Bound::AtLeast(of.max(1) as f64);
        sheet.row(&format!("{name}, of {of}"), found as f64, "-", floor, floor);
    };
    all("numbers in it traced to captures", traced.from_captures);
    all("U, k, limits in it as found", traced.as_found);
    let strays = traced.strays.len() as f64;
    sheet.row(
        "faults of the trace",
        strays,
        "-",
        Bound::AtMost(0.0),
        Bound::AtMost(0.0),
    );
    for stray in &traced.strays {
        println!("      {stray}");
    }
}

fn certificate(folder: &Path) -> Result<(String, Traced), String> {
    std::fs::create_dir_all(folder).map_err(|error| error.to_string())?;
    std::fs::write(folder.join("lab.toml"), FORM).map_err(|error| error.to_string())?;
    let session = "rehearsal/verification.session.jsonl";
    run(folder, &["rehearse", "--verify"])?;
    let call = ["certificate", session, "--about", "lab.toml"];
    run(
        folder,
        &[&call[..], &["--output", "certificate.xml"]].concat(),
    )?;
    let read = |name: &str| {
        std::fs::read_to_string(folder.join(name)).map_err(|error| format!("{name}: {error}"))
    };
    let xml = read("certificate.xml")?;
    let contents = journal::parse(&read(session)?, session).map_err(|fault| fault.to_string())?;
    let traced = traced(&xml, &contents.entries)?;
    Ok((xml, traced))
}

/// The command beside this program.
fn program() -> Result<PathBuf, String> {
    let here = std::env::current_exe().map_err(|error| error.to_string())?;
    Ok(here.with_file_name(format!("scalewright{}", std::env::consts::EXE_SUFFIX)))
}

fn run(folder: &Path, arguments: &[&str]) -> Result<(), String> {
    let output = Command::new(program()?)
        .args(arguments)
        .current_dir(folder)
        .output()
        .map_err(|error| format!("scalewright can't be run: {error}"))?;
    match output.status.success() {
        true => Ok(()),
        false => Err(String::from_utf8_lossy(&output.stderr).into_owned()),
    }
}
