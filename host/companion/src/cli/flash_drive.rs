//! The RP2040's way: blocks onto the drive of its ROM.

use std::fs;
use std::io::IsTerminal;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::firmware::boot_drive::{BootDrive, copy, look_at, search};
use crate::firmware::check::Checked;
use crate::firmware::uf2;

use super::firmware_problem::{BOOT_BUTTON, not_copied};
use super::flash::{Arguments, Route, finished};
use super::flash_report::{Flashed, Verified};
use super::problem::{Problem, exit};
use super::progress::Progress;

/// How long somebody at the keyboard may look for the button.
const AT_A_TERMINAL_S: u16 = 60;

/// How long a board may take to restart once it has every block.
const RESTART: Duration = Duration::from_secs(10);

/// Whether Ctrl-C is to be told of, because nothing has been written yet.
static WAITING: AtomicBool = AtomicBool::new(false);

/// Set by Ctrl-C.
static STOP: AtomicBool = AtomicBool::new(false);

/// As a shell reports a program that Ctrl-C ended: 128 and the signal's number.
const INTERRUPTED: i32 = 130;

/// The boot drive that is there now, if one is.
///
/// # Errors
/// When it is not the one wanted, when there are several, or when the folder
/// named is none.
pub fn ready(arguments: &Arguments) -> Result<Option<BootDrive>, Problem> {
    if let Some(folder) = &arguments.drive {
        let drive = look_at(folder);
        return match drive {
            Some(drive) if drive.is_rp2040() => Ok(Some(drive)),
            Some(drive) => Err(other_chip(&drive)),
            None if !folder.is_dir() => Err(no_folder(folder)),
            // A mount point stays empty until the board is plugged in.
            None if wait_s(arguments) > 0 => Ok(None),
            None => Err(no_drive(folder)),
        };
    }
    let (ours, others): (Vec<_>, Vec<_>) = search().into_iter().partition(BootDrive::is_rp2040);
    let mut ours = ours.into_iter();
    match (ours.next(), ours.next(), others.first()) {
        (Some(drive), None, _) => Ok(Some(drive)),
        (Some(first), Some(second), _) => Err(Problem::new(
            exit::SCALE,
            "more than one board waits for firmware",
            "unplug all but one, or name its drive with --drive",
        )
        .fact("drive", first.folder.display().to_string())
        .fact("drive", second.folder.display().to_string())),
        (None, _, Some(other)) => Err(other_chip(other)),
        (None, _, None) => Ok(None),
    }
}

fn no_folder(folder: &Path) -> Problem {
    let what = if folder.exists() {
        "what --drive names is a file: a boot drive is a folder"
    } else {
        "the folder named with --drive does not exist"
    };
    Problem::new(
        exit::SCALE,
        what,
        format!("{BOOT_BUTTON}; then name that, or leave --drive out"),
    )
    .fact("drive", folder.display().to_string())
    .fact("done", "nothing was written")
}

fn no_drive(folder: &Path) -> Problem {
    Problem::new(
        exit::SCALE,
        "this is no boot drive: it has no INFO_UF2.TXT",
        BOOT_BUTTON,
    )
    .fact("drive", folder.display().to_string())
}

fn other_chip(drive: &BootDrive) -> Problem {
    Problem::new(
        exit::SCALE,
        "the board that waits for firmware has another chip",
        format!("unplug it; for the rp2040, {BOOT_BUTTON}"),
    )
    .fact("drive", drive.folder.display().to_string())
    .fact("chip", drive.board_id.clone())
}

fn wait_s(arguments: &Arguments) -> u64 {
    let patient = std::io::stdin().is_terminal() && std::io::stdout().is_terminal();
    let default = if patient { AT_A_TERMINAL_S } else { 0 };
    arguments.wait.unwrap_or(default).into()
}

