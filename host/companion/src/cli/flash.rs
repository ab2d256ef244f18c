//! `scalewright flash`: firmware onto a board, and what became of its table.

use std::fs;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Args;

use crate::firmware::board::Board;
use crate::firmware::boot_drive::BootDrive;
use crate::firmware::build::{image_path, source_root};
use crate::firmware::check::{Checked, examine, layout_of};
use crate::firmware::image::MOST_BYTES;
use crate::firmware::survival::Holding;
use crate::link::LinkFault;
use crate::link::find::{open, search};

use super::Outcome;
use super::build_firmware::here;
use super::clock;
use super::firmware_problem::refused;
use super::flash_report::{Flashed, Verified, holding_words, version};
use super::problem::{GROUP, Problem, exit};
use super::progress::Progress;

/// How long a flashed scale may take to say hello.
const HELLO: Duration = Duration::from_secs(10);

/// Options of `flash`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright flash --board rp2040              what build-firmware made
  scalewright flash --board atmega328p --port /dev/ttyUSB0
  scalewright flash --board rp2040 --image scale.uf2

The image may be ELF, UF2, Intel HEX or raw; that is told by its content.
rp2040: hold the board's BOOTSEL button while you plug it in; the image goes to
the drive that appears. atmega328p: the image goes through the board's serial
bootloader, with avrdude, which reads it back.

Nothing is written before the image is known to fit the board. The calibration
table lies apart and stays; afterwards the scale is asked whether it has it.")]
pub struct Arguments {
    /// Kind of board: rp2040 or atmega328p
    #[arg(long)]
    pub board: Board,
    /// The image; without it, the one `build-firmware` made
    #[arg(long, value_name = "FILE")]
    image: Option<PathBuf>,
    /// The port the scale answers on
    #[arg(long)]
    pub port: Option<String>,
    /// The boot drive of the rp2040, if it is not found by itself
    #[arg(long, value_name = "DIR")]
    pub drive: Option<PathBuf>,
    /// How long to wait for the boot drive [default: 60 at a terminal, else 0]
    #[arg(long, value_name = "SECONDS")]
    pub wait: Option<u16>,
    /// What avrdude calls the atmega328p's bootloader
    #[arg(long, default_value = "arduino")]
    pub programmer: String,
    /// Speed of that bootloader, bit/s
    #[arg(long, default_value_t = 115_200)]
    pub baud: u32,
    /// Do not ask before a calibration goes out of force
    #[arg(long)]
    yes: bool,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs `flash`.
pub fn run(arguments: &Arguments) -> Outcome {
    let board = arguments.board;
    let path = chosen_image(arguments)?;
    let content = read(&path, board)?;
    let checked = examine(&content, board).map_err(|refusal| refused(&refusal, &path, board))?;
    let mut progress = Progress::new(arguments.json);
    progress.say(&format!(
        "firmware {} for {board}",
        version(checked.passport.firmware)
    ));
    progress.fact("image", &super::flash_report::image_words(&checked, &path));
    let met = Met::ask(arguments, &mut progress)?;
    if let Some(before) = &met.before {
        progress.fact("now", &holding_words(before));
    } else if let Some(why) = &met.fault {
        progress.fact("now", &format!("not known: {why}"));
    }
    consent(arguments, &checked, &met, &mut progress)?;
    let route = met.route(arguments, &mut progress)?;
    let flashed = match &route.way {
        Way::Drive(drive) => super::flash_drive::write(drive, &checked, &route, &mut progress)?,
        Way::Port(port) => {
            super::flash_serial::write(port, &checked, &route, arguments, &mut progress)?
        }
    };
    drop(progress);
    flashed.show(&checked, arguments.json)
}

/// Who was met before anything was written.
struct Met {
    /// The boot drive, if the board shows it already.
    drive: Option<BootDrive>,
    /// The scale that answered.
    before: Option<Holding>,
    /// Why none did, if any was asked.
    fault: Option<LinkFault>,
}

impl Met {
    fn ask(arguments: &Arguments, progress: &mut Progress) -> Result<Self, Problem> {
        let board = arguments.board;
        let drive = match board {
            Board::Rp2040 => super::flash_drive::ready(arguments)?,
            Board::Atmega328p => None,
        };
        // A board that shows its drive is not running as a scale.
        let asked = match (&drive, &arguments.port) {
            (Some(_), _) => Err(None),
            (None, Some(port)) => {
                progress.doing("asking", port);
                open(port, clock::first_id()).map_err(Some)
            }
            (None, None) => search(clock::first_id(), &mut |port| {
                progress.doing("asking", port);
            })
            .map_err(Some),
        };
        let asked = asked.and_then(|found| Holding::ask(found).map_err(Some));
        let (before, fault) = match asked {
            Ok(holding) if holding.board == board.name() => (Some(holding), None),
            Ok(other) if arguments.port.is_some() => return Err(other_scale(&other, board)),
            Ok(_) => (None, None),
            Err(fault) => (None, fault),
        };
        Ok(Self {
            drive,
            before,
            fault,
        })
    }

