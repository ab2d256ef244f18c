//! From a smoothed signal to what the scale shows: zero, hysteresis, tare,
//! rounding, and when to show nothing.
//!
//! Owns the zero reference (ADC counts), the tare (quanta) and what the cell
//! remembers ([`Plays`]); all start anew with each record. Refuses to name a
//! mass without a table.
//!
//! **Zero** moves in three ways, each within its own limit: once after power-on
//! (initial zero-setting), by key, and by following slow drift (zero-tracking).
//! The last two share one range, about the zero that the first left.
//!
//! **What is corrected.** The memory follows the table's own mass, and the mass
//! that is shown, sent and tared is the corrected one. The range of zero-setting
//! is judged by the table alone: it bounds where zero may lie, whatever was on
//! the pan before.

use scalewright_protocol::hysteresis::Plays;
use scalewright_protocol::message::{Flags, Refusal};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Place, Table};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN, divide_to_nearest, product, saturate_i32};

/// Whole zero-setting range in per cent of Max (OIML R 76-1:2006 clause 4.5.1:
/// zero-setting and zero-tracking together have at most that effect). It lies
/// evenly about the reference stored at calibration: half of it either way.
pub const ZERO_RANGE_PERCENT: u32 = 4;
/// Max by this is half of that range.
const ZERO_RANGE_PARTS: u32 = 200 / ZERO_RANGE_PERCENT;
/// Range of initial zero-setting in per cent of Max (same clause), half of it
/// either way of the zero stored at calibration.
pub const START_RANGE_PERCENT: u32 = 20;
const START_RANGE_PARTS: u32 = 200 / START_RANGE_PERCENT;
/// Blank below minus this many d (common practice).
pub const UNDERLOAD_D: i32 = 20;
/// Rest limit without a table, q8 counts: 1/50 000 of the code range (contract
/// of [`scalewright_protocol::message::CaptureOrder`]).
const UNCALIBRATED_REST_Q8: u32 = ((1u64 << 24) * 256 / 50_000) as u32;

/// Largest limit of rest, q8 counts: what is further off is told as 4096 counts
/// ([`crate::rest`]). A scale whose 0.3 d are more is held to less.
const REST_MAX_Q8: u32 = 4095 << 8;

/// Zero and tare in use, and the cell's memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Zero reference in use, ADC counts.
    pub zero_counts: i32,
    /// Zero reference stored at calibration, ADC counts.
    pub calibration_counts: i32,
    /// Middle of the zero-setting range, ADC counts: the same, or what initial
    /// zero-setting found.
    pub start_counts: i32,
    /// Tare, quanta; 0 when none is in use.
    pub tare: i32,
    /// What the cell remembers.
    pub plays: Plays,
}

/// A load as the scale sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weighed {
    /// Gross mass, quanta, corrected.
    pub mass: i32,
    /// What hysteresis took off, quanta.
    pub correction: i32,
    /// What the cell remembers with this load on it.
    pub plays: Plays,
    /// Net mass, quanta; absent when the indication is blank.
    pub net: Option<i32>,
    /// AT_ZERO, NET, OVERLOAD, UNDERLOAD, SATURATED and CONTINUED as they apply.
    pub flags: Flags,
}

impl Reference {
    /// What comes with a record: its zero, no tare, a cell that counts as
    /// exercised and empty.
    #[must_use]
    pub const fn stored(zero_counts: i32) -> Self {
        Self {
            zero_counts,
            calibration_counts: zero_counts,
            start_counts: zero_counts,
            tare: 0,
            plays: Plays::exercised(),
        }
    }

