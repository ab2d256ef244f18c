//! What each request does. Every function here returns the one reply.

use heapless::{String, Vec};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::MAX_PAYLOAD;
use scalewright_protocol::message::{
    Answer, Ask, Hello, KNOTS_PER_MESSAGE, Refusal, Stage, TableHeader,
};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, Table, knots_checksum};
use scalewright_protocol::units::{CODE_MAX, CODE_MIN};

use crate::capture::{Capture, check_order};
use crate::filter::Filtered;
use crate::instrument::Instrument;
use crate::ports::Storage;
use crate::slots::{Progress, Record};

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Does what is asked; no answer yet when storing has begun. A wait only
    /// comes here when it is too long.
    pub(crate) fn carry_out(&mut self, ask: Ask) -> Result<Option<Answer>, Refusal> {
        match ask {
            Ask::SetSettings(settings) => self.set_settings(&settings).map(|()| None),
            Ask::StageBegin(stage) => self.stage_begin(&stage).map(|()| None),
            ask => self.answer(ask).map(Some),
        }
    }

    /// What can be done and answered at once.
    fn answer(&mut self, ask: Ask) -> Result<Answer, Refusal> {
        match ask {
            Ask::Hello { .. } => Ok(Answer::Hello(self.hello())),
            Ask::State => {
                self.untold = false;
                Ok(Answer::State(self.state(self.now_ms)))
            }
            Ask::Wait { .. } => Err(Refusal::Range { field: 0 }),
            // These two take steps.
            Ask::SetSettings(_) | Ask::StageBegin(_) => Err(Refusal::Unknown),
            Ask::Stream { every } => {
                self.stream_every = every;
                self.stream_left = every;
                Ok(Answer::Done)
            }
            Ask::Settings => Ok(Answer::Settings(self.settings)),
            Ask::Table => Ok(Answer::Table(self.table_header())),
            Ask::Knots { from } => self.knots_from(from),
            Ask::StageKnots { from, knots } => {
                self.slots.append(from, &knots)?;
                Ok(Answer::Done)
            }
            Ask::StageCommit => {
                let limits = self.limits();
                let record = self.slots.commit(&limits, &mut self.table);
                self.put_in_force(record)
            }
            Ask::StageAbort => {
                self.slots.abort();
                Ok(Answer::Done)
            }
            Ask::RollBack => {
                let limits = self.limits();
                let record = self.slots.roll_back(&limits, &mut self.table);
                self.put_in_force(record)
            }
            Ask::SetZero => {
                self.zero()?;
                let zero_counts = self.reference.zero_counts;
                Ok(Answer::Zeroed { zero_counts })
            }
            Ask::Tare => self.take_tare().map(|()| Answer::Done),
            Ask::ClearTare => {
                self.clear_tare();
                Ok(Answer::Done)
            }
            Ask::Capture(order) => {
                check_order(&order).map_err(|field| Refusal::Range { field })?;
                self.capture = Capture::start(&order, self.rest_limit_q8, self.now_ms);
                Ok(Answer::Done)
            }
            Ask::CaptureCancel => {
                self.untold |= self.capture.cancel();
                Ok(Answer::Done)
            }
        }
    }

    fn put_in_force(&mut self, record: Result<Record, Refusal>) -> Result<Answer, Refusal> {
        let record = record?;
        self.adopt(&record);
        Ok(Answer::Stored {
            sequence: record.sequence,
        })
    }

    /// The next piece of what [`Self::carry_out`] began; the reply after the
    /// last.
    pub(crate) fn store_a_piece(&mut self) -> Option<Result<Answer, Refusal>> {
        let knots = self.table.as_ref().map_or(&[][..], Table::knots);
        match self.slots.step(knots) {
            Ok(Progress::More) => None,
            Ok(Progress::Open) => Some(Ok(Answer::Done)),
            Ok(Progress::Replaced(sequence, settings)) => {
                self.adopt_settings(settings);
                Some(Ok(Answer::Stored { sequence }))
            }
            Err(refusal) => Some(Err(refusal)),
        }
    }

    fn hello(&self) -> Hello {
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
        Hello {
            wire_version: WIRE_VERSION,
            firmware: self.identity.firmware,
            device_id: self.identity.device_id,
            board,
            max_knots: u8::try_from(fit).unwrap_or(u8::MAX),
            rates_sps,
            slot_bytes: u16::try_from(self.slots.slot_bytes()).unwrap_or(u16::MAX),
            max_payload: MAX_PAYLOAD as u16,
        }
    }

    fn knots(&self) -> &[Knot] {
        self.table.as_ref().map_or(&[], Table::knots)
    }

    fn table_header(&mut self) -> TableHeader {
        let previous = self.slots.has_previous();
        let knots = self.knots();
        TableHeader {
            sequence: self.slots.sequence(),
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(knots),
            zero_counts: self.reference.calibration_counts,
            previous,
        }
    }

    /// Past the end of the table there are none, which is an answer too.
    fn knots_from(&self, from: u8) -> Result<Answer, Refusal> {
        let mut knots: Vec<Knot, KNOTS_PER_MESSAGE> = Vec::new();
        for knot in self.knots().iter().skip(usize::from(from)) {
            if knots.push(*knot).is_err() {
                break;
            }
        }
        Ok(Answer::Knots { from, knots })
    }

    /// The table stays, so what its numbers mean must stay: quanta, and (named
    /// as field 6) the ADC's input and gain.
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
