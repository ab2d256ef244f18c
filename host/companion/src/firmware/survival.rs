//! What a scale holds before and after it was flashed, and whether its
//! calibration came through.

use scalewright_protocol::message::{Answer, Ask, Flags};

use crate::link::LinkFault;
use crate::link::find::Found;

/// What a scale says of itself and its table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holding {
    /// Where it answered.
    pub port: String,
    /// Number of the device.
    pub device_id: u32,
    /// Kind of board.
    pub board: String,
    /// Its firmware.
    pub firmware: (u8, u8, u8),
    /// Points of the table in force; 0 without one.
    pub points: u8,
    /// Checksum of the table in force.
    pub checksum: u32,
    /// Whether it found records of another layout in its storage.
    pub other_layout: bool,
}

impl Holding {
    /// Asks a scale that has said hello.
    ///
    /// # Errors
    /// Any [`LinkFault`].
    pub fn ask(mut found: Found) -> Result<Self, LinkFault> {
        let port = found.client.port().to_string();
        let confused = || LinkFault::Confused { port: port.clone() };
        let mut ask = |ask: Ask| found.client.ask(&ask, &mut |_| {});
        let Answer::Table(table) = ask(Ask::Table)? else {
            return Err(confused());
        };
        let Answer::State(state) = ask(Ask::State)? else {
            return Err(confused());
        };
        Ok(Self {
            device_id: found.hello.device_id,
            board: found.hello.board.as_str().into(),
            firmware: found.hello.firmware,
            points: table.knots,
            checksum: table.checksum,
            other_layout: state.flags.has(Flags::OTHER_LAYOUT),
            port,
        })
    }

    /// Whether there is a calibration to lose.
    #[must_use]
    pub fn is_calibrated(&self) -> bool {
        self.points > 0
    }
}

/// What became of the calibration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// The same table is in force.
    Kept,
    /// There was none, there is none.
    NoneYet,
    /// What was there before is not known.
    Unknown,
    /// It lies in memory in another layout and is not read.
    OtherLayout,
    /// There is no table now.
    Lost,
    /// Another table is in force.
    Changed,
}

impl Fate {
    /// What became of `before`.
    #[must_use]
    pub fn of(before: Option<&Holding>, after: &Holding) -> Self {
        if after.other_layout && !after.is_calibrated() {
            return Self::OtherLayout;
        }
        match before {
            None => Self::Unknown,
            Some(before) if !before.is_calibrated() && !after.is_calibrated() => Self::NoneYet,
            Some(before) if (before.points, before.checksum) == (after.points, after.checksum) => {
                Self::Kept
            }
            // Going back to firmware of an earlier layout finds its table again.
            Some(before) if !before.is_calibrated() => Self::Unknown,
            Some(_) if !after.is_calibrated() => Self::Lost,
            Some(_) => Self::Changed,
        }
    }

    /// Its name for scripts.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Kept => "kept",
            Self::NoneYet => "none",
            Self::Unknown => "unknown",
            Self::OtherLayout => "other_layout",
            Self::Lost => "lost",
            Self::Changed => "changed",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holding(points: u8, checksum: u32, other_layout: bool) -> Holding {
        Holding {
            port: "port".into(),
            device_id: 1,
            board: "rp2040".into(),
            firmware: (0, 1, 0),
            points,
            checksum,
            other_layout,
        }
    }

    #[test]
    fn every_fate_is_told_apart() {
        let full = holding(16, 7, false);
        let none = holding(0, 0, false);
        let told = |before: &Holding, after: &Holding| Fate::of(Some(before), after);
        assert_eq!(told(&full, &full), Fate::Kept);
        assert_eq!(told(&none, &none), Fate::NoneYet);
        assert_eq!(told(&full, &none), Fate::Lost);
        assert_eq!(told(&full, &holding(16, 8, false)), Fate::Changed);
        assert_eq!(told(&full, &holding(0, 0, true)), Fate::OtherLayout);
        assert_eq!(told(&none, &full), Fate::Unknown);
        assert_eq!(Fate::of(None, &full), Fate::Unknown);
        assert_eq!(Fate::of(None, &holding(0, 0, true)), Fate::OtherLayout);
    }
}
