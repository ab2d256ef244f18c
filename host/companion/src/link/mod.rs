//! From a port to questions and answers.
//!
//! [`Line`] is any byte stream; [`serial`] makes one of a serial port,
//! [`client`] asks over it, [`find`] says hello on every port there is.

use std::time::Duration;

use scalewright_protocol::message::Refusal;

use crate::wording::declined;

pub mod client;
pub mod find;
pub mod serial;

/// A two-way byte stream to one scale.
pub trait Line {
    /// Sends all bytes.
    ///
    /// # Errors
    /// [`LinkFault::Unplugged`] or [`LinkFault::Io`].
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault>;

    /// Waits at most `timeout` for some bytes and returns how many came; 0
    /// means none did.
    ///
    /// # Errors
    /// [`LinkFault::Unplugged`] or [`LinkFault::Io`].
    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault>;

    /// What to call it in messages.
    fn name(&self) -> &str;
}

impl Line for Box<dyn Line> {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        (**self).write(bytes)
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        (**self).read(into, timeout)
    }

    fn name(&self) -> &str {
        (**self).name()
    }
}

/// What can go wrong between laptop and scale.
#[derive(Clone, Debug, PartialEq)]
pub enum LinkFault {
    /// No such port.
    NoSuchPort {
        /// The port asked for.
        port: String,
    },
    /// Another program holds the port.
    Busy {
        /// The port asked for.
        port: String,
    },
    /// The user may not open the port.
    NoPermission {
        /// The port asked for.
        port: String,
    },
    /// It was there and is gone.
    Unplugged {
        /// The port.
        port: String,
    },
    /// There is such a file or device, but no line to talk over.
    NotAPort {
        /// The port asked for.
        port: String,
    },
    /// Any other trouble of the operating system.
    Io {
        /// The port.
        port: String,
        /// What the system said.
        cause: String,
    },
    /// Nothing came back at all.
    Silent {
        /// The port.
        port: String,
        /// How long was waited in all.
        waited: Duration,
    },
    /// Bytes came back, but no frame of ours.
    WrongDevice {
        /// The port.
        port: String,
        /// Bytes that made no sense.
        bytes: usize,
    },
    /// Sound frames, but of another wire version.
    WrongVersion {
        /// The port.
        port: String,
        /// Version of the scale.
        scale: u16,
        /// Version of the companion.
        ours: u16,
    },
    /// Too many broken frames in a row.
    Noisy {
        /// The port.
        port: String,
        /// Frames dropped.
        broken: usize,
    },
    /// The scale declined.
    Refused(Refusal),
    /// The scale answered something else than what was asked.
    Confused {
        /// The port.
        port: String,
    },
    /// No scale on any port.
    NotFound {
        /// What each port said.
        tried: Vec<(String, String)>,
        /// How many of them this user may not open.
        barred: usize,
    },
    /// More than one scale.
    Several {
        /// Port and identity of each.
        found: Vec<(String, String)>,
    },
}

impl std::fmt::Display for LinkFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoSuchPort { port } => write!(f, "there is no port {port}"),
            Self::NotAPort { port } => write!(f, "{port} is no serial port"),
            Self::Busy { port } => {
                write!(f, "cannot open {port}: another program is using it")
            }
            Self::NoPermission { port } => {
                write!(f, "cannot open {port}: this user may not use serial ports")
            }
            Self::Unplugged { port } => write!(f, "the scale on {port} is gone"),
            Self::Io { port, cause } => write!(f, "trouble on {port}: {cause}"),
            Self::Silent { port, waited } => write!(
                f,
                "nothing answers on {port} (waited {:.1} s)",
                waited.as_secs_f64()
            ),
            Self::WrongDevice { port, bytes } => write!(
                f,
                "something talks on {port}, but it is no scale of ours ({bytes} bytes that make no sense)"
            ),
            Self::WrongVersion { port, scale, ours } => write!(
                f,
                "the scale on {port} speaks wire version {scale}, this program version {ours}"
            ),
            Self::Noisy { port, broken } => write!(
                f,
                "the line to {port} is too noisy: {broken} broken frames and no answer"
            ),
            Self::Refused(refusal) => write!(f, "the scale declined: {}", declined(*refusal)),
            Self::Confused { port } => {
                write!(
                    f,
                    "the scale on {port} answered something else than was asked"
                )
            }
            Self::NotFound { tried, .. } if tried.is_empty() => {
                write!(f, "no serial port on this machine")
            }
            Self::NotFound { tried, barred } if tried.len() == *barred => {
                write!(
                    f,
                    "no scale can be looked for: this user may not use serial ports"
                )
            }
            Self::NotFound { tried, .. } if tried.len() == 1 => {
                write!(f, "no scale answers on the only port there is")
            }
            Self::NotFound { tried, .. } => {
                write!(f, "no scale answers on any of {} ports", tried.len())
            }
            Self::Several { found } => write!(f, "{} scales answer: name one", found.len()),
        }
    }
}

impl std::error::Error for LinkFault {}
