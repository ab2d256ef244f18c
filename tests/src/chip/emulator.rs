//! The Node program that emulates a chip, as a child process: one line of JSON
//! there, one back.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

use scalewright::firmware::build::image_path;
use scalewright::firmware::sources::is_of_today;
use scalewright_protocol::settings::Input;
use serde_json::{Value, json};

pub use scalewright::firmware::board::Board;

/// Most knots of a board's table.
#[must_use]
pub const fn knots(board: Board) -> u8 {
    match board {
        Board::Rp2040 => 32,
        Board::Atmega328p => 16,
    }
}

/// The image of a board, as `scalewright build-firmware` leaves it, with the
/// names of its functions.
///
/// # Panics
/// When there is none, or it is older than what it is made of: it would then seem
/// that chip and host differ.
#[must_use]
pub fn image(board: Board) -> PathBuf {
    static OLDER: OnceLock<[Result<(), String>; 2]> = OnceLock::new();
    let path = image_path(root(), board).with_extension("elf");
    let shown = path.strip_prefix(root()).unwrap_or(&path).display();
    assert!(
        path.exists(),
        "there is no image {shown}: run `scalewright build-firmware`"
    );
    let older = OLDER.get_or_init(|| Board::ALL.map(|board| is_of_today(root(), board)));
    for (one, told) in Board::ALL.iter().zip(older) {
        if let (true, Err(newer)) = (*one == board, told) {
            panic!("the image {shown} is older than {newer}: run `scalewright build-firmware`");
        }
    }
    path
}

/// Root of the repository.
#[must_use]
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .unwrap_or_else(|| Path::new("."))
}

/// Why a run of the emulator came to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The time asked for is over.
    Time,
    /// The chip finished a frame.
    Output,
    /// The power went, as ordered.
    PowerCut,
    /// The watchdog bit.
    Watchdog,
    /// The chip did what it must not; how.
    Fault(String),
}

/// What happened during a run.
#[derive(Clone, Debug)]
pub struct Ran {
    /// Virtual time now, us.
    pub at_us: u64,
    /// Bytes the chip sent.
    pub output: Vec<u8>,
    /// Why it ended.
    pub stop: Stop,
    /// Codes the chip read from the converter, and when.
    pub read: Vec<(u64, i32)>,
}

/// A conversion that ended: its code is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Conversion {
    /// Virtual time, us.
    pub at_us: u64,
    /// Input and gain.
    pub input: Input,
    /// Conversions per second.
    pub rate_sps: u16,
}

/// A running emulator. Every method fails the test when the emulator does.
pub struct Emulator {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Emulator {
    /// Switches `image` on on an emulated `board`.
    ///
    /// # Panics
    /// When Node is missing.
    #[must_use]
    pub fn start(board: Board, image: &Path) -> Self {
        let mut child = Command::new("node")
            .arg(root().join("tests/chips/emulate.mjs"))
            .args(["--board", board.name(), "--image"])
            .arg(image)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("node runs");
        let to = child.stdin.take().expect("piped");
        let from = BufReader::new(child.stdout.take().expect("piped"));
        Self { child, to, from }
    }

    fn say(&mut self, line: &Value) {
        writeln!(self.to, "{line}")
            .and_then(|()| self.to.flush())
            .expect("the emulator listens");
    }

    fn hear(&mut self) -> Value {
        let mut line = String::new();
        self.from.read_line(&mut line).expect("the emulator speaks");
        let value: Value =
            serde_json::from_str(&line).unwrap_or_else(|e| panic!("emulator said {line:?}: {e}"));
        assert!(value.get("error").is_none(), "emulator: {value}");
        value
    }

    /// Gives a command and returns the answer.
    pub fn command(&mut self, line: &Value) -> Value {
        self.say(line);
        self.hear()
    }

    /// Lets at most `us` of virtual time pass; with `until_output` stops soon
    /// after the chip has sent a frame. `code` is asked for each conversion's
    /// code; none, and nothing is offered to the chip.
    pub fn run(
        &mut self,
        us: u64,
        until_output: bool,
        code: &mut dyn FnMut(Conversion) -> Option<i32>,
    ) -> Ran {
        self.say(&json!({"do": "run", "us": us, "until_output": until_output}));
        loop {
            let answer = self.hear();
            let Some(asked) = answer.get("convert") else {
                return ran(&answer);
            };
            let conversion = Conversion {
                at_us: number(asked, "at_us"),
                rate_sps: u16::try_from(number(asked, "rate")).expect("a rate"),
                input: match asked["input"].as_str() {
                    Some("A128") => Input::A128,
                    Some("B32") => Input::B32,
                    Some("A64") => Input::A64,
                    other => panic!("no such input: {other:?}"),
                },
            };
            let code = code(conversion);
            self.say(&json!({ "code": code }));
        }
    }

    /// Puts bytes on the line to the chip.
    pub fn input(&mut self, bytes: &[u8]) {
        self.command(&json!({"do": "input", "hex": hex(bytes)}));
    }

    /// The display as 64 rows of 128 dots.
    pub fn screen(&mut self) -> Vec<String> {
        let answer = self.command(&json!({"do": "screen"}));
        let rows = answer["rows"].as_array().expect("rows");
        rows.iter()
            .map(|row| row.as_str().expect("a row").to_string())
            .collect()
    }

    /// The memory that keeps: both slots and what follows.
    pub fn memory(&mut self) -> Vec<u8> {
        let answer = self.command(&json!({"do": "memory"}));
        unhex(answer["hex"].as_str().expect("hex"))
    }

    /// Fills the memory that keeps.
    pub fn set_memory(&mut self, bytes: &[u8]) {
        self.command(&json!({"do": "set_memory", "hex": hex(bytes)}));
    }

    /// A number of the meter; none where the board has no such meter.
    pub fn meter(&mut self) -> Value {
        self.command(&json!({"do": "meter"}))
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        let _ = writeln!(self.to, "{}", json!({"do": "quit"}));
        let _ = self.to.flush();
        let _ = self.child.wait();
    }
}

fn number(value: &Value, name: &str) -> u64 {
    value[name]
        .as_u64()
        .unwrap_or_else(|| panic!("no {name} in {value}"))
}

fn ran(answer: &Value) -> Ran {
    let why = || answer["why"].as_str().unwrap_or("no reason").to_string();
    let read = answer["read"].as_array().map_or(Vec::new(), |list| {
        list.iter()
            .map(|pair| {
                let code = pair[1].as_i64().expect("a code");
                let at_us = pair[0].as_f64().expect("a time");
                (at_us as u64, i32::try_from(code).expect("24 bits"))
            })
            .collect()
    });
    Ran {
        at_us: number(answer, "at_us"),
        output: unhex(answer["output"].as_str().expect("output")),
        stop: match answer["stopped"].as_str() {
            Some("time") => Stop::Time,
            Some("output") => Stop::Output,
            Some("power_cut") => Stop::PowerCut,
            Some("watchdog") => Stop::Watchdog,
            Some("fault") => Stop::Fault(why()),
            other => panic!("stopped by {other:?}"),
        },
        read,
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len() / 2)
        .map(|at| u8::from_str_radix(&text[at * 2..at * 2 + 2], 16).expect("hex"))
        .collect()
}
