//! The conversation that corrects the table of a moved scale.
//!
//! Reads settings and table, proposes the table with every mass multiplied by
//! g_from/g_to, and waits. Accepted, it looks whether the scale still holds what
//! was read, sends the proposal as a calibration does, reads it back and compares.
//! Guarantees that nothing is sent to be stored before [`Correction::accept`].
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
use scalewright_protocol::message::{Answer, Ask, Refusal, TableHeader};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

use super::super::storing::Storing;
use crate::quantise::{self, HostTable, QuantiseFault, loop_width_g, quantum_g};
use crate::record::moved::{CorrectionLine, ForetoldLine};
use crate::wording::declined;

/// What the driver shall do.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionAction {
    /// Ask the scale this and come back with its answer.
    Ask(Ask),
    /// A table is proposed: [`Correction::accept`] it, or leave it.
    Decide,
    /// Written, read back, equal.
    Finished,
}

/// Why a table is not corrected.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionFault {
    /// There is no table to correct.
    NotCalibrated,
    /// The table in the scale is not the one that was named.
    OtherTable {
        /// Checksum that was named.
        named: u32,
        /// Checksum of the table in the scale.
        held: u32,
    },
    /// The corrected table is none that the device would take.
    Unfit(QuantiseFault),
    /// The move is larger than any on the ground; no unit.
    TooFar(f64),
    /// The scale holds something else than what was read before.
    ChangedMeanwhile,
    /// The scale declined.
    Declined(Refusal),
    /// The scale answered something else than was asked.
    Confused,
    /// What was read back is not what was written.
    ReadBack,
}

impl std::fmt::Display for CorrectionFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotCalibrated => {
                write!(
                    f,
                    "the scale is not calibrated: there is no table to correct"
                )
            }
            Self::OtherTable { named, held } => write!(
                f,
                "the scale holds table {held:08x}, not {named:08x}: it may be corrected already"
            ),
            Self::Unfit(fault) => write!(f, "the corrected table would be none: {fault}"),
            Self::TooFar(relative) => write!(
                f,
                "a correction of {:.2} % is more than any two places on the ground differ by",
                relative.abs() * 100.0
            ),
            Self::ChangedMeanwhile => write!(
                f,
                "somebody changed the scale's table or settings meanwhile; nothing was written"
            ),
            Self::Declined(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused => write!(f, "the scale answered something else than was asked"),
            Self::ReadBack => write!(f, "the table read back is not the one written"),
        }
    }
}

impl std::error::Error for CorrectionFault {}

#[derive(Clone, Debug)]
enum Phase {
    ReadSettings,
    ReadHeader,
    ReadKnots(Vec<Knot>),
    Deciding,
    CheckSettings,
    CheckHeader,
    Storing(Storing),
    ReadNewHeader,
    ReadBack(TableHeader, Vec<Knot>),
    Finished,
}

/// What the scale held, and what it shall hold.
#[derive(Clone, Debug)]
struct Proposal {
    settings: Settings,
    header: TableHeader,
    old: HostTable,
    new: HostTable,
}

/// A correction under way.
pub struct Correction {
    moved: Moved,
    named: Option<u32>,
    phase: Phase,
    settings: Option<Settings>,
    header: Option<TableHeader>,
    proposal: Option<Proposal>,
    stored: Option<TableHeader>,
}

impl Correction {
    /// A correction for this move; `named` is the checksum of the only table
    /// that shall be corrected.
    #[must_use]
    pub fn new(moved: Moved, named: Option<u32>) -> Self {
        Self {
            moved,
            named,
            phase: Phase::ReadSettings,
            settings: None,
            header: None,
            proposal: None,
            stored: None,
        }
    }

    /// The first question.
    ///
    /// # Errors
    /// [`CorrectionFault::TooFar`].
    pub fn start(&mut self) -> Result<CorrectionAction, CorrectionFault> {
        if !self.moved.is_possible() {
            return Err(CorrectionFault::TooFar(self.moved.relative));
        }
        self.phase = Phase::ReadSettings;
        Ok(CorrectionAction::Ask(Ask::Settings))
    }

