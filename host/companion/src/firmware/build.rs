//! Building a board's firmware, and laying its images down.
//!
//! The one way to build: the tests and a person at a terminal go it alike.

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Sender, channel};

use serde::Deserialize;

use super::board::Board;
use super::check::{Checked, Refusal, examine};
use super::seal;
use super::squeeze::squeeze;
use super::toolchain::{Means, Toolchain, choose, on_path, search};
use super::{elf, hex, sources, uf2};

/// Where images lie, from the root of the source.
const IMAGES: &str = "firmware/images";

/// What links the images of the AVR.
const AVR_LINKER: &str = "avr-gcc";

/// How it links what was squeezed: for the chip, with the short forms of calls,
/// without what nobody uses.
const AVR_LINKING: [&str; 5] = [
    "-mmcu=atmega328p",
    "-mrelax",
    "-Wl,--gc-sections",
    "-x",
    "assembler",
];

/// Said where nothing in a log tells.
const UNTOLD: &str = "cargo ended without saying why";

/// What else than the toolchain's own linker links those of the RP2040.
const ARM_LINKERS: [&str; 2] = ["ld.lld", "arm-none-eabi-ld"];

/// How cargo is told of another linker (The Cargo Book, "Configuration",
/// `target.<triple>.linker`).
const ARM_LINKER_KEY: &str = "CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER";

/// What a build reports as it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// With this toolchain.
    With {
        /// Its version.
        release: String,
        /// How.
        means: Means,
        /// Its compiler.
        rustc: PathBuf,
    },
    /// This many packages begun; the last is `name`.
    Compiling {
        /// How many.
        count: usize,
        /// The last.
        name: String,
    },
}

/// A finished build.
#[derive(Clone, Debug, PartialEq)]
pub struct Built {
    /// The images written: ELF, the loader's format, raw.
    pub files: Vec<PathBuf>,
    /// What is in them.
    pub checked: Checked,
    /// Flash used, bytes.
    pub flash_bytes: u64,
    /// RAM taken before the program starts, bytes.
    pub static_ram_bytes: u32,
    /// Limits the board set itself.
    pub budget: Budget,
}

/// Limits a board sets itself in its `budget.toml`, bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub struct Budget {
    /// Flash.
    pub flash_bytes: Option<u64>,
    /// RAM, the deepest stack included.
    pub ram_bytes: Option<u32>,
}

/// Why there is no image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BuildFault {
    /// No source here.
    NoSource {
        /// Where it was looked for.
        from: PathBuf,
    },
    /// This source has no such board.
    NoBoard {
        /// The folder that is missing.
        folder: PathBuf,
    },
    /// No toolchain can build for it.
    NoToolchain,
    /// The linker is missing.
    NoLinker {
        /// Its name.
        name: &'static str,
    },
    /// The build ended badly.
    Failed {
        /// The first line that says why.
        why: String,
        /// All that was printed.
        log: String,
    },
    /// What was built is no image for this board.
    Image(Refusal),
    /// A file cannot be written or read.
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        cause: String,
    },
}

impl std::fmt::Display for BuildFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoSource { .. } => write!(f, "the firmware's source is not here"),
            Self::NoBoard { .. } => write!(f, "this source has no firmware for that board"),
            Self::NoToolchain => write!(f, "no Rust toolchain here can build for this board"),
            Self::NoLinker { name } => write!(
                f,
                "{name}, which links this board's firmware, is not installed"
            ),
            Self::Failed { why, .. } => write!(f, "the firmware does not build: {why}"),
            Self::Image(refusal) => write!(f, "what was built cannot be used: {refusal}"),
            Self::File { path, cause } => write!(f, "cannot use {}: {cause}", path.display()),
        }
    }
}

impl std::error::Error for BuildFault {}

/// Root of the source that holds `from`, looked for upwards.
///
/// # Errors
/// [`BuildFault::NoSource`].
pub fn source_root(from: &Path) -> Result<PathBuf, BuildFault> {
    let marked = |folder: &&Path| folder.join("firmware/core/Cargo.toml").is_file();
    let found = from.ancestors().find(marked);
    found
        .map(Path::to_path_buf)
        .ok_or(BuildFault::NoSource { from: from.into() })
}

/// The image a build leaves for the board's loader, whether it exists or not.
#[must_use]
pub fn image_path(root: &Path, board: Board) -> PathBuf {
    root.join(IMAGES)
        .join(format!("{board}.{}", board.ending()))
}

