//! Brings a correction and a link together, as [`crate::drive`] does it for a
//! calibration.

use crate::drive::DriveFault;
use crate::link::Line;
use crate::link::client::Client;
use crate::session::moving::correction::{Correction, CorrectionAction, CorrectionFault};

/// Why a correction ended early.
pub type MovingEnd = DriveFault<CorrectionFault>;

impl From<CorrectionFault> for MovingEnd {
    fn from(fault: CorrectionFault) -> Self {
        Self::Session(fault)
    }
}

/// Asks on until there is something to decide, or the end.
///
/// # Errors
/// [`MovingEnd`]: of the link, or of the correction itself.
pub fn run<L: Line>(
    correction: &mut Correction,
    client: &mut Client<L>,
    mut action: CorrectionAction,
) -> Result<CorrectionAction, MovingEnd> {
    while let CorrectionAction::Ask(ask) = &action {
        let answer = client.ask_or_refused(ask, &mut |_| {})?;
        action = correction.answered(answer)?;
    }
    Ok(action)
}