/// Waits until the drive is there.
///
/// # Errors
/// When it does not come, when Ctrl-C is pressed, or as [`ready`].
pub fn await_drive(arguments: &Arguments, progress: &mut Progress) -> Result<BootDrive, Problem> {
    // Without a handler Ctrl-C ends at once, and only its words are lost.
    let _ = ctrlc::set_handler(|| {
        if WAITING.load(Ordering::SeqCst) {
            STOP.store(true, Ordering::SeqCst);
        } else {
            std::process::exit(INTERRUPTED);
        }
    });
    WAITING.store(true, Ordering::SeqCst);
    let outcome = wait_for_it(arguments, progress);
    WAITING.store(false, Ordering::SeqCst);
    // It may have been pressed just as the drive came.
    if STOP.load(Ordering::SeqCst) {
        return Err(stopped(arguments));
    }
    outcome
}

fn stopped(arguments: &Arguments) -> Problem {
    let board = arguments.board;
    Problem::new(
        exit::STOPPED,
        "stopped: nothing was written",
        format!("`scalewright flash --board {board}` again, as soon as you like"),
    )
}

fn wait_for_it(arguments: &Arguments, progress: &mut Progress) -> Result<BootDrive, Problem> {
    let patience = wait_s(arguments);
    let began = Instant::now();
    let mut awaited = "for the boot drive";
    if patience > 0 {
        progress.fact("now you", BOOT_BUTTON);
        if let Some(folder) = &arguments.drive {
            progress.fact("awaited", &format!("INFO_UF2.TXT in {}", folder.display()));
            awaited = "for INFO_UF2.TXT in that folder";
        }
    }
    loop {
        if let Some(drive) = ready(arguments)? {
            return Ok(drive);
        }
        if STOP.load(Ordering::SeqCst) {
            return Err(stopped(arguments));
        }
        let waited = began.elapsed().as_secs();
        if waited >= patience {
            if let Some(folder) = &arguments.drive {
                return Err(no_drive(folder));
            }
            return Err(Problem::new(
                exit::SCALE,
                "no board waits for firmware: its boot drive is not mounted",
                BOOT_BUTTON,
            )
            .fact("looked at", "every mounted volume, for INFO_UF2.TXT")
            .fact("also", "a drive that the system does not mount by itself: mount it, and name it with --drive"));
        }
        let left = patience - waited;
        progress.doing("waiting", &format!("{awaited} .. {left} s"));
        std::thread::sleep(Duration::from_millis(250));
    }
}

/// Writes the image and waits for what comes of it.
///
/// # Errors
/// When the blocks cannot be written, or the board does not take them.
pub fn write(
    drive: &BootDrive,
    checked: &Checked,
    route: &Route,
    progress: &mut Progress,
) -> Result<Flashed, Problem> {
    let file = uf2::write(&checked.image);
    let of = file.len() / uf2::BLOCK;
    progress.bar("writing", 0, of, &format!("0 of {of} blocks"));
    copy(drive, &file, &mut |done| {
        progress.bar("writing", done, of, &format!("{done} of {of} blocks"));
    })
    .map_err(|fault| not_copied(&fault, &drive.folder))?;
    let began = Instant::now();
    while drive.is_there() {
        // Some systems go on showing a drive that is gone; then only its hello
        // tells that the board has restarted.
        if began.elapsed() >= RESTART {
            return match route.greet() {
                Ok(after) => Ok(finished(route, took(of), Verified::Hello, Ok(after))),
                Err(_) => Err(not_taken(drive, &file)),
            };
        }
        let waited = began.elapsed().as_secs();
        progress.doing("restart", &format!("waiting for the board .. {waited} s"));
        std::thread::sleep(Duration::from_millis(100));
    }
    let after = route.await_hello(progress);
    let verified = match &after {
        Ok(_) => Verified::Hello,
        Err(_) => Verified::Restart,
    };
    Ok(finished(route, took(of), verified, after))
}

fn took(blocks: usize) -> String {
    format!("{blocks} blocks; the board took them and restarted")
}

fn not_taken(drive: &BootDrive, file: &[u8]) -> Problem {
    let stored = fs::read(drive.folder.join("firmware.uf2")).is_ok_and(|there| there == file);
    let stored = if stored {
        "the drive holds the image as it was sent, but as a file only"
    } else {
        "the drive does not hold the image as it was sent"
    };
    Problem::new(
        exit::SCALE,
        "the boot drive is still there: the board has not taken the image",
        format!("pull the plug; then {BOOT_BUTTON}, and flash again"),
    )
    .fact("drive", drive.folder.display().to_string())
    .fact("read back", stored)
}
