//! From a prompt to a capture: watching a load come and rest, telling a wrong
//! one, and taking the device's capture.

use scalewright_metrology::tolerance::{Stage as MpeStage, mpe_e};
use scalewright_protocol::message::{
    Ask, CaptureFault, CaptureOrder, CaptureState, Captured, Flags, State,
};

use super::steps::Step;
use super::{Action, Phase, Procedure, SessionFault, Watch, wait};
use crate::quantise;
use crate::session::event::{Capture, Event, Part, Watching, WrongLoad};
use crate::session::judge;
use crate::session::plan::Known;
use crate::session::trouble::News;

/// A load of the expected size must have rested this long before it is taken:
/// the hand is off.
const REST_EXPECTED_MS: u32 = 1_000;

/// A load that cannot be checked against anything must rest longer: more
/// weights may be on their way.
const REST_UNKNOWN_MS: u32 = 6_000;

/// A wrong load must rest this long before it is called wrong: one weight after
/// another goes on.
const REST_WRONG_MS: u32 = 8_000;

/// Something moved when the signal left its first level by so many bands of
/// rest: a load of little more than an interval still counts.
const MOVED_BANDS: f64 = 2.5;

/// A load that reads a little off is taken all the same when it stays for this
/// long after somebody was told.
const ODD_MS: u32 = 15_000;

/// How far off that may be, e.
const ODD_E: f64 = 6.0;

/// Somebody who has not acted for this long is reminded; ms.
const REMIND_MS: u32 = 30_000;

/// A pan that a table found in the device calls loaded by more than this share
/// of Max is not believed to be empty without somebody's word: half of what
/// zero-setting may take to one side (OIML R 76-1 4.5.1: 4 % in all).
const ZERO_SHARE: f64 = 0.01;

/// On somebody's word it may be more: the initial zero-setting range, same
/// clause.
const INITIAL_ZERO_SHARE: f64 = 0.2;

/// The device gives a capture up after this long.
const CAPTURE_PATIENCE_MS: u32 = 60_000;

/// Samples of the noise check: 6.4 s at 10 a second.
const NOISE_SAMPLES: u16 = 64;

impl Procedure {
    pub(super) fn watch(
        &mut self,
        mut watch: Watch,
        state: &State,
    ) -> Result<Action, SessionFault> {
        self.last_ms = state.at_ms;
        let counts = f64::from(state.smooth_q8) / 256.0;
        if self.in_trouble(state) {
            watch.rest = None;
            self.phase = Phase::Watching(watch);
            return Ok(wait());
        }
        let Some(step) = self.current.clone() else {
            return Err(SessionFault::Confused);
        };
        let began = *watch.began_ms.get_or_insert_with(|| {
            watch.baseline = counts;
            state.at_ms
        });
        let waited_s = state.at_ms.wrapping_sub(began) / 1000;
        let band = self.rest_band();
        match watch.rest {
            Some((level, _)) if (counts - level).abs() <= band => {}
            _ => watch.rest = Some((counts, state.at_ms)),
        }
        if (counts - watch.baseline).abs() > MOVED_BANDS * band {
            watch.moved = true;
        }
        let rested_ms = watch
            .rest
            .map_or(0, |(_, since)| state.at_ms.wrapping_sub(since));
        let stable = state.flags.has(Flags::STABLE) || rested_ms >= REST_UNKNOWN_MS;
        let take = match self.fits(&step, counts) {
            _ if self.take_as_is => {
                self.take_as_is = self.may_take(&step, counts, watch.moved);
                self.take_as_is && stable && rested_ms >= REST_EXPECTED_MS
            }
            Some(true) if watch.must_move && !watch.moved => {
                self.complain(&mut watch, &step, counts, state.at_ms);
                false
            }
            Some(true) => stable && rested_ms >= REST_EXPECTED_MS,
            Some(false) => {
                self.complain(&mut watch, &step, counts, state.at_ms);
                // A weight that is not what it says reads a little off. Whoever
                // was told and leaves it there means it: taken, and judged with
                // the others.
                let told_ms = watch.complained.map_or(0, |(level, at, _)| {
                    let same = (level - counts).abs() <= 4.0 * band;
                    if same {
                        state.at_ms.wrapping_sub(at)
                    } else {
                        0
                    }
                });
                if watch.moved && told_ms >= ODD_MS && self.is_odd(&step, counts) {
                    self.take_as_is = true;
                }
                false
            }
            None => {
                stable && rested_ms >= REST_UNKNOWN_MS && (watch.moved || step.load.mass_g == 0.0)
            }
        };
        if take {
            let order = self.order(&step);
            self.phase = Phase::Capturing(watch);
            return Ok(Action::Ask(Ask::Capture(order)));
        }
        if let Some(patience_s) = self.patience_s
            && waited_s > patience_s
        {
            return Err(SessionFault::Abandoned {
                load_g: step.load.mass_g,
                waited_s,
            });
        }
        self.phase = Phase::Watching(watch);
        Ok(wait())
    }

