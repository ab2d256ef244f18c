//! `scalewright build-firmware`: the images, from the source.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use crate::firmware::board::Board;
use crate::firmware::build::{
    BuildFault, Built, Step, build, image_path, link_without_panics, source_root,
};

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
    /// Only see whether the rp2040's program could panic; makes no image
    #[arg(long, hide = true, conflicts_with = "board")]
    panic_check: bool,
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
        _ if arguments.panic_check => vec![Board::Rp2040],
        Some(board) => vec![board],
        None => Board::ALL.to_vec(),
    };
    let mut told = Vec::new();
    for board in boards {
        let mut progress = Progress::new(arguments.json);
        let root = root_of(arguments, board)?;
        progress.say(&format!("firmware for {board}"));
        let mut on_step = |step: Step| match step {
            Step::With {
                release,
                means,
                rustc,
            } => {
                progress.fact("with", &format!("Rust {release}, {}", means.words()));
                if is_another(&rustc) {
                    progress.fact("compiler", &rustc.display().to_string());
                }
                progress.doing("compiling", "..");
            }
            Step::Compiling { count, name } => {
                progress.doing("compiling", &format!("package {count}: {name}"));
            }
        };
        if arguments.panic_check {
            link_without_panics(&root, arguments.locked, &mut on_step)
                .map_err(|fault| failed(&fault, board, arguments.verbose))?;
            progress.fact("links", "no panic can be reached but in the library stacks");
            continue;
        }
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

/// Root of the source to build.
fn root_of(arguments: &Arguments, board: Board) -> Result<PathBuf, Problem> {
    source_root(&here(arguments.source.as_ref())).map_err(|fault| {
        let Some(named) = &arguments.source else {
            return not_built(&fault, board, None);
        };
        let what = if named.is_dir() {
            "the folder named with --source holds no firmware source"
        } else {
            "there is no folder of the name given with --source"
        };
        Problem::new(
            exit::DATA,
            what,
            "name the root of the source: the folder in which firmware/core lies",
        )
        .fact("folder", named.display().to_string())
    })
}

/// Whether this compiler is another than a person gets who types `rustc`: its
/// version would else seem to be wrong.
fn is_another(rustc: &Path) -> bool {
    let name = format!("rustc{}", std::env::consts::EXE_SUFFIX);
    let typed = std::env::split_paths(&std::env::var_os("PATH").unwrap_or_default())
        .map(|place| place.join(&name))
        .find(|path| path.is_file());
    typed.as_deref() != Some(rustc)
}

/// A file's path as it can be typed here: from the current folder if it lies
/// in that, else whole.
fn typed(file: &Path) -> String {
    // Both freed of links and "..", which hide that one lies in the other.
    let inside = here(None).canonicalize().ok().and_then(|folder| {
        let file = file.canonicalize().ok()?;
        file.strip_prefix(folder).map(Path::to_path_buf).ok()
    });
    inside.as_deref().unwrap_or(file).display().to_string()
}

/// The command that puts the image on a board, as it can be typed here.
fn next(root: &Path, board: Board) -> String {
    let mut command = format!("scalewright flash --board {board}");
    if board == Board::Atmega328p {
        // A board that is new does not tell which port it is on.
        command += " --port PORT";
    }
    let whole = |folder: PathBuf| folder.canonicalize().ok();
    let found_by_itself = source_root(&here(None)).ok().and_then(whole);
    if found_by_itself.is_none() || found_by_itself != whole(root.into()) {
        let path = typed(&image_path(root, board));
        let mark = if path.contains(char::is_whitespace) {
            "\""
        } else {
            ""
        };
        command += &format!(" --image {mark}{path}{mark}");
    }
    command
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

fn show(built: &Built, board: Board, root: &Path, progress: &mut Progress) {
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
        progress.fact("image", &typed(file));
    }
    // Not wrapped: what is copied must be one line.
    progress.say(&format!("  {:10}{}", "next", next(root, board)));
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
