//! Samples on their way from the converter to the line: how many came, and how many
//! did not.

use scalewright_protocol::message::Sample;
use scalewright_tests::chip::Chip;
use scalewright_tests::chip::rig::hold;
use serde_json::Value;

/// Samples of a chip that streams every one of them.
pub struct Losses {
    /// Codes read and samples worked on when it began.
    began: (f64, f64),
    last: Option<u32>,
    /// Samples that came.
    pub seen: usize,
    missed: u32,
}

impl Losses {
    /// Counts from now on.
    pub fn begin(chip: &mut Chip) -> Self {
        Self {
            began: counted(chip),
            last: None,
            seen: 0,
            missed: 0,
        }
    }

    /// One came.
    pub fn sample(&mut self, sample: &Sample) {
        if let Some(last) = self.last.replace(sample.sequence) {
            self.missed += sample.sequence.wrapping_sub(last).saturating_sub(1);
        }
        self.seen += 1;
    }

    /// How many were lost: on the line, between interrupt and main loop, and not read
    /// in time.
    pub fn lost(&self, chip: &mut Chip) -> f64 {
        let ended = counted(chip);
        let meter = hold(&chip.rig).emulator.meter();
        // Codes read and never worked on; one may be on its way at either end.
        let dropped = ((ended.0 - self.began.0) - (ended.1 - self.began.1)).abs() - 1.0;
        f64::from(self.missed) + number(&meter, "codes_lost") + dropped.max(0.0)
    }
}

fn counted(chip: &mut Chip) -> (f64, f64) {
    let meter = hold(&chip.rig).emulator.meter();
    (
        number(&meter, "codes_read"),
        f64::from(chip.state().sequence),
    )
}

/// A number of an emulator's meter.
pub fn number(meter: &Value, name: &str) -> f64 {
    meter[name].as_f64().unwrap_or(f64::NAN)
}
