//! Zero-tracking stands still while a scale is tested: it would take a part of
//! what the tests look for, as how far zero is off after a load.
//!
//! (OIML R 76-1:2006 A.4.1.6, from memory: its effect is switched off during the
//! tests, or put out of action by a load of 10 e.) The settings stay as they are,
//! and a sealed scale is tested like any other: the scale is asked to wait, again
//! and again, so that it tracks by itself when the laptop is gone.

use scalewright_protocol::message::{Answer, Ask, Refusal};
use scalewright_protocol::settings::Conduct;

/// How long the scale is asked to hold zero, s.
const FOR_S: u16 = 1200;
/// After so much of it it is asked again, ms of device time.
const RENEW_MS: u32 = 300_000;

/// Who asks for it, and when.
#[derive(Clone, Copy, Debug, Default)]
pub struct ZeroHeld {
    tracks: bool,
    now_ms: u32,
    asked_ms: Option<u32>,
}

impl ZeroHeld {
    /// Takes what the scale answered, whatever it was.
    pub fn heard(&mut self, answer: &Result<Answer, Refusal>) {
        match answer {
            Ok(Answer::Settings(settings)) => {
                self.tracks = settings.conduct.has(Conduct::TRACKS_ZERO);
            }
            Ok(Answer::State(state)) => {
                if state.at_ms < self.now_ms {
                    // It was switched off and on, and has forgotten.
                    self.asked_ms = None;
                }
                self.now_ms = state.at_ms;
            }
            _ => {}
        }
    }

    /// What to ask now, before anything else.
    pub fn due(&mut self) -> Option<Ask> {
        let fresh = |asked_ms: u32| self.now_ms.wrapping_sub(asked_ms) < RENEW_MS;
        if !self.tracks || self.asked_ms.is_some_and(fresh) {
            return None;
        }
        self.asked_ms = Some(self.now_ms);
        Some(Ask::HoldZero { for_s: FOR_S })
    }

    /// What to ask at the end.
    #[must_use]
    pub fn at_the_end(&self) -> Option<Ask> {
        self.asked_ms.map(|_| Ask::HoldZero { for_s: 0 })
    }
}