/// Builds `board` from the source at `root`; `locked` keeps the lock file as it
/// is.
///
/// # Errors
/// [`BuildFault`].
pub fn build(
    root: &Path,
    board: Board,
    locked: bool,
    on_step: &mut dyn FnMut(Step),
) -> Result<Built, BuildFault> {
    let Prepared {
        mut command,
        toolchain,
        folder,
    } = prepare(root, board, locked, on_step)?;
    // Noted before: what is changed during the build is newer than the image.
    sources::forget(root, board);
    let noted = sources::note(root, board).map_err(|why| failed(why, ""))?;
    let elf = match board {
        Board::Rp2040 => run(command, on_step)?,
        Board::Atmega328p => {
            let text = target_folder(&toolchain, &folder)?
                .join(format!("{board}-{}.s", toolchain.release));
            command.args(["--", &format!("--emit=asm={}", text.display())]);
            run(command, on_step)?;
            link_squeezed(&text)?
        }
    };
    let budget = read_budget(&folder)?;
    let built = lay_down(root, board, &elf, budget)?;
    sources::lay_down(root, board, &noted)
        .map_err(|(path, cause)| BuildFault::File { path, cause })?;
    Ok(built)
}

/// Links the RP2040's program without its two library stacks (USB, display) and with a
/// panic handler that does not exist: it links only if no panic can be reached. The
/// images stay as they are.
///
/// # Errors
/// [`BuildFault`]; [`BuildFault::Failed`] when one can be reached.
pub fn link_without_panics(
    root: &Path,
    locked: bool,
    on_step: &mut dyn FnMut(Step),
) -> Result<(), BuildFault> {
    let mut command = prepare(root, Board::Rp2040, locked, on_step)?.command;
    command.args(["--no-default-features", "--features", "panic-link-check"]);
    run(command, on_step).map(|_| ())
}

/// A build that can begin.
struct Prepared {
    command: Command,
    toolchain: Toolchain,
    folder: PathBuf,
}

fn prepare(
    root: &Path,
    board: Board,
    locked: bool,
    on_step: &mut dyn FnMut(Step),
) -> Result<Prepared, BuildFault> {
    let folder = root.join("firmware").join(board.name());
    if !folder.join("Cargo.toml").is_file() {
        return Err(BuildFault::NoBoard { folder });
    }
    let found = search(board.target(), &folder);
    let (toolchain, means) = choose(&found).ok_or(BuildFault::NoToolchain)?;
    let linker = match board {
        Board::Atmega328p if on_path(AVR_LINKER) => None,
        Board::Atmega328p => return Err(BuildFault::NoLinker { name: AVR_LINKER }),
        Board::Rp2040 => arm_linker(toolchain, &found)?,
    };
    on_step(Step::With {
        release: toolchain.release.clone(),
        means,
        rustc: toolchain.compiler(),
    });
    let mut command = order(toolchain, means, board);
    command
        .current_dir(&folder)
        .args(locked.then_some("--locked"));
    if let Some(linker) = linker {
        command.env(ARM_LINKER_KEY, linker);
    }
    Ok(Prepared {
        command,
        toolchain: toolchain.clone(),
        folder,
    })
}

/// Where cargo puts what it makes of the source in `folder`.
fn target_folder(toolchain: &Toolchain, folder: &Path) -> Result<PathBuf, BuildFault> {
    #[derive(Deserialize)]
    struct Metadata {
        target_directory: PathBuf,
    }
    let mut command = called(toolchain);
    command.args(["metadata", "--no-deps", "--format-version", "1"]);
    let output = command.current_dir(folder).stdin(Stdio::null()).output();
    let output = output.map_err(|error| failed(format!("cargo: {error}"), ""))?;
    let metadata: Metadata = serde_json::from_slice(&output.stdout).map_err(|_| {
        let log = String::from_utf8_lossy(&output.stderr);
        failed(cause(&log), &log)
    })?;
    Ok(metadata.target_directory)
}

/// Squeezes the program that the compiler wrote to `text`, and links it.
fn link_squeezed(text: &Path) -> Result<PathBuf, BuildFault> {
    let trouble = |path: &Path| {
        let path = path.to_path_buf();
        move |error: std::io::Error| BuildFault::File {
            path,
            cause: error.to_string(),
        }
    };
    let written = fs::read_to_string(text).map_err(trouble(text))?;
    let squeezed = text.with_extension("squeezed.s");
    fs::write(&squeezed, squeeze(&written)).map_err(trouble(&squeezed))?;
    let elf = text.with_extension("elf");
    let output = Command::new(AVR_LINKER)
        .args(AVR_LINKING)
        .arg(&squeezed)
        .arg("-o")
        .arg(&elf)
        .stdin(Stdio::null())
        .output();
    let output = output.map_err(|error| failed(format!("{AVR_LINKER}: {error}"), ""))?;
    if output.status.success() {
        return Ok(elf);
    }
    let log = String::from_utf8_lossy(&output.stderr);
    let why = match cause(&log) {
        why if why == UNTOLD => format!("{AVR_LINKER} cannot link it"),
        why => why,
    };
    Err(failed(why, &log))
}

