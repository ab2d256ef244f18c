//! Which record is in force: the one found at the start, the one before it, brought
//! back, and the one in force read once more.

use scalewright_protocol::message::Refusal;
use scalewright_protocol::table::Table;

use super::{Boot, Limits, Phase, Slots};
use crate::ports::{Slot, Storage};
use crate::shelf::is_newer;

impl<S: Storage> Slots<S> {
    /// Finds the record in force: the newest that checks in every respect.
    /// Reads only.
    ///
    /// `fell_back` is set when a newer one was finished once and is broken now, or is
    /// in the layout of another version; an update that a power cut ended is no such
    /// case. `table` becomes the record's.
    #[cfg_attr(target_arch = "avr", inline(never))]
    pub fn boot<const N: usize>(&mut self, limits: &Limits, table: &mut Option<Table<N>>) -> Boot {
        *table = None;
        self.sequence = 0;
        self.phase = Phase::Idle;
        let a = self.shelf.survey(Slot::A);
        let b = self.shelf.survey(Slot::B);
        let first_b = match (a.newest, b.newest) {
            (Some((_, in_a)), Some((_, in_b))) => is_newer(in_b, in_a),
            // Where no slot has a header that reads, what is there stays as long as it
            // can, and of two the newer.
            (None, None) => match (a.lost, b.lost) {
                (Some(in_a), Some(in_b)) => is_newer(in_a, in_b),
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
        let other_layout = here == 0 && (a.foreign || b.foreign);
        // One of another version of the firmware is as good as broken here, and told of
        // by its own name where nothing else is found. Numbers go on from it.
        for survey in [&a, &b] {
            if let Some(lost) = survey.lost {
                fell_back |= !other_layout && (here == 0 || is_newer(lost, here));
                if survey.foreign && is_newer(lost, self.newest) {
                    self.newest = lost;
                }
            }
        }
        Boot {
            found: here != 0,
            fell_back,
            other_layout,
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
}