    /// The load at `smooth_q8`.
    ///
    /// The indication is blank above Max + 9 e (OIML R 76-1:2006 clause 4.2.3),
    /// below −20 d (common practice), with a saturated ADC, and where even the
    /// table's continuation ends. Zero counts as met within 0.25 e (same, clause
    /// 4.5.2). Over- and underload are judged on the gross mass, corrected.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn weigh<const N: usize>(
        &self,
        table: &Table<N>,
        settings: &Settings,
        smooth_q8: i32,
        saturated: bool,
    ) -> Weighed {
        // Both are codes, so that their difference fits.
        let counts = (smooth_q8 >> 8).wrapping_sub(self.zero_counts);
        let fraction = smooth_q8 as u8;
        let positive = counts > 0 || (counts == 0 && fraction > 0);
        let reading = table.lookup_between(counts, fraction);
        let mut plays = self.plays;
        let correction = plays.follow(reading.mass, settings.max, settings.loop_gain);
        let mass = reading.mass.wrapping_sub(correction);
        let beyond = reading.place == Place::Beyond || saturated;
        let over = mass > settings.overload_above() || (beyond && positive);
        let under = mass < settings.d.wrapping_mul(-UNDERLOAD_D) || (beyond && !positive);
        let flags = Flags::default()
            .with_if(Flags::AT_ZERO, is_zero(mass, settings) && !saturated)
            .with_if(Flags::NET, self.tare != 0)
            .with_if(Flags::OVERLOAD, over)
            .with_if(Flags::UNDERLOAD, under)
            .with_if(Flags::SATURATED, saturated)
            .with_if(Flags::CONTINUED, reading.place != Place::Inside);
        Weighed {
            mass,
            correction,
            plays,
            net: (!over && !under).then(|| mass.saturating_sub(self.tare)),
            flags,
        }
    }

    /// Makes the load at `smooth_q8` zero and returns the new reference, ADC
    /// counts. A tare is forgotten: it belonged to the old zero. So did what the
    /// cell remembers; it counts as exercised and empty from here on, so that the
    /// mass is 0 whatever was on the pan before.
    ///
    /// # Errors
    /// [`Refusal::ZeroRange`] outside the zero-setting range.
    pub fn set_zero<const N: usize>(
        &mut self,
        table: &Table<N>,
        settings: &Settings,
        smooth_q8: i32,
    ) -> Result<i32, Refusal> {
        let counts = whole_counts(smooth_q8);
        if !self.may_be_zero(table, settings, counts, ZERO_RANGE_PARTS) {
            return Err(Refusal::ZeroRange);
        }
        self.zero_counts = counts;
        self.tare = 0;
        self.plays = Plays::exercised();
        Ok(counts)
    }

    /// Initial zero-setting: the first load at rest becomes zero and the middle of
    /// the zero-setting range, if it lies within [`START_RANGE_PERCENT`].
    pub fn start_at<const N: usize>(
        &mut self,
        table: &Table<N>,
        settings: &Settings,
        smooth_q8: i32,
    ) {
        let counts = whole_counts(smooth_q8);
        if self.may_be_zero(table, settings, counts, START_RANGE_PARTS) {
            self.zero_counts = counts;
            self.start_counts = counts;
        }
    }

    /// Zero-tracking: moves zero towards the load at `smooth_q8`, by `most` counts at
    /// most. The range is that of zero-setting, which both share (OIML R 76-1:2006
    /// clause 4.5.1).
    pub fn follow<const N: usize>(
        &mut self,
        table: &Table<N>,
        settings: &Settings,
        smooth_q8: i32,
        most: i32,
    ) {
        // Not `clamp`, which panics where `most` is below zero.
        let off = whole_counts(smooth_q8).wrapping_sub(self.zero_counts);
        let counts = self
            .zero_counts
            .wrapping_add(off.min(most).max(most.wrapping_neg()));
        if self.may_be_zero(table, settings, counts, ZERO_RANGE_PARTS) {
            self.zero_counts = counts;
        }
    }

    /// Whether zero may lie at `counts`: within Max / `parts` of the middle of its
    /// range, by the table, and not at an end of the converter's range.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn may_be_zero<const N: usize>(
        &self,
        table: &Table<N>,
        settings: &Settings,
        counts: i32,
        parts: u32,
    ) -> bool {
        // References are codes: see `stage_begin`.
        let moved = counts.wrapping_sub(self.start_counts);
        let off = table.lookup(moved).mass.unsigned_abs();
        let within = off
            <= settings
                .max
                .unsigned_abs()
                .checked_div(parts)
                .unwrap_or_default();
        within && counts > CODE_MIN && counts < CODE_MAX
    }

    /// Makes the load at `smooth_q8` the container. A load within a quarter of
    /// e of zero is none and ends the tare.
    ///
    /// # Errors
    /// [`Refusal::TareRange`] below zero or above Max.
    pub fn set_tare<const N: usize>(
        &mut self,
        table: &Table<N>,
        settings: &Settings,
        smooth_q8: i32,
        saturated: bool,
    ) -> Result<(), Refusal> {
        let load = self.weigh(table, settings, smooth_q8, saturated);
        if load.flags.has(Flags::AT_ZERO) {
            self.tare = 0;
            return Ok(());
        }
        if load.mass < 0 || load.mass > settings.max || load.net.is_none() {
            return Err(Refusal::TareRange);
        }
        self.tare = load.mass;
        Ok(())
    }
}

/// Largest spread that counts as rest, q8 counts: the settings' tenths of d,
/// turned into counts by the mean steepness of the table, up to 4095 counts.
#[must_use]
pub fn rest_limit_q8<const N: usize>(table: Option<&Table<N>>, settings: &Settings) -> u32 {
    let ends = table.and_then(|t| t.knots().first().zip(t.knots().last()));
    let Some((first, last)) = ends else {
        return UNCALIBRATED_REST_Q8;
    };
    // By the limits on knots and settings these have 26, 30 and 31 bits. The rise
    // is at least 10 000 quanta, so that its 256th is exact enough.
    let run = last.counts.wrapping_sub(first.counts);
    let rise = last.mass.wrapping_sub(first.mass);
    let tenths = i32::from(settings.rest_tenths_d).wrapping_mul(settings.d);
    let parts = (rise >> 8).wrapping_mul(10);
    let limit = divide_to_nearest(product(tenths, run), i64::from(parts));
    saturate_i32(limit).unsigned_abs().min(REST_MAX_Q8)
}

/// `mass` rounded to a multiple of `step`, ties away from zero; 0 when there is
/// no step.
#[must_use]
#[cfg_attr(target_arch = "avr", inline(never))]
pub fn round_to(mass: i32, step: i32) -> i32 {
    let step = step.max(0).unsigned_abs();
    let up = mass.unsigned_abs().wrapping_add(step / 2);
    let steps = up.checked_div(step).unwrap_or(0);
    // Above 2^31 only by a part of a step.
    let rounded = steps.wrapping_mul(step).min(i32::MAX.unsigned_abs()) as i32;
    if mass < 0 {
        rounded.wrapping_neg()
    } else {
        rounded
    }
}

/// The nearest whole count, ties away from zero.
const fn whole_counts(smooth_q8: i32) -> i32 {
    let counts = (smooth_q8.unsigned_abs().wrapping_add(128) >> 8) as i32;
    if smooth_q8 < 0 { -counts } else { counts }
}

fn is_zero(mass: i32, settings: &Settings) -> bool {
    mass.unsigned_abs() <= settings.e.unsigned_abs() / 4
}
