//! The one way a load becomes a number: wait for rest, average, report scatter.
//!
//! Owns no clock and no signal: it is fed filtered samples and the stability
//! window and ends in a [`Captured`] or a [`CaptureFault`]. Averages despiked,
//! unsmoothed samples, so that their deviation means what it says. A movement
//! throws the average away. What can hide: a step that is hardly wider than the
//! limit of rest and comes near the end pulls the mean by at most
//! limit · 2^smoothing / samples; so average at least as many as are smoothed.

use scalewright_protocol::message::{CaptureFault, CaptureOrder, CaptureState, Captured};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN, elapsed_ms};

use crate::filter::{Filtered, distance};
use crate::moments::{MOST, Moments};
use crate::rest::Rest;

/// Longest patience, ms: an hour.
pub const PATIENCE_MAX_MS: u32 = 3_600_000;
/// Widest limit of rest, ADC counts: the whole code range.
pub const REST_MAX_COUNTS: u32 = 1 << 24;

/// Whether an order makes sense; otherwise the position of the first field that
/// does not.
///
/// # Errors
/// 0 for `samples`, 1 for `rest_counts`, 2 for `patience_ms`.
pub fn check_order(order: &CaptureOrder) -> Result<(), u8> {
    if !(1..=MOST).contains(&order.samples) {
        Err(0)
    } else if order.rest_counts > REST_MAX_COUNTS {
        Err(1)
    } else if !(1..=PATIENCE_MAX_MS).contains(&order.patience_ms) {
        Err(2)
    } else {
        Ok(())
    }
}

#[derive(Clone, Copy, Debug)]
#[repr(u8)]
enum Stage {
    Idle,
    Settling,
    Averaging,
    Done(CaptureState),
}

/// One capture, from order to result.
#[derive(Clone, Debug)]
pub struct Capture {
    stage: Stage,
    samples: u16,
    patience_ms: u32,
    limit_q8: u32,
    ordered_ms: u32,
    began_ms: u32,
    restarts: u8,
    /// Whether the ADC is delivering.
    heard: bool,
    saturated: bool,
    /// Smoothed value when averaging began.
    anchor_q8: i32,
    moments: Moments,
}

impl Default for Capture {
    fn default() -> Self {
        Self::idle()
    }
}

impl Capture {
    /// None ordered.
    #[must_use]
    pub const fn idle() -> Self {
        Self {
            stage: Stage::Idle,
            samples: 0,
            patience_ms: 0,
            limit_q8: 0,
            ordered_ms: 0,
            began_ms: 0,
            restarts: 0,
            heard: false,
            saturated: false,
            anchor_q8: 0,
            moments: Moments::new(),
        }
    }

    /// A capture begins now; the one before is forgotten. `own_limit_q8` is the
    /// settings' limit of rest, q8 counts, for an order that names none.
    pub fn begin(&mut self, order: &CaptureOrder, own_limit_q8: u32, now_ms: u32) {
        self.stage = Stage::Settling;
        self.samples = order.samples.clamp(1, MOST);
        self.patience_ms = order.patience_ms;
        self.limit_q8 = match order.rest_counts {
            0 => own_limit_q8,
            // At most 2^24: see [`check_order`].
            counts if counts >= REST_MAX_COUNTS => u32::MAX,
            counts => counts << 8,
        };
        self.ordered_ms = now_ms;
        self.restarts = 0;
        self.heard = false;
        self.saturated = false;
        self.moments = Moments::new();
    }

    /// Where it stands.
    #[must_use]
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn state(&self) -> CaptureState {
        match self.stage {
            Stage::Idle => CaptureState::Idle,
            Stage::Settling => CaptureState::Settling,
            Stage::Averaging => CaptureState::Averaging {
                done: self.moments.count(),
                of: self.samples,
            },
            Stage::Done(end) => end,
        }
    }

    /// When patience ends, ms of device time; none unless it is running.
    #[must_use]
    pub fn deadline_ms(&self) -> Option<u32> {
        self.is_running()
            .then(|| self.ordered_ms.wrapping_add(self.patience_ms))
    }

    const fn is_running(&self) -> bool {
        matches!(self.stage, Stage::Settling | Stage::Averaging)
    }

    /// Takes a filtered sample and the window that already holds it. Returns
    /// whether the capture ended with it.
    ///
    /// Averaging begins with the sample that completes rest. It begins anew
    /// when the window's spread passes the limit, or when a single sample lies
    /// further from the start than the limit and the usual scatter explain:
    /// smoothing would show a step that comes near the end too late.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn sample(&mut self, now_ms: u32, sample: &Filtered, rest: &Rest) -> bool {
        if !self.is_running() {
            return false;
        }
        self.heard = true;
        if sample.spike {
            return self.tick(now_ms);
        }
        let off_q8 = distance(sample.smooth_q8, self.anchor_q8).max(rest.spread_q8());
        if matches!(self.stage, Stage::Averaging) && off_q8 > self.limit_q8 {
            self.interrupt();
            return self.tick(now_ms);
        }
        if matches!(self.stage, Stage::Settling) {
            if !rest.settled(self.limit_q8) {
                return self.tick(now_ms);
            }
            self.stage = Stage::Averaging;
            self.began_ms = now_ms;
            self.anchor_q8 = sample.smooth_q8;
            self.saturated = false;
            self.moments = Moments::new();
        }
        self.moments.add(sample.raw);
        self.saturated |= sample.raw >= CODE_MAX || sample.raw <= CODE_MIN;
        if self.moments.count() < self.samples {
            return self.tick(now_ms);
        }
        self.stage = Stage::Done(CaptureState::Captured(Captured {
            mean_q8: self.moments.mean_q8(),
            sd_q8: self.moments.sd_q8(),
            samples: self.moments.count(),
            began_ms: self.began_ms,
            ended_ms: now_ms,
            restarts: self.restarts,
            saturated: self.saturated,
        }));
        true
    }

    /// The load moved: an average begun is thrown away and counted.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn interrupt(&mut self) {
        if matches!(self.stage, Stage::Averaging) {
            self.stage = Stage::Settling;
            self.restarts = self.restarts.saturating_add(1);
        }
    }

    /// The ADC delivers nothing.
    pub fn silence(&mut self) {
        self.interrupt();
        self.heard = false;
    }

    /// Ends the capture when its patience is over; returns whether it did.
    pub fn tick(&mut self, now_ms: u32) -> bool {
        if !self.is_running() || elapsed_ms(now_ms, self.ordered_ms) < self.patience_ms {
            return false;
        }
        self.stage = Stage::Done(CaptureState::Failed(if self.heard {
            CaptureFault::Restless
        } else {
            CaptureFault::NoSamples
        }));
        true
    }

    /// Gives up a running capture; one that has ended keeps its result. Returns
    /// whether one was running.
    pub fn cancel(&mut self) -> bool {
        let running = self.is_running();
        if running {
            self.stage = Stage::Done(CaptureState::Failed(CaptureFault::Cancelled));
        }
        running
    }
}
