//! `scalewright build-firmware`: the images, from the source.

use std::path::PathBuf;

use clap::Args;
use serde_json::{Value, json};

use crate::firmware::board::Board;
use crate::firmware::build::{BuildFault, Built, Step, build, source_root};

use super::Outcome;
use super::firmware_problem::not_built;
use super::problem::{Problem, exit};
use super::progress::Progress;

/// Options of `build-firmware`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright build-firmware                    every board
  scalewright build-firmware --board rp2040     one of them

Run it inside the source folder. What you get, in firmware/images:
  rp2040.elf, rp2040.uf2, rp2040.bin            for `scalewright flash`,
  atmega328p.elf, atmega328p.hex, atmega328p.bin    or any other loader

It needs a Rust toolchain that can build for the chip, and for the atmega328p
also avr-gcc; if none is found, it says what to install.")]
pub struct Arguments {
    /// Only this board: rp2040 or atmega328p
    #[arg(long)]
    board: Option<Board>,
    /// Root of the source, if you are not in it
    #[arg(long, value_name = "DIR")]
    source: Option<PathBuf>,
    /// Refuse to change the lock files
    #[arg(long)]
    locked: bool,
    /// Show all the compiler says if a build fails
    #[arg(long)]
    verbose: bool,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// The folder commands look for the source from.
pub fn here(source: Option<&PathBuf>) -> PathBuf {
    source.map_or_else(
        || std::env::current_dir().unwrap_or_default(),
        |folder| std::path::absolute(folder).unwrap_or_else(|_| folder.clone()),
    )
}

/// Runs `build-firmware`.
pub fn run(arguments: &Arguments) -> Outcome {
    let boards = match arguments.board {
        Some(board) => vec![board],
        None => Board::ALL.to_vec(),
    };
    let mut told = Vec::new();
    for board in boards {
        let mut progress = Progress::new(arguments.json);
        let root = source_root(&here(arguments.source.as_ref()))
            .map_err(|fault| not_built(&fault, board, None))?;
        progress.say(&format!("firmware for {board}"));
        let mut on_step = |step: Step| match step {
            Step::With { release, means } => {
                progress.fact("with", &format!("Rust {release}, {}", means.words()));
                progress.doing("compiling", "..");
            }
            Step::Compiling { count, name } => {
                progress.doing("compiling", &format!("package {count}: {name}"));
            }
        };
        let built = build(&root, board, arguments.locked, &mut on_step)
            .map_err(|fault| failed(&fault, board, arguments.verbose))?;
        show(&built, board, &root, &mut progress);
        told.push(told_of(&built, board));
    }
    if arguments.json {
        outln!("{}", json!({ "images": told }));
    }
    Ok(exit::PASSED)
}

/// Keeps a failed build's words in a file, and names it.
fn failed(fault: &BuildFault, board: Board, verbose: bool) -> Problem {
    let BuildFault::Failed { log, .. } = fault else {
        return not_built(fault, board, None);
    };
    if verbose {
        eprintln!("{log}");
    }
    let path = std::env::temp_dir().join(format!("scalewright-build-{board}.log"));
    let kept = std::fs::write(&path, log).is_ok();
    not_built(fault, board, kept.then_some(path.as_path()))
}

/// "61.2 KiB", or bytes while they are few.
pub fn size(bytes: u64) -> String {
    if bytes < 4096 {
        format!("{bytes} bytes")
    } else if bytes.is_multiple_of(1024) {
        format!("{} KiB", bytes / 1024)
    } else {
        format!("{:.1} KiB", bytes as f64 / 1024.0)
    }
}

fn show(built: &Built, board: Board, root: &std::path::Path, progress: &mut Progress) {
    let room = board.room().len() as u64;
    let ram = board.ram().len() as u64;
    let limit = |bytes: u64, budget: Option<u64>| match budget {
        Some(budget) if bytes > budget => format!(", OVER its budget of {}", size(budget)),
        Some(budget) => format!(", budget {}", size(budget)),
        None => String::new(),
    };
    let flash = built.flash_bytes;
    let budget = limit(flash, built.budget.flash_bytes);
    let share = format!("{} of {}{budget}", size(flash), size(room));
    progress.fact("flash", &share);
    let taken = built.static_ram_bytes.into();
    let budget = limit(taken, built.budget.ram_bytes.map(u64::from));
    let with_stack = if budget.is_empty() {
        ""
    } else {
        " with the stack"
    };
    let share = format!(
        "{} of {} before the stack{budget}{with_stack}",
        size(taken),
        size(ram)
    );
    progress.fact("RAM", &share);
    for file in &built.files {
        let name = file.strip_prefix(root).unwrap_or(file);
        progress.fact("image", &name.display().to_string());
    }
    progress.fact("next", &format!("scalewright flash --board {board}"));
}

fn told_of(built: &Built, board: Board) -> Value {
    let (major, minor, patch) = built.checked.passport.firmware;
    json!({
        "board": board.name(),
        "firmware": format!("{major}.{minor}.{patch}"),
        "wire_version": built.checked.passport.wire_version,
        "layout_version": built.checked.passport.layout_version,
        "flash_bytes": built.flash_bytes,
        "static_ram_bytes": built.static_ram_bytes,
        "files": built.files,
    })
}
