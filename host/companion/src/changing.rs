//! Brings a change of a table and a link together, as [`crate::drive`] does it for
//! a calibration.

use crate::drive::DriveFault;
use crate::link::Line;
use crate::link::client::Client;
use crate::session::table::change::{ChangeAction, Conversation};

/// Asks on until there is something to decide, or the end.
///
/// # Errors
/// [`DriveFault`]: of the link, or of the conversation itself.
pub fn run<C: Conversation, L: Line>(
    conversation: &mut C,
    client: &mut Client<L>,
    mut action: ChangeAction,
) -> Result<ChangeAction, DriveFault<C::Fault>> {
    while let ChangeAction::Ask(ask) = &action {
        let answer = client.ask_or_refused(ask, &mut |_| {})?;
        action = (conversation.answered(answer)).map_err(DriveFault::Session)?;
    }
    Ok(action)
}
