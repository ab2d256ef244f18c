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

mod in_force;
mod staging;

use scalewright_protocol::message::{Refusal, Stage};
use scalewright_protocol::settings::{Settings, SettingsFault};
use scalewright_protocol::table::{Table, check_each};

use crate::header::Header;
use crate::ports::{Slot, Storage};
use crate::shelf::Shelf;

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
