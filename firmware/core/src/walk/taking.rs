//! How a load becomes a number: when one came, its capture, and whether it is what was
//! said of it.

use scalewright_protocol::curve::net_counts;
use scalewright_protocol::message::{CaptureOrder, CaptureState, Captured};
use scalewright_protocol::units::{divide_to_nearest, product, saturate_i32};

use super::{Stage, Taken, Trouble, Walk};
use crate::instrument::Instrument;
use crate::ports::Storage;

/// Conversions averaged for a load, and how long it may take to rest, ms.
const SAMPLES: u16 = 16;
const PATIENCE_MS: u32 = 60_000;
/// A load that reads further from what was said than this share of it is asked
/// about: the table in force may be of another cell, and at small loads a bent cell is
/// that far from the line through a large one.
const DOUBT_PARTS: i32 = 40;
/// So is one that lies further than this share of the largest load from the line
/// through it: five times what the widest class of cells may bend, 0.7 of 1.5
/// intervals of at most 1000 (OIML R 60-1:2021, 5.3.2 and tables 1 and 4).
const BENT_PARTS: i32 = 200;
/// And less than so many d is no reason, nor for a pan that was said to be empty.
const DOUBT_D: i32 = 5;
/// Something came when the signal moved by this, ADC counts: a part in 16 000 of the
/// code range.
const ARRIVAL_COUNTS: i32 = 1 << 10;

/// How every load of a walk is taken; rest by the settings in force.
pub(super) const ORDER: CaptureOrder = CaptureOrder {
    samples: SAMPLES,
    rest_counts: 0,
    patience_ms: PATIENCE_MS,
};

impl Walk {
    /// Net counts of what lies on the pan now; nothing without a signal.
    pub fn net_counts<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Option<i32> {
        let out = scale.filter.out();
        let heard = scale.fault.is_none() && out.run > 0;
        heard.then(|| net_counts(out.smooth_q8, self.zero_q8))
    }

    /// What lies on the pan now by what is known of the scale, quanta of the new
    /// settings; nothing before anything is known.
    pub fn reading<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Option<i32> {
        self.reads(scale, self.net_counts(scale)?)
    }

    /// Looks after what is under way; to be called whenever a sample came.
    pub fn watch<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        match self.stage {
            Stage::PutOn(mass) => {
                // A load is looked at when it rests and is not what lay there.
                let state = scale.signal();
                if let Some(smooth_q8) = state
                    && self.is_new(smooth_q8)
                {
                    scale.order_capture(&ORDER);
                    self.stage = Stage::Taking(mass);
                }
            }
            Stage::TakingZero | Stage::TakingLast | Stage::Taking(_) => {
                match scale.capture.state() {
                    CaptureState::Captured(captured) => self.captured(scale, &captured),
                    CaptureState::Failed(fault) => self.trouble(Trouble::Capture(fault)),
                    // Somebody else's cancel, or a change of input: order it anew.
                    CaptureState::Idle => scale.order_capture(&ORDER),
                    CaptureState::Settling | CaptureState::Averaging { .. } => {}
                }
            }
            _ => {}
        }
    }

    /// Whether a resting signal is another load than the one captured last, and not
    /// the empty pan.
    fn is_new(&self, smooth_q8: i32) -> bool {
        let far = |from_q8: i32| net_counts(smooth_q8, from_q8).unsigned_abs();
        let wanted = ARRIVAL_COUNTS.unsigned_abs();
        far(self.zero_q8) >= wanted && far(self.rested_q8) >= wanted
    }

    fn captured<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
        captured: &Captured,
    ) {
        if captured.saturated {
            self.trouble(Trouble::Saturated);
            return;
        }
        self.rested_q8 = captured.mean_q8;
        match self.stage {
            Stage::TakingZero | Stage::TakingLast => {
                let lies = net_counts(captured.mean_q8, self.zero_q8);
                match self.reads(scale, lies) {
                    Some(reads) if reads.unsigned_abs() > self.hardly_seen() => {
                        self.turn_aside(Stage::NotEmpty(reads));
                    }
                    _ if self.stage == Stage::TakingLast => self.keep_last::<KNOTS>(),
                    _ => self.keep_zero(scale),
                }
            }
            Stage::Taking(mass) => {
                let taken = Taken {
                    mass,
                    counts: net_counts(captured.mean_q8, self.zero_q8),
                    sd_q8: captured.sd_q8,
                };
                if taken.counts < -ARRIVAL_COUNTS {
                    self.trouble(Trouble::Falling);
                    return;
                }
                if taken.counts < ARRIVAL_COUNTS {
                    // It went while it was taken: that is the empty pan.
                    self.stage = Stage::PutOn(mass);
                    return;
                }
                match self.reads(scale, taken.counts) {
                    Some(reads) if self.is_far(mass, reads) => {
                        self.doubtful = Some(taken);
                        self.stage = Stage::LooksLike { said: mass, reads };
                    }
                    _ => self.keep(scale, taken),
                }
            }
            _ => {}
        }
    }

    /// What was captured last is the empty pan, after the loads.
    pub(super) fn keep_last<const KNOTS: usize>(&mut self) {
        self.zero_moved_counts = net_counts(self.rested_q8, self.zero_q8);
        // The one next to the loads' end: the scale goes on from here.
        self.zero_q8 = self.rested_q8;
        match self.table::<KNOTS>() {
            Ok(_) => self.stage = Stage::Summary,
            Err(fault) => {
                self.trouble(Trouble::Table(fault));
                self.back = Stage::Choose;
            }
        }
    }

    /// What a load reads by the largest one taken, or by the table in force, quanta of
    /// the new settings; nothing without either.
    fn reads<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
        counts: i32,
    ) -> Option<i32> {
        if let Some(top) = self.loads.iter().max_by_key(|taken| taken.counts) {
            let mass = divide_to_nearest(product(top.mass, counts), i64::from(top.counts));
            return Some(saturate_i32(mass));
        }
        let mass = scale.table()?.lookup(counts).mass;
        let there = i64::from(mass).checked_mul(i64::from(scale.settings().quantum_ug))?;
        let here = divide_to_nearest(there, i64::from(self.settings.quantum_ug));
        Some(saturate_i32(here))
    }

    fn is_far(&self, said: i32, reads: i32) -> bool {
        let mut share = said.unsigned_abs() / DOUBT_PARTS.unsigned_abs();
        if let Some(top) = self.loads.iter().map(|taken| taken.mass).max() {
            share = share.min(most_bent(top.max(said)));
        }
        said.abs_diff(reads) > share.max(self.hardly_seen())
    }

    /// Whether loads that lie so far from the line through the largest, quanta, are more
    /// than a cell can be bent.
    pub(super) fn is_too_bent(&self, off_line: i32, largest: i32) -> bool {
        off_line.unsigned_abs() > most_bent(largest).max(self.hardly_seen())
    }

    /// What is too little to ask about, quanta.
    fn hardly_seen(&self) -> u32 {
        let d = self.settings.d.unsigned_abs();
        d.saturating_mul(DOUBT_D.unsigned_abs())
    }
}

/// How far from the line through a largest load a cell may bend, quanta.
const fn most_bent(largest: i32) -> u32 {
    largest.unsigned_abs() / BENT_PARTS.unsigned_abs()
}
