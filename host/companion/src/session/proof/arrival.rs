//! When a load is on the pan and rests.
//!
//! A calibrated scale says by itself what lies on it; nobody has to press a key.
//! Readings in, one word out: what is going on.

/// A load must rest this long before it is taken: the hand is off, ms.
const REST_MS: u32 = 1_000;

/// A wrong load must rest this long before it is called wrong: one weight after
/// another goes on, ms.
const WRONG_MS: u32 = 8_000;

/// Whoever has not moved anything for this long is reminded, ms.
const REMIND_MS: u32 = 30_000;

/// Something moved when the reading left its first level by so much, e.
const MOVED_E: f64 = 0.6;

/// Rest, e: the reading stays within this.
const BAND_E: f64 = 0.5;

/// What a load should read, and how far off it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Awaited {
    /// The load, g.
    pub mass_g: f64,
    /// How far off it may read, g.
    pub room_g: f64,
    /// Whether something must move first: the same load stands there already.
    pub must_move: bool,
}

/// What is going on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// Nothing has moved yet.
    Waiting,
    /// The load moves or has just come.
    Settling,
    /// It came to rest, and is not the load awaited.
    Other,
    /// The right load rests, since so many ms.
    Here {
        /// How long, ms.
        rested_ms: u32,
    },
    /// Another load rests there.
    Wrong {
        /// What it reads, g.
        seen_g: f64,
        /// Whether nothing has moved at all.
        nothing_moved: bool,
    },
}

/// Watches for one load.
#[derive(Clone, Debug)]
pub struct Arrival {
    awaited: Awaited,
    e_g: f64,
    began: Option<(f64, u32)>,
    moved: bool,
    rest: Option<(f64, u32)>,
    /// When the latest complaint was made, and the pause until the next, ms.
    complained: Option<(u32, u32)>,
    /// Somebody's word that what lies there is right.
    insisted: bool,
}

impl Arrival {
    /// Watches for `awaited` on a scale of this e.
    #[must_use]
    pub fn of(awaited: Awaited, e_g: f64) -> Self {
        Self {
            awaited,
            e_g,
            began: None,
            moved: false,
            rest: None,
            complained: None,
            insisted: false,
        }
    }

    /// What lies there is right, whatever it reads.
    pub fn insist(&mut self) {
        self.insisted = true;
    }

    /// Since when the reading rests, ms of device time.
    #[must_use]
    pub fn resting_since(&self) -> Option<u32> {
        self.rest.map(|(_, at_ms)| at_ms)
    }

