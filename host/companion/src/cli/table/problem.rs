//! What can go wrong with a table, and what to do then.

use scalewright_protocol::message::Refusal;

use crate::drive::DriveFault;
use crate::record::table_file::NotRead;
use crate::session::table::adjusting::AdjustFault;
use crate::session::table::change::ChangeFault;

use super::super::problem::{Problem, UNSEAL, exit};

/// The table in force is whole whatever broke, but which it is only the scale
/// knows.
const WHICH: &str = "one is in force whole, old or new: `scalewright table` says which";

impl From<DriveFault<ChangeFault>> for Problem {
    fn from(end: DriveFault<ChangeFault>) -> Self {
        match end {
            DriveFault::Link(fault) => Self::from(fault)
                .advising("`scalewright resume`", "the same command again")
                .fact("table", WHICH),
            DriveFault::Journal(fault) => fault.into(),
            DriveFault::Stopped => {
                Self::new(exit::STOPPED, "stopped", "run the same command again")
            }
            DriveFault::Session(fault) => fault.into(),
        }
    }
}

impl From<ChangeFault> for Problem {
    fn from(fault: ChangeFault) -> Self {
        let advice = match &fault {
            ChangeFault::NotCalibrated => "`scalewright calibrate --help` says how",
            ChangeFault::NothingBefore => {
                "a table that was saved can be brought in: `scalewright table push FILE`"
            }
            ChangeFault::OtherTable { .. } => {
                "`scalewright table` shows the one in force; leave --table out if it is meant"
            }
            ChangeFault::Unfit(_) => "calibrate the scale anew, with weights",
            ChangeFault::ChangedMeanwhile => "look with `scalewright table`, then run this again",
            ChangeFault::Declined(Refusal::Sealed) => UNSEAL,
            ChangeFault::Declined(_) | ChangeFault::Confused => {
                "unplug the scale, plug it in again; `scalewright table` says what is in force"
            }
            ChangeFault::ReadBack => {
                "do not use the scale; `scalewright table roll-back`, then try again"
            }
        };
        Self::new(exit::SCALE, fault.to_string(), advice)
    }
}

impl From<AdjustFault> for Problem {
    fn from(fault: AdjustFault) -> Self {
        let (code, advice) = match &fault {
            AdjustFault::Load(..) => (exit::USAGE, "name a load that can lie on this scale"),
            AdjustFault::NeverShown(_) => (exit::USAGE, "check what was typed, and its unit"),
            AdjustFault::NearZero(_) => (
                exit::USAGE,
                "set zero with the empty pan; a scale wrong so near zero is calibrated anew",
            ),
            AdjustFault::Keep(_) => (exit::USAGE, "correct --keep"),
            AdjustFault::Reach(_) => (exit::USAGE, "write it as in --reach 800g"),
            AdjustFault::Bends { .. } => (
                exit::DATA,
                "look whether something touches the pan and the weight is right; else keep fewer loads, or calibrate: `scalewright calibrate --help`",
            ),
            AdjustFault::NoRoom { .. } => (
                exit::DATA,
                "a wider --reach needs fewer points; else calibrate: `scalewright calibrate --help`",
            ),
            AdjustFault::Unfit(_) => (exit::DATA, "calibrate: `scalewright calibrate --help`"),
        };
        Self::new(code, fault.to_string(), advice)
    }
}

/// Everything that is wrong with the file of a table.
pub fn of_file(found: NotRead) -> Problem {
    let found = match found {
        NotRead::File(what) => {
            return Problem::new(
                exit::DATA,
                what,
                "name a file that `scalewright table save` wrote",
            );
        }
        NotRead::Table(found) => found,
    };
    let what = match found.faults.len() {
        1 => format!("{} is no table", found.file),
        faults => format!("{} is no table: {faults} faults", found.file),
    };
    let advice = "correct the file; `scalewright table save FILE` writes one as an example";
    let problem = Problem::new(exit::DATA, what, advice);
    found.faults.into_iter().fold(problem, |problem, fault| {
        let line = fault.line.map(|line| format!("line {line}"));
        problem.fact(&line.unwrap_or_default(), fault.cause)
    })
}
