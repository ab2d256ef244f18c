//! While a load is awaited: is it there, is it the right one, does it rest?

use scalewright_protocol::message::{Ask, CaptureOrder, Flags, State};

use super::super::arrival::Seen;
use super::super::plan::{Doing, ProofStep};
use super::{Phase, ProofAction, ProofEvent, ProofFault, Prover, Watching, room_g, wait};
use crate::session::plan::looks_like;

/// The scale gives a capture up after this long, ms.
const CAPTURE_PATIENCE_MS: u32 = 60_000;

/// A load that should stay and reads otherwise for this long was taken off, ms.
const GONE_MS: u32 = 3_000;

/// A scale counts as cold when it has been on for no longer than this, s.
const COLD_S: u32 = 120;

impl Prover {
    pub(super) fn watch(&mut self, state: &State) -> Result<ProofAction, ProofFault> {
        let restarted = self
            .last_ms
            .is_some_and(|last| state.at_ms < last && last - state.at_ms < u32::MAX / 2);
        self.last_ms = Some(state.at_ms);
        if restarted {
            self.again("the scale was switched off and on");
        }
        self.phase = Phase::Watching;
        if let Some(said) = self.said.take() {
            self.command(said);
        }
        if self.in_trouble(state) {
            return Ok(wait());
        }
        let Some(gross_g) = self.gross_g_of(state) else {
            return Ok(wait());
        };
        self.last_gross_g = Some(gross_g);
        let waited_ms = {
            let from = *self.waited_from_ms.get_or_insert(state.at_ms);
            state.at_ms.wrapping_sub(from)
        };
        if let Some(patience_s) = self.patience_s
            && waited_ms / 1000 > patience_s
        {
            return Err(ProofFault::Abandoned {
                waited_s: waited_ms / 1000,
            });
        }
        let stable = state.flags.has(Flags::STABLE);
        let (Some(running), Some(arrival)) = (&mut self.current, &mut self.arrival) else {
            return Ok(self.go_on());
        };
        let Some(step) = running.test.steps.get(running.at).cloned() else {
            return Err(ProofFault::Confused);
        };
        if let Doing::CaptureOn { .. } = step.doing
            && running.at <= 1
            && state.at_ms / 1000 > COLD_S
        {
            let why = format!(
                "the scale has been on for {} s: unplug it until it is cold, plug it in and begin within {COLD_S} s",
                state.at_ms / 1000
            );
            let test = running.test.test;
            self.current = None;
            self.leave_out(test, why);
            self.next_test();
            return Ok(self.go_on());
        }
        let seen = arrival.reading(gross_g, stable, state.at_ms);
        let lying =
            running.lies_since.is_some() && matches!(step.doing, Doing::CaptureAfter { .. });
        if lying
            && (gross_g - step.load.mass_g).abs() > room_g(self.plan.scale.e_g, step.load.mass_g)
        {
            let since = *running.gone_since.get_or_insert(state.at_ms);
            if state.at_ms.wrapping_sub(since) > GONE_MS {
                self.again("the load did not stay");
                return Ok(wait());
            }
        } else {
            running.gone_since = None;
        }
        match seen {
            Seen::Waiting => self.live(gross_g, Watching::Waiting),
            Seen::Settling => self.live(gross_g, Watching::Settling),
            Seen::Other => self.live(gross_g, Watching::Other),
            Seen::Wrong {
                seen_g,
                nothing_moved,
            } => self.wrong(&step, seen_g, nothing_moved),
            Seen::Here { rested_ms } => {
                return Ok(self.here(&step, gross_g, state.at_ms, rested_ms));
            }
        }
        Ok(wait())
    }

    fn wrong(&mut self, step: &ProofStep, seen_g: f64, nothing_moved: bool) {
        let room_g = (2.0 * self.plan.scale.e_g).max(0.002 * seen_g);
        let plan = &self.plan;
        let looks_like = looks_like(&plan.weights, plan.scale.max_g, seen_g, room_g);
        self.events.push(ProofEvent::Wrong {
            asked: step.load.clone(),
            seen_g,
            looks_like,
            nothing_moved,
        });
    }

    /// The load is there and rests.
    fn here(&mut self, step: &ProofStep, gross_g: f64, at_ms: u32, rested_ms: u32) -> ProofAction {
        let left_s = match (step.doing, &mut self.current) {
            (Doing::CaptureAfter { seconds }, Some(running)) => {
                let since = *running
                    .lies_since
                    .get_or_insert(at_ms.wrapping_sub(rested_ms));
                seconds.saturating_sub(at_ms.wrapping_sub(since) / 1000)
            }
            (Doing::CaptureOn { seconds }, _) => seconds.saturating_sub(at_ms / 1000),
            _ => 0,
        };
        if left_s > 0 {
            self.waited_from_ms = None;
            self.live(gross_g, Watching::Lying { left_s });
            return wait();
        }
        let ask = match step.doing {
            Doing::SetZero => Ask::SetZero,
            Doing::Tare => Ask::Tare,
            Doing::ClearTare => Ask::ClearTare,
            _ => {
                self.phase = Phase::Capturing;
                return ProofAction::Ask(Ask::Capture(CaptureOrder {
                    samples: self.plan.samples,
                    rest_counts: 0,
                    patience_ms: CAPTURE_PATIENCE_MS,
                }));
            }
        };
        self.phase = Phase::Acting;
        ProofAction::Ask(ask)
    }
}
