//! The conversation: which request is worked on, and its one reply.
//!
//! Owns the memory of the last reply, the open wait and the request behind it;
//! what the requests do stands in `asks`. The rules stand in the head of
//! [`crate::instrument`].

use scalewright_protocol::codec::{decode, leading_id};
use scalewright_protocol::frame;
use scalewright_protocol::message::{Answer, Ask, Refusal, Report, Request};
use scalewright_protocol::units::reached_ms;

use crate::instrument::Instrument;
use crate::ports::Storage;

/// Longest wait, ms.
const WAIT_MAX_MS: u16 = 10_000;

/// An open wait.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wait {
    pub(crate) id: u16,
    pub(crate) deadline_ms: u32,
}

/// What an ask comes to, when it comes to little. Kept small: it is handed from
/// frame to frame on a stack of a few hundred bytes.
pub(crate) enum Outcome {
    Done,
    Stored(u32),
    Zeroed(i32),
}

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Ends what time or an event has ended.
    pub(crate) fn watch(&mut self) {
        self.untold |= self.capture.tick(self.now_ms);
        if let Some(wait) = self.wait
            && (self.untold || reached_ms(self.now_ms, wait.deadline_ms))
        {
            self.finish_wait(wait);
        }
    }

    fn finish_wait(&mut self, wait: Wait) {
        self.wait = None;
        self.tell_state(wait.id);
    }

    /// Answers request `id` with the state as it is now.
    #[inline(never)]
    pub(crate) fn tell_state(&mut self, id: u16) {
        self.untold = false;
        let answer = Answer::State(self.state(self.now_ms));
        self.tell(id, answer);
    }

    pub(crate) fn is_replying(&self) -> bool {
        self.outbox.is_replying()
    }

    pub(crate) fn is_busy(&self) -> bool {
        self.is_replying() || self.pending || self.is_storing()
    }

    pub(crate) fn receive(&mut self, byte: u8) {
        if let Some(frame::Event::Payload(_)) = self.decoder.push(byte) {
            self.with_request(Self::accept);
        }
    }

    /// Hands the request in the decoder to `take`.
    #[inline(never)]
    fn with_request(&mut self, take: fn(&mut Self, u16, Option<&Ask>)) {
        if let Some((id, ask)) = self.request() {
            take(self, id, ask.as_ref());
        }
    }

    /// The request that stands in the decoder; no ask when it is not understood.
    fn request(&self) -> Option<(u16, Option<Ask>)> {
        let payload = self.decoder.payload()?;
        match decode::<Request>(payload) {
            Ok(Request { id, ask }) => Some((id, Some(ask))),
            Err(_) => leading_id(payload).map(|id| (id, None)),
        }
    }

    /// Begins the request that stood behind a wait's answer. Nothing was pushed
    /// into the decoder since.
    pub(crate) fn take_up(&mut self) {
        self.with_request(Self::begin);
    }

    /// Takes a request while no reply is on its way.
    fn accept(&mut self, id: u16, ask: Option<&Ask>) {
        let hello = matches!(ask, Some(Ask::Hello { .. }));
        match self.wait {
            Some(wait) if wait.id == id && hello => self.wait = None,
            Some(wait) if wait.id == id => return,
            Some(wait) => {
                self.finish_wait(wait);
                self.pending = true;
                return;
            }
            None => {}
        }
        if self.last_id == Some(id) && !hello {
            self.outbox.repeat();
            return;
        }
        self.begin(id, ask);
    }

    fn begin(&mut self, id: u16, ask: Option<&Ask>) {
        match ask {
            None => self.conclude(id, Err(Refusal::Unknown)),
            Some(Ask::Wait { up_to_ms }) if *up_to_ms <= WAIT_MAX_MS => {
                self.wait = Some(Wait {
                    id,
                    deadline_ms: self.now_ms.wrapping_add(u32::from(*up_to_ms)),
                });
                self.watch();
            }
            Some(Ask::Hello { .. }) => {
                self.tell_who(id);
                self.last_id = None;
            }
            Some(ask) => self.carry_out(id, ask),
        }
    }

    /// Does the next piece of storing, and replies after the last.
    pub(crate) fn step_chore(&mut self) {
        let Some(id) = self.chore else { return };
        if let Some(outcome) = self.store_a_piece() {
            self.chore = None;
            self.conclude(id, outcome);
        }
    }

    /// Replies with what little there is to say.
    #[inline(never)]
    pub(crate) fn conclude(&mut self, id: u16, outcome: Result<Outcome, Refusal>) {
        match outcome {
            Ok(Outcome::Done) => self.tell(id, Answer::Done),
            Ok(Outcome::Stored(sequence)) => self.tell(id, Answer::Stored { sequence }),
            Ok(Outcome::Zeroed(zero_counts)) => self.tell(id, Answer::Zeroed { zero_counts }),
            Err(refusal) => self.reply(id, &Report::Refusal { id, refusal }),
        }
    }

    /// The one reply to request `id`.
    pub(crate) fn tell(&mut self, id: u16, answer: Answer) {
        self.reply(id, &Report::Answer { id, answer });
    }

    fn reply(&mut self, id: u16, report: &Report) {
        self.last_id = Some(id);
        self.outbox.reply(id, report);
    }
}
