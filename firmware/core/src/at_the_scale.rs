//! What keys at the scale itself want of the instrument: a calibration, a setting.
//!
//! The counterpart of the requests in `asks`, for a caller on the same board.

use scalewright_protocol::message::{CaptureOrder, EventKind, KNOTS_PER_MESSAGE, Refusal, Stage};
use scalewright_protocol::settings::{Conduct, Settings};
use scalewright_protocol::table::{Knot, knots_checksum};

use crate::conversation::Outcome;
use crate::instrument::Instrument;
use crate::notebook::{Entry, Kind};
use crate::ports::Storage;
use crate::slots::Progress;

impl<S: Storage, const KNOTS: usize, const QUEUE: usize> Instrument<S, KNOTS, QUEUE> {
    /// Whether a calibration may begin that would come with these settings.
    ///
    /// # Errors
    /// [`Refusal::Sealed`], [`Refusal::Settings`].
    pub(crate) fn may_calibrate(&self, settings: &Settings) -> Result<(), Refusal> {
        if self.sealed {
            return Err(Refusal::Sealed);
        }
        self.limits().check(settings).map_err(Refusal::Settings)
    }

    /// Whether the line is refused what would disturb a calibration here.
    pub(crate) fn hold_line(&mut self, held: bool) {
        self.held = held;
        if held {
            self.end_trial();
        }
    }

    /// A capture begins now.
    pub(crate) fn order_capture(&mut self, order: &CaptureOrder) {
        self.capture.begin(order, self.rest_limit_q8, self.now_ms);
    }

    /// A capture that is running ends.
    pub(crate) fn cancel_capture(&mut self) {
        self.untold |= self.capture.cancel();
    }

    /// The zero in use, q8 counts.
    pub(crate) const fn zero_q8(&self) -> i32 {
        self.reference.zero_counts.saturating_mul(256)
    }

    /// The signal at rest, q8 counts; nothing while it moves or with a fault.
    pub(crate) fn signal(&self) -> Option<i32> {
        let rests = self.fault.is_none() && self.stable;
        rests.then_some(self.filter.out().smooth_q8)
    }

    /// Stores a table that was made here and puts it in force.
    ///
    /// # Errors
    /// Whatever the slots refuse; the record in force is untouched then.
    pub(crate) fn store_here(
        &mut self,
        settings: &Settings,
        zero_counts: i32,
        knots: &[Knot],
    ) -> Result<(), Refusal> {
        self.may_calibrate(settings)?;
        self.end_trial();
        let limits = self.limits();
        *self.slots.reopen() = Stage {
            settings: *settings,
            zero_counts,
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(knots),
        };
        self.slots.begin(&limits)?;
        while self.slots.step(&[])? == Progress::More {}
        let mut from = 0u8;
        for piece in knots.chunks(KNOTS_PER_MESSAGE) {
            self.slots.append(from, piece)?;
            from = from.saturating_add(u8::try_from(piece.len()).unwrap_or(u8::MAX));
        }
        let stored = self.slots.commit(&limits, &mut self.table);
        self.put_in_force(stored, EventKind::MadeHere).map(|_| ())
    }

    /// Turns something that the scale does by itself on or off, and stores that. The
    /// table stays. What a laptop was bringing in is given up.
    ///
    /// # Errors
    /// [`Refusal::Sealed`]; [`Refusal::Busy`] while something is being stored;
    /// whatever the slots refuse.
    pub(crate) fn switch(&mut self, what: Conduct) -> Result<(), Refusal> {
        if self.sealed {
            return Err(Refusal::Sealed);
        }
        if self.is_storing() || self.held {
            return Err(Refusal::Busy);
        }
        self.end_trial();
        let conduct = self.settings.conduct;
        self.slots.reopen().settings = Settings {
            conduct: match conduct.has(what) {
                true => conduct.without(what),
                false => conduct.with(what),
            },
            ..self.settings
        };
        self.begin_settings()?;
        while matches!(self.store_a_piece()?, Outcome::Storing) {}
        Ok(())
    }

    /// The newest entry of the notebook that `wanted` takes, with its position.
    pub(crate) fn recall_any(&mut self, wanted: impl Fn(Kind) -> bool) -> Option<(u16, Entry)> {
        if S::PAGE_BYTES == 0 {
            return None;
        }
        self.notebook.newest(self.slots.storage(), u16::MAX, wanted)
    }

    /// The entry of the notebook at a position.
    pub(crate) fn note_at(&mut self, position: u16) -> Option<Entry> {
        self.notebook.at(self.slots.storage(), position)
    }

    /// Where positions in the notebook end.
    pub(crate) const fn notes_end(&self) -> u16 {
        self.notebook.end()
    }
}
