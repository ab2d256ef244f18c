//! One observed value beside its limit.

use std::fmt;

use super::Shortfall;

/// What a test says, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Judgement {
    /// Kept, and the test was complete.
    Passes,
    /// Nothing speaks against it, but the test was not complete.
    PassesSoFar,
    /// The readings allow both.
    Open,
    /// Not kept, whatever else a longer test would show.
    Fails,
}

impl fmt::Display for Judgement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Passes => "passes",
            Self::PassesSoFar => "nothing against it so far, but the test was not complete",
            Self::Open => "can't be told from these readings",
            Self::Fails => "fails",
        })
    }
}

impl Judgement {
    /// The same, as far as a test with these gaps can say it: a pass becomes one
    /// so far, a fail stays.
    #[must_use]
    pub(super) fn given(self, incomplete: &[Shortfall]) -> Self {
        if incomplete.is_empty() {
            self
        } else {
            self.max(Self::PassesSoFar)
        }
    }
}

/// An observed value, in g and without sign, beside the limit it must keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// What was observed, in g.
    pub observed_g: f64,
    /// How far rounding of the readings may have moved it either way, in g.
    pub slack_g: f64,
    /// What is permitted, in g; the limit itself is.
    pub limit_g: f64,
    /// What that makes, for this value alone.
    pub judgement: Judgement,
}

/// A value this close above its limit (relative) is on it.
const LIMIT_ROUNDING: f64 = 1e-9;

/// Sums of this many terms lose at most so many last bits.
const LOST_BITS: f64 = 8.0;

impl Finding {
    /// The size of a value computed from readings as large as `from_g`, beside
    /// its limit.
    pub(super) fn new(value_g: f64, slack_g: f64, limit_g: f64, from_g: f64) -> Self {
        let observed_g = value_g.abs();
        // Decimal readings are off by their last bit, large ones by more.
        let tolerated_g = limit_g * (1.0 + LIMIT_ROUNDING) + LOST_BITS * f64::EPSILON * from_g;
        let judgement = if observed_g + slack_g <= tolerated_g {
            Judgement::Passes
        } else if observed_g - slack_g > tolerated_g {
            Judgement::Fails
        } else {
            Judgement::Open
        };
        Self {
            observed_g,
            slack_g,
            limit_g,
            judgement,
        }
    }
}

/// The least favourable of several; nothing observed leaves it open.
pub(super) fn worst(all: impl IntoIterator<Item = Judgement>) -> Judgement {
    all.into_iter().max().unwrap_or(Judgement::Open)
}
