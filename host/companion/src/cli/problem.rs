//! Problems as people see them: what happened, where, what to do next.

use scalewright_protocol::message::Refusal as Declined;

use crate::certifying::CertifyingFault;
use crate::drive::DriveFault;
use crate::link::LinkFault;
use crate::proving::ProvingFault;
use crate::record::journal::JournalFault;
use crate::record::lab::LabFaults;
use crate::record::weights::WeightsFault;
use crate::report::dcc::{NoCertificate, Refusal};
use crate::session::plan::PlanFault;
use crate::session::procedure::SessionFault;
use crate::session::proof::prover::ProofFault;

use super::live::wrap;
use super::paint::Paint;

/// Exit codes; `--help` lists them.
pub mod exit {
    /// Done and passed.
    pub const PASSED: u8 = 0;
    /// Done, but the scale does not pass.
    pub const DOES_NOT_PASS: u8 = 1;
    /// The command was not understood (as clap has it).
    pub const USAGE: u8 = 2;
    /// The scale or its port.
    pub const SCALE: u8 = 3;
    /// A file, or the captures.
    pub const DATA: u8 = 4;
    /// Stopped by the user, or the old table was kept.
    pub const STOPPED: u8 = 5;
}

/// A problem with its advice.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// What happened, one sentence.
    pub what: String,
    /// Named facts.
    pub facts: Vec<(String, String)>,
    /// What to do next.
    pub advice: Vec<String>,
    /// Exit code.
    pub code: u8,
}

impl Problem {
    /// A problem without facts.
    pub fn new(code: u8, what: impl Into<String>, advice: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            facts: Vec::new(),
            advice: vec![advice.into()],
            code,
        }
    }

    /// A scale that is sealed.
    pub fn sealed() -> Self {
        Self::new(
            exit::SCALE,
            "the scale is sealed: its table and settings can't be changed",
            UNSEAL,
        )
    }

    /// With one more fact.
    #[must_use]
    pub fn fact(mut self, name: &str, value: impl Into<String>) -> Self {
        self.facts.push((name.into(), value.into()));
        self
    }

    /// With the command that goes on with this very session.
    #[must_use]
    pub fn resumable(self, session: &str, port: &str) -> Self {
        let command = format!("`scalewright resume {session} --port {port}`");
        self.advising("`scalewright resume`", &command)
    }

    /// With another command in its advice.
    #[must_use]
    pub fn advising(mut self, usual: &str, command: &str) -> Self {
        for line in &mut self.advice {
            *line = line.replace(usual, command);
        }
        self
    }

    /// For a rehearsal, which ends with its bench.
    #[must_use]
    pub fn of_rehearsal(mut self) -> Self {
        if self
            .advice
            .iter()
            .any(|line| line.contains("scalewright resume"))
        {
            self.advice = vec!["run the rehearsal again: its bench is gone with it".into()];
        }
        self
    }

    /// Prints it on standard error.
    pub fn show(&self) {
        let paint = Paint::of_stderr();
        for line in wrap(&self.what, 80) {
            eprintln!("{}", paint.bad(&line));
        }
        let column = self
            .facts
            .iter()
            .map(|(name, _)| name.chars().count())
            .max()
            .unwrap_or(0)
            .max(3);
        let room = 76usize.saturating_sub(column).max(20);
        for (name, value) in &self.facts {
            for (index, line) in wrap(value, room).iter().enumerate() {
                let name = if index == 0 { name.as_str() } else { "" };
                eprintln!("  {name:column$}  {line}");
            }
        }
        let advice = self.advice.iter().flat_map(|line| wrap(line, room));
        for (index, line) in advice.enumerate() {
            let name = if index == 0 { "try" } else { "" };
            eprintln!("  {name:column$}  {line}");
        }
    }
}

/// How a sealed scale is changed.
pub const UNSEAL: &str = "switch it off, then on with its right key (VIEW) held (bench: off \
    right), and run this again; `scalewright seal --open` then takes the seal off";

/// What lets a user in whom the system keeps from its serial ports.
pub const GROUP: &str =
    "add yourself to the group that owns the port (often dialout), then log in anew";

/// What to try when no port has a scale. It may be on one that could not be
/// opened, so that comes first.
fn not_found(ports: usize, barred: usize) -> Vec<String> {
    let here = "plug the scale in, or name its port with --port, as that of `scalewright bench`; \
        without hardware, `scalewright rehearse`";
    match barred {
        0 => vec![here.into()],
        _ if barred == ports => vec![
            GROUP.into(),
            "without a scale, `scalewright rehearse`".into(),
        ],
        _ => vec![
            format!("for the ports this user may not use: {GROUP}"),
            format!("for the others: {here}"),
        ],
    }
}

