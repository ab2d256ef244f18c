//! Extended indication: a tenth of the scale interval, for a moment.
//!
//! OIML R 76-1:2006 clause 4.4.3 (FROM MEMORY): a device that temporarily shows
//! a finer interval than e may do so only while a key is held, or for at most
//! 5 seconds after a command by hand. Owns that time and nothing else.

use scalewright_protocol::units::elapsed_ms;

/// Longest time without being asked again, ms (R 76-1 clause 4.4.3, FROM MEMORY).
pub const LONGEST_MS: u32 = 5000;

/// Whether more digits are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extended {
    begun_ms: Option<u32>,
}

impl Extended {
    /// Off.
    #[must_use]
    pub const fn new() -> Self {
        Self { begun_ms: None }
    }

    /// Shows more digits from now on.
    pub const fn ask(&mut self, now_ms: u32) {
        self.begun_ms = Some(now_ms);
    }

    /// Ends it at once.
    pub const fn end(&mut self) {
        self.begun_ms = None;
    }

    /// Ends it when its time is over. To be called more often than the clock
    /// turns over.
    pub const fn pass(&mut self, now_ms: u32) {
        if !self.shows(now_ms) {
            self.begun_ms = None;
        }
    }

    /// Whether it is shown at `now_ms`.
    #[must_use]
    pub const fn shows(&self, now_ms: u32) -> bool {
        match self.begun_ms {
            Some(begun_ms) => elapsed_ms(now_ms, begun_ms) < LONGEST_MS,
            None => false,
        }
    }

    /// Seconds left, begun ones counted; 0 when it is not shown.
    #[must_use]
    pub const fn seconds_left(&self, now_ms: u32) -> u32 {
        match self.begun_ms {
            Some(begun_ms) => LONGEST_MS
                .saturating_sub(elapsed_ms(now_ms, begun_ms))
                .div_ceil(1000),
            None => 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R 76-1 clause 4.4.3, FROM MEMORY: not longer than 5 s.
    #[test]
    fn it_ends_by_itself_after_five_seconds_across_the_clocks_wrap() {
        let begun_ms = u32::MAX - 1000;
        let mut extended = Extended::new();
        assert!(!extended.shows(0));
        extended.ask(begun_ms);
        for after_ms in 0..7000 {
            let now_ms = begun_ms.wrapping_add(after_ms);
            extended.pass(now_ms);
            assert_eq!(extended.shows(now_ms), after_ms < 5000, "{after_ms} ms");
        }
        // A whole turn of the clock later it is still over.
        assert!(!extended.shows(begun_ms));
        extended.ask(9);
        extended.end();
        assert!(!extended.shows(9));
    }

    #[test]
    fn begun_seconds_count() {
        let mut extended = Extended::new();
        assert_eq!(extended.seconds_left(0), 0);
        extended.ask(0);
        let left: std::vec::Vec<u32> = [0, 1, 1000, 4999, 5000]
            .map(|t| extended.seconds_left(t))
            .into();
        assert_eq!(left, [5, 5, 4, 1, 0]);
    }
}