    /// Whether the code is that of the load asked for; `None` when there is
    /// nothing to tell it by.
    pub(super) fn fits(&self, step: &Step, counts: f64) -> Option<bool> {
        if self.seen.zero().is_none() {
            // After an interruption the session's own zero tells it better.
            if let (Some(zero), Some(slope)) = (self.journal_zero, self.seen.slope()) {
                let scale = &self.plan.scale;
                let room_g = (10.0 * scale.e_g).max(0.002 * scale.max_g);
                let off_g = (counts - zero) / slope;
                return (off_g.abs() > room_g).then_some(false);
            }
            // The very first zero: a table in the device tells a loaded pan
            // from an empty one.
            let old = self.old.as_ref()?;
            let load_g = (counts - f64::from(old.zero_counts)) / old.counts_per_g()?;
            return (load_g.abs() > ZERO_SHARE * self.plan.scale.max_g).then_some(false);
        }
        let (asked_g, unknown_g) = self.expected_mass(&step.load);
        let expected = self.seen.expected(asked_g, &self.plan.scale)?;
        let unknown_counts = unknown_g * self.seen.slope()?.abs();
        Some((counts - expected.counts).abs() <= expected.tolerance_counts + unknown_counts)
    }

    /// Whether a load that does not fit may yet be the one asked for, one of its
    /// weights being wrong: it is only a little off.
    fn is_odd(&self, step: &Step, counts: f64) -> bool {
        let (asked_g, _) = self.expected_mass(&step.load);
        self.seen_g(counts).is_some_and(|seen_g| {
            asked_g > 0.0 && (seen_g - asked_g).abs() <= ODD_E * self.plan.scale.e_g
        })
    }

    /// How far a load at this mass may read off, g.
    fn tolerance_g(&self, mass_g: f64) -> f64 {
        let scale = &self.plan.scale;
        let expected = self.seen.expected(mass_g, scale);
        let slope = self.seen.slope().unwrap_or(f64::INFINITY);
        expected.map_or(0.01 * scale.max_g, |expected| {
            expected.tolerance_counts / slope
        })
    }

    /// Whether the load on the pan may be taken for the one asked for, on
    /// somebody's word. What is off by more than a quarter would spoil the
    /// table and the recognition of every load after it.
    fn may_take(&mut self, step: &Step, counts: f64, moved: bool) -> bool {
        let Some(seen_g) = self.seen_g(counts) else {
            // Nothing to tell by: at least something must have come.
            return moved || step.load.mass_g == 0.0;
        };
        let (asked_g, _) = self.expected_mass(&step.load);
        let scale = &self.plan.scale;
        let room_g = if asked_g == 0.0 {
            INITIAL_ZERO_SHARE * scale.max_g
        } else {
            scale.room_on_word_g(asked_g)
        };
        let sane = (seen_g - asked_g).abs() <= room_g;
        if !sane {
            self.events.push(Event::Trouble {
                what: format!(
                    "this reads {seen_g:.0} g: taken as {asked_g} g it would spoil the table"
                ),
                try_this: "put the load asked for on the pan, or take back a wrong one".into(),
            });
        }
        sane
    }

    /// The load that a code stands for by all that is known, g.
    fn seen_g(&self, counts: f64) -> Option<f64> {
        let slope = self.seen.slope()?;
        let old = self.old.as_ref().map(|old| f64::from(old.zero_counts));
        let reference = self.journal_zero.or(old);
        self.seen
            .load_g(counts)
            .or_else(|| reference.map(|zero| (counts - zero) / slope))
    }

