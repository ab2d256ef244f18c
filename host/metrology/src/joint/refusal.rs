//! Why captures can't be solved together.

use std::fmt;

/// What is missing or makes no sense.
#[derive(Debug, Clone, PartialEq)]
pub enum JointRefusal {
    /// Max or e is not a number above zero.
    Scale,
    /// A number of this weighing is not finite, out of order in time, below
    /// zero where it must not be, or names a body twice or one there is none of.
    Weighing {
        /// Its position, from 0.
        index: usize,
    },
    /// A body whose mass or worth is not a usable number.
    Body {
        /// Its name.
        name: String,
    },
    /// A sitting without a capture of the empty pan.
    NoZero {
        /// The sitting, from 0.
        sitting: u32,
    },
    /// Nothing was ever put on, or nothing that reads above zero.
    NoLoads,
    /// The captures leave these open.
    Open {
        /// Their names, in plain words.
        unknowns: Vec<String>,
        /// Bodies of the simplest load whose capture would settle it, if one
        /// capture is enough.
        capture: Option<Vec<usize>>,
    },
    /// The arithmetic did not come to an end.
    NotSolved,
}

impl fmt::Display for JointRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Scale => write!(f, "Max and e must be numbers above zero"),
            Self::Weighing { index } => write!(
                f,
                "capture {} makes no sense: a number is not finite, or a weight is named that is not there or twice",
                index + 1
            ),
            Self::Body { name } => write!(
                f,
                "{name} has no usable mass or uncertainty; correct the weights file"
            ),
            Self::NoZero { sitting } => write!(
                f,
                "no capture of the empty pan in sitting {}: without a zero its loads say nothing; capture the empty pan",
                sitting + 1
            ),
            Self::NoLoads => write!(
                f,
                "no load reads above the empty pan; put on loads spread over the range, and swap the signal wires if readings fall"
            ),
            Self::Open { unknowns, .. } => {
                write!(f, "the captures do not determine {}", unknowns.join(", "))
            }
            Self::NotSolved => write!(
                f,
                "the captures are too far from any curve to be solved together"
            ),
        }
    }
}

impl std::error::Error for JointRefusal {}
