//! Holding the highest mass.
//!
//! Two ways (common practice): the highest that came to rest, which a bump or a
//! hand does not touch; or the highest of the filtered signal, for a force that
//! lasts a moment. Every sample must be given, also while it is not looked at.

/// Which masses may be held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Among {
    /// Only those at rest.
    AtRest,
    /// All.
    Moving,
}

/// The highest mass so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Peak {
    highest: Option<i32>,
}

impl Peak {
    /// Nothing is held.
    #[must_use]
    pub const fn new() -> Self {
        Self { highest: None }
    }

    /// Takes a net mass, quanta, none while the indication is blank.
    pub fn push(&mut self, among: Among, net: Option<i32>, at_rest: bool) {
        if among == Among::Moving || at_rest {
            // Nothing is less than any mass.
            self.highest = self.highest.max(net);
        }
    }

    /// The highest, unrounded, quanta.
    #[must_use]
    pub const fn highest(&self) -> Option<i32> {
        self.highest
    }

    /// Forgets it.
    pub const fn reset(&mut self) {
        self.highest = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(among: Among, masses: &[(Option<i32>, bool)]) -> Option<i32> {
        let mut peak = Peak::new();
        for (net, at_rest) in masses {
            peak.push(among, *net, *at_rest);
        }
        peak.highest()
    }

    #[test]
    fn the_highest_stays_and_a_bump_counts_only_when_asked_for() {
        let masses = [
            (Some(-5), true),
            (Some(900), false),
            (None, false),
            (Some(700), true),
            (Some(100), true),
        ];
        assert_eq!(held(Among::AtRest, &masses), Some(700));
        assert_eq!(held(Among::Moving, &masses), Some(900));
        assert_eq!(
            held(Among::Moving, &masses[..1]),
            Some(-5),
            "below zero too"
        );
        assert_eq!(held(Among::AtRest, &masses[1..3]), None);
    }

    #[test]
    fn a_reset_forgets() {
        let mut peak = Peak::new();
        peak.push(Among::Moving, Some(5), false);
        peak.reset();
        assert_eq!(peak.highest(), None);
    }
}
