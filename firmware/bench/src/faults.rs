//! What can go wrong on the bench, by seed or on order.
//!
//! Owns troubles of the ADC's wiring, spikes in its codes and a bad line.
//! Each is a wrapper around something sound: the core and the host never know
//! whether a fault was ordered or real.

use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::dice::{Dice, Purpose};

/// What is wrong with the ADC's wiring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AdcTrouble {
    /// The data line is held high: no conversion is ever ready.
    HeldHigh,
    /// The data line is held low, as by a short.
    HeldLow,
    /// The ADC is unplugged: the line's pull-up holds it high, and when power
    /// returns the chip starts anew.
    NoPower,
    /// A bridge wire is off: the code runs to the upper end.
    BridgeOpen,
}

/// A trouble for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdcTroubleSpan {
    /// Virtual time it begins, s.
    pub from_s: f64,
    /// Virtual time it ends, s.
    pub until_s: f64,
    /// What is wrong.
    pub trouble: AdcTrouble,
}

/// Single wrong codes, as from a switching motor nearby.
#[derive(Clone, Debug)]
pub struct Spikes {
    /// Probability of a spike in one conversion.
    pub probability: f64,
    /// Size, ADC counts, either way.
    pub size_counts: i32,
    dice: Dice,
}

impl Spikes {
    /// Spikes of `size_counts`, either way, with `probability` at each
    /// conversion.
    #[must_use]
    pub fn new(probability: f64, size_counts: i32, seed: u64) -> Self {
        Self {
            probability,
            size_counts,
            dice: Dice::new(seed, Purpose::Spikes),
        }
    }

    /// Never.
    #[must_use]
    pub fn none() -> Self {
        Self::new(0.0, 0, 0)
    }

    /// The code after chance has had its say.
    #[inline]
    pub(crate) fn strike(&mut self, code: i32) -> i32 {
        if self.probability <= 0.0 || !self.dice.happens(self.probability) {
            return code;
        }
        let size = if self.dice.happens(0.5) {
            self.size_counts
        } else {
            self.size_counts.saturating_neg()
        };
        code.saturating_add(size).clamp(CODE_MIN, CODE_MAX)
    }
}

/// How bad one direction of the line is. All probabilities are per byte.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineFaults {
    /// A byte is lost.
    pub lose: f64,
    /// A byte comes with wrong bits.
    pub garble: f64,
    /// A random byte comes in between.
    pub insert: f64,
    /// Frames that are cut short: which, counted from 0, and the bytes of it
    /// that still come through.
    pub cut: Vec<(u64, usize)>,
}

impl LineFaults {
    /// Whether the line is sound.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.lose <= 0.0 && self.garble <= 0.0 && self.insert <= 0.0 && self.cut.is_empty()
    }
}

/// One direction of a serial line.
#[derive(Clone, Debug)]
pub struct Line {
    faults: LineFaults,
    dice: Dice,
    frame: u64,
    in_frame: usize,
}

impl Line {
    /// A line with these faults; `purpose` tells the directions apart.
    #[must_use]
    pub fn new(faults: LineFaults, seed: u64, purpose: Purpose) -> Self {
        Self {
            faults,
            dice: Dice::new(seed, purpose),
            frame: 0,
            in_frame: 0,
        }
    }

    /// Sends `bytes` through; what arrives is added to `out`. The result does
    /// not depend on how the bytes are divided into calls.
    pub fn pass(&mut self, bytes: &[u8], out: &mut Vec<u8>) {
        if self.faults.is_none() {
            out.extend_from_slice(bytes);
            return;
        }
        for byte in bytes {
            let cut_after = self
                .faults
                .cut
                .iter()
                .find(|(frame, _)| *frame == self.frame)
                .map(|(_, keep)| *keep);
            // A frame is 0 … 0: a zero ends it once something came before.
            let ends = *byte == 0 && self.in_frame > 0;
            if *byte != 0 {
                self.in_frame += 1;
            }
            let cut = cut_after.is_some_and(|keep| self.in_frame > keep || ends);
            if ends {
                self.frame += 1;
                self.in_frame = 0;
            }
            if self.dice.happens(self.faults.insert) {
                out.push(self.dice.byte());
            }
            let garbled = self.dice.happens(self.faults.garble);
            let mask = 1u8 << self.dice.pick(8);
            if !cut && !self.dice.happens(self.faults.lose) {
                out.push(if garbled { *byte ^ mask } else { *byte });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(faults: LineFaults) -> Line {
        Line::new(faults, 5, Purpose::LineOut)
    }

    #[test]
    fn a_sound_line_changes_nothing() {
        let mut out = Vec::new();
        line(LineFaults::default()).pass(&[0, 1, 2, 0], &mut out);
        assert_eq!(out, [0, 1, 2, 0]);
    }

    #[test]
    fn a_cut_frame_loses_its_end_and_the_next_is_whole() {
        let mut out = Vec::new();
        let faults = LineFaults {
            cut: vec![(1, 2)],
            ..LineFaults::default()
        };
        line(faults).pass(&[0, 1, 2, 3, 0, 0, 4, 5, 6, 0, 0, 7, 8, 9, 0], &mut out);
        assert_eq!(out, [0, 1, 2, 3, 0, 0, 4, 5, 0, 7, 8, 9, 0]);
    }

    #[test]
    fn chance_does_not_depend_on_how_bytes_are_divided() {
        let faults = LineFaults {
            lose: 0.1,
            garble: 0.1,
            insert: 0.1,
            cut: vec![(3, 1)],
        };
        let bytes: Vec<u8> = (0..4000u32).map(|i| (i % 23) as u8).collect();
        let mut whole = Vec::new();
        line(faults.clone()).pass(&bytes, &mut whole);
        let mut parts = Vec::new();
        let mut piecewise = line(faults);
        for part in bytes.chunks(7) {
            piecewise.pass(part, &mut parts);
        }
        assert_eq!(whole, parts);
        assert_ne!(whole, bytes);
    }

    #[test]
    fn spikes_come_as_often_as_ordered() {
        let mut spikes = Spikes::new(0.05, 1000, 3);
        let struck = (0..10_000).filter(|_| spikes.strike(0) != 0).count();
        // 500 expected, five standard deviations are 109.
        assert!((391..=609).contains(&struck), "{struck}");
        assert_eq!(Spikes::none().strike(7), 7);
    }
}
