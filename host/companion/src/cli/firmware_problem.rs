//! What people are told when firmware cannot be built or written.

use std::path::Path;

use crate::firmware::board::Board;
use crate::firmware::boot_drive::CopyFault;
use crate::firmware::build::BuildFault;
use crate::firmware::check::Refusal;
use crate::firmware::serial_loader::LoaderFault;

use super::problem::{Problem, exit};

/// How to get the chip to show its drive.
pub const BOOT_BUTTON: &str =
    "hold the board's BOOTSEL button while you plug it in, until its drive appears";

/// An image that may not go on `board`.
pub fn refused(refusal: &Refusal, path: &Path, board: Board) -> Problem {
    let build = format!("make one with `scalewright build-firmware --board {board}`");
    let advice = match refusal {
        Refusal::Image(_) | Refusal::NotOurs | Refusal::Misplaced { .. } => build,
        Refusal::Damaged => format!("fetch or copy the file anew, or {build}"),
        Refusal::OtherBoard { .. } => {
            format!("name an image for this board with --image, or {build}")
        }
        Refusal::OtherWire { .. } => {
            format!("use the program that came with this image, or {build}")
        }
        Refusal::TooLarge { .. } => {
            "leave parts of the firmware out; nothing was written to the board".into()
        }
    };
    Problem::new(exit::DATA, refusal.to_string(), advice).fact("image", path.display().to_string())
}

/// A boot drive that did not take the image.
pub fn not_copied(fault: &CopyFault, folder: &Path) -> Problem {
    let advice = match fault {
        CopyFault::Vanished { .. } => {
            format!("try another cable; then {BOOT_BUTTON}, and flash again")
        }
        CopyFault::Refused {
            permission: true, ..
        } => "mount the drive so that you may write to it, or name it with --drive".into(),
        CopyFault::Refused { .. } => {
            format!("pull the plug; then {BOOT_BUTTON}, and flash again")
        }
    };
    Problem::new(exit::SCALE, fault.to_string(), advice).fact("drive", folder.display().to_string())
}

/// A serial bootloader that could not be written.
pub fn not_loaded(fault: &LoaderFault, port: &str, programmer: &str, baud: u32) -> Problem {
    let advice: String = match fault {
        LoaderFault::Missing => "install it: `sudo apt install avrdude` (Debian), `brew install avrdude` (macOS), `winget install AVRDudes.AVRDUDE` (Windows)".into(),
        LoaderFault::NotRun { .. } => "check that avrdude runs by itself: `avrdude -v`".into(),
        LoaderFault::NoAnswer => format!(
            "press the board's reset button just as the line says \"knocking\"; check --port; older bootloaders want `--baud 57600` (now {baud})"
        ),
        LoaderFault::OtherChip { .. } => {
            "check which board is on this port; nothing was written".into()
        }
        LoaderFault::NoSuchPort => {
            "plug the board in; `scalewright find` lists the ports there are".into()
        }
        LoaderFault::Busy => "close the other program, or name another port with --port".into(),
        LoaderFault::NoPermission => {
            "add yourself to the group that owns the port (often dialout), then log in anew".into()
        }
        LoaderFault::Mismatch => {
            "flash again; if it stays so, the chip's flash is worn out: replace the board".into()
        }
        LoaderFault::UnknownProgrammer => {
            format!("\"{programmer}\" is no name avrdude knows: `avrdude -c ?` lists them")
        }
        LoaderFault::Other { .. } => "read its words in the log; check port and cable".into(),
    };
    Problem::new(exit::SCALE, fault.to_string(), advice).fact("port", port)
}

/// A build without an image; `log` is where all its words are kept.
pub fn not_built(fault: &BuildFault, board: Board, log: Option<&Path>) -> Problem {
    let target = board.target();
    let (code, advice) = match fault {
        BuildFault::NoSource { .. } => (
            exit::DATA,
            vec!["run it inside the source folder, or name that with --source".into()],
        ),
        BuildFault::NoBoard { .. } => (
            exit::DATA,
            vec!["fetch the whole source, or name another folder with --source".into()],
        ),
        BuildFault::NoToolchain => (exit::SCALE, toolchain_advice(board)),
        BuildFault::NoLinker { .. } => (exit::SCALE, vec![linker_advice(board).into()]),
        BuildFault::Failed { .. } => (
            exit::DATA,
            vec!["read the log; `scalewright build-firmware --verbose` prints it".into()],
        ),
        BuildFault::Image(Refusal::TooLarge { .. }) => (
            exit::DOES_NOT_PASS,
            vec![format!(
                "firmware/images/{board}.elf runs on the emulated chip only; \
                 firmware/README.md says how far it is"
            )],
        ),
        BuildFault::Image(_) => (
            exit::DATA,
            vec!["the board's code is at fault: see firmware/README.md".into()],
        ),
        BuildFault::File { .. } => (
            exit::DATA,
            vec!["check the path, your permission and the free space".into()],
        ),
    };
    let mut problem = Problem::new(code, fault.to_string(), "");
    problem.advice = advice;
    problem = problem.fact("board", format!("{board} ({target})"));
    match fault {
        BuildFault::NoSource { from } => problem = problem.fact("from", from.display().to_string()),
        BuildFault::NoBoard { folder } => {
            problem = problem.fact("folder", folder.display().to_string());
        }
        _ => {}
    }
    match log {
        Some(path) => problem.fact("log", path.display().to_string()),
        None => problem,
    }
}

/// The commands that bring a linker.
const fn linker_advice(board: Board) -> &'static str {
    match board {
        Board::Rp2040 => "`sudo apt install binutils-arm-none-eabi` (Debian)",
        Board::Atmega328p => {
            "`sudo apt install gcc-avr avr-libc` (Debian), `brew install avr-gcc` (macOS), the AVR GNU toolchain of the chip's maker (Windows)"
        }
    }
}

/// The commands that bring a toolchain, for each way there is.
fn toolchain_advice(board: Board) -> Vec<String> {
    let (rustup, linker) = match board {
        Board::Rp2040 => (
            "with rustup: `rustup target add thumbv6m-none-eabi`",
            "binutils-arm-none-eabi",
        ),
        Board::Atmega328p => (
            "with rustup: `rustup toolchain install nightly --component rust-src`, and avr-gcc",
            "gcc-avr avr-libc",
        ),
    };
    vec![
        rustup.into(),
        format!("on Debian: `sudo apt install rustc-web cargo-web rust-web-src {linker}`"),
    ]
}
