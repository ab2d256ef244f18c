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

use scalewright_protocol::message::{KNOTS_PER_MESSAGE, Refusal, Stage};
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

/// A record as it comes into force, but for its table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record {
    /// Its number; 0 is never used.
    pub sequence: u32,
    /// Zero reference at calibration, ADC counts.
    pub zero_counts: i32,
    /// The settings.
    pub settings: Settings,
}

/// What starting found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Boot {
    /// The record in force; none on a factory-new scale.
    pub record: Option<Record>,
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
    /// These settings are in force under this number.
    Replaced(u32, Settings),
}

#[derive(Clone, Copy, Debug)]
struct Staging {
    stage: Stage,
    received: u8,
    /// Where erasing goes on; none when it is done.
    erase_at: Option<usize>,
    /// The knots are those in force: only the settings change.
    own_knots: bool,
}

/// The two slots.
#[derive(Debug)]
pub struct Slots<S> {
    shelf: Shelf<S>,
    /// Slot and number of the record in force.
    in_force: Option<(Slot, u32)>,
    /// Where the next record is built.
    spare: Slot,
    /// Newest number seen on a sound header, 0 for none.
    newest: u32,
    staging: Option<Staging>,
}

impl<S: Storage> Slots<S> {
    /// Slots over `storage`; nothing is read yet.
    pub const fn new(storage: S) -> Self {
        Self {
            shelf: Shelf(storage),
            in_force: None,
            spare: Slot::A,
            newest: 0,
            staging: None,
        }
    }

    /// The storage, back.
    pub fn into_storage(self) -> S {
        self.shelf.0
    }

    /// The storage.
    pub const fn storage(&mut self) -> &mut S {
        &mut self.shelf.0
    }

    /// Bytes of one slot.
    pub fn slot_bytes(&self) -> usize {
        self.shelf.0.slot_bytes()
    }

    /// Knots one slot has room for.
    pub fn knots_fit(&self) -> usize {
        self.shelf.knots_fit().unwrap_or(0)
    }

    /// Number of the record in force, 0 for none.
    #[must_use]
    pub fn sequence(&self) -> u32 {
        self.in_force.map_or(0, |(_, sequence)| sequence)
    }

    /// Finds the record in force: the newest that checks in every respect.
    /// Reads only.
    ///
    /// `fell_back` is set when a newer one was finished once and is broken now;
    /// an update that a power cut ended is no such case. `table` becomes the
    /// record's.
    #[inline(never)]
    pub fn boot<const N: usize>(&mut self, limits: &Limits, table: &mut Option<Table<N>>) -> Boot {
        *table = None;
        self.in_force = None;
        self.staging = None;
        let (a, b) = (self.shelf.survey(Slot::A), self.shelf.survey(Slot::B));
        let first_b = match (a.newest, b.newest) {
            (Some((_, in_a)), Some((_, in_b))) => is_newer(in_b, in_a),
            // Where no slot has a header that reads, the broken one goes first,
            // and of two in another layout the older.
            (None, None) => match (a.foreign, b.foreign) {
                (Some(in_a), Some(in_b)) => is_newer(in_a, in_b),
                (Some(_), None) => true,
                (None, Some(_)) => false,
                (None, None) => b.broken.is_some() && a.broken.is_none(),
            },
            (in_a, _) => in_a.is_none(),
        };
        let in_order = if first_b {
            [(Slot::B, b.newest), (Slot::A, a.newest)]
        } else {
            [(Slot::A, a.newest), (Slot::B, b.newest)]
        };
        let [(first, newest), _] = in_order;
        self.newest = newest.map_or(0, |(_, sequence)| sequence);
        // Unless something can be put in force, the first choice is broken and
        // the next to be rewritten.
        self.spare = first;
        let mut fell_back = a.unreadable || b.unreadable;
        let mut record = None;
        for (slot, header) in in_order {
            let Some((place, _)) = header else { continue };
            if let Ok(found) = self.load(slot, place, limits, table) {
                self.in_force = Some((slot, found.sequence));
                self.spare = slot.other();
                record = Some(found);
                break;
            }
            fell_back = true;
        }
        let here = self.sequence();
        for broken in [a.broken, b.broken].into_iter().flatten() {
            fell_back |= here == 0 || is_newer(broken, here);
        }
        let foreign = a.foreign.is_some() || b.foreign.is_some();
        Boot {
            record,
            fell_back,
            other_layout: foreign && record.is_none(),
        }
    }

