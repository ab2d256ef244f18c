//! Brings a verification's file and a form together into a certificate: reads
//! texts, evaluates, names the certificate. No files, no terminal, no clock.

use std::fmt;

use scalewright_protocol::checksum::crc32;

use crate::record::certificate::Certificate;
use crate::record::journal::{self, Contents, JournalFault};
use crate::record::lab::Lab;
use crate::record::performed::Performed;
use crate::record::proof::Proof;
use crate::report::dcc::{NoCertificate, of_proof};
use crate::session::proof::entry::ProofEntry;
use crate::session::proof::evaluate::evaluate;
use crate::session::proof::performed::performed;

/// A certificate with what it was made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Certified {
    /// The certificate.
    pub certificate: Certificate,
    /// The results it states.
    pub proof: Proof,
    /// How they were come by.
    pub performed: Performed,
}

/// Why there is no certificate.
#[derive(Clone, Debug, PartialEq)]
pub enum CertifyingFault {
    /// The session file can't be read.
    Journal(JournalFault),
    /// Nothing follows from it.
    Session(String),
    /// What follows is nothing to certify, or the form does not fit it.
    Certificate(NoCertificate),
}

impl fmt::Display for CertifyingFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Journal(fault) => fault.fmt(f),
            Self::Session(cause) => f.write_str(cause),
            Self::Certificate(fault) => fault.fmt(f),
        }
    }
}

impl std::error::Error for CertifyingFault {}

/// The certificate of the verification whose file called `file` holds `session`.
///
/// To the identifier that [`of_proof`] gives, a checksum of all the certificate
/// states is added: the same verification with a corrected form, or evaluated by
/// a later program to other numbers, is another certificate and is called
/// otherwise; the same once more is the same text.
///
/// # Errors
/// [`CertifyingFault`].
pub fn certified(session: &str, file: &str, lab: &Lab) -> Result<Certified, CertifyingFault> {
    let contents: Contents<ProofEntry> =
        journal::parse(session, file).map_err(CertifyingFault::Journal)?;
    let entries = &contents.entries;
    let proof = evaluate(entries).map_err(CertifyingFault::Session)?;
    let performed = performed(entries).map_err(CertifyingFault::Session)?;
    // A line that was cut short counts for nothing, and an end of line that is
    // added when the session goes on changes nothing.
    let whole: Vec<&str> = session.lines().take(entries.len()).collect();
    let checksum = format!("{:08x}", crc32(whole.join("\n").as_bytes()));
    let mut certificate =
        of_proof(&proof, &performed, lab, &checksum).map_err(CertifyingFault::Certificate)?;
    let stated = serde_json::to_string(&certificate)
        .map_err(|error| CertifyingFault::Session(error.to_string()))?;
    certificate.identifier += &format!("-{:08x}", crc32(stated.as_bytes()));
    Ok(Certified {
        certificate,
        proof,
        performed,
    })
}
