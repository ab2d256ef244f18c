//! The real firmware images on emulated chips, driven from here.
//!
//! ```text
//! bench physics → code  ⇄  emulator (Node): image on a chip, pins, line, memory
//!                                   ⇅ bytes
//!                              the companion
//! ```
//!
//! [`emulator`] speaks with the Node program, [`rig`] gives it codes from the
//! bench's cell and operator, [`line`](mod@line) makes a link of it in virtual
//! time, [`twin`] computes beside it what the host's core makes of the same
//! codes. [`front`] is somebody who presses keys and looks, [`sheet`](mod@sheet) makes
//! pictures for the guide of what is seen; [`mod@footprint`] tells what an image takes.

pub mod asks;
pub mod emulator;
pub mod footprint;
pub mod front;
pub mod line;
pub mod rig;
pub mod screen;
pub mod session;
pub mod sheet;
pub mod twin;

pub use emulator::{Board, Emulator, Stop};
pub use line::ChipLine;
pub use rig::{Rig, Shared};
pub use session::{Chip, Person};