    /// The record under the header at `place`, if it checks.
    #[inline(never)]
    fn load<const N: usize>(
        &mut self,
        slot: Slot,
        place: usize,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<Record, Refusal> {
        let header = self.shelf.header(slot, place)?;
        self.verify::<N>(slot, &header, limits)?;
        self.fill(slot, &header, table)?;
        Ok(record_of(&header))
    }

    /// Whether a record can be put back in force.
    pub fn has_previous(&mut self) -> bool {
        self.previous().is_some()
    }

    fn previous(&mut self) -> Option<(Header, usize)> {
        let (slot, _) = self.in_force?;
        let other = slot.other();
        let survey = self.shelf.survey(other);
        let ((place, _), free) = (survey.newest?, survey.free?);
        let header = self.shelf.header(other, place).ok()?;
        let checksum = self.shelf.checksum(other, header.knots).ok()?;
        (checksum == header.checksum).then_some((header, free))
    }

    /// Begins to open a record in the spare slot; [`Self::step`] is called until
    /// it is. From here on the record that stood there is gone; the one in force
    /// is not touched.
    ///
    /// # Errors
    /// [`Refusal`] for settings, zero reference or number of knots that make no
    /// sense, or a memory without room.
    #[inline(never)]
    pub fn begin(&mut self, stage: &Stage, limits: &Limits) -> Result<(), Refusal> {
        limits.check(&stage.settings).map_err(Refusal::Settings)?;
        let fit = limits.knots.min(self.knots_fit());
        if stage.knots == 1 {
            return Err(Refusal::Table(TableFault::TooFew { knots: 1 }));
        }
        if usize::from(stage.knots) > fit {
            return Err(Refusal::Table(TableFault::TooMany {
                knots: stage.knots,
                fit: u8::try_from(fit).unwrap_or(u8::MAX),
            }));
        }
        self.staging = None;
        if self.shelf.knots_fit().is_none() {
            return Err(Refusal::Storage);
        }
        self.staging = Some(Staging {
            stage: *stage,
            received: 0,
            erase_at: Some(0),
            own_knots: false,
        });
        Ok(())
    }

    /// Begins to store `settings` with the zero reference and the knots in force;
    /// [`Self::step`] is called until that is done. What was being staged is
    /// given up.
    ///
    /// # Errors
    /// As [`Self::begin`].
    pub fn begin_settings(
        &mut self,
        settings: &Settings,
        zero_counts: i32,
        knots: &[Knot],
        limits: &Limits,
    ) -> Result<(), Refusal> {
        let stage = Stage {
            settings: *settings,
            zero_counts,
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(knots),
        };
        self.begin(&stage, limits)?;
        if let Some(staging) = &mut self.staging {
            staging.own_knots = true;
        }
        Ok(())
    }

    /// Does the next piece of what was begun: a part of the erase, some knots, or
    /// the header. `knots` are those in force.
    ///
    /// # Errors
    /// [`Refusal::Storage`], which ends the staging; [`Refusal::NotStaging`].
    pub fn step(&mut self, knots: &[Knot]) -> Result<Progress, Refusal> {
        let staging = self.staging.take().ok_or(Refusal::NotStaging)?;
        self.advance(staging, knots)
    }

    /// One step; what is still to do goes back to `self.staging`.
    fn advance(&mut self, mut staging: Staging, knots: &[Knot]) -> Result<Progress, Refusal> {
        if let Some(at) = staging.erase_at {
            staging.erase_at = self.shelf.erase(self.spare, at)?;
            let open = staging.erase_at.is_none() && !staging.own_knots;
            self.staging = Some(staging);
            return Ok(if open { Progress::Open } else { Progress::More });
        }
        if !staging.own_knots {
            self.staging = Some(staging);
            return Ok(Progress::Open);
        }
        let stage = staging.stage;
        if let Some(rest) = knots.get(usize::from(staging.received)..)
            && !rest.is_empty()
        {
            let piece = rest.get(..KNOTS_PER_MESSAGE).unwrap_or(rest);
            self.shelf
                .write_knots(self.spare, staging.received, piece)?;
            let count = u8::try_from(piece.len()).unwrap_or(u8::MAX);
            staging.received = staging.received.saturating_add(count);
            self.staging = Some(staging);
            return Ok(Progress::More);
        }
        if self.shelf.checksum(self.spare, stage.knots)? != stage.checksum {
            return Err(Refusal::Storage);
        }
        let header = self.header_of(&stage);
        self.adopt(self.spare, 0, &header)?;
        Ok(Progress::Replaced(header.sequence, stage.settings))
    }

    fn header_of(&self, stage: &Stage) -> Header {
        Header {
            sequence: self.next_sequence(),
            zero_counts: stage.zero_counts,
            knots: stage.knots,
            checksum: stage.checksum,
            settings: stage.settings,
        }
    }

    /// Writes the next knots to the spare slot.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`]; [`Refusal::StageOrder`]; [`Refusal::Range`] for
    /// none or more than announced; [`Refusal::Storage`], which ends the
    /// staging, since a byte cannot be written twice.
    pub fn append(&mut self, from: u8, knots: &[Knot]) -> Result<(), Refusal> {
        let staging = self
            .staging
            .filter(|s| s.erase_at.is_none() && !s.own_knots)
            .ok_or(Refusal::NotStaging)?;
        if from != staging.received {
            return Err(Refusal::StageOrder {
                expected: staging.received,
            });
        }
        let room = usize::from(staging.stage.knots.saturating_sub(from));
        if knots.is_empty() || knots.len() > room {
            return Err(Refusal::Range { field: 1 });
        }
        if let Err(refusal) = self.shelf.write_knots(self.spare, from, knots) {
            self.staging = None;
            return Err(refusal);
        }
        let count = u8::try_from(knots.len()).unwrap_or(u8::MAX);
        self.staging = Some(Staging {
            received: from.saturating_add(count),
            ..staging
        });
        Ok(())
    }

    /// Checks the staged record as it reads back from storage, and puts it in
    /// force.
    ///
    /// # Errors
    /// [`Refusal::NotStaging`]; [`Refusal::StageIncomplete`], after which more
    /// knots may follow; [`Refusal::StageChecksum`], [`Refusal::Table`] and
    /// [`Refusal::Storage`], which end the staging.
    #[inline(never)]
    pub fn commit<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<Record, Refusal> {
        let staging = self.staging.ok_or(Refusal::NotStaging)?;
        if staging.received < staging.stage.knots {
            return Err(Refusal::StageIncomplete {
                received: staging.received,
            });
        }
        self.staging = None;
        let header = self.header_of(&staging.stage);
        self.verify::<N>(self.spare, &header, limits)?;
        self.bring_in_force(0, &header, table)
    }

    /// Gives up what was staged; says whether anything was.
    pub fn abort(&mut self) -> bool {
        self.staging.take().is_some()
    }

    /// Puts the record before the one in force back, under a new number.
    ///
    /// # Errors
    /// [`Refusal::NothingToRollBack`] when there is none or it does not check;
    /// [`Refusal::Storage`].
    #[inline(never)]
    pub fn roll_back<const N: usize>(
        &mut self,
        limits: &Limits,
        table: &mut Option<Table<N>>,
    ) -> Result<Record, Refusal> {
        let (previous, free) = self.previous().ok_or(Refusal::NothingToRollBack)?;
        let header = Header {
            sequence: self.next_sequence(),
            ..previous
        };
        self.verify::<N>(self.spare, &header, limits)
            .map_err(|_| Refusal::NothingToRollBack)?;
        self.bring_in_force(free, &header, table)
    }

    /// Writes the header of a verified record in the spare slot, which puts it in
    /// force, and makes `table` the record's. Should the memory cease to read
    /// between the check and this, there is no table until the next start.
    fn bring_in_force<const N: usize>(
        &mut self,
        place: usize,
        header: &Header,
        table: &mut Option<Table<N>>,
    ) -> Result<Record, Refusal> {
        let slot = self.spare;
        self.adopt(slot, place, header)?;
        self.fill(slot, header, table)?;
        Ok(record_of(header))
    }

    /// From here on `slot` holds the record in force, once its header reads back.
    #[inline(never)]
    fn adopt(&mut self, slot: Slot, place: usize, header: &Header) -> Result<(), Refusal> {
        self.shelf.write_header(slot, place, header)?;
        self.in_force = Some((slot, header.sequence));
        self.spare = slot.other();
        self.newest = header.sequence;
        Ok(())
    }

    /// One above the newest number seen; 0 is left out.
    fn next_sequence(&self) -> u32 {
        self.newest.wrapping_add(1).max(1)
    }

    /// Whether the record under `header` checks: knots, settings and table.
    #[inline(never)]
    fn verify<const N: usize>(
        &mut self,
        slot: Slot,
        header: &Header,
        limits: &Limits,
    ) -> Result<(), Refusal> {
        limits.check(&header.settings).map_err(Refusal::Settings)?;
        if self.shelf.checksum(slot, header.knots)? != header.checksum {
            return Err(Refusal::StageChecksum);
        }
        if header.knots == 0 {
            return Ok(());
        }
        let mut unread = None;
        let mut knot = |at| match self.shelf.knot(slot, at) {
            Ok(knot) => Some(knot),
            Err(refusal) => {
                unread = Some(refusal);
                None
            }
        };
        let sound = check_each(usize::from(header.knots), N, &mut knot);
        match unread {
            Some(refusal) => Err(refusal),
            None => sound.map_err(Refusal::Table),
        }
    }

    /// Makes `table` that of the record under `header`.
    #[inline(never)]
    fn fill<const N: usize>(
        &mut self,
        slot: Slot,
        header: &Header,
        table: &mut Option<Table<N>>,
    ) -> Result<(), Refusal> {
        if header.knots == 0 {
            *table = None;
            return Ok(());
        }
        Table::fill(table, usize::from(header.knots), |at| {
            self.shelf.knot(slot, at).ok()
        })
        .map_err(|_| Refusal::Storage)
    }
}

const fn record_of(header: &Header) -> Record {
    Record {
        sequence: header.sequence,
        zero_counts: header.zero_counts,
        settings: header.settings,
    }
}
