//! What the pages of a calibration say.

use scalewright_protocol::message::{CaptureFault, CaptureState, Refusal};
use scalewright_protocol::table::TableFault;

use super::choices::{interval_of, mass_g};
use super::{Calibrating, MORE, Page};
use crate::functions::unit::Interval;
use crate::indicator::leaf::{Guest, Leaf};
use crate::indicator::text::Text;
use crate::instrument::Instrument;
use crate::ports::Storage;
use crate::walk::{Stage, Trouble};

/// A page in words, made anew for each look.
#[derive(Clone, Debug)]
pub struct Said {
    title: &'static str,
    step: Text,
    large: Text,
    lines: [Text; 2],
    progress: Option<u8>,
    keys: [&'static str; 3],
}

impl Said {
    fn new(title: &'static str, keys: [&'static str; 3]) -> Self {
        Self {
            title,
            step: Text::new(),
            large: Text::new(),
            lines: [Text::new(); 2],
            progress: None,
            keys,
        }
    }

    fn large(mut self, said: &str) -> Self {
        self.large = Text::of(said);
        self
    }

    fn lines(mut self, upper: &str, lower: &str) -> Self {
        self.lines = [Text::of(upper), Text::of(lower)];
        self
    }

    /// As the indicator draws it.
    #[must_use]
    pub fn leaf(&self) -> Leaf<'_> {
        let [upper, lower] = &self.lines;
        Leaf {
            title: self.title,
            step: self.step.as_str(),
            large: self.large.as_str(),
            lines: [upper.as_str(), lower.as_str()],
            progress: self.progress,
            keys: self.keys,
        }
    }
}

