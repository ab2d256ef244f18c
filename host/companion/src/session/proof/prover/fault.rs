//! Why a verification can't go on.

use std::fmt;

use scalewright_protocol::message::Refusal;

use crate::wording::declined;

/// Why a verification ends early.
#[derive(Clone, Debug, PartialEq)]
pub enum ProofFault {
    /// The scale holds no table.
    NotCalibrated,
    /// Its settings name another scale than the plan.
    OtherSettings {
        /// Max and e as the scale has them, g.
        scale: (f64, f64),
        /// The same as the plan has them.
        plan: (f64, f64),
    },
    /// The file belongs to another scale.
    OtherScale {
        /// Identity in the file.
        file: u32,
        /// Identity of the scale.
        scale: u32,
    },
    /// The table is not the one of the file.
    OtherTable {
        /// Checksum in the file.
        file: u32,
        /// Checksum in the scale.
        scale: u32,
    },
    /// The scale refuses what was asked.
    Declined(Refusal),
    /// The answer does not belong to the question.
    Confused,
    /// Nobody acted for as long as was allowed.
    Abandoned {
        /// How long, s.
        waited_s: u32,
    },
}

impl fmt::Display for ProofFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotCalibrated => write!(f, "the scale holds no table: calibrate it first"),
            Self::OtherSettings { scale, plan } => write!(
                f,
                "the scale is set to Max {} g, e {} g, not to Max {} g, e {} g",
                scale.0, scale.1, plan.0, plan.1
            ),
            Self::OtherScale { file, scale } => write!(
                f,
                "the file belongs to scale {file:04X}, this is scale {scale:04X}"
            ),
            Self::OtherTable { file, scale } => write!(
                f,
                "the table in the scale (checksum {scale:08x}) is not the one that was tried (checksum {file:08x}): it was calibrated since"
            ),
            Self::Declined(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused => write!(f, "the scale gave an answer that belongs to no question"),
            Self::Abandoned { waited_s } => write!(f, "nobody acted for {waited_s} s"),
        }
    }
}

impl std::error::Error for ProofFault {}
