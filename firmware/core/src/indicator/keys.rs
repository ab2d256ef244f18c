//! Three keys: which one counts as pressed, and when it counts again.
//!
//! Contacts bounce, and a hand that wipes over the keys presses several. A key
//! counts once its level has stood still; of several down together none counts,
//! and then none until all are released. A key that is held counts again, slowly
//! at first and then fast; whoever has no use for that ignores it.

use scalewright_protocol::units::elapsed_ms;

/// Levels count when they have stood still for so long, ms.
const STILL_MS: u32 = 25;
/// A held key counts again after this, ms.
const AGAIN_AFTER_MS: u32 = 500;
/// Then every so often, ms.
const SLOW_MS: u32 = 220;
/// And after so long in all, ms, this often.
const FAST_AFTER_MS: u32 = 2500;
const FAST_MS: u32 = 60;

/// Levels that no keys have.
const UNKNOWN: u8 = 0xFF;

/// A key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Bit 0 of the levels, wired as ZERO.
    Left,
    /// Bit 1, wired as TARE.
    Middle,
    /// Bit 2, wired as VIEW.
    Right,
}

impl Key {
    /// Its place from the left.
    #[must_use]
    pub const fn place(self) -> usize {
        match self {
            Self::Left => 0,
            Self::Middle => 1,
            Self::Right => 2,
        }
    }
}

/// A key that counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Press {
    /// Which.
    pub key: Key,
    /// Whether it counts again because it is held.
    pub held: bool,
}

/// State of the three keys.
#[derive(Clone, Debug)]
pub struct Hand {
    /// Levels as they were seen last, and since when.
    seen: u8,
    seen_ms: u32,
    /// Levels that stood still.
    still: u8,
    /// The key that counts while it is held.
    held: Option<Key>,
    pressed_ms: u32,
    counted_ms: u32,
}

impl Default for Hand {
    fn default() -> Self {
        Self::new()
    }
}

impl Hand {
    /// Nothing is known: a key that is held while the scale is switched on counts
    /// only once it was released.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            seen: 0,
            seen_ms: 0,
            still: UNKNOWN,
            held: None,
            pressed_ms: 0,
            counted_ms: 0,
        }
    }

    /// The key that is held does not count again.
    pub const fn let_go(&mut self) {
        self.held = None;
    }

    /// Takes which keys are down, a bit each; what counts now.
    pub fn take(&mut self, now_ms: u32, down: u8) -> Option<Press> {
        let down = down & 0b111;
        if down != self.seen {
            self.seen = down;
            self.seen_ms = now_ms;
        }
        if self.seen != self.still {
            if elapsed_ms(now_ms, self.seen_ms) < STILL_MS {
                return None;
            }
            let free = self.still == 0;
            self.still = self.seen;
            self.held = None;
            let key = match self.still {
                1 => Key::Left,
                2 => Key::Middle,
                4 => Key::Right,
                _ => return None,
            };
            if !free {
                return None;
            }
            self.held = Some(key);
            self.pressed_ms = now_ms;
            self.counted_ms = now_ms.wrapping_add(AGAIN_AFTER_MS - SLOW_MS);
            return Some(Press { key, held: false });
        }
        let key = self.held?;
        let held_ms = elapsed_ms(now_ms, self.pressed_ms);
        let every_ms = if held_ms < FAST_AFTER_MS {
            SLOW_MS
        } else {
            FAST_MS
        };
        // Before the first time the moment counted from lies ahead.
        let due = held_ms >= AGAIN_AFTER_MS && elapsed_ms(now_ms, self.counted_ms) >= every_ms;
        if !due {
            return None;
        }
        self.counted_ms = now_ms;
        Some(Press { key, held: true })
    }
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use super::*;

    fn released() -> Hand {
        let mut hand = Hand::new();
        let begin = u32::MAX - 200;
        hand.take(begin, 0);
        hand.take(begin.wrapping_add(STILL_MS), 0);
        hand
    }

    /// What counts, with its time, of levels that hold from a time on.
    fn counted(levels: &[(u32, u8)], until_ms: u32) -> Vec<(u32, Key, bool)> {
        let mut hand = released();
        // Close to the clock's turn.
        let begin = u32::MAX - 100;
        let mut all = Vec::new();
        for at in 0..until_ms {
            let down = levels
                .iter()
                .rev()
                .find(|(from, _)| *from <= at)
                .map_or(0, |l| l.1);
            if let Some(press) = hand.take(begin.wrapping_add(at), down) {
                all.push((at, press.key, press.held));
            }
        }
        all
    }

    #[test]
    fn a_bouncing_contact_counts_once() {
        let bounces = [
            (10, 2),
            (12, 0),
            (15, 2),
            (16, 0),
            (18, 2),
            (300, 0),
            (303, 2),
            (305, 0),
        ];
        assert_eq!(counted(&bounces, 600), [(43, Key::Middle, false)]);
    }

    #[test]
    fn of_several_none_counts_until_all_are_released() {
        // Two at once, one of them let go, then both, then a clean press.
        let levels = [(0, 3), (200, 1), (400, 0), (500, 4)];
        assert_eq!(counted(&levels, 700), [(525, Key::Right, false)]);
        // A second one joins: the first counted, and does not again.
        let levels = [(0, 1), (100, 5), (300, 1), (3000, 0)];
        assert_eq!(counted(&levels, 4000), [(25, Key::Left, false)]);
    }

    #[test]
    fn a_held_key_counts_slowly_and_then_fast() {
        let all = counted(&[(0, 1)], 4000);
        assert_eq!(all[0], (25, Key::Left, false));
        assert!(
            all[1..]
                .iter()
                .all(|(_, key, held)| *key == Key::Left && *held)
        );
        assert_eq!(all[1].0, 525);
        let gaps: Vec<u32> = all[1..]
            .windows(2)
            .map(|pair| pair[1].0 - pair[0].0)
            .collect();
        assert!(gaps[..9].iter().all(|gap| *gap == SLOW_MS), "{gaps:?}");
        assert_eq!(*gaps.last().unwrap(), FAST_MS);
        assert!(counted(&[(0, 1)], 520).len() == 1);
    }

    #[test]
    fn a_key_that_was_let_go_is_quiet() {
        let mut hand = released();
        let mut count = 0;
        for at in 0..3000 {
            if hand.take(at, 1).is_some() {
                count += 1;
                hand.let_go();
            }
        }
        assert_eq!(count, 1);
    }

    #[test]
    fn a_key_held_from_the_start_counts_once_it_was_released() {
        let mut hand = Hand::new();
        let mut all = Vec::new();
        for at in 0..4000 {
            let down = if (1000..2000).contains(&at) { 0 } else { 4 };
            all.extend(hand.take(at, down).map(|press| (at, press.held)));
        }
        assert_eq!(all.first(), Some(&(2025, false)));
    }
}