    fn complain(&mut self, watch: &mut Watch, step: &Step, counts: f64, now_ms: u32) {
        // Somebody who has not moved anything yet is on the way, and weights go
        // on one after another: say something only after a while, and again
        // less and less often while nothing changes.
        let since = |at: u32| now_ms.wrapping_sub(at);
        let due = if watch.moved {
            watch.rest.is_some_and(|(_, at)| since(at) >= REST_WRONG_MS)
        } else {
            watch.began_ms.is_some_and(|at| since(at) >= REMIND_MS)
        };
        let pause_ms = match watch.complained {
            Some((level, at, pause_ms)) if (level - counts).abs() <= 4.0 * self.rest_band() => {
                if since(at) < pause_ms {
                    return;
                }
                pause_ms.saturating_mul(2)
            }
            _ => REMIND_MS,
        };
        if !due {
            return;
        }
        watch.complained = Some((counts, now_ms, pause_ms));
        let Some(seen_g) = self.seen_g(counts) else {
            return;
        };
        let tolerance_g = self.tolerance_g(seen_g);
        let looks_like = self.plan.looks_like(seen_g, tolerance_g);
        self.events.push(Event::WrongLoad(WrongLoad {
            asked: step.load.clone(),
            seen_g,
            tolerance_g,
            looks_like,
            nothing_moved: !watch.moved,
            to_exchange: watch.must_move && !watch.moved && self.fits(step, counts) == Some(true),
            will_be_taken: watch.moved && self.is_odd(step, counts),
        }));
    }

    /// Spread that counts as rest, ADC counts: half of e, or six times the
    /// noise of a smoothed sample while the sensitivity is not known.
    fn rest_band(&self) -> f64 {
        let noise = self
            .noise
            .as_ref()
            .map_or(50.0, |noise| noise.sd_counts)
            .max(1.0);
        match self.seen.slope() {
            Some(slope) => (0.5 * self.plan.scale.e_g * slope).max(2.0 * noise),
            None => 6.0 * noise,
        }
    }

    pub(super) fn order(&self, step: &Step) -> CaptureOrder {
        let first = step.part == Part::NoiseCheck;
        CaptureOrder {
            samples: if first {
                NOISE_SAMPLES
            } else {
                self.plan.samples
            },
            rest_counts: if first {
                0
            } else {
                self.rest_band().ceil().clamp(1.0, 1e6) as u32
            },
            patience_ms: CAPTURE_PATIENCE_MS,
        }
    }

    pub(super) fn capturing(
        &mut self,
        watch: Watch,
        state: &State,
    ) -> Result<Action, SessionFault> {
        self.last_ms = state.at_ms;
        let counts = f64::from(state.smooth_q8) / 256.0;
        if self.in_trouble(state) {
            self.phase = Phase::Watching(watch);
            return Ok(Action::Ask(Ask::CaptureCancel));
        }
        match state.capture {
            CaptureState::Averaging { done, of } => {
                self.live(counts, Watching::Averaging { done, of });
            }
            CaptureState::Settling => self.live(counts, Watching::Settling),
            CaptureState::Captured(captured) => {
                return self.captured(watch, &captured, state.correction);
            }
            CaptureState::Failed(CaptureFault::Restless) => {
                self.events.push(Event::Trouble {
                    what: "the load does not come to rest".into(),
                    try_this: "look for draught, a shaking table, or a load that swings".into(),
                });
                self.trouble.say();
                self.phase = Phase::Watching(watch);
                return Ok(wait());
            }
            CaptureState::Failed(_) | CaptureState::Idle => {
                self.phase = Phase::Watching(watch);
                return Ok(wait());
            }
        }
        self.phase = Phase::Capturing(watch);
        Ok(wait())
    }