impl Calibrating {
    /// The number being entered, if one is.
    #[must_use]
    pub fn number(&self) -> Option<Guest<'_>> {
        let entry = self.entry.as_ref().filter(|_| self.page == Page::Number)?;
        Some(Guest::Number(entry))
    }

    /// What stands on the page.
    #[must_use]
    pub fn said<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Said {
        match self.page {
            Page::GoOn => Said::new("calibrate", ["go on", "anew", "later"])
                .large("interrupted")
                .lines("a calibration was not", "finished: go on with it?"),
            Page::Capacity => {
                let mut said = Said::new("calibrate", ["next", "choose", "leave"])
                    .lines("the heaviest load it is", "made for: Max");
                said.step = Text::of("1 of 4");
                said.large = mass_g(self.capacity_ug());
                said
            }
            Page::Interval => {
                let mut said = Said::new("calibrate", ["next", "choose", "back"])
                    .lines("the step in which it", "shall show: d");
                said.step = Text::of("2 of 4");
                said.large = mass_g(u64::from(self.d_ug));
                said
            }
            Page::More => {
                let mut said = Said::new("more", ["next", "choose", "back"]);
                let at = usize::from(self.more);
                said.large = Text::of(MORE.get(at).copied().unwrap_or(""));
                said.step
                    .number(i64::from(self.more) + 1, 0)
                    .say(" of ")
                    .number(MORE.len() as i64, 0);
                let settings = self.walk.settings();
                let mut lower = Text::of("Max ");
                lower.say(self.rounded(settings.max).as_str());
                lower.say(", d ").say(self.rounded(settings.d).as_str());
                said.lines = [self.taken(), lower];
                said
            }
            Page::Stop => Said::new("calibrate", ["go on", "", "stop"])
                .large("stop?")
                .lines("what was taken is lost,", "the old table stays"),
            Page::Details => self.details(),
            Page::Closed | Page::Number | Page::Walk => self.said_of_the_walk(scale),
        }
    }

    fn said_of_the_walk<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Said {
        if let Some(refusal) = self.refused {
            return trouble(Trouble::Refused(refusal), ["", "", "leave"]);
        }
        let empty = |upper, lower| {
            Said::new("calibrate", ["", "done", "stop"])
                .large("empty pan?")
                .lines(upper, lower)
        };
        let mut said = match self.walk.stage() {
            Stage::NotEmpty(reads) => {
                let [upper, lower] = if reads < 0 {
                    ["less than before: did", "something lie there?"]
                } else {
                    ["lies there? take it off,", "then press again"]
                };
                let mut said =
                    Said::new("not empty?", ["empty", "again", "stop"]).lines(upper, lower);
                said.large = self.rounded(reads);
                said
            }
            Stage::EmptyPan => empty("take everything off,", "then press done"),
            Stage::EmptyAgain => {
                let mut said = empty("once more, to see", "whether zero stayed");
                said.keys = ["undo", "done", "stop"];
                said
            }
            Stage::TakingZero | Stage::TakingLast => self.taking("empty pan", scale, "stop"),
            Stage::Choose => {
                let mut said = Said::new("calibrate", ["other", "take it", "more"]);
                said.large = self.mass(self.offered);
                said.lines = [Text::of("the next load?"), self.taken()];
                said
            }
            Stage::PutOn(mass) => {
                let mut said = Said::new("calibrate", ["", "", "other"]);
                said.large = self.mass(mass);
                said.lines = [Text::of("put it on the pan"), self.reading(scale)];
                said
            }
            Stage::Taking(mass) => {
                let mut said = self.taking("", scale, "other");
                said.large = self.mass(mass);
                said
            }
            Stage::LooksLike { said: asked, reads } => {
                let mut said = Said::new("another load?", ["other", "keep it", "stop"]);
                said.large = self.rounded(reads);
                let upper = Text::of("is what it looks like,");
                let mut lower = Text::of("not like ");
                lower.say(self.mass(asked).as_str());
                said.lines = [upper, lower];
                said
            }
            Stage::Summary => {
                let summary = self.walk.summary();
                let mut said = Said::new("result", ["details", "accept", "stop"])
                    .lines("is what one load alone", "would have left wrong");
                if summary.too_bent {
                    let mut upper = Text::of("off line at ");
                    upper.say(self.mass(summary.off_line_at).as_str());
                    said.lines = [upper, Text::of("was a load a wrong one?")];
                }
                said.large = self.mass(summary.off_line.saturating_abs());
                said.step
                    .number(i64::from(summary.loads), 0)
                    .say(if summary.loads == 1 {
                        " load"
                    } else {
                        " loads"
                    });
                return said;
            }
            Stage::Done => {
                let mut said = Said::new("calibrate", ["", "", "leave"]).large("done");
                let mut lower = Text::of("change number ");
                lower.number(i64::from(scale.changes()), 0);
                said.lines = [Text::of("the new table is in use"), lower];
                return said;
            }
            // The wires are right: loads were taken.
            Stage::Trouble(Trouble::Falling) if !self.walk.loads().is_empty() => {
                return Said::new("calibrate", ["", "again", "stop"])
                    .large("it falls")
                    .lines("below the empty pan:", "take zero again (more)");
            }
            Stage::Trouble(what) => {
                let first = match what {
                    Trouble::Table(_) => "undo",
                    Trouble::Falling => "anew",
                    _ => "",
                };
                return trouble(what, [first, "again", "stop"]);
            }
            Stage::Off => Said::new("calibrate", ["", "", "leave"]),
        };
        said.step = Text::of(match self.walk.stage() {
            Stage::EmptyPan | Stage::TakingZero => "3 of 4",
            Stage::LooksLike { .. } | Stage::NotEmpty(_) => "",
            _ => "4 of 4",
        });
        said
    }

    /// A load is being taken: how far that is.
    fn taking<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        what: &str,
        scale: &Instrument<S, KNOTS, QUEUE>,
        right: &'static str,
    ) -> Said {
        let mut said = Said::new("calibrate", ["", "", right]).large(what);
        let (share, words) = match scale.capture.state() {
            CaptureState::Averaging { done, of } => {
                let share = u32::from(done).wrapping_mul(255).checked_div(u32::from(of));
                (share.unwrap_or(0) as u8, "leave it alone: weighing")
            }
            _ if scale.fault.is_some() => (0, "waiting for the signal"),
            _ => (0, "leave it alone: settling"),
        };
        said.lines = [Text::of(words), self.reading(scale)];
        said.progress = Some(share);
        said
    }

    fn details(&self) -> Said {
        let summary = self.walk.summary();
        let mut said = Said::new("result", ["back", "undo", "stop"]);
        let mut large = Text::of("up to ");
        large.say(self.mass(summary.largest).as_str());
        said.large = large;
        let mut upper = Text::of("most off line at ");
        upper.say(self.mass(summary.off_line_at).as_str());
        let mut lower = Text::of("zero moved ");
        lower.say(self.mass(summary.zero_moved).as_str());
        said.lines = [upper, lower];
        said.step.number(i64::from(summary.loads), 0).say(" loads");
        said
    }

    /// "3 loads taken".
    fn taken(&self) -> Text {
        let count = self.walk.loads().len();
        let mut text = Text::new();
        match count {
            0 => text.say("none taken yet"),
            1 => text.say("1 load taken"),
            _ => text
                .number(i64::try_from(count).unwrap_or(i64::MAX), 0)
                .say(" loads taken"),
        };
        text
    }

    /// What the pan reads now, by what is known of it.
    fn reading<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        scale: &Instrument<S, KNOTS, QUEUE>,
    ) -> Text {
        let mut text = Text::new();
        if let Some(reads) = self.walk.reading(scale) {
            text.say("reads ").say(self.rounded(reads).as_str());
        } else if let Some(net) = self.walk.net_counts(scale) {
            text.say("signal ").number(i64::from(net), 0);
        } else {
            text.say("no signal: wires?");
        }
        text
    }

    /// A mass to the nearest d.
    fn rounded(&self, quanta: i32) -> Text {
        self.written(quanta, &interval_of(self.walk.settings()))
    }

    /// A mass to the nearest tenth of d, which is left out where it is none.
    fn mass(&self, quanta: i32) -> Text {
        let settings = self.walk.settings();
        let mut interval = interval_of(settings);
        if quanta.checked_rem(settings.d).is_some_and(|rest| rest != 0) {
            interval = interval.tenth();
        }
        self.written(quanta, &interval)
    }

    fn written(&self, quanta: i32, interval: &Interval) -> Text {
        let settings = self.walk.settings();
        let mut text = Text::new();
        text.number(
            interval.digits(quanta, settings.quantum_ug),
            interval.decimals,
        )
        .letter(b' ')
        .say(interval.unit.symbol());
        text
    }
}

