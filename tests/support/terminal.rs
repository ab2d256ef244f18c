//! The command on a terminal of its own, with somebody who reads and types.
//! Unix only.

use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use serialport::{SerialPort, TTYPort};

/// Longest a command may run before the test gives up.
const PATIENCE: Duration = Duration::from_secs(180);

/// What somebody reads at one glance, bytes: two or three whole screens.
const RECENT: usize = 8192;

/// Runs the command with a terminal as its input and output. `react` sees what
/// was shown lately, each time more comes, and says what to type. The exit code
/// and everything shown, escape sequences included.
pub fn at_a_terminal<T: AsRef<str>>(
    folder: &Path,
    arguments: &[&str],
    settings: &[(&str, &str)],
    mut react: impl FnMut(&str) -> Option<T>,
) -> (i32, String) {
    let (mut master, slave) = TTYPort::pair().expect("a pseudo-terminal");
    let path = slave.name().expect("it has a name");
    let end = || {
        OpenOptions::new()
            .read(true)
            .write(true)
            .open(&path)
            .expect("its end")
    };
    let mut command = super::support::command(folder, arguments);
    command.stdin(end()).stdout(end());
    for (name, value) in settings {
        command.env(name, value);
    }
    let mut child = command.spawn().expect("it runs");
    drop(command);
    let began = Instant::now();
    let mut shown = Vec::new();
    let mut chunk = [0; 4096];
    master
        .set_timeout(Duration::from_millis(20))
        .expect("a timeout");
    let code = loop {
        match master.read(&mut chunk) {
            Ok(count) if count > 0 => {
                shown.extend_from_slice(&chunk[..count]);
                let from = shown.len().saturating_sub(RECENT);
                if let Some(typed) = react(&String::from_utf8_lossy(&shown[from..])) {
                    master
                        .write_all(typed.as_ref().as_bytes())
                        .expect("it can be typed");
                }
            }
            _ => {
                if let Some(status) = child.try_wait().expect("its state") {
                    break status.code().unwrap_or(-1);
                }
            }
        }
        if began.elapsed() > PATIENCE {
            let _ = child.kill();
            let _ = child.wait();
            panic!("it does not end: {}", String::from_utf8_lossy(&shown));
        }
    };
    drop(slave);
    (code, String::from_utf8(shown).expect("UTF-8"))
}