fn failed(why: impl Into<String>, log: &str) -> BuildFault {
    BuildFault::Failed {
        why: why.into(),
        log: log.into(),
    }
}

/// The linker to name for the RP2040; none when the toolchain has the one it
/// looks for. Distributions ship that in a package of its own, often without.
fn arm_linker(toolchain: &Toolchain, found: &[Toolchain]) -> Result<Option<PathBuf>, BuildFault> {
    if toolchain.lld().is_some() || on_path("rust-lld") {
        return Ok(None);
    }
    let borrowed = found.iter().find_map(Toolchain::lld);
    let other = || ARM_LINKERS.into_iter().find(|name| on_path(name));
    borrowed
        .or_else(|| other().map(PathBuf::from))
        .map(Some)
        .ok_or(BuildFault::NoLinker {
            name: "arm-none-eabi-ld",
        })
}

/// This toolchain's cargo.
fn called(toolchain: &Toolchain) -> Command {
    let mut words = toolchain.cargo.iter();
    let mut command = Command::new(words.next().map_or(Path::new("cargo"), PathBuf::as_path));
    command.args(words);
    if let Some(rustc) = &toolchain.rustc {
        command.env("RUSTC", rustc);
    }
    // Set by the rustup that runs us, if one does: not for another's toolchain.
    for name in [
        "CARGO",
        "RUSTDOC",
        "RUSTC_WRAPPER",
        "RUSTC_WORKSPACE_WRAPPER",
    ] {
        command.env_remove(name);
    }
    command
}

/// The build command of this toolchain. More for the compiler may follow.
fn order(toolchain: &Toolchain, means: Means, board: Board) -> Command {
    let mut command = called(toolchain);
    let bin = format!("scalewright-{board}");
    command.args(["rustc", "--release", "--bin", &bin]);
    command.args(["--target", board.target()]);
    // Rendered for people on standard error, told to us on standard output.
    command.args(["--message-format", "json-render-diagnostics"]);
    // These would win over the flags in the board's own configuration, which
    // place its code in memory.
    for name in [
        "RUSTFLAGS",
        "CARGO_ENCODED_RUSTFLAGS",
        "CARGO_BUILD_RUSTFLAGS",
    ] {
        command.env_remove(name);
    }
    match means {
        Means::Target => {}
        Means::Nightly => {
            command.args(["-Z", "build-std=core"]);
        }
        Means::Source => {
            command.args(["-Z", "build-std=core"]);
            command.env("RUSTC_BOOTSTRAP", "1");
        }
    }
    command
}

enum Heard {
    Message(String),
    Words(String),
}

/// Runs the build; the ELF file it made.
fn run(mut command: Command, on_step: &mut dyn FnMut(Step)) -> Result<PathBuf, BuildFault> {
    let child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = child.map_err(|error| failed(format!("cargo: {error}"), ""))?;
    let (sender, heard) = channel();
    forward(child.stdout.take(), sender.clone(), Heard::Message);
    forward(child.stderr.take(), sender, Heard::Words);
    let (mut elf, mut log, mut count) = (None, String::new(), 0);
    for line in heard {
        match line {
            Heard::Message(text) => elf = executable(&text).or(elf),
            Heard::Words(text) => {
                if let Some(name) = text.trim().strip_prefix("Compiling ") {
                    count += 1;
                    let name = name.split(' ').next().unwrap_or_default().to_string();
                    on_step(Step::Compiling { count, name });
                }
                log.push_str(&text);
                log.push('\n');
            }
        }
    }
    let status = child.wait();
    if !status.is_ok_and(|status| status.success()) {
        let why = cause(&log);
        return Err(failed(why, &log));
    }
    elf.ok_or_else(|| failed("cargo made no program", &log))
}

/// The line of a build's words that says why it failed: what does not fit, as
/// linkers say it, or else the first error.
fn cause(log: &str) -> String {
    let full = log.lines().find(|line| line.contains("overflowed by"));
    if let Some((_, region)) = full.and_then(|line| line.split_once("region ")) {
        return format!("it is too large, memory region {}", region.trim());
    }
    let first = log.lines().find(|line| line.starts_with("error"));
    first.unwrap_or(UNTOLD).into()
}