    /// What follows from an answer.
    ///
    /// # Errors
    /// [`CorrectionFault`]; the table in force is the old one but after
    /// [`CorrectionFault::ReadBack`].
    pub fn answered(
        &mut self,
        answer: Result<Answer, Refusal>,
    ) -> Result<CorrectionAction, CorrectionFault> {
        let answer = answer.map_err(CorrectionFault::Declined)?;
        let phase = std::mem::replace(&mut self.phase, Phase::Finished);
        match (phase, answer) {
            (Phase::ReadSettings, Answer::Settings(settings)) => {
                self.settings = Some(settings);
                self.then(Phase::ReadHeader, Ask::Table)
            }
            (Phase::ReadHeader, Answer::Table(header)) => self.header_read(header),
            (Phase::ReadKnots(knots), Answer::Knots { from, knots: more }) => {
                self.knots_read(knots, from, &more)
            }
            (Phase::CheckSettings, Answer::Settings(settings)) => {
                match self.settings == Some(settings) {
                    true => self.then(Phase::CheckHeader, Ask::Table),
                    false => Err(CorrectionFault::ChangedMeanwhile),
                }
            }
            (Phase::CheckHeader, Answer::Table(header)) => self.send(header),
            (Phase::Storing(mut storing), Answer::Done) => {
                let ask = storing.next();
                self.then(Phase::Storing(storing), ask)
            }
            (Phase::Storing(_), Answer::Stored { .. }) => {
                self.then(Phase::ReadNewHeader, Ask::Table)
            }
            (Phase::ReadNewHeader, Answer::Table(header)) => {
                let empty = Phase::ReadBack(header, Vec::new());
                self.then(empty, Ask::Knots { from: 0 })
            }
            (Phase::ReadBack(header, knots), Answer::Knots { from, knots: more }) => {
                self.read_back(header, knots, from, &more)
            }
            _ => Err(CorrectionFault::Confused),
        }
    }

    /// The proposal is to be written.
    ///
    /// # Errors
    /// [`CorrectionFault::Confused`] when there is none to decide on.
    pub fn accept(&mut self) -> Result<CorrectionAction, CorrectionFault> {
        match self.phase {
            Phase::Deciding => self.then(Phase::CheckSettings, Ask::Settings),
            _ => Err(CorrectionFault::Confused),
        }
    }

    fn then(&mut self, phase: Phase, ask: Ask) -> Result<CorrectionAction, CorrectionFault> {
        self.phase = phase;
        Ok(CorrectionAction::Ask(ask))
    }

    fn header_read(&mut self, header: TableHeader) -> Result<CorrectionAction, CorrectionFault> {
        if header.knots == 0 {
            return Err(CorrectionFault::NotCalibrated);
        }
        if let Some(named) = self.named
            && named != header.checksum
        {
            return Err(CorrectionFault::OtherTable {
                named,
                held: header.checksum,
            });
        }
        self.header = Some(header);
        self.then(Phase::ReadKnots(Vec::new()), Ask::Knots { from: 0 })
    }

    fn knots_read(
        &mut self,
        mut knots: Vec<Knot>,
        from: u8,
        more: &[Knot],
    ) -> Result<CorrectionAction, CorrectionFault> {
        let (Some(settings), Some(header)) = (self.settings, self.header) else {
            return Err(CorrectionFault::Confused);
        };
        if usize::from(from) != knots.len() || more.is_empty() {
            return Err(CorrectionFault::Confused);
        }
        knots.extend_from_slice(more);
        if knots.len() < usize::from(header.knots) {
            let from = u8::try_from(knots.len()).unwrap_or(u8::MAX);
            return self.then(Phase::ReadKnots(knots), Ask::Knots { from });
        }
        if knots_checksum(&knots) != header.checksum {
            // Another table came in between header and knots.
            return Err(CorrectionFault::ChangedMeanwhile);
        }
        let old = HostTable::new(&knots)
            .map_err(|fault| CorrectionFault::Unfit(QuantiseFault::Table(fault)))?;
        // A load that pulls harder reads too much, so the masses shrink: by
        // g_from/g_to, which is what `table_factor` says.
        let new =
            quantise::scaled(&old, self.moved.table_factor()).map_err(CorrectionFault::Unfit)?;
        self.proposal = Some(Proposal {
            settings,
            header,
            old,
            new,
        });
        self.phase = Phase::Deciding;
        Ok(CorrectionAction::Decide)
    }