    /// Takes a reading: gross mass, whether the scale calls it at rest, and its
    /// time. `Wrong` comes once, then again after a while if nothing changes.
    pub fn reading(&mut self, gross_g: f64, stable: bool, at_ms: u32) -> Seen {
        let (first_g, began_ms) = *self.began.get_or_insert((gross_g, at_ms));
        if (gross_g - first_g).abs() > MOVED_E * self.e_g {
            self.moved = true;
        }
        match self.rest {
            Some((level_g, _)) if (gross_g - level_g).abs() <= BAND_E * self.e_g => {}
            _ => {
                self.rest = Some((gross_g, at_ms));
                self.complained = None;
            }
        }
        let since = |then: u32| at_ms.wrapping_sub(then);
        let rested_ms = self.rest.map_or(0, |(_, then)| since(then));
        let fits = (gross_g - self.awaited.mass_g).abs() <= self.awaited.room_g;
        let came = self.moved || !self.awaited.must_move;
        if (fits && came || self.insisted) && stable && rested_ms >= REST_MS {
            return Seen::Here { rested_ms };
        }
        // Whoever takes weights on is given time; a pan to be emptied that was
        // loaded from the start is said at once.
        let to_empty = self.awaited.mass_g == 0.0 && !fits;
        let due = match self.complained {
            Some((then, pause_ms)) => since(then) >= pause_ms,
            None if self.moved || to_empty => rested_ms >= WRONG_MS && !fits,
            None => since(began_ms) >= REMIND_MS,
        };
        if due {
            let pause_ms = self
                .complained
                .map_or(REMIND_MS, |(_, pause)| pause.saturating_mul(2));
            self.complained = Some((at_ms, pause_ms));
            return Seen::Wrong {
                seen_g: gross_g,
                nothing_moved: !self.moved,
            };
        }
        match self.moved {
            false => Seen::Waiting,
            true if stable && rested_ms >= REST_MS => Seen::Other,
            true => Seen::Settling,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn awaited(mass_g: f64, must_move: bool) -> Arrival {
        Arrival::of(
            Awaited {
                mass_g,
                room_g: 10.0,
                must_move,
            },
            2.0,
        )
    }

    /// Feeds a level for so many ms in steps of 250 and gives what was seen.
    fn stay(arrival: &mut Arrival, level_g: f64, from_ms: u32, for_ms: u32) -> Vec<Seen> {
        (0..for_ms / 250)
            .map(|step| arrival.reading(level_g, true, from_ms + step * 250))
            .collect()
    }

    #[test]
    fn the_load_asked_for_is_taken_once_it_rests() {
        let mut arrival = awaited(1000.0, false);
        assert!(
            stay(&mut arrival, 0.0, 0, 2000)
                .iter()
                .all(|seen| *seen == Seen::Waiting)
        );
        assert_eq!(arrival.reading(600.0, false, 2000), Seen::Settling);
        assert_eq!(arrival.reading(1000.5, true, 2250), Seen::Settling);
        assert_eq!(
            arrival.reading(1000.4, true, 3250),
            Seen::Here { rested_ms: 1000 }
        );
    }

    #[test]
    fn the_same_load_again_must_move_first() {
        let mut arrival = awaited(1000.0, true);
        let still = stay(&mut arrival, 1000.0, 0, 20_000);
        assert!(still.iter().all(|seen| *seen == Seen::Waiting));
        arrival.reading(0.0, true, 20_000);
        let back = stay(&mut arrival, 1000.0, 20_250, 2_000);
        assert!(matches!(back.last(), Some(Seen::Here { .. })));
    }

    #[test]
    fn a_wrong_load_is_named_once_and_again_after_a_while() {
        let mut arrival = awaited(1000.0, false);
        arrival.reading(0.0, true, 0);
        let wrong = stay(&mut arrival, 500.0, 250, 120_000);
        let named = wrong
            .iter()
            .filter(|seen| matches!(seen, Seen::Wrong { .. }))
            .count();
        // After 8 s, 38 s and 98 s.
        assert_eq!(named, 3);
        arrival.insist();
        assert!(matches!(
            arrival.reading(500.0, true, 130_000),
            Seen::Here { .. }
        ));
    }

    #[test]
    fn another_load_at_rest_is_not_called_settling() {
        let mut arrival = awaited(1000.0, false);
        arrival.reading(0.0, true, 0);
        assert_eq!(arrival.reading(500.0, false, 250), Seen::Settling);
        assert_eq!(arrival.reading(500.0, true, 1000), Seen::Settling);
        assert_eq!(arrival.reading(500.0, true, 1250), Seen::Other);
        assert_eq!(arrival.reading(500.0, false, 1500), Seen::Settling);
    }

    #[test]
    fn a_pan_to_be_emptied_that_bears_a_load_is_said_soon() {
        let first = |mass_g, level_g| {
            let mut arrival = awaited(mass_g, false);
            let seen = stay(&mut arrival, level_g, 0, 60_000);
            let at = seen
                .iter()
                .position(|seen| matches!(seen, Seen::Wrong { .. }));
            at.map(|step| step * 250)
        };
        assert_eq!(first(0.0, 2000.0), Some(8_000));
        // Weights are given time.
        assert_eq!(first(2000.0, 0.0), Some(30_000));
    }

    #[test]
    fn whoever_does_nothing_is_reminded() {
        let mut arrival = awaited(1000.0, false);
        let seen = stay(&mut arrival, 0.0, 0, 40_000);
        let reminded = |seen: &&Seen| {
            matches!(
                seen,
                Seen::Wrong {
                    nothing_moved: true,
                    ..
                }
            )
        };
        assert_eq!(seen.iter().filter(reminded).count(), 1);
    }
}
