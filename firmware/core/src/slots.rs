//! Records that survive a power cut: settings, zero reference and table, whole.
//!
//! ```text
//! slot:  header place 0 … 3 (48 bytes each)   knots (counts, mass: 8 bytes each)
//! ```
//!
//! Two slots hold one record each. The sound record with the newest sequence
//! number is in force; the other is the one before. A new record is built in
//! the other slot: erase (in steps, see [`Slots::step`]), knots as they arrive,
//! and last, in one write, the header, whose CRC makes the record exist. So at every moment at least the
//! record in force is whole, and what a cut leaves behind is no record.
//! Starting reads only, so a second cut finds nothing half repaired.
//!
//! **Roll-back** puts the other slot's record back in force without moving it:
//! a second header, with the next sequence number, goes into the next free
//! header place of the same slot. Each record has four places, so it can be
//! brought back three times before it counts as gone.
//!
//! **Another layout**, written by another version of the firmware, is known by
//! its mark and left alone: of two such slots the older is rewritten first, so
//! that going back to that version finds its record.
//!
//! Refuses: a record whose knots, settings or table do not check, whatever its
//! CRC says. A failing memory never costs the record in force: each header is
//! read back before it counts. Knots are checked where they lie, so that no
//! second table stands in memory.

use scalewright_protocol::message::{Refusal, Stage};
use scalewright_protocol::settings::{Settings, SettingsFault};
use scalewright_protocol::table::{Knot, Table, TableFault, check_each, knots_checksum};

use crate::header::Header;
use crate::ports::{Slot, Storage};
use crate::shelf::{Shelf, is_newer};

/// What this scale can take.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Rates of the ADC, conversions per second.
    pub rates_sps: &'static [u16],
    /// Most knots of a table.
    pub knots: usize,
}

impl Limits {
    /// Checks settings, the rate included.
    ///
    /// # Errors
    /// The first field that makes no sense.
    pub fn check(&self, settings: &Settings) -> Result<(), SettingsFault> {
        settings.check()?;
        if self.rates_sps.contains(&settings.rate_sps) {
            Ok(())
        } else {
            Err(SettingsFault::Rate)
        }
    }
}

/// What starting found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Boot {
    /// Whether there is a record in force: [`Slots::record`].
    pub found: bool,
    /// Whether a newer one was there and is broken.
    pub fell_back: bool,
    /// Whether all there is is in another layout.
    pub other_layout: bool,
}

/// How far a step brought what was begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Another step is due.
    More,
    /// The spare slot is open for knots.
    Open,
    /// The new settings are in force: [`Slots::record`], [`Slots::sequence`].
    Replaced,
}

/// How far the record in the spare slot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
enum Phase {
    /// Nothing is being stored.
    Idle,
    /// Erasing goes on at this offset, for knots that will arrive or for a copy
    /// of those in force.
    Erasing { at: usize, copy: bool },
    /// So many knots arrived.
    Open { received: u8 },
    /// So many knots are copied.
    Copying { done: u8 },
}

/// The two slots.
#[derive(Debug)]
pub struct Slots<S> {
    shelf: Shelf<S>,
    /// Slot and number of the record in force; number 0 for none.
    in_force: Slot,
    sequence: u32,
    /// Where the next record is built.
    spare: Slot,
    /// Newest number seen on a sound header, 0 for none.
    newest: u32,
    phase: Phase,
    /// Header of the record at work: being built, or just loaded.
    work: Header,
}

impl<S: Storage> Slots<S> {
    /// Slots over `storage`; nothing is read yet.
    pub const fn new(storage: S) -> Self {
        Self {
            shelf: Shelf::new(storage),
            in_force: Slot::A,
            sequence: 0,
            spare: Slot::A,
            newest: 0,
            phase: Phase::Idle,
            work: Header::blank(),
        }
    }

    /// The storage, back.
    pub fn into_storage(self) -> S {
        self.shelf.storage
    }

    /// The storage.
    pub const fn storage(&mut self) -> &mut S {
        &mut self.shelf.storage
    }

    /// Bytes of one slot.
    pub fn slot_bytes(&self) -> usize {
        self.shelf.storage.slot_bytes()
    }

    /// Knots one slot has room for.
    pub fn knots_fit(&self) -> usize {
        self.shelf.knots_fit().unwrap_or(0)
    }

    /// Number of the record in force, 0 for none.
    #[must_use]
    pub const fn sequence(&self) -> u32 {
        self.sequence
    }