    fn captured(
        &mut self,
        mut watch: Watch,
        captured: &Captured,
        correction: i32,
    ) -> Result<Action, SessionFault> {
        let Some(step) = self.current.clone() else {
            return Err(SessionFault::Confused);
        };
        let mean_counts = f64::from(captured.mean_q8) / 256.0;
        let sd_counts = f64::from(captured.sd_q8) / 256.0;
        if step.part == Part::NoiseCheck {
            self.finish_noise(captured, sd_counts);
            return Ok(self.next_step(true));
        }
        if self.fits(&step, mean_counts) == Some(false) && !self.take_as_is {
            // The load changed while it was averaged.
            watch.rest = None;
            self.phase = Phase::Watching(watch);
            return Ok(wait());
        }
        let middle_ms = captured
            .began_ms
            .wrapping_add(captured.ended_ms.wrapping_sub(captured.began_ms) / 2);
        let capture = Capture {
            part: step.part,
            load: step.load.clone(),
            mean_counts,
            sd_counts,
            samples: captured.samples,
            at_s: f64::from(middle_ms) / 1000.0,
            rested_s: watch
                .rest
                .map(|(_, since)| f64::from(middle_ms.wrapping_sub(since)) / 1000.0),
            sitting: self.sitting,
            saturated: captured.saturated,
            correction_g: match (step.part, &self.choice) {
                (Part::Verification, Some(choice)) => {
                    f64::from(correction) * quantise::quantum_g(choice.quantum_ug)
                }
                _ => 0.0,
            },
        };
        self.captures.push(capture.clone());
        self.remember(&step.load, mean_counts);
        let (before_g, after_g) = self.readings(&capture);
        let scale = &self.plan.scale;
        let mpe_g = scale.e_g
            * mpe_e(
                self.plan.class(),
                MpeStage::Initial,
                step.load.mass_g / scale.e_g,
            );
        self.events.push(Event::Captured {
            capture,
            before_g,
            after_g,
            mpe_g,
        });
        match step.part {
            Part::VerificationZero => {
                self.phase = Phase::SettingZero;
                Ok(Action::Ask(Ask::SetZero))
            }
            Part::Verification => {
                self.phase = Phase::Checking;
                Ok(Action::Ask(Ask::State))
            }
            _ => Ok(self.next_step(true)),
        }
    }

    /// What the old and the new setting say of a capture, g.
    fn readings(&self, capture: &Capture) -> (Option<f64>, Option<f64>) {
        let zero = match (capture.part, self.proof_zero) {
            (Part::Verification, Some(zero)) => f64::from(zero),
            _ => self.seen.zero().unwrap_or(capture.mean_counts),
        };
        let net = capture.mean_counts - zero;
        // What a substitution load should read nobody knows yet.
        let known = |id: &String| {
            self.weight(id)
                .is_none_or(|weight| weight.known != Known::Not)
        };
        let known = capture.load.weights.iter().all(known);
        let old = self.old.as_ref().filter(|_| known);
        let before = old.map(|old| old.reading_g(net));
        let after = self
            .choice
            .as_ref()
            .filter(|_| capture.part == Part::Verification)
            .map(|choice| quantise::mass_g(&choice.table, net, choice.quantum_ug))
            .map(|uncorrected_g| uncorrected_g - capture.correction_g);
        (before, after)
    }

    pub(super) fn finish_noise(&mut self, captured: &Captured, sd_counts: f64) {
        let keep = usize::from(captured.samples);
        let from = self.noise_codes.len().saturating_sub(keep);
        let noise = judge::noise(
            self.noise_codes.get(from..).unwrap_or_default(),
            sd_counts,
            f64::from(captured.ended_ms.wrapping_sub(captured.began_ms)) / 1000.0,
            self.seen.slope(),
            &self.plan.scale,
            self.settings.smoothing,
        );
        self.noise = Some(noise.clone());
        self.events.push(Event::Quiet(noise));
    }

    /// Compares the mass the device says with what the laptop computes from the
    /// same code: the same integers must give the same quanta, once what the
    /// device took off for hysteresis is put back.
    pub(super) fn check_agreement(&mut self, state: &State) {
        let Some(choice) = &self.choice else { return };
        let net = i64::from(state.smooth_q8) - i64::from(state.zero_counts) * 256;
        self.agreement.1 += 1;
        let uncorrected = state
            .mass
            .and_then(|mass| mass.checked_add(state.correction));
        if uncorrected == Some(choice.table.lookup_q8(net).mass) {
            self.agreement.0 += 1;
        }
    }

    fn in_trouble(&mut self, state: &State) -> bool {
        let (found, news) = self.trouble.look(state.flags);
        self.events.extend(news.map(|news| match news {
            News::Came(what, try_this) => Event::Trouble {
                what: what.into(),
                try_this: try_this.into(),
            },
            News::Over => Event::TroubleOver,
        }));
        found
    }
}
