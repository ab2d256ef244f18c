//! A new record in the spare slot: erase, knots, and what becomes of it.

use scalewright_protocol::message::{Refusal, Stage};
use scalewright_protocol::table::{Knot, Table, TableFault, knots_checksum};

use super::{Limits, Phase, Progress, Slots};
use crate::ports::Storage;

impl<S: Storage> Slots<S> {
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
}
