//! What each request does. Every request gets its one reply, here or, for what
//! there is little to say of, in `conversation`.
//!
//! Requests are read field by field from the frame they came in, and large
//! replies written field by field into theirs: a small chip has no room for
//! either beside its frame, nor for the code that moves them about. Each has a
//! function of its own that is never inlined, so that the stack holds one of
//! them, not all.

use heapless::Vec;
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::MAX_PAYLOAD;
use scalewright_protocol::cursor::Cursor;
use scalewright_protocol::message::{EventKind, KNOTS_PER_MESSAGE, Refusal, TableHeader};
use scalewright_protocol::table::{Knot, Table, knots_checksum};
use scalewright_protocol::tags::{answer, ask};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::capture::check_order;
use crate::conversation::{Outcome, answers};
use crate::instrument::{Instrument, UNKNOWN};
use crate::ports::Storage;
use crate::slots::Progress;

/// Longest name of a board, and most rates, that a greeting holds.
const BOARD_BYTES: usize = 16;
const RATES: usize = 5;

type Carried = Result<Outcome, Refusal>;

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Does what request `id` asks; `at` stands behind its tag.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn carry_out(&mut self, id: u16, tag: u8, mut at: Cursor) -> Carried {
        let writes = matches!(
            tag,
            ask::SET_SETTINGS
                | ask::STAGE_BEGIN
                | ask::STAGE_COMMIT
                | ask::ROLL_BACK
                | ask::STAGE_TRY
        ) || S::PAGE_BYTES > 0 && tag == ask::NOTE;
        if writes && self.sealed {
            return Err(Refusal::Sealed);
        }
        // A constant on a board that has no walk.
        if S::PAGE_BYTES > 0 && self.held && (writes || tag == ask::CAPTURE) {
            return Err(Refusal::Busy);
        }
        match tag {
            ask::NOTE if S::PAGE_BYTES > 0 => return self.note(at),
            ask::SET_SETTINGS => return self.set_settings(at),
            ask::STAGE_BEGIN => return self.stage_begin(at),
            ask::STAGE_KNOTS => return self.stage_knots(at),
            ask::CAPTURE => return self.order(at),
            _ => {}
        }
        // The rest has one number at most.
        let payload = self.payload();
        let number = match tag {
            ask::HELLO | ask::WAIT => at.u16(payload),
            ask::HOLD_ZERO if S::HAS_ROOM => at.u16(payload),
            ask::STREAM | ask::KNOTS | ask::EVENT => u16::from(at.u8(payload)),
            _ => 0,
        };
        self.whole(at)?;
        match tag {
            ask::HELLO => self.tell_who(id),
            ask::STATE => self.tell_state(id),
            ask::SETTINGS => self.tell_settings(id),
            ask::TABLE => self.tell_table(id),
            ask::KNOTS => self.tell_knots(id, number as u8),
            ask::WAIT => return Ok(Outcome::Wait(number)),
            ask::STREAM => {
                self.stream_every = number as u8;
                self.stream_left = number as u8;
                return Ok(Outcome::Done);
            }
            ask::STAGE_COMMIT => {
                let limits = self.limits();
                let stored = self.slots.commit(&limits, &mut self.table);
                return self.put_in_force(stored, EventKind::Table);
            }
            ask::STAGE_TRY if S::HAS_ROOM => return self.try_out(),
            ask::ROLL_BACK => {
                self.end_trial();
                let limits = self.limits();
                let stored = self.slots.roll_back(&limits, &mut self.table);
                return self.put_in_force(stored, EventKind::RolledBack);
            }
            ask::STAGE_ABORT => {
                self.end_trial();
                self.slots.abort();
                return Ok(Outcome::Done);
            }
            ask::EVENT if S::PAGE_BYTES > 0 => self.tell_event(id, number as u8),
            ask::HOLD_ZERO if S::HAS_ROOM => {
                self.hold_zero(number);
                return Ok(Outcome::Done);
            }
            ask::SET_ZERO => {
                self.zero()?;
                return Ok(Outcome::Zeroed(self.reference.zero_counts));
            }
            ask::TARE => {
                self.take_tare()?;
                return Ok(Outcome::Done);
            }
            ask::CLEAR_TARE => {
                self.clear_tare();
                return Ok(Outcome::Done);
            }
            ask::CAPTURE_CANCEL => {
                self.untold |= self.capture.cancel();
                return Ok(Outcome::Done);
            }
            _ => return Err(Refusal::Unknown),
        }
        self.last_id = Some(id);
        Ok(Outcome::Told)
    }

    /// Refuses a request of which something is missing or left over.
    fn whole(&self, at: Cursor) -> Result<(), Refusal> {
        if at.is_whole(self.payload()) {
            Ok(())
        } else {
            Err(Refusal::Unknown)
        }
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn order(&mut self, mut at: Cursor) -> Carried {
        let order = at.order(self.payload());
        self.whole(at)?;
        check_order(&order).map_err(|field| Refusal::Range { field })?;
        self.capture.begin(&order, self.rest_limit_q8, self.now_ms);
        Ok(Outcome::Done)
    }

    fn stage_begin(&mut self, mut at: Cursor) -> Carried {
        self.end_trial();
        // Read in place: there is no room for it on the way.
        let stage = self.slots.reopen();
        at.stage(self.decoder.payload().unwrap_or(&[]), stage);
        let zero_counts = stage.zero_counts;
        self.whole(at)?;
        if !(CODE_MIN..=CODE_MAX).contains(&zero_counts) {
            return Err(Refusal::Range { field: 1 });
        }
        self.slots.begin(&self.limits())?;
        Ok(Outcome::Storing)
    }

    // Its knots stand on the stack no longer than they are needed.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn stage_knots(&mut self, mut at: Cursor) -> Carried {
        let payload = self.payload();
        let from = at.u8(payload);
        let count = at.tag(payload);
        let mut knots: Vec<Knot, KNOTS_PER_MESSAGE> = Vec::new();
        for _ in 0..count {
            let _ = knots.push(at.knot(payload));
            if !at.is_sound() || usize::from(count) > KNOTS_PER_MESSAGE {
                return Err(Refusal::Unknown);
            }
        }
        self.whole(at)?;
        self.slots.append(from, &knots)?;
        Ok(Outcome::Done)
    }

    /// The table stays, so what its numbers mean must stay: quanta, and (named
    /// as field 6) the ADC's input and gain.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn set_settings(&mut self, mut at: Cursor) -> Carried {
        self.end_trial();
        let settings = &mut self.slots.reopen().settings;
        at.settings(self.decoder.payload().unwrap_or(&[]), settings);
        let quantum = settings.quantum_ug == self.settings.quantum_ug;
        let input = settings.input == self.settings.input;
        self.whole(at)?;
        let limits = self.limits();
        self.slots.check(&limits)?;
        if self.table.is_some() {
            if !quantum {
                return Err(Refusal::QuantumInUse);
            }
            if !input {
                return Err(Refusal::Range { field: 6 });
            }
        }
        self.begin_settings()?;
        Ok(Outcome::Storing)
    }

    /// Begins to store the settings that were filled in, with the zero reference and
    /// the table in force.
    pub(crate) fn begin_settings(&mut self) -> Result<(), Refusal> {
        let limits = self.limits();
        let zero_counts = self.reference.calibration_counts;
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        self.slots.begin_settings(zero_counts, knots, &limits)
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn put_in_force(
        &mut self,
        stored: Result<u32, Refusal>,
        kind: EventKind,
    ) -> Carried {
        let sequence = stored?;
        self.trial = false;
        self.started = true;
        self.adopt();
        self.seal();
        self.keep_event(kind);
        Ok(Outcome::Stored(sequence))
    }

    /// Weighs with the staged record until something ends it. Zero stays where it
    /// is under a table that was made at the same reference.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn try_out(&mut self) -> Carried {
        let limits = self.limits();
        self.slots.try_out(&limits, &mut self.table)?;
        self.trial = true;
        self.adopt_about_zero();
        Ok(Outcome::Done)
    }

    /// Puts the stored record back in force if a trial is.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub(crate) fn end_trial(&mut self) {
        if S::HAS_ROOM && core::mem::take(&mut self.trial) {
            let limits = self.limits();
            if self.slots.reload(&limits, &mut self.table).is_ok() {
                self.adopt_about_zero();
            }
        }
    }

    fn adopt_about_zero(&mut self) {
        let before = self.reference;
        self.adopt();
        if self.reference.calibration_counts == before.calibration_counts {
            self.reference = before;
        }
    }

    /// The next piece of what is being stored.
    pub(crate) fn store_a_piece(&mut self) -> Carried {
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        match self.slots.step(knots)? {
            Progress::More => Ok(Outcome::Storing),
            Progress::Open => Ok(Outcome::Done),
            Progress::Replaced => {
                self.adopt_settings();
                self.seal();
                self.keep_event(EventKind::Settings);
                Ok(Outcome::Stored(self.slots.sequence()))
            }
        }
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn tell_who(&mut self, id: u16) {
        let fit = KNOTS.min(self.slots.knots_fit());
        let slot_bytes = self.slots.slot_bytes();
        let who = self.identity.as_ref().unwrap_or(&UNKNOWN);
        self.outbox.reply(|pen| {
            answers(pen, id, answer::HELLO);
            pen.u16(WIRE_VERSION);
            pen.u8(who.firmware.0);
            pen.u8(who.firmware.1);
            pen.u8(who.firmware.2);
            pen.u32(who.device_id);
            let board = who.board.as_bytes();
            pen.bytes(board.get(..BOARD_BYTES).unwrap_or(board));
            pen.u8(u8::try_from(fit).unwrap_or(u8::MAX));
            let rates = who.rates_sps.get(..RATES).unwrap_or(who.rates_sps);
            pen.u8(rates.len() as u8);
            for rate in rates {
                pen.u16(*rate);
            }
            pen.u16(u16::try_from(slot_bytes).unwrap_or(u16::MAX));
            pen.u16(MAX_PAYLOAD as u16);
        });
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn tell_settings(&mut self, id: u16) {
        let settings = &self.settings;
        self.outbox.reply(|pen| {
            answers(pen, id, answer::SETTINGS);
            pen.settings(settings);
        });
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn tell_table(&mut self, id: u16) {
        let previous = self.slots.has_previous();
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        let header = TableHeader {
            sequence: self.slots.sequence(),
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(knots),
            zero_counts: self.reference.calibration_counts,
            previous,
        };
        self.outbox.reply(|pen| {
            answers(pen, id, answer::TABLE);
            pen.table(&header);
        });
    }

    /// Past the end of the table there are none, which is an answer too.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn tell_knots(&mut self, id: u16, from: u8) {
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        let rest = knots.get(usize::from(from)..).unwrap_or(&[]);
        let some = rest.get(..KNOTS_PER_MESSAGE).unwrap_or(rest);
        self.outbox.reply(|pen| {
            answers(pen, id, answer::KNOTS);
            pen.u8(from);
            pen.u8(some.len() as u8);
            for knot in some {
                pen.knot(knot);
            }
        });
    }
}