impl From<LinkFault> for Problem {
    fn from(fault: LinkFault) -> Self {
        let what = fault.to_string();
        let advice = match &fault {
            LinkFault::NoSuchPort { .. } => {
                "plug the scale in, or run `scalewright find` to see what answers".into()
            }
            LinkFault::NotAPort { .. } => {
                "name the scale's port with --port, or run `scalewright find` without it".into()
            }
            LinkFault::Busy { .. } => {
                "close the other program, or name another port with --port".into()
            }
            LinkFault::NoPermission { .. } => GROUP.into(),
            LinkFault::Unplugged { .. } => {
                "plug it in again; `scalewright resume` goes on where this run ended".into()
            }
            LinkFault::Io { .. } => "pull the plug, put it in again, and retry".into(),
            LinkFault::Silent { .. } => {
                "check the cable, that the board runs the scale's firmware, and --port".into()
            }
            LinkFault::WrongDevice { .. } => {
                "this port belongs to something else: name the scale's with --port".into()
            }
            LinkFault::WrongVersion { scale, ours, .. } if scale > ours => {
                "this program is the older one: update it".into()
            }
            LinkFault::WrongVersion { .. } => {
                "the scale's firmware is the older one: update it".into()
            }
            LinkFault::Noisy { .. } => {
                "use a shorter cable, away from motors and their supplies".into()
            }
            LinkFault::Refused(Declined::Sealed) => UNSEAL.into(),
            LinkFault::Refused(_) => "run `scalewright find` to see the scale's state".to_string(),
            LinkFault::Confused { .. } => "unplug the scale, plug it in again, and retry".into(),
            LinkFault::Several { .. } => "name one with --port".into(),
            // Of more than one line.
            LinkFault::NotFound { .. } => String::new(),
        };
        let advice = match &fault {
            LinkFault::NotFound { tried, barred } => not_found(tried.len(), *barred),
            _ => vec![advice],
        };
        let facts = match fault {
            LinkFault::NotFound { tried, .. } => tried,
            LinkFault::Several { found } => found
                .into_iter()
                .map(|(port, id)| (port, format!("scale {id}")))
                .collect(),
            _ => Vec::new(),
        };
        Self {
            what,
            facts,
            advice,
            code: exit::SCALE,
        }
    }
}

impl From<WeightsFault> for Problem {
    fn from(fault: WeightsFault) -> Self {
        Self::new(
            exit::DATA,
            fault.to_string(),
            "correct the file; `scalewright weights --help` shows an example",
        )
    }
}

impl From<LabFaults> for Problem {
    fn from(found: LabFaults) -> Self {
        let what = match found.faults.len() {
            1 => format!("{} can't be used yet", found.file),
            faults => format!("{} can't be used yet: {faults} faults", found.file),
        };
        let advice = "correct the file; `scalewright certificate --blank` prints an empty one";
        let problem = Self::new(exit::DATA, what, advice);
        found.faults.into_iter().fold(problem, |problem, fault| {
            let line = fault.line.map(|line| format!("line {line}"));
            problem.fact(&line.unwrap_or_default(), fault.cause)
        })
    }
}

impl From<CertifyingFault> for Problem {
    fn from(fault: CertifyingFault) -> Self {
        let advice = match &fault {
            CertifyingFault::Journal(_) => {
                "name the session file that `scalewright verify` left, as it left it"
            }
            CertifyingFault::Session(_) => {
                "go on with `scalewright verify --go-on`, or begin a new verification"
            }
            CertifyingFault::Certificate(NoCertificate::NoErrors) => {
                "make a verification with the test `errors`, as `scalewright verify` does"
            }
            CertifyingFault::Certificate(NoCertificate::NoUncertainty { .. }) => {
                "look at the weights of the verification, and make it anew"
            }
            CertifyingFault::Certificate(NoCertificate::UnknownWeight { .. }) => {
                "correct the name in the form, or take that part away"
            }
        };
        Self::new(exit::DATA, fault.to_string(), advice)
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let advice = "correct it in the form; what the form can't correct, report with the file";
        Self::new(exit::DATA, refusal.to_string(), advice)
    }
}

