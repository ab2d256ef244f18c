//! Who holds a certificate to PTB's schema 3.1.2 with D-SI 2.1.0.
//!
//! The schema is under a licence of its own and no part of the project: its
//! folder comes from `SCALEWRIGHT_DCC_SCHEMA`, or is looked for beside the
//! project as `../shared/references/dcc-schema`. Judged by `xmllint` (Debian:
//! libxml2-utils, which `tests/tools` installs), or by Python with lxml or
//! xmlschema. What is missing is said on standard error, loudly; where the
//! variable is set, it is a failure. Also included by the companion's tests.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Reads the instance from standard input; answers 0 when it is valid, 1 when
/// not, 3 when no library is there.
const PYTHON: &str = r"
import io, sys
text = sys.stdin.buffer.read()
try:
    from lxml import etree
except ImportError:
    try:
        import xmlschema
    except ImportError:
        sys.exit(3)
    try:
        xmlschema.XMLSchema(sys.argv[1], allow='local').validate(io.BytesIO(text))
    except xmlschema.XMLSchemaException as error:
        sys.exit(f'invalid: {error}')
    sys.exit(0)
parser = etree.XMLParser(no_network=True)
schema = etree.XMLSchema(etree.parse(sys.argv[1], parser))
try:
    schema.assertValid(etree.parse(io.BytesIO(text), parser))
except (etree.DocumentInvalid, etree.XMLSyntaxError) as error:
    sys.exit(f'invalid: {error}')
";

/// Says a thing past the capture of the test harness.
fn say(text: &str) {
    let _ = writeln!(std::io::stderr(), "\n{text}");
}

/// The schema's file, and whether it was asked for by name; or where it is not.
fn schema() -> Result<(PathBuf, bool), String> {
    let (folder, asked) = match std::env::var_os("SCALEWRIGHT_DCC_SCHEMA") {
        Some(folder) => (PathBuf::from(folder), true),
        None => (project().join("../shared/references/dcc-schema"), false),
    };
    let file = folder.join("dcc.xsd");
    if file.is_file() {
        return Ok((file, asked));
    }
    assert!(
        !asked,
        "SCALEWRIGHT_DCC_SCHEMA: no dcc.xsd in {}",
        folder.display()
    );
    Err(format!(
        "{} is not there. Set SCALEWRIGHT_DCC_SCHEMA to a folder with dcc.xsd (3.1.2) and \
         SI_Format.xsd (2.1.0).",
        file.display()
    ))
}

/// Where the project lies, from whichever of its packages this is built.
fn project() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = here
        .ancestors()
        .find(|folder| folder.join("Cargo.lock").is_file());
    root.unwrap_or(here).into()
}

fn run(command: &mut Command, text: &str) -> Option<Output> {
    let command = command.stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.stderr(Stdio::piped()).spawn().ok()?;
    // A judge that gives up early closes its end; its answer tells why.
    let _ = child.stdin.take()?.write_all(text.as_bytes());
    child.wait_with_output().ok()
}

/// What a judge says of a text; `None` when there is no judge.
fn judged(schema: &Path, text: &str) -> Option<Result<(), String>> {
    let answer = |output: Output| match output.status.success() {
        true => Ok(()),
        false => Err(String::from_utf8_lossy(&output.stderr).into_owned()),
    };
    let mut xmllint = Command::new("xmllint");
    xmllint
        .args(["--nonet", "--noout", "--schema"])
        .arg(schema)
        .arg("-");
    if let Some(output) = run(&mut xmllint, text) {
        return Some(answer(output));
    }
    let mut python = Command::new("python3");
    let output = run(python.arg("-c").arg(PYTHON).arg(schema), text)?;
    (output.status.code() != Some(3)).then(|| answer(output))
}

/// What came of holding a text to the schema.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// It is valid.
    Valid,
    /// It is not, and why.
    Invalid(String),
    /// Nobody judged, and why; said on standard error too.
    Skipped(String),
}

/// Holds a text to the schema.
///
/// # Panics
/// When the schema was asked for by name and can't be used.
#[must_use]
pub fn hold(text: &str) -> Held {
    let skipped = |why: String| {
        say(&format!(
            "SKIPPED: A CERTIFICATE WAS NOT HELD TO PTB's SCHEMA: {why}"
        ));
        Held::Skipped(why)
    };
    let (schema, asked) = match schema() {
        Ok(found) => found,
        Err(why) => return skipped(why),
    };
    match judged(&schema, text) {
        Some(Ok(())) => Held::Valid,
        Some(Err(why)) => Held::Invalid(why),
        None => {
            let why = "neither xmllint nor Python with lxml or xmlschema is there";
            assert!(!asked, "{why}");
            skipped(why.into())
        }
    }
}
