//! The certificate for other programs: PTB's Digital Calibration Certificate,
//! schema 3.1.2, with quantities in D-SI 2.1.0.
//!
//! Guarantees text that the schema accepts, with every number to its last digit
//! and every text escaped, or a [`Refusal`] that names the place. Always states
//! that the certificate is not a legal verification. Refuses: to sign, to round,
//! to read a clock.
//!
//! Written without a library: what one would add, escaping and closing tags, is
//! thirty lines in the writer, and none refuses the characters and patterns that
//! the schema refuses. The tests read the text back with an XML parser.

mod administration;
mod of_proof;
mod refusal;
mod results;
mod values;
mod xml;

pub use of_proof::{NoCertificate, PROBABILITY, SIMULATED, certificate as of_proof, is_simulated};
pub use refusal::{Fault, Refusal};
pub use values::to_uncertainty;

use crate::record::certificate::Certificate;
use xml::Xml;

/// The schema that the text keeps.
pub const SCHEMA_VERSION: &str = "3.1.2";

/// The certificate as XML, from the declaration to the last tag.
///
/// # Errors
/// The first thing that the schema would refuse, or that no certificate can
/// mean: where it stands and what to do.
pub fn dcc(certificate: &Certificate) -> Result<String, Refusal> {
    let mut xml = Xml::new(&certificate.language, certificate.mass_unit);
    let names = [
        ("xmlns:dcc", "https://ptb.de/dcc"),
        ("xmlns:si", "https://ptb.de/si"),
        ("schemaVersion", SCHEMA_VERSION),
    ];
    xml.within_as("dcc:digitalCalibrationCertificate", &names, |xml| {
        administration::write(xml, certificate);
        results::write(xml, &certificate.measurements);
    });
    xml.finish()
}