    fn send(&mut self, header: TableHeader) -> Result<CorrectionAction, CorrectionFault> {
        let Some(proposal) = &self.proposal else {
            return Err(CorrectionFault::Confused);
        };
        if header != proposal.header {
            return Err(CorrectionFault::ChangedMeanwhile);
        }
        let (storing, ask) = Storing::begin(
            proposal.settings,
            header.zero_counts,
            proposal.new.knots().to_vec(),
        );
        self.then(Phase::Storing(storing), ask)
    }

    fn read_back(
        &mut self,
        header: TableHeader,
        mut knots: Vec<Knot>,
        from: u8,
        more: &[Knot],
    ) -> Result<CorrectionAction, CorrectionFault> {
        let Some(proposal) = &self.proposal else {
            return Err(CorrectionFault::Confused);
        };
        let written = proposal.new.knots();
        let in_order = usize::from(from) == knots.len();
        knots.extend_from_slice(more);
        if in_order && !more.is_empty() && knots.len() < written.len() {
            let from = u8::try_from(knots.len()).unwrap_or(u8::MAX);
            return self.then(Phase::ReadBack(header, knots), Ask::Knots { from });
        }
        let same = in_order
            && knots == written
            && header.checksum == knots_checksum(written)
            && header.zero_counts == proposal.header.zero_counts;
        if !same {
            return Err(CorrectionFault::ReadBack);
        }
        self.stored = Some(header);
        Ok(CorrectionAction::Finished)
    }

    /// The scale's settings, once they were read.
    #[must_use]
    pub fn settings(&self) -> Option<Settings> {
        self.settings
    }

    /// Whether the proposal differs from what the scale holds.
    #[must_use]
    pub fn changes(&self) -> bool {
        (self.proposal.as_ref()).is_some_and(|one| one.old != one.new)
    }

    /// The correction as it stands, foretold at `loads_g`; `None` before there
    /// is a proposal.
    #[must_use]
    pub fn line(&self, loads_g: &[f64]) -> Option<CorrectionLine> {
        let proposal = self.proposal.as_ref()?;
        let unit = quantum_g(proposal.settings.quantum_ug);
        let factor = self.moved.table_factor();
        let pairs = || (proposal.old.knots().iter()).zip(proposal.new.knots());
        let off = |(old, new): (&Knot, &Knot)| {
            (f64::from(old.mass) * factor - f64::from(new.mass)).abs() * unit
        };
        Some(CorrectionLine {
            factor,
            points: proposal.new.knots().len(),
            changed: pairs().filter(|(old, new)| old != new).count(),
            zero_counts: proposal.header.zero_counts,
            checksum_before: format!("{:08x}", proposal.header.checksum),
            checksum_after: format!("{:08x}", proposal.new.checksum()),
            rounding_g: pairs().map(off).fold(0.0, f64::max),
            foretold: (loads_g.iter())
                .filter_map(|load_g| proposal.foretold(*load_g, &self.moved))
                .collect(),
            loop_g: loop_width_g(&proposal.settings),
            written: self.stored.is_some(),
            sequence: self.stored.map(|header| header.sequence),
        })
    }
}

impl Proposal {
    /// What both tables make of the counts of a load that now pulls as `moved`
    /// says; `None` beyond the table's end.
    fn foretold(&self, load_g: f64, moved: &Moved) -> Option<ForetoldLine> {
        let quantum_ug = self.settings.quantum_ug;
        let net_q8 = quantise::net_q8_at(&self.old, moved.reading_g(load_g), quantum_ug)?;
        let reads =
            |table: &HostTable| f64::from(table.lookup_q8(net_q8).mass) * quantum_g(quantum_ug);
        Some(ForetoldLine {
            load_g,
            now_g: reads(&self.old),
            corrected_g: reads(&self.new),
        })
    }
}
