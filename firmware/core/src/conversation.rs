//! The conversation: which request is worked on, and its one reply.
//!
//! Owns the memory of the last reply, the open wait and the request behind it;
//! what the requests do stands in `asks`. The rules stand in the head of
//! [`crate::instrument`].

use scalewright_protocol::cursor::Cursor;
use scalewright_protocol::frame;
use scalewright_protocol::message::Refusal;
use scalewright_protocol::pen::Pen;
use scalewright_protocol::tags::{answer, ask, report};
use scalewright_protocol::units::reached_ms;

use crate::indication::Weighed;
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
    /// The reply is in the outbox.
    Told,
    /// Carried out; nothing to tell.
    Done,
    /// Storing has begun.
    Storing,
    /// To be answered later, ms.
    Wait(u16),
    /// A record is in force, under this number.
    Stored(u32),
    /// The zero reference now, ADC counts.
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
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn tell_state(&mut self, id: u16) {
        self.untold = false;
        self.last_id = Some(id);
        let weighed = self.weigh();
        self.put_state(id, weighed.as_ref());
    }

    /// Field by field, in the order of `State`: no room for it on the stack. Apart from
    /// the weighing, which goes deepest there.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn put_state(&mut self, id: u16, weighed: Option<&Weighed>) {
        let flags = self.flags(weighed);
        let mass = weighed.map(|w| w.mass);
        let indication = self.indication(weighed);
        let smooth_q8 = self.filter.out().smooth_q8;
        self.outbox.reply(|pen| {
            answers(pen, id, answer::STATE);
            pen.u32(self.now_ms);
            pen.u32(self.sequence);
            pen.i32(smooth_q8);
            pen.u32(self.rest.spread_q8());
            pen.i32(self.reference.zero_counts);
            pen.i32_or_nothing(mass);
            pen.i32_or_nothing(indication);
            pen.u16(flags.0);
            pen.capture(&self.capture.state());
            pen.i32(weighed.map_or(0, |w| w.correction));
        });
    }

    pub(crate) fn is_replying(&self) -> bool {
        self.outbox.is_replying()
    }

    pub(crate) fn is_busy(&self) -> bool {
        self.is_replying() || self.pending || self.is_storing()
    }

    pub(crate) fn receive(&mut self, byte: u8) {
        if let Some(frame::Event::Payload(_)) = self.decoder.push(byte) {
            let mut at = Cursor::new();
            let id = at.u16(self.payload());
            // A payload without so much as a number is no request.
            if at.is_sound() {
                self.accept(id, at);
            }
        }
    }

    /// The request at work. It stays in the decoder until it is answered or has
    /// become a chore: no byte is pushed before that.
    pub(crate) fn payload(&self) -> &[u8] {
        self.decoder.payload().unwrap_or(&[])
    }

    /// Begins the request that stood behind a wait's answer.
    pub(crate) fn take_up(&mut self) {
        let mut at = Cursor::new();
        let id = at.u16(self.payload());
        self.begin(id, at);
    }

    /// Takes a request while no reply is on its way; `at` stands before its tag.
    fn accept(&mut self, id: u16, at: Cursor) {
        let hello = self.is_hello(at);
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
        self.begin(id, at);
    }

    fn is_hello(&self, mut at: Cursor) -> bool {
        let payload = self.payload();
        let tag = at.tag(payload);
        at.u16(payload);
        tag == ask::HELLO && at.is_whole(payload)
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn begin(&mut self, id: u16, mut at: Cursor) {
        let tag = at.tag(self.payload());
        match self.carry_out(id, tag, at) {
            Ok(Outcome::Told) => {}
            Ok(Outcome::Wait(up_to_ms)) if up_to_ms <= WAIT_MAX_MS => {
                self.wait = Some(Wait {
                    id,
                    deadline_ms: self.now_ms.wrapping_add(u32::from(up_to_ms)),
                });
                self.watch();
            }
            Ok(Outcome::Storing) => {
                self.chore = Some(id);
                // The first piece is part of the request: a memory that erases
                // at once has the reply out at once.
                self.step_chore();
            }
            outcome => self.conclude(id, outcome),
        }
        if tag == ask::HELLO {
            // Always answered afresh.
            self.last_id = None;
        }
    }

    /// Does the next piece of storing, and replies after the last.
    pub(crate) fn step_chore(&mut self) {
        let Some(id) = self.chore else { return };
        match self.store_a_piece() {
            Ok(Outcome::Storing) => {}
            outcome => {
                self.chore = None;
                self.conclude(id, outcome);
            }
        }
    }

    /// Replies with what little there is to say.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn conclude(&mut self, id: u16, outcome: Result<Outcome, Refusal>) {
        self.last_id = Some(id);
        self.outbox.reply(|pen| match outcome {
            Ok(Outcome::Stored(sequence)) => {
                answers(pen, id, answer::STORED);
                pen.u32(sequence);
            }
            Ok(Outcome::Zeroed(zero_counts)) => {
                answers(pen, id, answer::ZEROED);
                pen.i32(zero_counts);
            }
            Ok(Outcome::Wait(_)) => refuses(pen, id, Refusal::Range { field: 0 }),
            Ok(_) => answers(pen, id, answer::DONE),
            Err(refusal) => refuses(pen, id, refusal),
        });
    }
}

/// The beginning of every answer.
#[cfg_attr(target_arch = "avr", inline(never))]
pub(crate) fn answers(pen: &mut Pen<'_>, id: u16, tag: u8) {
    pen.u8(report::ANSWER);
    pen.u16(id);
    pen.u8(tag);
}

fn refuses(pen: &mut Pen<'_>, id: u16, refusal: Refusal) {
    pen.u8(report::REFUSAL);
    pen.u16(id);
    pen.refusal(refusal);
}