impl From<PlanFault> for Problem {
    fn from(fault: PlanFault) -> Self {
        let advice = match &fault {
            PlanFault::NoWeights => "name some with --weights",
            PlanFault::Duplicate { .. } => "give every weight a name of its own",
            PlanFault::AboveMax { .. } => "leave that weight out, or check --max",
            PlanFault::TooLight { .. } => "add or borrow heavier weights, best up to about Max",
            PlanFault::TooFewLoads { .. } => {
                "add weights that make other sums, or borrow one of about a third of Max"
            }
            PlanFault::Open { .. } => {
                "add a weight of known mass that can stand beside the others on the pan"
            }
            PlanFault::Scale { .. } => "check --max, --e, --d and --class (I, II, III or IIII)",
        };
        let code = match &fault {
            PlanFault::Scale { .. } => exit::USAGE,
            _ => exit::DATA,
        };
        Self::new(code, fault.to_string(), advice)
    }
}

impl From<JournalFault> for Problem {
    fn from(fault: JournalFault) -> Self {
        let advice = if fault.line.is_some() {
            "name the right file, put the original back, or start anew"
        } else {
            "check the path, your permission and the free space; name another session file if this is not the one"
        };
        Self::new(exit::DATA, fault.to_string(), advice)
    }
}

impl From<SessionFault> for Problem {
    fn from(fault: SessionFault) -> Self {
        let (code, advice) = match &fault {
            SessionFault::Declined(Declined::Sealed) => (
                exit::SCALE,
                "switch it off, then on with its right key (VIEW) held; then `scalewright resume`",
            ),
            SessionFault::Declined(_) | SessionFault::Confused => (
                exit::SCALE,
                "unplug the scale, plug it in again, then `scalewright resume`",
            ),
            SessionFault::ReadBack => (
                exit::SCALE,
                "do not use the scale; try again, and if it stays replace the board",
            ),
            SessionFault::NoTable(_) => (
                exit::DATA,
                "take the loads in question again: `scalewright resume`, then u to undo",
            ),
            SessionFault::OtherScale { .. } => {
                (exit::SCALE, "plug in the scale this session was begun with")
            }
            SessionFault::OtherTable => (
                exit::SCALE,
                "somebody changed the table since: start anew with `scalewright calibrate`",
            ),
            SessionFault::Abandoned { .. } => {
                (exit::STOPPED, "`scalewright resume` goes on from here")
            }
        };
        Self::new(code, fault.to_string(), advice)
    }
}

impl From<DriveFault> for Problem {
    fn from(fault: DriveFault) -> Self {
        match fault {
            DriveFault::Link(fault) => fault.into(),
            DriveFault::Session(fault) => fault.into(),
            DriveFault::Journal(fault) => fault.into(),
            DriveFault::Stopped => Self::new(
                exit::STOPPED,
                "stopped; nothing in the scale was changed that was not shown as stored",
                "`scalewright resume` goes on where this run ended",
            ),
        }
    }
}

impl From<ProvingFault> for Problem {
    fn from(fault: ProvingFault) -> Self {
        match fault {
            ProvingFault::Link(fault) => fault.into(),
            ProvingFault::Journal(fault) => fault.into(),
            ProvingFault::Stopped => Self::new(
                exit::STOPPED,
                "stopped; every capture so far is kept",
                "`scalewright verify --go-on` goes on later",
            ),
            ProvingFault::Session(fault) => {
                let advice = match &fault {
                    ProofFault::NotCalibrated => "`scalewright calibrate --help` says how",
                    ProofFault::OtherSettings { .. } => {
                        "begin a new verification: it takes Max and e from the scale"
                    }
                    ProofFault::OtherScale { .. } => {
                        "plug that scale in, name its port with --port, or begin anew"
                    }
                    ProofFault::OtherTable { .. } => {
                        "begin a new verification; `scalewright verify --again FILE` reports the old one"
                    }
                    ProofFault::Declined(_) => "see to the pan, then `scalewright verify --go-on`",
                    ProofFault::Confused => "look at the cable, then `scalewright verify --go-on`",
                    ProofFault::Abandoned { .. } => "`scalewright verify --go-on` goes on later",
                };
                Self::new(exit::SCALE, fault.to_string(), advice)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_may_not_use_the_ports_is_told_how_to() {
        let advice = |ports: usize, barred: usize| {
            let tried = vec![("/dev/ttyS0".into(), String::new()); ports];
            Problem::from(LinkFault::NotFound { tried, barred }).advice
        };
        let named = Problem::from(LinkFault::NoPermission {
            port: "/dev/ttyS0".into(),
        });
        assert_eq!(advice(2, 2).first(), named.advice.first());
        let mixed = advice(2, 1).join("; ");
        assert!(mixed.contains(GROUP) && mixed.contains("plug the scale in"));
        for advice in [advice(2, 0), advice(0, 0)] {
            assert_eq!(advice.len(), 1);
            assert!(advice[0].starts_with("plug the scale in"));
        }
    }
}
