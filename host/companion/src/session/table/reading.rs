//! Reads what a scale holds: settings, header, and the points in pieces.

use scalewright_protocol::message::{Answer, Ask, KNOTS_PER_MESSAGE, TableHeader};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

use crate::quantise::HostTable;

/// The scale sent points that were not asked for, or none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Strayed;

/// The points of a table, asked for in pieces.
#[derive(Clone, Debug)]
pub struct KnotsReader {
    wanted: usize,
    knots: Vec<Knot>,
}

impl KnotsReader {
    /// For the table of this header.
    #[must_use]
    pub fn of(header: &TableHeader) -> Self {
        Self {
            wanted: usize::from(header.knots),
            knots: Vec::new(),
        }
    }

    /// The next question; `None` when all points are here.
    #[must_use]
    pub fn ask(&self) -> Option<Ask> {
        let from = u8::try_from(self.knots.len()).unwrap_or(u8::MAX);
        (self.knots.len() < self.wanted).then_some(Ask::Knots { from })
    }

    /// Takes a piece.
    ///
    /// # Errors
    /// [`Strayed`]: it begins elsewhere, holds nothing, or more than there is.
    pub fn take(&mut self, from: u8, more: &[Knot]) -> Result<(), Strayed> {
        let all = self.knots.len() + more.len();
        let due = usize::from(from) == self.knots.len() && all <= self.wanted;
        if !due || more.is_empty() || more.len() > KNOTS_PER_MESSAGE {
            return Err(Strayed);
        }
        self.knots.extend_from_slice(more);
        Ok(())
    }

    /// What was read so far.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        &self.knots
    }
}

/// What a scale holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// Its settings.
    pub settings: Settings,
    /// What it says of its table.
    pub header: TableHeader,
    /// The table; `None` when it is not calibrated.
    pub table: Option<HostTable>,
}

impl Held {
    /// The points; empty without a table.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        self.table.as_ref().map_or(&[], |table| table.knots())
    }
}

/// Why it could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadFault {
    /// The scale answered something else than was asked.
    Confused,
    /// Another table came in between header and points.
    ChangedMeanwhile,
}

/// How far reading came.
#[derive(Clone, Debug, PartialEq)]
pub enum Read {
    /// This is to be asked next.
    Ask(Ask),
    /// All is here.
    All(Box<Held>),
}

#[derive(Clone, Debug)]
enum Phase {
    Settings,
    Header(Settings),
    Knots(Settings, TableHeader, KnotsReader),
    Over,
}

/// Reads all of it.
#[derive(Clone, Debug)]
pub struct HeldReader(Phase);

impl HeldReader {
    /// A reader and its first question.
    #[must_use]
    pub fn begin() -> (Self, Ask) {
        (Self(Phase::Settings), Ask::Settings)
    }

    /// What follows from an answer.
    ///
    /// # Errors
    /// [`ReadFault`].
    pub fn answered(&mut self, answer: &Answer) -> Result<Read, ReadFault> {
        match (std::mem::replace(&mut self.0, Phase::Over), answer) {
            (Phase::Settings, Answer::Settings(settings)) => {
                self.0 = Phase::Header(*settings);
                Ok(Read::Ask(Ask::Table))
            }
            (Phase::Header(settings), Answer::Table(header)) => {
                self.go_on(settings, *header, KnotsReader::of(header))
            }
            (Phase::Knots(settings, header, mut reader), Answer::Knots { from, knots }) => {
                reader.take(*from, knots).map_err(|_| ReadFault::Confused)?;
                self.go_on(settings, header, reader)
            }
            _ => Err(ReadFault::Confused),
        }
    }

    fn go_on(
        &mut self,
        settings: Settings,
        header: TableHeader,
        reader: KnotsReader,
    ) -> Result<Read, ReadFault> {
        if let Some(ask) = reader.ask() {
            self.0 = Phase::Knots(settings, header, reader);
            return Ok(Read::Ask(ask));
        }
        let table = match reader.knots() {
            [] => None,
            knots if knots_checksum(knots) != header.checksum => {
                return Err(ReadFault::ChangedMeanwhile);
            }
            // A device holds only what checks.
            knots => Some(HostTable::new(knots).map_err(|_| ReadFault::Confused)?),
        };
        Ok(Read::All(Box::new(Held {
            settings,
            header,
            table,
        })))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(knots: u8) -> TableHeader {
        TableHeader {
            sequence: 1,
            knots,
            checksum: 0,
            zero_counts: 0,
            previous: false,
        }
    }

    const KNOT: Knot = Knot { counts: 0, mass: 0 };

    #[test]
    fn points_come_in_order_or_not_at_all() {
        let mut reader = KnotsReader::of(&header(7));
        assert_eq!(reader.ask(), Some(Ask::Knots { from: 0 }));
        assert_eq!(reader.take(0, &[]), Err(Strayed));
        assert_eq!(reader.take(1, &[KNOT]), Err(Strayed));
        assert_eq!(reader.take(0, &[KNOT; 7]), Err(Strayed));
        assert_eq!(reader.take(0, &[KNOT; 6]), Ok(()));
        assert_eq!(reader.ask(), Some(Ask::Knots { from: 6 }));
        assert_eq!(
            reader.take(6, &[KNOT; 2]),
            Err(Strayed),
            "more than there is"
        );
        assert_eq!(reader.take(6, &[KNOT]), Ok(()));
        assert_eq!(reader.ask(), None);
        assert_eq!(KnotsReader::of(&header(0)).ask(), None);
    }

    #[test]
    fn a_table_that_came_in_between_is_noticed() {
        let (mut reader, _) = HeldReader::begin();
        let settings = crate::quantise::neutral_settings();
        assert!(reader.answered(&Answer::Settings(settings)).is_ok());
        assert!(reader.answered(&Answer::Table(header(2))).is_ok());
        let knots = [KNOT, KNOT].into_iter().collect();
        let ended = reader.answered(&Answer::Knots { from: 0, knots });
        assert_eq!(ended, Err(ReadFault::ChangedMeanwhile));
        assert_eq!(reader.answered(&Answer::Done), Err(ReadFault::Confused));
    }
}
