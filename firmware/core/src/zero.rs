//! Zero and tare: by key or request, once at the start, and by following drift.
//!
//! The limits are [`crate::indication::Reference`]'s; here stands when.

use scalewright_protocol::message::Refusal;
use scalewright_protocol::settings::Conduct;
use scalewright_protocol::table::Table;
use scalewright_protocol::units::{elapsed_ms, reached_ms};

use crate::indication::Weighed;
use crate::instrument::Instrument;
use crate::ports::Storage;

/// How often zero-tracking moves zero, ms: often enough not to show, seldom enough
/// that what it may move is some counts.
const FOLLOW_EVERY_MS: u32 = 250;

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// The table, if a zero or tare may be taken from the signal.
    fn at_rest(&self) -> Result<&Table<KNOTS>, Refusal> {
        let table = self.table.as_ref().ok_or(Refusal::NotCalibrated)?;
        if self.fault.is_some() {
            return Err(Refusal::AdcFault);
        }
        if self.stable {
            Ok(table)
        } else {
            Err(Refusal::NotAtRest)
        }
    }

    /// Zero-setting: the load on the pan becomes zero.
    ///
    /// # Errors
    /// [`Refusal::NotCalibrated`], [`Refusal::AdcFault`], [`Refusal::NotAtRest`],
    /// [`Refusal::ZeroRange`].
    pub fn zero(&mut self) -> Result<(), Refusal> {
        let table = self.at_rest()?;
        let mut reference = self.reference;
        reference.set_zero(table, &self.settings, self.filter.out().smooth_q8)?;
        self.reference = reference;
        Ok(())
    }

    /// Tare: the load on the pan counts as container.
    ///
    /// # Errors
    /// As [`Self::zero`], and [`Refusal::TareRange`].
    pub fn take_tare(&mut self) -> Result<(), Refusal> {
        let table = self.at_rest()?;
        let out = self.filter.out();
        let mut reference = self.reference;
        reference.set_tare(table, &self.settings, out.smooth_q8, out.saturated)?;
        self.reference = reference;
        Ok(())
    }

    /// Preset tare: a container of this mass, quanta, as somebody entered it
    /// (OIML R 76-1:2006 clause 4.7, from memory: within the range of the scale;
    /// the caller rounds it). 0 ends the tare.
    ///
    /// # Errors
    /// [`Refusal::NotCalibrated`], [`Refusal::TareRange`] below zero or above Max.
    pub fn preset_tare(&mut self, quanta: i32) -> Result<(), Refusal> {
        if self.table.is_none() {
            return Err(Refusal::NotCalibrated);
        }
        if !(0..=self.settings.max).contains(&quanta) {
            return Err(Refusal::TareRange);
        }
        self.reference.tare = quanta;
        Ok(())
    }

    /// Zero-tracking stands still for so long, s; 0 lets it go on.
    pub(crate) fn hold_zero(&mut self, for_s: u16) {
        let for_ms = u32::from(for_s).wrapping_mul(1000);
        self.zero_held_ms = (for_s > 0).then_some(self.now_ms.wrapping_add(for_ms));
    }

    fn zero_is_held(&mut self) -> bool {
        // Forgotten when it is over: the clock comes round.
        self.zero_held_ms = (self.zero_held_ms).filter(|end_ms| !reached_ms(self.now_ms, *end_ms));
        self.zero_held_ms.is_some()
    }

    /// What zero does by itself: once at the start, then by following.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn mind_zero(&mut self, weighed: Option<&Weighed>) {
        let first = self.stable && !core::mem::replace(&mut self.started, true);
        let tenths = u32::from(self.settings.rest_tenths_d);
        // What drifts by half a d in a second rests enough to be followed: within d.
        let d_q8 = (self.rest_limit_q8.wrapping_mul(10)).checked_div(tenths);
        let held = S::HAS_ROOM && self.zero_is_held();
        let calm = self.stable || S::HAS_ROOM && self.rest.drifts_within(d_q8.unwrap_or(0));
        let (Some(table), Some(load), true) = (&self.table, weighed, calm) else {
            if S::HAS_ROOM {
                self.followed_ms = self.now_ms;
            }
            return;
        };
        let smooth_q8 = self.filter.out().smooth_q8;
        let conduct = self.settings.conduct;
        if first {
            if conduct.has(Conduct::STARTS_AT_ZERO) {
                self.reference.start_at(table, &self.settings, smooth_q8);
            }
            return;
        }
        let elapsed = elapsed_ms(self.now_ms, self.followed_ms);
        if !S::HAS_ROOM || elapsed < FOLLOW_EVERY_MS {
            return;
        }
        self.followed_ms = self.now_ms;
        if held {
            return;
        }
        // Only what is indicated as zero: gross, tare or no tare.
        let near = load.mass.unsigned_abs() <= self.settings.d.unsigned_abs() / 2;
        if near && conduct.has(Conduct::TRACKS_ZERO) {
            // 0.5 d in 1000 ms (OIML R 76-1:2006 clause 4.5.7, from memory), by the
            // limit of rest, which is worth so many tenths of d. It is at most 4095
            // counts, so that this fits.
            let per = tenths.wrapping_mul(200 << 4);
            let most = (self.rest_limit_q8 >> 4).wrapping_mul(elapsed.min(1000));
            let most = most.checked_div(per).unwrap_or(0);
            self.reference
                .follow(table, &self.settings, smooth_q8, most as i32);
        }
    }
}
