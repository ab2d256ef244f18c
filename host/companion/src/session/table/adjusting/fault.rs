//! Why a load is not put right.

use std::fmt;

use super::MOST_BEND;
use crate::quantise::QuantiseFault;
use crate::record::weights::name;

/// What ends a reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ends {
    /// Zero.
    Zero,
    /// A load that was said to be right, g.
    Kept(f64),
    /// What was asked for.
    Asked,
    /// Max.
    Max,
}

/// Why a load is not put right.
#[derive(Clone, Debug, PartialEq)]
pub enum AdjustFault {
    /// The load is not above zero and up to Max; load and Max in g.
    Load(f64, f64),
    /// The scale can't have shown this, g.
    NeverShown(f64),
    /// The load lies within e of zero, g.
    NearZero(f64),
    /// A load to be kept is not between zero and Max, or the one to be changed, g.
    Keep(f64),
    /// No reach, g.
    Reach(f64),
    /// The curve would bend too much.
    Bends {
        /// Change of steepness, as a share.
        bend: f64,
        /// The reach it has, g.
        reach_g: f64,
        /// The reach that would do, g.
        needed_g: f64,
        /// What ends it.
        ends: Ends,
    },
    /// The board has no room for the points that it takes.
    NoRoom {
        /// Points that fit.
        points: usize,
    },
    /// What came of it is no table.
    Unfit(QuantiseFault),
}

impl fmt::Display for AdjustFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Load(load_g, max_g) => write!(
                f,
                "a load of {} can't be adjusted: it is not above zero and up to Max, {}",
                name(*load_g),
                name(*max_g)
            ),
            Self::NeverShown(g) => write!(
                f,
                "this scale never shows {}: its table ends before that",
                name(*g)
            ),
            Self::NearZero(g) => write!(f, "{} is too near zero to be adjusted", name(*g)),
            Self::Keep(g) => write!(
                f,
                "{} can't be kept: it is not between zero and Max, or it is the load itself",
                name(*g)
            ),
            Self::Reach(g) => write!(f, "a reach of {} is none", name(*g)),
            Self::Bends {
                bend,
                reach_g,
                needed_g,
                ends,
            } => {
                let whole = |g: &f64| name(g.ceil());
                let why = match ends {
                    Ends::Zero => "zero, which stays, is no further away".to_owned(),
                    Ends::Kept(g) => format!("{}, which is kept, is no further away", name(*g)),
                    Ends::Asked => "that is the reach asked for".to_owned(),
                    Ends::Max => "Max is no more".to_owned(),
                };
                write!(
                    f,
                    "that would bend the curve too much: by {:.1} % over {}, and {:.0} % is the most ({why}); ",
                    bend * 100.0,
                    whole(reach_g),
                    MOST_BEND * 100.0,
                )?;
                match ends {
                    Ends::Kept(_) | Ends::Asked => {
                        write!(f, "a reach of {} would do", whole(needed_g))
                    }
                    Ends::Zero | Ends::Max => f.write_str("no reach would do"),
                }
            }
            Self::NoRoom { points } => write!(
                f,
                "the {points} points that this board has room for can't follow that correction"
            ),
            Self::Unfit(fault) => write!(f, "the adjusted table would be none: {fault}"),
        }
    }
}

impl std::error::Error for AdjustFault {}
