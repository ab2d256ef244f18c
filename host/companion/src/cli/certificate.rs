//! `scalewright certificate`: a calibration certificate from a verification.

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use crate::certifying::{Certified, certified};
use crate::record::certificate::Certificate;
use crate::record::journal::numbered;
use crate::record::lab;
use crate::record::proof::Verdict;
use crate::report::dcc::{dcc, is_simulated};

use super::live::wrap;
use super::problem::{Problem, exit};
use super::{Outcome, saved};

/// Options of `certificate`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright certificate --blank > lab.toml      a form, to be filled in
  scalewright certificate verification.session.jsonl --about lab.toml
  scalewright certificate verification.session.jsonl --about lab.toml \\
      --output scale-4F2A.xml

What you get: an XML file after PTB's Digital Calibration Certificate, schema
3.1.2: errors of indication with their expanded uncertainty, every other test
that was made, conformity test by test with its decision rule, the weights, the
scale with the table it held, and what was not tested. Results are stated as
they are: a scale that fails, an interrupted or a simulated verification gets a
certificate that says so. No file is written over. No scale is needed.

The certificate is not signed, and it is no legal verification.

Exit codes: 0 written, and the scale passes; 1 written, but it does not pass, or
that can't be told; 2 the call was not understood; 4 a file is the trouble.")]
pub struct Arguments {
    /// The session file of a verification
    #[arg(required_unless_present = "blank")]
    session: Option<PathBuf>,
    /// The form: who, for whom, where, what the scale is called
    #[arg(long, value_name = "FILE", required_unless_present = "blank")]
    about: Option<PathBuf>,
    /// Where the certificate goes [default: beside the session, as
    /// verification.certificate.xml, with a number if that is there]
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Print a commented form to fill in
    #[arg(long, conflicts_with_all = ["session", "about", "output", "json"])]
    blank: bool,
    /// Print one JSON object with the certificate's values, and nothing else
    #[arg(long)]
    json: bool,
}

/// What `--json` prints.
#[derive(Serialize)]
struct Printed<'a> {
    /// The file that was written.
    file: String,
    /// All tests together.
    verdict: Verdict,
    /// What stands in it.
    certificate: &'a Certificate,
}

/// Runs `certificate`.
pub fn run(arguments: &Arguments) -> Outcome {
    let (Some(session), Some(about)) = (&arguments.session, &arguments.about) else {
        outpart!("{}", lab::BLANK);
        return Ok(exit::PASSED);
    };
    let lab = lab::read(about)?;
    let text = fs::read_to_string(session).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("{} can't be read: {error}", session.display()),
            "check the path; `scalewright verify` names the file it keeps",
        )
    })?;
    let found = certified(&text, &session.display().to_string(), &lab).map_err(|fault| {
        Problem::from(fault)
            .fact("session", session.display().to_string())
            .fact("form", about.display().to_string())
    })?;
    let xml = dcc(&found.certificate)?;
    let file = match &arguments.output {
        Some(wanted) => write(wanted, &xml)?.ok_or_else(|| taken(wanted))?,
        None => write_beside(session, &xml)?,
    };
    if arguments.json {
        saved::print_json(&Printed {
            file: file.display().to_string(),
            verdict: found.proof.verdict,
            certificate: &found.certificate,
        })?;
    } else {
        say(&found, &file);
    }
    Ok(match found.proof.verdict {
        Verdict::Passes | Verdict::PassesSoFar => exit::PASSED,
        Verdict::Open | Verdict::Fails => exit::DOES_NOT_PASS,
    })
}

/// Writes a new file; `None` when there is one already.
fn write(file: &Path, xml: &str) -> Result<Option<PathBuf>, Problem> {
    let made = OpenOptions::new().write(true).create_new(true).open(file);
    let written = match made {
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Ok(None),
        made => made.and_then(|mut open| open.write_all(xml.as_bytes())),
    };
    match written {
        Ok(()) => Ok(Some(file.into())),
        Err(error) => Err(Problem::new(
            exit::DATA,
            format!("{} can't be written: {error}", file.display()),
            "check the folder and the free space, or name another file with --output",
        )),
    }
}

fn taken(file: &Path) -> Problem {
    Problem::new(
        exit::DATA,
        format!(
            "{} is there already; a certificate is never written over",
            file.display()
        ),
        "name another file with --output, or move that one away",
    )
}

fn write_beside(session: &Path, xml: &str) -> Result<PathBuf, Problem> {
    let name = session
        .file_name()
        .map_or_else(Default::default, |name| name.to_string_lossy());
    let stem = name.split('.').next().unwrap_or("session");
    let wanted = session.with_file_name(format!("{stem}.certificate.xml"));
    for attempt in 1..1000 {
        if let Some(file) = write(&numbered(&wanted, attempt), xml)? {
            return Ok(file);
        }
    }
    Err(taken(&wanted))
}

/// What was certified, in a few lines.
fn say(found: &Certified, file: &Path) {
    let (certificate, proof) = (&found.certificate, &found.proof);
    outln!("certificate {}", certificate.identifier);
    if is_simulated(proof) {
        outln!("SIMULATED: of the built-in bench, and it says so");
    }
    for one in &found.performed.unfinished {
        outln!(
            "INTERRUPTED: {} has {} of {} captures",
            one.title,
            one.made,
            one.planned
        );
    }
    for test in &proof.tests {
        outln!("  {:33} {}", test.title, test.verdict.words());
    }
    let gaps = format!("  not tested: {}", proof.not_tested.join("; "));
    for line in wrap(&gaps, 78) {
        outln!("{line}");
    }
    outln!("written: {}", saved::short(file));
    outln!("It is not signed, and it is no legal verification.");
}