    /// The way to the board; may wait for somebody to press its button.
    fn route(self, arguments: &Arguments, progress: &mut Progress) -> Result<Route, Problem> {
        let named = arguments.port.clone();
        let met = self.before.as_ref().map(|holding| holding.port.clone());
        // A board with its own USB may come back under another name, a board
        // behind an adapter does not.
        let (way, port) = match arguments.board {
            Board::Rp2040 => {
                let drive = match self.drive {
                    Some(drive) => drive,
                    None => super::flash_drive::await_drive(arguments, progress)?,
                };
                (Way::Drive(drive), named)
            }
            Board::Atmega328p => {
                let port = the_port(named.or(met), self.fault.as_ref())?;
                (Way::Port(port.clone()), Some(port))
            }
        };
        Ok(Route {
            board: arguments.board,
            way,
            before: self.before,
            port,
        })
    }
}

/// How the image gets to the board, and where the scale answers afterwards.
pub struct Route {
    /// Kind of board.
    pub board: Board,
    /// The way.
    way: Way,
    /// The scale that answered before.
    before: Option<Holding>,
    /// The port it should answer on afterwards, if that is known.
    port: Option<String>,
}

/// Where the image is written.
enum Way {
    /// On the drive of the chip's ROM.
    Drive(BootDrive),
    /// Through the bootloader on a port.
    Port(String),
}

impl Route {
    /// Whether `after` can be the scale that was flashed.
    fn may_be(&self, after: &Holding) -> bool {
        let same = |before: &Holding| before.device_id == after.device_id;
        after.board == self.board.name() && self.before.as_ref().is_none_or(same)
    }

    /// One attempt to hear the flashed scale.
    pub fn greet(&self) -> Result<Holding, Option<LinkFault>> {
        let found = match &self.port {
            Some(port) => open(port, clock::first_id()),
            None => search(clock::first_id(), &mut |_| {}),
        };
        let holding = Holding::ask(found.map_err(Some)?).map_err(Some)?;
        if self.may_be(&holding) {
            Ok(holding)
        } else {
            Err(None)
        }
    }

