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

/// A request that stands behind a wait's answer; no ask when it was not
/// understood.
#[derive(Clone, Debug)]
pub(crate) struct Pending {
    pub(crate) id: u16,
    pub(crate) ask: Option<Ask>,
}

impl<S: Storage, const KNOTS: usize> Instrument<S, KNOTS> {
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
        self.untold = false;
        let answer = Answer::State(self.state(self.now_ms));
        self.reply(wait.id, Ok(answer));
    }

    pub(crate) fn is_replying(&self) -> bool {
        self.outbox.is_replying()
    }

    pub(crate) fn is_busy(&self) -> bool {
        self.is_replying() || self.pending.is_some()
    }

    pub(crate) fn receive(&mut self, byte: u8) {
        let Some(frame::Event::Payload(payload)) = self.decoder.push(byte) else {
            return;
        };
        let (id, ask) = match decode::<Request>(payload) {
            Ok(Request { id, ask }) => (id, Some(ask)),
            Err(_) => match leading_id(payload) {
                Some(id) => (id, None),
                None => return,
            },
        };
        self.accept(id, ask);
    }

    /// Takes a request while no reply is on its way.
    fn accept(&mut self, id: u16, ask: Option<Ask>) {
        let hello = matches!(ask, Some(Ask::Hello { .. }));
        match self.wait {
            Some(wait) if wait.id == id && hello => self.wait = None,
            Some(wait) if wait.id == id => return,
            Some(wait) => {
                self.finish_wait(wait);
                self.pending = Some(Pending { id, ask });
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

    pub(crate) fn begin(&mut self, id: u16, ask: Option<Ask>) {
        let result = match ask {
            None => Err(Refusal::Unknown),
            Some(Ask::Wait { up_to_ms }) if up_to_ms <= WAIT_MAX_MS => {
                self.wait = Some(Wait {
                    id,
                    deadline_ms: self.now_ms.wrapping_add(u32::from(up_to_ms)),
                });
                self.watch();
                return;
            }
            Some(ask @ Ask::Hello { .. }) => {
                let result = self.carry_out(ask);
                self.reply(id, result);
                self.last_id = None;
                return;
            }
            Some(ask) => self.carry_out(ask),
        };
        self.reply(id, result);
    }

    fn reply(&mut self, id: u16, result: Result<Answer, Refusal>) {
        self.last_id = Some(id);
        let report = match result {
            Ok(answer) => Report::Answer { id, answer },
            Err(refusal) => Report::Refusal { id, refusal },
        };
        self.outbox.reply(id, &report);
    }
}