/// Passes on what comes from `pipe`, line by line, until its end.
fn forward(pipe: Option<impl Read + Send + 'static>, to: Sender<Heard>, wrap: fn(String) -> Heard) {
    let Some(pipe) = pipe else { return };
    std::thread::spawn(move || {
        let mut lines = BufReader::new(pipe).split(b'\n');
        while let Some(Ok(line)) = lines.next() {
            let text = String::from_utf8_lossy(&line).into_owned();
            if to.send(wrap(text)).is_err() {
                return;
            }
        }
    });
}

/// The program a message of cargo tells of (The Cargo Book, "External tools",
/// artifact messages).
fn executable(message: &str) -> Option<PathBuf> {
    #[derive(Deserialize)]
    struct Message {
        reason: String,
        executable: Option<PathBuf>,
    }
    let message: Message = serde_json::from_str(message).ok()?;
    (message.reason == "compiler-artifact").then_some(message.executable)?
}

fn read_budget(folder: &Path) -> Result<Budget, BuildFault> {
    let path = folder.join("budget.toml");
    let Ok(text) = fs::read_to_string(&path) else {
        return Ok(Budget::default());
    };
    toml::from_str(&text).map_err(|error| BuildFault::File {
        path,
        cause: error.message().into(),
    })
}

/// Writes the images that come of the ELF file.
fn lay_down(
    root: &Path,
    board: Board,
    elf_path: &Path,
    budget: Budget,
) -> Result<Built, BuildFault> {
    let trouble = |path: &Path, error: &std::io::Error| BuildFault::File {
        path: path.into(),
        cause: error.to_string(),
    };
    let mut content = fs::read(elf_path).map_err(|error| trouble(elf_path, &error))?;
    let folder = root.join(IMAGES);
    fs::create_dir_all(&folder).map_err(|error| trouble(&folder, &error))?;
    // Made by the machine, so no business of the history's.
    let ignore = folder.join(".gitignore");
    fs::write(&ignore, "*\n").map_err(|error| trouble(&ignore, &error))?;
    // Kept even where it is refused, to see why; and what was made before must
    // not be flashed for it.
    let kept = folder.join(format!("{board}.elf"));
    fs::write(&kept, &content).map_err(|error| trouble(&kept, &error))?;
    for ending in [board.ending(), "bin"] {
        let _ = fs::remove_file(folder.join(format!("{board}.{ending}")));
    }
    let linked = examine(&content, board).map_err(BuildFault::Image)?;
    seal::put(&mut content, &linked.image.flat(&board.room()));
    let checked = examine(&content, board).map_err(BuildFault::Image)?;
    fs::write(&kept, &content).map_err(|error| trouble(&kept, &error))?;
    let ram =
        elf::static_ram(&content, &board.ram()).map_err(|fault| BuildFault::Image(fault.into()))?;
    let loader = match board {
        Board::Rp2040 => uf2::write(&checked.image),
        Board::Atmega328p => hex::write(&checked.image).into_bytes(),
    };
    let raw = checked.image.flat(&board.room());
    let flash_bytes = raw.len() as u64;
    let mut files = vec![kept];
    for (ending, bytes) in [(board.ending(), loader), ("bin", raw)] {
        let path = folder.join(format!("{board}.{ending}"));
        fs::write(&path, bytes).map_err(|error| trouble(&path, &error))?;
        files.push(path);
    }
    Ok(Built {
        files,
        checked,
        flash_bytes,
        static_ram_bytes: ram,
        budget,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words of GNU ld 2.26 as avr-gcc passes them on, and of cargo.
    #[test]
    fn the_line_that_tells_is_found() {
        let full = "   Compiling x\nerror: linking with `avr-gcc` failed: exit status: 1\n\
            \u{20}         ld: region `text' overflowed by 31018 bytes\n";
        assert_eq!(
            cause(full),
            "it is too large, memory region `text' overflowed by 31018 bytes"
        );
        let other = "   Compiling x\nerror[E0432]: unresolved import\nerror: could not compile\n";
        assert_eq!(cause(other), "error[E0432]: unresolved import");
        assert_eq!(cause(""), "cargo ended without saying why");
    }

    /// The Cargo Book, "External tools": one JSON object a line.
    #[test]
    fn the_program_is_the_one_cargo_names() {
        let message = r#"{"reason":"compiler-artifact","executable":"/t/scale.elf","fresh":true}"#;
        assert_eq!(executable(message), Some("/t/scale.elf".into()));
        let library = r#"{"reason":"compiler-artifact","executable":null}"#;
        assert_eq!(executable(library), None);
        assert_eq!(
            executable(r#"{"reason":"build-finished","success":true}"#),
            None
        );
        assert_eq!(executable("no JSON"), None);
    }
}
