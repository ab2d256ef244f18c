//! `table`: shown, foretold, adjusted, compared, saved, pushed and rolled back,
//! and everything that can be wrong on the way.

mod support;
#[cfg(unix)]
#[path = "support/terminal.rs"]
mod terminal;

#[cfg(unix)]
#[path = "table/at_a_port.rs"]
mod at_a_port;
#[path = "table/conversation.rs"]
mod conversation;
#[path = "table/files.rs"]
mod files;
#[path = "table/laws.rs"]
mod laws;

const USAGE: i32 = 2;
const SCALE: i32 = 3;
const DATA: i32 = 4;
const STOPPED: i32 = 5;
