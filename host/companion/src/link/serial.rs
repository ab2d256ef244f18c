//! A serial port as a [`Line`].

use std::io::{Read, Write};
use std::time::Duration;

use serialport::{ErrorKind, SerialPort};

use super::{Line, LinkFault};

/// Speed of the line, bits per second. USB and pseudo-terminals ignore it.
pub const BAUD: u32 = 115_200;

/// Bytes the operating system may hold back before a write gives up.
const WRITE_PATIENCE: Duration = Duration::from_secs(2);

/// An open serial port.
pub struct SerialLine {
    port: Box<dyn SerialPort>,
    name: String,
}

impl SerialLine {
    /// Opens `name` for this program alone.
    ///
    /// # Errors
    /// [`LinkFault::NoSuchPort`], [`LinkFault::NotAPort`], [`LinkFault::Busy`],
    /// [`LinkFault::NoPermission`] or [`LinkFault::Io`].
    pub fn open(name: &str) -> Result<Self, LinkFault> {
        Self::open_at(name, BAUD)
    }

    /// Opens `name` at another speed, bits per second; 8 data bits, no parity,
    /// one stop bit.
    ///
    /// # Errors
    /// As [`SerialLine::open`].
    pub fn open_at(name: &str, baud: u32) -> Result<Self, LinkFault> {
        let mut port = serialport::new(name, baud)
            .timeout(WRITE_PATIENCE)
            .open()
            .map_err(|error| opening(name, &error))?;
        // Boards with native USB send nothing before this; a pseudo-terminal
        // has no such line and says so, which is no fault.
        let _ = port.write_data_terminal_ready(true);
        let _ = port.clear(serialport::ClearBuffer::Input);
        Ok(Self {
            port,
            name: name.into(),
        })
    }

    fn trouble(&self, error: &std::io::Error) -> LinkFault {
        use std::io::ErrorKind as Io;
        let port = self.name.clone();
        match error.kind() {
            Io::BrokenPipe
            | Io::NotConnected
            | Io::UnexpectedEof
            | Io::ConnectionAborted
            | Io::NotFound => LinkFault::Unplugged { port },
            // A USB device that is pulled out reads as "input/output error",
            // "no such device" or "device not configured".
            _ if matches!(error.raw_os_error(), Some(5 | 6 | 19)) => LinkFault::Unplugged { port },
            // Draining the line fails without a number when nobody is there.
            _ if error.to_string().contains("flush failed") => LinkFault::Unplugged { port },
            _ => LinkFault::Io {
                port,
                cause: error.to_string(),
            },
        }
    }
}

fn opening(name: &str, error: &serialport::Error) -> LinkFault {
    use std::io::ErrorKind as Io;
    let port = name.to_string();
    let text = error.to_string();
    // The super-user may open a port that is held; there it is the lock on it
    // that cannot be had.
    let held = |text: &str| text.contains("busy") || text.contains("lock");
    if ["typewriter", "ioctl", "Is a directory"]
        .iter()
        .any(|word| text.contains(word))
    {
        return LinkFault::NotAPort { port };
    }
    match error.kind() {
        ErrorKind::NoDevice if held(&text.to_lowercase()) => LinkFault::Busy { port },
        ErrorKind::NoDevice | ErrorKind::Io(Io::NotFound) => LinkFault::NoSuchPort { port },
        ErrorKind::Io(Io::PermissionDenied) => LinkFault::NoPermission { port },
        ErrorKind::Io(Io::ResourceBusy | Io::WouldBlock) => LinkFault::Busy { port },
        _ if text.to_lowercase().contains("permission") => LinkFault::NoPermission { port },
        _ if text.to_lowercase().contains("busy") => LinkFault::Busy { port },
        _ => LinkFault::Io { port, cause: text },
    }
}

impl Line for SerialLine {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        self.port
            .write_all(bytes)
            .and_then(|()| self.port.flush())
            .map_err(|error| self.trouble(&error))
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        use std::io::ErrorKind as Io;
        // A port refuses a timeout of nothing.
        let timeout = timeout.max(Duration::from_millis(1));
        if self.port.timeout() != timeout {
            self.port
                .set_timeout(timeout)
                .map_err(|error| LinkFault::Io {
                    port: self.name.clone(),
                    cause: error.to_string(),
                })?;
        }
        match self.port.read(into) {
            Ok(0) => Err(LinkFault::Unplugged {
                port: self.name.clone(),
            }),
            Ok(read) => Ok(read),
            Err(error)
                if matches!(
                    error.kind(),
                    Io::TimedOut | Io::Interrupted | Io::WouldBlock
                ) =>
            {
                Ok(0)
            }
            Err(error) => Err(self.trouble(&error)),
        }
    }

    fn name(&self) -> &str {
        &self.name
    }
}
