//! The certificate against PTB's schema 3.1.2 with D-SI 2.1.0.
//!
//! The schema is under a licence of its own and no part of the project: its
//! folder comes from `SCALEWRIGHT_DCC_SCHEMA`, or is looked for beside the
//! project as `../shared/references/dcc-schema`. Judged by `xmllint`, or by
//! Python with lxml or xmlschema. What is missing is said on standard error;
//! where the variable is set, it is a failure.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use scalewright::record::certificate::{Certificate, Conformity, Data, Expanded, Issuer, Place};
use scalewright::report::dcc::dcc;

use crate::fixture::{full, least};

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

/// The schema's file, and whether it was asked for by name.
fn schema() -> Option<(PathBuf, bool)> {
    let (folder, asked) = match std::env::var_os("SCALEWRIGHT_DCC_SCHEMA") {
        Some(folder) => (PathBuf::from(folder), true),
        None => {
            let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
            (project.join("../shared/references/dcc-schema"), false)
        }
    };
    let file = folder.join("dcc.xsd");
    if file.is_file() {
        return Some((file, asked));
    }
    assert!(
        !asked,
        "SCALEWRIGHT_DCC_SCHEMA: no dcc.xsd in {}",
        folder.display()
    );
    say(&format!(
        "SKIPPED: certificates were not held to PTB's schema, since {} is not there. \
         Set SCALEWRIGHT_DCC_SCHEMA to a folder with dcc.xsd (3.1.2) and SI_Format.xsd (2.1.0).",
        file.display()
    ));
    None
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

/// Certificates that use every branch of the writer.
fn certificates() -> Vec<(String, Certificate)> {
    let mut all = vec![("full".to_owned(), full()), ("least".to_owned(), least())];
    for (place, conformity, issuer) in [
        (Place::Laboratory, Conformity::Pass, Issuer::Customer),
        (Place::Customer, Conformity::Fail, Issuer::Owner),
        (
            Place::LaboratoryBranch,
            Conformity::ConditionalFail,
            Issuer::Other,
        ),
        (
            Place::Other,
            Conformity::ConditionalPass,
            Issuer::CalibrationLaboratory,
        ),
    ] {
        let mut one = full();
        one.place = place;
        one.statements[0].conformity = Some(conformity);
        one.items[0].identifications[0].issuer = issuer;
        all.push((format!("{place:?}"), one));
    }
    for (name, u, k, probability) in [
        ("edges", 0.0, 1.0, 1.0),
        ("tiny", 5e-324, 1000.0, 1e-300),
        ("huge", f64::MAX, 1.000_000_000_000_000_2, 0.0),
    ] {
        let mut one = full();
        if let Data::Errors(rows) = &mut one.measurements[0].results[0].data {
            for row in rows {
                row.uncertainty = Expanded { u, k, probability };
                row.error_g = -u;
            }
        }
        all.push((name.to_owned(), one));
    }
    let mut hostile = full();
    hostile.items[0].name = "\"'<&>]]> 😀\r\n\t\u{202e}".into();
    hostile.customer.address.city = "<city/>".into();
    all.push(("hostile".into(), hostile));
    all
}

#[test]
fn the_schema_accepts_every_certificate() {
    let Some((schema, asked)) = schema() else {
        return;
    };
    for (name, certificate) in certificates() {
        let written = dcc(&certificate).unwrap_or_else(|refusal| panic!("{name}: {refusal}"));
        match judged(&schema, &written) {
            Some(verdict) => assert_eq!(verdict, Ok(()), "{name}"),
            None => {
                assert!(!asked, "neither xmllint nor Python with lxml or xmlschema");
                say(
                    "SKIPPED: certificates were not held to PTB's schema, since neither xmllint \
                     nor Python with lxml or xmlschema is there.",
                );
                return;
            }
        }
    }
    // A judge that accepts anything would prove nothing.
    let written = dcc(&full()).expect("a certificate");
    for (right, wrong) in [
        (
            "<dcc:performanceLocation>customerBranch<",
            "<dcc:performanceLocation>moon<",
        ),
        ("<si:coverageFactor>2.05<", "<si:coverageFactor>0.5<"),
        ("schemaVersion=\"3.1.2\"", "schemaVersion=\"3.1\""),
        ("dcc:mainSigner>", "dcc:firstSigner>"),
    ] {
        let spoilt = written.replace(right, wrong);
        assert_ne!(spoilt, written);
        assert!(
            judged(&schema, &spoilt).is_some_and(|v| v.is_err()),
            "{wrong}"
        );
    }
}
