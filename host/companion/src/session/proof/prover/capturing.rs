//! While the scale averages, sets zero or tares, and what comes of it.

use scalewright_protocol::message::{Ask, CaptureFault, CaptureState, Captured, State};

use super::super::arrival::Arrival;
use super::super::entry::{self, ProofCapture, ProofEntry};
use super::super::plan::Doing;
use super::{Phase, ProofAction, ProofEvent, ProofFault, Prover, Watching, wait};

impl Prover {
    pub(super) fn capturing(&mut self, state: &State) -> Result<ProofAction, ProofFault> {
        self.last_ms = Some(state.at_ms);
        if self.in_trouble(state) {
            self.phase = Phase::Watching;
            return Ok(ProofAction::Ask(Ask::CaptureCancel));
        }
        let gross_g = self.gross_g_of(state).unwrap_or(f64::NAN);
        match state.capture {
            CaptureState::Averaging { done, of } => {
                self.live(gross_g, Watching::Averaging { done, of });
            }
            CaptureState::Settling => self.live(gross_g, Watching::Settling),
            CaptureState::Captured(captured) => return Ok(self.captured(state, &captured)),
            CaptureState::Failed(CaptureFault::Restless) => {
                self.events.push(ProofEvent::Trouble {
                    what: "the load does not come to rest".into(),
                    try_this: "look for draught, a shaking table, or a load that swings".into(),
                });
                self.trouble.say();
                self.phase = Phase::Watching;
                return Ok(wait());
            }
            CaptureState::Failed(_) | CaptureState::Idle => {
                self.phase = Phase::Watching;
                return Ok(wait());
            }
        }
        self.phase = Phase::Capturing;
        Ok(wait())
    }

    fn captured(&mut self, state: &State, captured: &Captured) -> ProofAction {
        let Some(running) = &self.current else {
            return self.go_on();
        };
        let Some(step) = running.test.steps.get(running.at) else {
            return self.go_on();
        };
        let middle_ms = captured
            .began_ms
            .wrapping_add(captured.ended_ms.wrapping_sub(captured.began_ms) / 2);
        let rested_from = (running.lies_since)
            .filter(|_| matches!(step.doing, Doing::CaptureAfter { .. }))
            .or_else(|| self.arrival.as_ref().and_then(Arrival::resting_since));
        let capture = ProofCapture {
            test: running.test.test,
            step: running.at,
            load: step.load.clone(),
            spot: step.spot,
            mean_counts: f64::from(captured.mean_q8) / 256.0,
            sd_counts: f64::from(captured.sd_q8) / 256.0,
            samples: captured.samples,
            at_s: f64::from(middle_ms) / 1000.0,
            rested_s: rested_from.map_or(0.0, |since| {
                f64::from(middle_ms.wrapping_sub(since)) / 1000.0
            }),
            zero_counts: state.zero_counts,
            correction: state.correction,
            indication: state.indication,
            run: self.run,
        };
        let gross_g = self.table.as_ref().map_or(f64::NAN, |table| {
            entry::gross_g(&capture, table, self.settings.quantum_ug)
        });
        self.events
            .push(ProofEvent::Keep(ProofEntry::Captured(capture.clone())));
        self.events.push(ProofEvent::Captured { capture, gross_g });
        self.step_done()
    }

    pub(super) fn zeroed(&mut self, zero_counts: i32) -> ProofAction {
        if let Some(running) = &self.current {
            let entry = ProofEntry::Zeroed {
                test: running.test.test,
                step: running.at,
                run: self.run,
                zero_counts,
                at_s: f64::from(self.last_ms.unwrap_or(0)) / 1000.0,
            };
            self.events.push(ProofEvent::Keep(entry));
        }
        self.step_done()
    }

    pub(super) fn tared(&mut self) -> ProofAction {
        if let Some(running) = &self.current {
            let step = running.test.steps.get(running.at);
            let entry = ProofEntry::Tared {
                test: running.test.test,
                step: running.at,
                run: self.run,
                cleared: step.is_some_and(|step| step.doing == Doing::ClearTare),
            };
            self.events.push(ProofEvent::Keep(entry));
        }
        self.step_done()
    }
}
