//! The conversation that corrects the table of a moved scale.
//!
//! Proposes the table with every mass multiplied by g_from/g_to; how it is read,
//! brought in and read back is [`Change`]'s. Guarantees that nothing is sent to be
//! stored before [`Correction::accept`].
//!
//! **What stays.** *Counts* are what the cell gives; gravity changed what pulls
//! at it. *The zero reference* is an offset of the bridge plus the dead load, and
//! only the second follows gravity: how much of it that is, nobody has measured.
//! It stays, and zero-setting takes up the rest. A dead load of Max would move by
//! 0.9 % of Max at most ([`MOST_RELATIVE`]), and the range of zero-setting is 2 %
//! either way about that reference, so the range stays usable. *The hysteresis
//! gain* is a width of the loop over a load, both masses: it scales with the
//! table by itself. What is left is that Max, and so the plays' widths, stay
//! where they were in mass: near Max that is 8/3 of the loop times the move, 0.006 e
//! for a loop of 0.45 e and a move of 0.5 % (`tests/moved.rs` holds it to that).
//!
//! [`MOST_RELATIVE`]: scalewright_metrology::gravity::MOST_RELATIVE

use scalewright_metrology::gravity::Moved;
use scalewright_protocol::message::{Answer, Refusal};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

use super::super::note::Note;
use super::super::table::change::{
    Change, ChangeAction, ChangeFault, Conversation, NewTable, Proposal,
};
use super::super::table::reading::Held;
use crate::quantise::{self, HostTable, loop_width_g, quantum_g};
use crate::record::moved::{CorrectionLine, ForetoldLine};

/// Why a table is not corrected.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionFault {
    /// The move is larger than any on the ground; no unit.
    TooFar(f64),
    /// The change of the table did not come about.
    Change(ChangeFault),
}

impl std::fmt::Display for CorrectionFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFar(relative) => write!(
                f,
                "a correction of {:.2} % is more than any two places on the ground differ by",
                relative.abs() * 100.0
            ),
            Self::Change(fault) => fault.fmt(f),
        }
    }
}

impl std::error::Error for CorrectionFault {}

impl From<ChangeFault> for CorrectionFault {
    fn from(fault: ChangeFault) -> Self {
        Self::Change(fault)
    }
}

/// A correction under way.
pub struct Correction {
    moved: Moved,
    change: Change,
}

impl Correction {
    /// A correction for this move; `named` is the checksum of the only table
    /// that shall be corrected.
    #[must_use]
    pub fn new(moved: Moved, named: Option<u32>) -> Self {
        Self {
            moved,
            change: Change::new(named),
        }
    }

    /// Who corrects it, for a board that keeps it.
    pub fn note(&mut self, note: Note) {
        self.change.note(note);
    }

    /// The first question.
    ///
    /// # Errors
    /// [`CorrectionFault::TooFar`].
    pub fn start(&mut self) -> Result<ChangeAction, CorrectionFault> {
        match self.moved.is_possible() {
            true => Ok(self.change.start()),
            false => Err(CorrectionFault::TooFar(self.moved.relative)),
        }
    }

    /// The proposal is to be written.
    ///
    /// # Errors
    /// [`ChangeFault::Confused`] when there is none to decide on.
    pub fn accept(&mut self) -> Result<ChangeAction, CorrectionFault> {
        Ok(self.change.accept()?)
    }

    fn propose(&mut self) -> Result<(), ChangeFault> {
        let held = self.change.held().ok_or(ChangeFault::Confused)?;
        let old = held.table.as_ref().ok_or(ChangeFault::NotCalibrated)?;
        // A load that pulls harder reads too much, so the masses shrink: by
        // g_from/g_to, which is what `table_factor` says.
        let table = quantise::scaled(old, self.moved.table_factor()).map_err(ChangeFault::Unfit)?;
        let (settings, zero_counts) = (held.settings, held.header.zero_counts);
        let new = NewTable {
            table,
            settings,
            zero_counts,
        };
        self.change.propose(Proposal::Table(Box::new(new)));
        Ok(())
    }

    /// The scale's settings, once they were read.
    #[must_use]
    pub fn settings(&self) -> Option<Settings> {
        self.change.held().map(|held| held.settings)
    }

    /// What the scale held, its table, and the one that it shall hold.
    fn tables(&self) -> Option<(&Held, &HostTable, &HostTable)> {
        let held = self.change.held()?;
        match self.change.proposal()? {
            Proposal::Table(new) => Some((held, held.table.as_ref()?, &new.table)),
            _ => None,
        }
    }

    /// Whether the proposal differs from what the scale holds.
    #[must_use]
    pub fn changes(&self) -> bool {
        self.tables().is_some_and(|(_, old, new)| old != new)
    }

    /// The correction as it stands, foretold at `loads_g`; `None` before there
    /// is a proposal.
    #[must_use]
    pub fn line(&self, loads_g: &[f64]) -> Option<CorrectionLine> {
        let (held, old, new) = self.tables()?;
        let unit = quantum_g(held.settings.quantum_ug);
        let factor = self.moved.table_factor();
        let pairs = || old.knots().iter().zip(new.knots());
        let off = |(old, new): (&Knot, &Knot)| {
            (f64::from(old.mass) * factor - f64::from(new.mass)).abs() * unit
        };
        let foretold = |load_g: &f64| self.foretold(*load_g, held, old, new);
        let after = self.change.after();
        Some(CorrectionLine {
            factor,
            points: new.knots().len(),
            changed: pairs().filter(|(old, new)| old != new).count(),
            zero_counts: held.header.zero_counts,
            checksum_before: format!("{:08x}", held.header.checksum),
            checksum_after: format!("{:08x}", new.checksum()),
            rounding_g: pairs().map(off).fold(0.0, f64::max),
            foretold: loads_g.iter().filter_map(foretold).collect(),
            loop_g: loop_width_g(&held.settings),
            written: after.is_some(),
            sequence: after.map(|after| after.header.sequence),
        })
    }

    /// What both tables make of the counts of a load that now pulls as the move
    /// says; `None` beyond the table's end.
    fn foretold(
        &self,
        load_g: f64,
        held: &Held,
        old: &HostTable,
        new: &HostTable,
    ) -> Option<ForetoldLine> {
        let quantum_ug = held.settings.quantum_ug;
        let net_q8 = quantise::net_q8_at(old, self.moved.reading_g(load_g), quantum_ug)?;
        let reads =
            |table: &HostTable| f64::from(table.lookup_q8(net_q8).mass) * quantum_g(quantum_ug);
        Some(ForetoldLine {
            load_g,
            now_g: reads(old),
            corrected_g: reads(new),
        })
    }
}

impl Conversation for Correction {
    type Fault = CorrectionFault;

    fn answered(
        &mut self,
        answer: Result<Answer, Refusal>,
    ) -> Result<ChangeAction, CorrectionFault> {
        let action = self.change.answered(answer)?;
        if action == ChangeAction::Decide {
            self.propose()?;
        }
        Ok(action)
    }
}
