//! Why a session cannot go on.

use scalewright_protocol::message::Refusal;

use crate::wording::declined;

/// Why a session cannot go on.
#[derive(Clone, Debug, PartialEq)]
pub enum SessionFault {
    /// The scale declined something it must not.
    Declined(Refusal),
    /// The scale answered something else than was asked.
    Confused,
    /// What was read back is not what was written.
    ReadBack,
    /// No table can be made of the captures.
    NoTable(String),
    /// The journal belongs to another scale.
    OtherScale {
        /// Identity in the journal.
        journal: u32,
        /// Identity of the scale that answers.
        scale: u32,
    },
    /// The table in the device is not the one the journal says was stored.
    OtherTable,
    /// Nobody came to put a load on.
    Abandoned {
        /// What was waited for, g.
        load_g: f64,
        /// Device time waited, s.
        waited_s: u32,
    },
}

impl std::fmt::Display for SessionFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Declined(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused => write!(f, "the scale answered something else than was asked"),
            Self::ReadBack => write!(f, "the table read back is not the one written"),
            Self::NoTable(cause) => write!(f, "these captures make no table: {cause}"),
            Self::OtherScale { journal, scale } => write!(
                f,
                "this session belongs to scale {journal:04X}, but scale {scale:04X} answers"
            ),
            Self::OtherTable => write!(
                f,
                "the table in the scale is not the one this session stored"
            ),
            Self::Abandoned { load_g, waited_s } => {
                write!(f, "waited {waited_s} s for {load_g} g and nothing came")
            }
        }
    }
}

impl std::error::Error for SessionFault {}