    /// What came into force last, by [`Self::boot`], [`Self::commit`],
    /// [`Self::roll_back`] or [`Self::step`].
    #[must_use]
    pub const fn record(&self) -> &Stage {
        &self.work.stage
    }

    /// Finds the record in force: the newest that checks in every respect.
    /// Reads only.
    ///
    /// `fell_back` is set when a newer one was finished once and is broken now;
    /// an update that a power cut ended is no such case. `table` becomes the
    /// record's.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn boot<const N: usize>(&mut self, limits: &Limits, table: &mut Option<Table<N>>) -> Boot {
        *table = None;
        self.sequence = 0;
        self.phase = Phase::Idle;
        let a = self.shelf.survey(Slot::A);
        let b = self.shelf.survey(Slot::B);
        let first_b = match (a.newest, b.newest) {
            (Some((_, in_a)), Some((_, in_b))) => is_newer(in_b, in_a),
            // Where no slot has a header that reads, the broken one goes first,
            // and of two in another layout the older.
            (None, None) => match (a.foreign, b.foreign) {
                (Some(in_a), Some(in_b)) => is_newer(in_a, in_b),
                (None, None) => b.broken.is_some() && a.broken.is_none(),
                (in_a, _) => in_a.is_some(),
            },
            (in_a, _) => in_a.is_none(),
        };
        // Unless something can be put in force, the first choice is broken and
        // the next to be rewritten.
        self.spare = if first_b { Slot::B } else { Slot::A };
        self.newest = match if first_b { b.newest } else { a.newest } {
            Some((_, sequence)) => sequence,
            None => 0,
        };
        let mut fell_back = a.unreadable || b.unreadable;
        let mut slot = self.spare;
        for _ in 0..2u8 {
            let header = match slot {
                Slot::A => a.newest,
                _ => b.newest,
            };
            if let Some((place, sequence)) = header {
                self.shelf.read_header(slot, place, &mut self.work);
                if self.load(slot, limits, table).is_ok() {
                    (self.in_force, self.sequence) = (slot, sequence);
                    self.spare = slot.other();
                    break;
                }
                fell_back = true;
            }
            slot = slot.other();
        }
        let here = self.sequence();
        for broken in [a.broken, b.broken].into_iter().flatten() {
            fell_back |= here == 0 || is_newer(broken, here);
        }
        Boot {
            found: here != 0,
            fell_back,
            other_layout: here == 0 && (a.foreign.is_some() || b.foreign.is_some()),
        }
    }

    /// Checks the record under `self.work` and makes `table` its own.
    fn load<const N: usize>(
        &mut self,
        slot: Slot,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<(), Refusal> {
        self.verify::<N>(slot, limits)?;
        self.fill(slot, table)
    }

    /// Whether a record can be put back in force.
    pub fn has_previous(&mut self) -> bool {
        self.previous().is_some()
    }

    /// Places of the header of the record before, and of the next.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn previous(&mut self) -> Option<(u8, u8)> {
        if self.sequence == 0 {
            return None;
        }
        let other = self.in_force.other();
        let survey = self.shelf.survey(other);
        let ((place, _), free) = (survey.newest?, survey.free?);
        let (knots, announced) = self.shelf.announced(other, place);
        let checksum = self.shelf.checksum(other, knots).ok()?;
        (checksum == announced).then_some((place, free))
    }

    /// What is to open a record, to be filled in; then comes [`Self::begin`] or
    /// [`Self::begin_settings`]. What was being staged is given up.
    pub const fn reopen(&mut self) -> &mut Stage {
        self.phase = Phase::Idle;
        &mut self.work.stage
    }

    /// Checks the settings in what was filled in.
    ///
    /// # Errors
    /// [`Refusal::Settings`].
    pub fn check(&self, limits: &Limits) -> Result<(), Refusal> {
        limits
            .check(&self.work.stage.settings)
            .map_err(Refusal::Settings)
    }

    /// Begins to open a record in the spare slot, as it was filled in;
    /// [`Self::step`] is called until it is. From here on the record that stood
    /// there is gone; the one in force is not touched.
    ///
    /// # Errors
    /// [`Refusal`] for settings or a number of knots that make no sense, or a
    /// memory without room.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn begin(&mut self, limits: &Limits) -> Result<(), Refusal> {
        self.check(limits)?;
        let knots = self.work.stage.knots;
        let fit = limits.knots.min(self.knots_fit());
        if knots == 1 {
            return Err(Refusal::Table(TableFault::TooFew { knots }));
        }
        if usize::from(knots) > fit {
            return Err(Refusal::Table(TableFault::TooMany {
                knots,
                fit: u8::try_from(fit).unwrap_or(u8::MAX),
            }));
        }
        if self.shelf.knots_fit().is_none() {
            return Err(Refusal::Storage);
        }
        self.phase = Phase::Erasing { at: 0, copy: false };
        Ok(())
    }

    /// Begins to store the settings that were filled in with the zero reference
    /// and the knots in force; [`Self::step`] is called until that is done.
    ///
    /// # Errors
    /// As [`Self::begin`].
    pub fn begin_settings(
        &mut self,
        zero_counts: i32,
        knots: &[Knot],
        limits: &Limits,
    ) -> Result<(), Refusal> {
        let stage = &mut self.work.stage;
        stage.zero_counts = zero_counts;
        stage.knots = u8::try_from(knots.len()).unwrap_or(u8::MAX);
        stage.checksum = knots_checksum(knots);
        self.begin(limits)?;
        self.phase = Phase::Erasing { at: 0, copy: true };
        Ok(())
    }

    /// Does the next piece of what was begun: a part of the erase, some knots, or
    /// the header. `knots` are those in force.
    ///
    /// # Errors
    /// [`Refusal::Storage`], which ends the staging; [`Refusal::NotStaging`].
    pub fn step(&mut self, knots: &[Knot]) -> Result<Progress, Refusal> {
        // Whatever fails below ends it.
        match core::mem::replace(&mut self.phase, Phase::Idle) {
            Phase::Idle => Err(Refusal::NotStaging),
            Phase::Erasing { at, copy } => {
                self.phase = match (self.shelf.erase(self.spare, at)?, copy) {
                    (Some(at), copy) => Phase::Erasing { at, copy },
                    (None, true) => Phase::Copying { done: 0 },
                    (None, false) => Phase::Open { received: 0 },
                };
                let open = matches!(self.phase, Phase::Open { .. });
                Ok(if open { Progress::Open } else { Progress::More })
            }
            open @ Phase::Open { .. } => {
                self.phase = open;
                Ok(Progress::Open)
            }
            Phase::Copying { done } => {
                if done >= self.work.stage.knots {
                    return self.finish_copy();
                }
                let knot = knots.get(usize::from(done)..).unwrap_or(&[]);
                let piece = knot.get(..1).ok_or(Refusal::Storage)?;
                self.shelf.write_knots(self.spare, done, piece)?;
                self.phase = Phase::Copying {
                    done: done.wrapping_add(1),
                };
                Ok(Progress::More)
            }
        }
    }

    fn finish_copy(&mut self) -> Result<Progress, Refusal> {
        let Stage {
            knots, checksum, ..
        } = self.work.stage;
        if self.shelf.checksum(self.spare, knots)? != checksum {
            return Err(Refusal::Storage);
        }
        self.adopt(0)?;
        Ok(Progress::Replaced)
    }

    /// Writes the next knots to the spare slot.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`]; [`Refusal::StageOrder`]; [`Refusal::Range`] for
    /// none or more than announced; [`Refusal::Storage`], which ends the
    /// staging, since a byte cannot be written twice.
    pub fn append(&mut self, from: u8, knots: &[Knot]) -> Result<(), Refusal> {
        let Phase::Open { received } = self.phase else {
            return Err(Refusal::NotStaging);
        };
        if from != received {
            return Err(Refusal::StageOrder { expected: received });
        }
        let room = usize::from(self.work.stage.knots.saturating_sub(from));
        if knots.is_empty() || knots.len() > room {
            return Err(Refusal::Range { field: 1 });
        }
        self.phase = Phase::Idle;
        self.shelf.write_knots(self.spare, from, knots)?;
        let count = u8::try_from(knots.len()).unwrap_or(u8::MAX);
        self.phase = Phase::Open {
            received: from.saturating_add(count),
        };
        Ok(())
    }

    /// Knots received, when they are all there.
    fn received(&self) -> Result<u8, Refusal> {
        let received = match self.phase {
            Phase::Open { received } => received,
            // Not even erased yet: its knots are still to come.
            Phase::Erasing { copy: false, .. } => 0,
            _ => return Err(Refusal::NotStaging),
        };
        if received < self.work.stage.knots {
            return Err(Refusal::StageIncomplete { received });
        }
        Ok(received)
    }

    /// Checks the staged record as it reads back from storage and makes `table`
    /// its own, with nothing stored: it stays staged. [`Self::reload`] undoes it.
    ///
    /// # Errors
    /// As [`Self::commit`]; [`Refusal::NotCalibrated`] when there is no record to
    /// go back to.
    pub fn try_out<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<(), Refusal> {
        let received = self.received()?;
        if self.sequence == 0 {
            return Err(Refusal::NotCalibrated);
        }
        self.phase = Phase::Idle;
        self.verify::<N>(self.spare, limits)?;
        self.fill(self.spare, table)?;
        self.phase = Phase::Open { received };
        Ok(())
    }

    /// Reads the record in force once more, into [`Self::record`] and `table`;
    /// what was being staged is given up.
    ///
    /// # Errors
    /// When it no longer reads; `table` is none then.
    pub fn reload<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<(), Refusal> {
        self.phase = Phase::Idle;
        *table = None;
        let slot = self.in_force;
        let (place, _) = self.shelf.survey(slot).newest.ok_or(Refusal::Storage)?;
        self.shelf.read_header(slot, place, &mut self.work);
        self.load(slot, limits, table)
    }

    /// Checks the staged record as it reads back from storage, and puts it in
    /// force, under a number that is returned.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`]; [`Refusal::StageIncomplete`], after which more
    /// knots may follow; [`Refusal::StageChecksum`], [`Refusal::Table`] and
    /// [`Refusal::Storage`], which end the staging.
    pub fn commit<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<u32, Refusal> {
        self.received()?;
        self.phase = Phase::Idle;
        self.verify::<N>(self.spare, limits)?;
        self.bring_in_force(0, table)
    }

    /// Gives up what was staged; says whether anything was.
    pub fn abort(&mut self) -> bool {
        core::mem::replace(&mut self.phase, Phase::Idle) != Phase::Idle
    }

    /// Puts the record before the one in force back, under a new number, which
    /// is returned.
    ///
    /// # Errors
    /// [`Refusal::NothingToRollBack`] when there is none or it does not check;
    /// [`Refusal::Storage`].
    pub fn roll_back<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<u32, Refusal> {
        let (place, free) = self.previous().ok_or(Refusal::NothingToRollBack)?;
        self.phase = Phase::Idle;
        self.shelf.read_header(self.spare, place, &mut self.work);
        self.verify::<N>(self.spare, limits)
            .map_err(|_| Refusal::NothingToRollBack)?;
        self.bring_in_force(free, table)
    }

    /// Writes the header of a verified record in the spare slot, which puts it in
    /// force, and makes `table` the record's. Should the memory cease to read
    /// between the check and this, there is no table until the next start.
    fn bring_in_force<const N: usize>(
        &mut self,
        place: u8,
        table: &mut Option<Table<N>>,
    ) -> Result<u32, Refusal> {
        let slot = self.spare;
        self.adopt(place)?;
        self.fill(slot, table)?;
        Ok(self.newest)
    }

    /// The record at work in the spare slot is in force, once its header reads
    /// back, under the next number. 0 is left out.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn adopt(&mut self, place: u8) -> Result<(), Refusal> {
        let slot = self.spare;
        self.work.sequence = self.newest.wrapping_add(1).max(1);
        self.shelf.write_header(slot, place, &self.work)?;
        self.newest = self.work.sequence;
        (self.in_force, self.sequence) = (slot, self.newest);
        self.spare = slot.other();
        Ok(())
    }

    /// Whether the record at work checks: knots, settings and table.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn verify<const N: usize>(&mut self, slot: Slot, limits: &Limits) -> Result<(), Refusal> {
        let stage = &self.work.stage;
        limits.check(&stage.settings).map_err(Refusal::Settings)?;
        let knots = stage.knots;
        if self.shelf.checksum(slot, knots)? != stage.checksum {
            return Err(Refusal::StageChecksum);
        }
        if knots == 0 {
            return Ok(());
        }
        let mut knot = |at| Some(self.shelf.knot(slot, at));
        let checked = check_each(usize::from(knots), N, &mut knot);
        self.shelf.sound()?;
        checked.map_err(Refusal::Table)
    }

    /// Makes `table` that of the record at work.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn fill<const N: usize>(
        &mut self,
        slot: Slot,
        table: &mut Option<Table<N>>,
    ) -> Result<(), Refusal> {
        let knots = usize::from(self.work.stage.knots);
        if knots == 0 {
            *table = None;
            return Ok(());
        }
        let filled = Table::fill(table, knots, |at| Some(self.shelf.knot(slot, at)));
        if self.shelf.sound().is_err() || filled.is_err() {
            *table = None;
            return Err(Refusal::Storage);
        }
        Ok(())
    }
}
