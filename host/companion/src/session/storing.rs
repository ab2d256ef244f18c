//! The order of questions that brings a table into the device.

use scalewright_protocol::message::{Ask, KNOTS_PER_MESSAGE, Stage};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

/// A table on its way.
#[derive(Clone, Debug)]
pub struct Storing {
    knots: Vec<Knot>,
    sent: usize,
    on_trial: bool,
}

impl Storing {
    /// The transfer and its first question.
    pub fn begin(settings: Settings, zero_counts: i32, knots: Vec<Knot>) -> (Self, Ask) {
        let ask = Ask::StageBegin(Stage {
            settings,
            zero_counts,
            knots: u8::try_from(knots.len()).unwrap_or(u8::MAX),
            checksum: knots_checksum(&knots),
        });
        let storing = Self {
            knots,
            sent: 0,
            on_trial: false,
        };
        (storing, ask)
    }

    /// Ends with a trial in place of storing.
    pub fn on_trial(self) -> Self {
        Self {
            on_trial: true,
            ..self
        }
    }

    /// The next question, after the one before was answered "done".
    pub fn next(&mut self) -> Ask {
        let rest = self.knots.get(self.sent..).unwrap_or_default();
        if rest.is_empty() {
            return match self.on_trial {
                true => Ask::StageTry,
                false => Ask::StageCommit,
            };
        }
        let some = rest.get(..KNOTS_PER_MESSAGE).unwrap_or(rest);
        let from = u8::try_from(self.sent).unwrap_or(u8::MAX);
        self.sent += some.len();
        Ask::StageKnots {
            from,
            knots: heapless::Vec::from_slice(some).unwrap_or_default(),
        }
    }

    /// Points sent so far.
    pub fn sent(&self) -> usize {
        self.sent
    }

    /// Points in all.
    pub fn points(&self) -> usize {
        self.knots.len()
    }
}
