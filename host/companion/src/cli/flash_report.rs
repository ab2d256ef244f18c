//! What a flashing came to, for people and for scripts.

use std::path::Path;

use serde_json::json;

use crate::firmware::board::Board;
use crate::firmware::check::Checked;
use crate::firmware::survival::{Fate, Holding};

use super::Outcome;
use super::build_firmware::size;
use super::problem::{Problem, exit};
use super::progress::Progress;

/// How it is known that the board holds the image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verified {
    /// Its flash was read back and compared.
    ReadBack,
    /// It restarted by itself and its new firmware said hello.
    Hello,
    /// It restarted by itself, which its ROM does after the last block.
    Restart,
}

impl Verified {
    const fn name(self) -> &'static str {
        match self {
            Self::ReadBack => "read_back",
            Self::Hello => "hello",
            Self::Restart => "restart",
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::ReadBack => "by reading the flash back: every byte is as it was sent",
            Self::Hello => {
                "by the hello below; this chip's loader has no reading back, its bytes were not compared"
            }
            Self::Restart => "only by the restart: the board's loader took every block",
        }
    }
}

/// A finished flashing.
pub struct Flashed {
    /// Kind of board.
    pub board: Board,
    /// What the scale held before, if it was asked.
    pub before: Option<Holding>,
    /// What was written.
    pub written: String,
    /// How that is known to have arrived.
    pub verified: Verified,
    /// What the scale holds now, or why it did not say.
    pub after: Result<Holding, String>,
}

/// "0.1.0"
pub fn version(firmware: (u8, u8, u8)) -> String {
    format!("{}.{}.{}", firmware.0, firmware.1, firmware.2)
}

/// A scale and its table in one line.
pub fn holding_words(holding: &Holding) -> String {
    let table = match holding.points {
        0 => "no table".to_string(),
        points => format!("{points} points, checksum {:08x}", holding.checksum),
    };
    format!(
        "scale {:04X} on {}, firmware {}, {table}",
        holding.device_id,
        holding.port,
        version(holding.firmware)
    )
}

/// The image in one line.
pub fn image_words(checked: &Checked, path: &Path) -> String {
    let passport = &checked.passport;
    let format = checked.format.name();
    let bytes = size(checked.image.bytes() as u64);
    format!(
        "{} ({format}), {bytes}, wire version {}, layout {}",
        path.display(),
        passport.wire_version,
        passport.layout_version
    )
}

impl Flashed {
    /// Reports, and says how the command ends: well only if the new firmware
    /// said hello and no calibration is missing that nobody gave up.
    pub fn show(&self, checked: &Checked, as_json: bool) -> Outcome {
        let fate = self
            .after
            .as_ref()
            .ok()
            .map(|after| Fate::of(self.before.as_ref(), after));
        if as_json {
            outln!("{}", self.told(checked, fate));
        }
        let mut progress = Progress::new(as_json);
        let paint = progress.paint();
        progress.fact("written", &self.written);
        progress.fact("verified", self.verified.words());
        let after = self.after.as_ref().map_err(|why| self.no_hello(why))?;
        progress.fact("hello", &format!("from {}", holding_words(after)));
        if after.firmware != checked.passport.firmware {
            return Err(old_firmware(after, checked));
        }
        let Some(fate) = fate else {
            return Ok(exit::SCALE);
        };
        let table = format!("{} points, checksum {:08x}", after.points, after.checksum);
        let (name, text, next) = match fate {
            Fate::Kept => (
                "kept",
                format!("the calibration: {table}, as before"),
                "scalewright find",
            ),
            Fate::NoneYet => (
                "table",
                "none yet: the scale is not calibrated".into(),
                "scalewright calibrate --help",
            ),
            Fate::Unknown if after.is_calibrated() => (
                "table",
                format!("{table}; what was in it before was not asked"),
                "scalewright table",
            ),
            Fate::Unknown => (
                "table",
                "none; whether there was one before was not asked".into(),
                "scalewright calibrate --help",
            ),
            Fate::OtherLayout => (
                "heed",
                "the calibration lies in memory in another layout and is not in force; firmware of that layout reads it again, as long as no new table is stored".into(),
                "scalewright calibrate --help",
            ),
            Fate::Lost | Fate::Changed => return Err(self.missing(after)),
        };
        progress.fact(name, &text);
        progress.say(&format!("  {:10}{}", "next", paint.strong(next)));
        Ok(exit::PASSED)
    }

    fn told(&self, checked: &Checked, fate: Option<Fate>) -> serde_json::Value {
        let holding = |one: &Holding| {
            json!({
                "device": format!("{:04X}", one.device_id),
                "port": one.port,
                "firmware": version(one.firmware),
                "points": one.points,
                "checksum": format!("{:08x}", one.checksum),
            })
        };
        json!({
            "board": self.board.name(),
            "image": {
                "format": checked.format.name(),
                "bytes": checked.image.bytes(),
                "firmware": version(checked.passport.firmware),
                "wire_version": checked.passport.wire_version,
                "layout_version": checked.passport.layout_version,
            },
            "before": self.before.as_ref().map(holding),
            "verified_by": self.verified.name(),
            "after": self.after.as_ref().ok().map(holding),
            "calibration": fate.map(Fate::name),
        })
    }

    fn no_hello(&self, why: &str) -> Problem {
        Problem::new(
            exit::SCALE,
            "the image is written, but the scale has not said hello within 10 s",
            "unplug the board, plug it in again, then `scalewright find`; if it stays silent, flash again",
        )
        .fact("board", self.board.name())
        .fact("heard", why)
    }

    fn missing(&self, after: &Holding) -> Problem {
        let before = self.before.as_ref().map_or_else(String::new, holding_words);
        Problem::new(
            exit::SCALE,
            "the new firmware runs, but the calibration is not the one from before",
            "do not weigh with it: `scalewright table` shows what is there, `scalewright calibrate` makes it anew",
        )
        .fact("before", before)
        .fact("after", holding_words(after))
    }
}

fn old_firmware(after: &Holding, checked: &Checked) -> Problem {
    Problem::new(
        exit::SCALE,
        "the scale that answers does not run the firmware that was written",
        "check --port; unplug the board, plug it in again, then `scalewright find`",
    )
    .fact("scale", holding_words(after))
    .fact("written", version(checked.passport.firmware))
}
