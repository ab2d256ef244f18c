//! What each request does. Every request gets its one reply here.
//!
//! Large replies have functions of their own that are never inlined: so a stack
//! of a few hundred bytes holds one of them, not all.

use heapless::{String, Vec};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::MAX_PAYLOAD;
use scalewright_protocol::message::{
    Answer, Ask, CaptureOrder, Hello, KNOTS_PER_MESSAGE, Refusal, Stage, TableHeader,
};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, Table, knots_checksum};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::capture::check_order;
use crate::conversation::Outcome;
use crate::filter::Filtered;
use crate::instrument::Instrument;
use crate::ports::Storage;
use crate::slots::{Progress, Record};

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Does what is asked and replies, or begins what takes steps. A wait only
    /// comes here when it is too long.
    #[inline(never)]
    pub(crate) fn carry_out(&mut self, id: u16, ask: &Ask) {
        let outcome = match ask {
            Ask::Hello { .. } => return self.tell_who(id),
            Ask::State => return self.tell_state(id),
            Ask::Settings => return self.tell_settings(id),
            Ask::Table => return self.tell_table(id),
            Ask::Knots { from } => return self.tell_knots(id, *from),
            Ask::SetSettings(settings) => {
                return self.begin_storing(id, |s| s.set_settings(settings));
            }
            Ask::StageBegin(stage) => return self.begin_storing(id, |s| s.stage_begin(stage)),
            Ask::Wait { .. } => Err(Refusal::Range { field: 0 }),
            Ask::Stream { every } => {
                self.stream_every = *every;
                self.stream_left = *every;
                Ok(Outcome::Done)
            }
            Ask::StageKnots { from, knots } => {
                self.slots.append(*from, knots).map(|()| Outcome::Done)
            }
            Ask::StageCommit => {
                let limits = self.limits();
                let record = self.slots.commit(&limits, &mut self.table);
                self.put_in_force(record)
            }
            Ask::StageAbort => {
                self.slots.abort();
                Ok(Outcome::Done)
            }
            Ask::RollBack => {
                let limits = self.limits();
                let record = self.slots.roll_back(&limits, &mut self.table);
                self.put_in_force(record)
            }
            Ask::SetZero => self
                .zero()
                .map(|()| Outcome::Zeroed(self.reference.zero_counts)),
            Ask::Tare => self.take_tare().map(|()| Outcome::Done),
            Ask::ClearTare => {
                self.clear_tare();
                Ok(Outcome::Done)
            }
            Ask::Capture(order) => self.order(order),
            Ask::CaptureCancel => {
                self.untold |= self.capture.cancel();
                Ok(Outcome::Done)
            }
        };
        self.conclude(id, outcome);
    }

    #[inline(never)]
    fn order(&mut self, order: &CaptureOrder) -> Result<Outcome, Refusal> {
        check_order(order).map_err(|field| Refusal::Range { field })?;
        self.capture.begin(order, self.rest_limit_q8, self.now_ms);
        Ok(Outcome::Done)
    }

    /// Storing begins; the reply comes after its last piece. The first is part
    /// of the request: a memory that erases at once has the reply out at once.
    fn begin_storing(&mut self, id: u16, begin: impl FnOnce(&mut Self) -> Result<(), Refusal>) {
        match begin(self) {
            Ok(()) => {
                self.chore = Some(id);
                self.step_chore();
            }
            Err(refusal) => self.conclude(id, Err(refusal)),
        }
    }

    fn put_in_force(&mut self, record: Result<Record, Refusal>) -> Result<Outcome, Refusal> {
        let record = record?;
        self.adopt(&record);
        Ok(Outcome::Stored(record.sequence))
    }

    /// The next piece of what [`Self::carry_out`] began; the reply after the
    /// last.
    #[inline(never)]
    pub(crate) fn store_a_piece(&mut self) -> Option<Result<Outcome, Refusal>> {
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        match self.slots.step(knots) {
            Ok(Progress::More) => None,
            Ok(Progress::Open) => Some(Ok(Outcome::Done)),
            Ok(Progress::Replaced(sequence, settings)) => {
                self.adopt_settings(settings);
                Some(Ok(Outcome::Stored(sequence)))
            }
            Err(refusal) => Some(Err(refusal)),
        }
    }

    #[inline(never)]
    pub(crate) fn tell_who(&mut self, id: u16) {
        let mut board: String<16> = String::new();
        for letter in self.identity.board.chars() {
            if board.push(letter).is_err() {
                break;
            }
        }
        let mut rates_sps: Vec<u16, 5> = Vec::new();
        for rate in self.identity.rates_sps.iter().take(5) {
            let _ = rates_sps.push(*rate);
        }
        let fit = KNOTS.min(self.slots.knots_fit());
        let hello = Hello {
            wire_version: WIRE_VERSION,
            firmware: self.identity.firmware,
            device_id: self.identity.device_id,
            board,
            max_knots: u8::try_from(fit).unwrap_or(u8::MAX),
            rates_sps,
            slot_bytes: u16::try_from(self.slots.slot_bytes()).unwrap_or(u16::MAX),
            max_payload: MAX_PAYLOAD as u16,
        };
        self.tell(id, Answer::Hello(hello));
    }

    #[inline(never)]
    fn tell_settings(&mut self, id: u16) {
        self.tell(id, Answer::Settings(self.settings));
    }

    fn knots(&self) -> &[Knot] {
        self.table.as_ref().map_or(&[], Table::knots)
    }

    #[inline(never)]
    fn tell_table(&mut self, id: u16) {
        let previous = self.slots.has_previous();
        let knots = self.knots();
        let header = TableHeader {
            sequence: self.slots.sequence(),
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(knots),
            zero_counts: self.reference.calibration_counts,
            previous,
        };
        self.tell(id, Answer::Table(header));
    }

    /// Past the end of the table there are none, which is an answer too.
    #[inline(never)]
    fn tell_knots(&mut self, id: u16, from: u8) {
        let mut knots: Vec<Knot, KNOTS_PER_MESSAGE> = Vec::new();
        for knot in self.knots().iter().skip(usize::from(from)) {
            if knots.push(*knot).is_err() {
                break;
            }
        }
        self.tell(id, Answer::Knots { from, knots });
    }

    /// The table stays, so what its numbers mean must stay: quanta, and (named
    /// as field 6) the ADC's input and gain.
    #[inline(never)]
    fn set_settings(&mut self, settings: &Settings) -> Result<(), Refusal> {
        let limits = self.limits();
        limits.check(settings).map_err(Refusal::Settings)?;
        if self.table.is_some() {
            if settings.quantum_ug != self.settings.quantum_ug {
                return Err(Refusal::QuantumInUse);
            }
            if settings.input != self.settings.input {
                return Err(Refusal::Range { field: 6 });
            }
        }
        let zero_counts = self.reference.calibration_counts;
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        self.slots
            .begin_settings(settings, zero_counts, knots, &limits)
    }

    #[inline(never)]
    fn stage_begin(&mut self, stage: &Stage) -> Result<(), Refusal> {
        if !(CODE_MIN..=CODE_MAX).contains(&stage.zero_counts) {
            return Err(Refusal::Range { field: 1 });
        }
        self.slots.begin(stage, &self.limits())
    }

    /// The signal, if a zero or tare may be taken from it.
    fn at_rest(&self) -> Result<(&Table<KNOTS>, Filtered), Refusal> {
        let table = self.table.as_ref().ok_or(Refusal::NotCalibrated)?;
        if self.fault.is_some() {
            return Err(Refusal::AdcFault);
        }
        match self.latest {
            Some(filtered) if self.rest.within(self.rest_limit_q8) => Ok((table, filtered)),
            _ => Err(Refusal::NotAtRest),
        }
    }

    /// Zero-setting: the load on the pan becomes zero.
    ///
    /// # Errors
    /// [`Refusal::NotCalibrated`], [`Refusal::AdcFault`], [`Refusal::NotAtRest`],
    /// [`Refusal::ZeroRange`].
    pub fn zero(&mut self) -> Result<(), Refusal> {
        let (table, filtered) = self.at_rest()?;
        let mut reference = self.reference;
        reference.set_zero(table, &self.settings, filtered.smooth_q8)?;
        self.reference = reference;
        Ok(())
    }

    /// Tare: the load on the pan counts as container.
    ///
    /// # Errors
    /// As [`Self::zero`], and [`Refusal::TareRange`].
    pub fn take_tare(&mut self) -> Result<(), Refusal> {
        let (table, filtered) = self.at_rest()?;
        let mut reference = self.reference;
        reference.set_tare(
            table,
            &self.settings,
            filtered.smooth_q8,
            filtered.saturated,
        )?;
        self.reference = reference;
        Ok(())
    }
}