fn trouble(what: Trouble, keys: [&'static str; 3]) -> Said {
    let (large, upper, lower) = match what {
        Trouble::Capture(CaptureFault::Restless) => {
            ("no rest", "is there a draught?", "does something rub?")
        }
        Trouble::Capture(CaptureFault::NoSamples) => {
            ("no signal", "the converter is silent:", "look at its wires")
        }
        Trouble::Capture(CaptureFault::Cancelled) => ("stopped", "a laptop ended it", ""),
        Trouble::Saturated => ("at its end", "too heavy, or a wire of", "the cell is open"),
        Trouble::Falling => ("it falls", "if the pan was empty:", "exchange signal wires"),
        Trouble::Table(TableFault::Slope { .. }) => {
            ("no curve", "a load does not fit", "the others: undo it")
        }
        Trouble::Table(_) => ("no curve", "two loads contradict", "each other: undo one"),
        Trouble::Refused(Refusal::Sealed) => ("sealed", "hold the right key", "while switching on"),
        Trouble::Refused(_) => (
            "not stored",
            "the memory refused it,",
            "the old table stays",
        ),
    };
    Said::new("calibrate", keys)
        .large(large)
        .lines(upper, lower)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::indicator::strip::Strip;

    fn fits(said: &Said) {
        for page in 0..8 {
            let mut strip = Strip::new(page);
            said.leaf().draw(&mut strip);
            assert!(!strip.overrun(), "{said:?}");
        }
    }

    #[test]
    fn every_trouble_fits_its_page() {
        for what in [
            Trouble::Capture(CaptureFault::Restless),
            Trouble::Capture(CaptureFault::NoSamples),
            Trouble::Capture(CaptureFault::Cancelled),
            Trouble::Saturated,
            Trouble::Falling,
            Trouble::Table(TableFault::Slope { at: 1 }),
            Trouble::Table(TableFault::CountsOrder { at: 1 }),
            Trouble::Refused(Refusal::Sealed),
            Trouble::Refused(Refusal::Storage),
        ] {
            fits(&trouble(what, ["undo", "again", "stop"]));
        }
    }

    #[test]
    fn capacities_and_intervals_are_written_in_full() {
        for (ug, said) in [
            (1_000, "0.001 g"),
            (2_000_000, "2 g"),
            (500_000_000, "500 g"),
            (1_500_000_000, "1.5 kg"),
            (6_000_000_000, "6 kg"),
            (300_000_000_000, "300 kg"),
        ] {
            assert_eq!(mass_g(ug).as_str(), said);
        }
    }
}
