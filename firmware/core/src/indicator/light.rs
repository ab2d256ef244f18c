//! When the display rests, and what wakes it.
//!
//! It rests after a chosen time in which no key was pressed and the load stayed
//! within some d; any key or a change of load beyond that wakes it. A key that
//! wakes does nothing else.

use scalewright_protocol::units::elapsed_ms;

use crate::functions::preferences::Preferences;

/// A change of load that wakes, in d.
const WAKES_D: u32 = 5;

/// What the display's light shall be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// Dark; nothing need be painted.
    Off,
    /// As dim as it gets.
    Dim,
    /// Lit, 1 to 5.
    Lit(u8),
}

/// Whether somebody may be looking.
#[derive(Clone, Debug)]
pub struct Watch {
    /// The load when something last happened, quanta.
    load: Option<i32>,
    since_ms: u32,
    resting: bool,
}

impl Watch {
    /// Awake from now on.
    #[must_use]
    pub const fn new(now_ms: u32) -> Self {
        Self {
            load: None,
            since_ms: now_ms,
            resting: false,
        }
    }

    /// Whether the display rests.
    #[must_use]
    pub const fn resting(&self) -> bool {
        self.resting
    }

    /// Something happened: awake.
    pub const fn wake(&mut self, now_ms: u32) {
        self.since_ms = now_ms;
        self.resting = false;
    }

    /// Takes the gross load, quanta, none while there is none, and d.
    pub fn pass(&mut self, now_ms: u32, load: Option<i32>, d: i32, preferences: &Preferences) {
        let moved = match (load, self.load) {
            (Some(now), Some(before)) => {
                now.abs_diff(before) > d.max(1).unsigned_abs().saturating_mul(WAKES_D)
            }
            (now, before) => now.is_some() != before.is_some(),
        };
        if moved {
            self.load = load;
            self.wake(now_ms);
        }
        let after_ms = preferences
            .rest_after
            .minutes()
            .map(|n| n.saturating_mul(60_000));
        match after_ms {
            // Latched: the clock's turn after 49 days does not wake.
            Some(after_ms) => self.resting |= elapsed_ms(now_ms, self.since_ms) >= after_ms,
            None => self.resting = false,
        }
    }

    /// The light now.
    #[must_use]
    pub const fn light(&self, preferences: &Preferences) -> Light {
        match (self.resting, preferences.rests_dark) {
            (false, _) => Light::Lit(preferences.brightness),
            (true, false) => Light::Dim,
            (true, true) => Light::Off,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::functions::preferences::RestAfter;

    #[test]
    fn it_rests_when_nothing_happens_and_a_load_wakes_it() {
        let mut chosen = Preferences::new();
        chosen.rest_after = RestAfter::One;
        let mut watch = Watch::new(0);
        let mut lights = std::vec::Vec::new();
        for (now_ms, load) in [
            (0, 0),
            (59_999, 50),
            (60_000, 50),
            (60_100, 51),
            (119_000, 0),
            (120_100, 0),
        ] {
            watch.pass(now_ms, Some(load), 10, &chosen);
            lights.push(watch.light(&chosen));
        }
        let lit = Light::Lit(4);
        assert_eq!(lights, [lit, lit, Light::Dim, lit, lit, lit]);
        chosen.rests_dark = true;
        watch.pass(400_000, Some(0), 10, &chosen);
        assert_eq!(watch.light(&chosen), Light::Off);
        // A fault is a change too.
        watch.pass(400_001, None, 10, &chosen);
        assert_eq!(watch.light(&chosen), lit);
        chosen.rest_after = RestAfter::Never;
        watch.pass(4_000_000, None, 10, &chosen);
        assert_eq!(watch.light(&chosen), lit);
    }
}