    /// Waits for the flashed scale to say hello.
    pub fn await_hello(&self, progress: &mut Progress) -> Result<Holding, Option<LinkFault>> {
        let began = Instant::now();
        loop {
            let waited = began.elapsed().as_secs();
            progress.doing("hello", &format!("waiting for the scale .. {waited} s"));
            match self.greet() {
                Ok(holding) => return Ok(holding),
                Err(fault) if began.elapsed() >= HELLO => return Err(fault),
                Err(_) => std::thread::sleep(Duration::from_millis(200)),
            }
        }
    }
}

/// What is left to report once the image is on the board.
pub fn finished(
    route: &Route,
    written: String,
    verified: Verified,
    after: Result<Holding, Option<LinkFault>>,
) -> Flashed {
    Flashed {
        board: route.board,
        before: route.before.clone(),
        written,
        verified,
        after: after.map_err(|fault| {
            fault.map_or_else(
                || "another scale answers, not the one that was flashed".into(),
                |fault| fault.to_string(),
            )
        }),
    }
}

/// The port of the bootloader: named, or that of the scale that answered.
fn the_port(port: Option<String>, fault: Option<&LinkFault>) -> Result<String, Problem> {
    match (port, fault) {
        (
            Some(_),
            Some(
                fault @ (LinkFault::NoSuchPort { .. }
                | LinkFault::Busy { .. }
                | LinkFault::NoPermission { .. }),
            ),
        )
        | (None, Some(fault @ LinkFault::Several { .. })) => Err(fault.clone().into()),
        (Some(port), _) => Ok(port),
        (None, fault) => {
            let mut problem = Problem::new(
                exit::SCALE,
                "no running scale of this kind tells which port the board is on",
                "name the board's port with --port; a board that is new needs that",
            );
            if let Some(LinkFault::NotFound { tried, barred }) = fault {
                problem.facts.clone_from(tried);
                // Naming a port would not open it.
                if *barred > 0 {
                    problem.advice.insert(0, GROUP.into());
                }
            }
            Err(problem)
        }
    }
}

fn other_scale(other: &Holding, board: Board) -> Problem {
    Problem::new(
        exit::SCALE,
        format!("the scale on {} is not on such a board", other.port),
        "name the right board with --board, or another port with --port",
    )
    .fact("scale", holding_words(other))
    .fact("its board", other.board.clone())
    .fact("asked for", board.name())
}

/// The image that was named, or the one that was built here.
fn chosen_image(arguments: &Arguments) -> Result<PathBuf, Problem> {
    if let Some(path) = &arguments.image {
        return Ok(path.clone());
    }
    let board = arguments.board;
    let advice = format!("`scalewright build-firmware --board {board}`, or name one with --image");
    let none = || Problem::new(exit::DATA, "there is no image to flash yet", advice.clone());
    let root = source_root(&here(None)).map_err(|_| none())?;
    let path = image_path(&root, board);
    if path.is_file() {
        Ok(path)
    } else {
        Err(none().fact("none at", path.display().to_string()))
    }
}

fn read(path: &Path, board: Board) -> Result<Vec<u8>, Problem> {
    let trouble = |cause: String| {
        Problem::new(
            exit::DATA,
            format!("cannot read the image: {cause}"),
            format!("check --image, or make one with `scalewright build-firmware --board {board}`"),
        )
        .fact("image", path.display().to_string())
    };
    let about = fs::metadata(path).map_err(|error| trouble(error.to_string()))?;
    if !about.is_file() {
        return Err(trouble("it is no file".into()));
    }
    if about.len() > MOST_BYTES {
        return Err(trouble(format!(
            "{} MiB are more than any image has",
            about.len() >> 20
        )));
    }
    fs::read(path).map_err(|error| trouble(error.to_string()))
}

/// Asks before a calibration goes out of force.
fn consent(
    arguments: &Arguments,
    checked: &Checked,
    met: &Met,
    progress: &mut Progress,
) -> Result<(), Problem> {
    let to = checked.passport.layout_version;
    let stranger_wire = match &met.fault {
        Some(LinkFault::WrongVersion { scale, .. }) => Some(*scale),
        _ => None,
    };
    let (what, present) = match (&met.before, stranger_wire) {
        (Some(before), _) if before.is_calibrated() => {
            let firmware = version(before.firmware);
            match layout_of(before.firmware) {
                Some(from) if from == to => return Ok(()),
                Some(from) => (
                    "this image stores its data in another layout than the scale does now",
                    format!("layout {from} (firmware {firmware})"),
                ),
                None => (
                    "the scale's firmware is newer than this program: its layout is not known",
                    format!("firmware {firmware}"),
                ),
            }
        }
        (None, Some(wire)) => (
            "the scale's firmware is of another generation: its layout is not known",
            format!("wire version {wire}"),
        ),
        _ => return Ok(()),
    };
    let meaning = "where the layouts differ the calibration stays in the scale's memory, but the \
        new firmware does not read it: the scale is uncalibrated until firmware of the old layout \
        goes back on it, or it is calibrated anew, which writes over it";
    if arguments.yes {
        progress.fact("heed", &format!("{what}; {meaning}"));
        return Ok(());
    }
    let problem = Problem::new(
        exit::STOPPED,
        what,
        "keep the table's points with `scalewright table --json > table.json`; then flash with --yes",
    )
    .fact("scale", present)
    .fact("image", format!("layout {to}"))
    .fact("means", meaning)
    .fact("done", "nothing was written");
    if arguments.json || !std::io::stdin().is_terminal() {
        return Err(problem);
    }
    progress.say("");
    progress.fact("heed", &format!("{what}; {meaning}"));
    outpart!("  Flash it all the same? y: yes   anything else: no  ");
    let _ = std::io::stdout().flush();
    let mut line = String::new();
    let _ = std::io::stdin().lock().read_line(&mut line);
    if matches!(line.trim(), "y" | "yes") {
        Ok(())
    } else {
        Err(problem)
    }
}
