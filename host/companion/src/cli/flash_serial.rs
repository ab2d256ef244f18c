//! The `ATmega328P`'s way: through its serial bootloader.

use std::fs;
use std::path::PathBuf;

use crate::firmware::check::Checked;
use crate::firmware::hex;
use crate::firmware::serial_loader::{Loader, LoaderFault, Step};

use super::firmware_problem::not_loaded;
use super::flash::{Arguments, Route, finished};
use super::flash_report::{Flashed, Verified};
use super::problem::{Problem, exit};
use super::progress::Progress;

/// A file of this run in the system's folder for such.
fn scratch(ending: &str) -> PathBuf {
    std::env::temp_dir().join(format!("scalewright-flash-{}.{ending}", std::process::id()))
}

/// Writes the image and waits for what comes of it.
///
/// # Errors
/// When the bootloader cannot be written.
pub fn write(
    port: &str,
    checked: &Checked,
    route: &Route,
    arguments: &Arguments,
    progress: &mut Progress,
) -> Result<Flashed, Problem> {
    let file = scratch("hex");
    fs::write(&file, hex::write(&checked.image)).map_err(|error| {
        Problem::new(
            exit::DATA,
            format!("cannot write a temporary file: {error}"),
            "check the free space and your permission there",
        )
        .fact("file", file.display().to_string())
    })?;
    let loader = Loader {
        programmer: arguments.programmer.clone(),
        part: "m328p",
        baud: arguments.baud,
    };
    let bytes = checked.image.bytes();
    progress.doing("knocking", "at the board's bootloader ..");
    let mut log = String::new();
    let outcome = loader.write(port, &file, &mut log, &mut |step| match step {
        Step::Knocking(times) => {
            progress.doing(
                "knocking",
                &format!("at the board's bootloader, {times} of 10"),
            );
        }
        Step::Writing(percent) => {
            let text = format!("{percent:3} % of {bytes} bytes");
            progress.bar("writing", percent as usize, 100, &text);
        }
        Step::Reading(percent) => {
            let text = format!("{percent:3} % read back");
            progress.bar("verifying", percent as usize, 100, &text);
        }
    });
    let _ = fs::remove_file(&file);
    outcome.map_err(|fault| told(&fault, port, arguments, &log))?;
    let after = route.await_hello(progress);
    let written = format!("{bytes} bytes, read back by avrdude and found the same");
    Ok(finished(route, written, Verified::ReadBack, after))
}

/// The trouble, with the whole log in a file.
fn told(fault: &LoaderFault, port: &str, arguments: &Arguments, log: &str) -> Problem {
    let problem = not_loaded(fault, port, &arguments.programmer, arguments.baud);
    if matches!(fault, LoaderFault::Missing | LoaderFault::NotRun { .. }) {
        return problem;
    }
    let path = scratch("log");
    match fs::write(&path, log) {
        Ok(()) => problem.fact("log", path.display().to_string()),
        Err(_) => problem,
    }
}
