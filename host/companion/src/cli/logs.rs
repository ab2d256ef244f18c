//! `scalewright logs`: what the firmware notes while it runs.

use std::fs;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use clap::Args;
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD, decode, encode, greeting_version};
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{Answer, Ask, Hello, Report, Request};
use serde_json::json;

use crate::firmware::board::Board;
use crate::firmware::log_lines::{Book, BookFault, Line as Entry, Reader};
use crate::link::find::{identity, search};
use crate::link::serial::SerialLine;
use crate::link::{Line, LinkFault};

use crate::record::outcome::BENCH;

use super::flash_report::version;
use super::live::wrap;
use super::paint::Paint;
use super::problem::{Problem, exit};
use super::{Outcome, clock};

/// How long a hello may stay unanswered before it is said again.
const PATIENCE: Duration = Duration::from_millis(800);

/// Hellos before giving up.
const HELLOS: u32 = 4;

/// Options of `logs`.
#[derive(Args)]
#[command(after_help = "\
Example:
  scalewright logs --elf firmware/images/rp2040.elf

The firmware sends numbers, the texts stand in its ELF file: it must be the one
that runs on the scale. Boards that keep no log (atmega328p) show none. Stop
with Ctrl-C. A line: time, level, text, and where in the source it was written.")]
pub struct Arguments {
    /// The ELF file of the firmware on the scale
    #[arg(long, value_name = "FILE")]
    elf: PathBuf,
    /// The port the scale is on
    #[arg(long)]
    port: Option<String>,
    /// End after so many seconds
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=4_000_000))]
    seconds: Option<u32>,
    /// Print one JSON object a line
    #[arg(long)]
    json: bool,
}

/// Runs `logs`.
pub fn run(arguments: &Arguments) -> Outcome {
    let of_file = |what: String, advice: &str| {
        Problem::new(exit::DATA, what, advice).fact("file", arguments.elf.display().to_string())
    };
    let elf = fs::read(&arguments.elf)
        .map_err(|error| of_file(format!("cannot read the ELF file: {error}"), "check --elf"))?;
    let book = Book::read(&elf).map_err(|fault| of_file(fault.to_string(), advice_on(&fault)))?;
    let port = match &arguments.port {
        Some(port) => port.clone(),
        None => {
            let found = search(clock::first_id(), &mut |_| {})?;
            found.client.port().to_string()
        }
    };
    let mut line = SerialLine::open(&port)?;
    let mut listening = Listening {
        arguments,
        book: &book,
        reader: book.reader(),
        decoder: Decoder::new(),
        began: Instant::now(),
        lost_pieces: 0,
        greeted: false,
    };
    listening.listen(&mut line)
}

/// What to try with a file that is of no use.
fn advice_on(fault: &BookFault) -> &'static str {
    match fault {
        // There is no room for one, so no other file will do.
        BookFault::NoTexts { board } if board == Board::Atmega328p.name() => {
            "`scalewright inspect` or `scalewright watch`: on this board only they tell how it does"
        }
        _ => "name the .elf file that `scalewright build-firmware` made with --elf",
    }
}

/// One run.
struct Listening<'a> {
    arguments: &'a Arguments,
    book: &'a Book,
    reader: Reader<'a>,
    decoder: Decoder<{ MAX_PAYLOAD + 4 }>,
    began: Instant,
    lost_pieces: usize,
    greeted: bool,
}

impl Listening<'_> {
    fn listen(&mut self, line: &mut dyn Line) -> Outcome {
        let end = self
            .arguments
            .seconds
            .map(|seconds| Duration::from_secs(seconds.into()));
        let mut hellos = 0;
        let mut said: Option<Instant> = None;
        let mut buffer = [0; 1024];
        loop {
            if end.is_some_and(|end| self.began.elapsed() >= end) {
                return Ok(self.finish());
            }
            if !self.greeted && said.is_none_or(|said| said.elapsed() >= PATIENCE) {
                if hellos == HELLOS {
                    return Err(LinkFault::Silent {
                        port: line.name().into(),
                        waited: self.began.elapsed(),
                    }
                    .into());
                }
                hello(line)?;
                hellos += 1;
                said = Some(Instant::now());
            }
            let count = line.read(&mut buffer, Duration::from_millis(100))?;
            for byte in buffer.get(..count).unwrap_or_default() {
                self.hear(*byte, line.name())?;
            }
        }
    }

    fn hear(&mut self, byte: u8, port: &str) -> Result<(), Problem> {
        let report = match self.decoder.push(byte) {
            None => return Ok(()),
            Some(Event::Broken(_)) => {
                self.lost_pieces += 1;
                return Ok(());
            }
            Some(Event::Payload(payload)) => {
                if let Some(scale) = greeting_version(payload)
                    && scale != WIRE_VERSION
                {
                    let port = port.into();
                    let ours = WIRE_VERSION;
                    return Err(LinkFault::WrongVersion { port, scale, ours }.into());
                }
                decode::<Report>(payload)
            }
        };
        match report {
            Ok(Report::Answer {
                answer: Answer::Hello(hello),
                ..
            }) if !self.greeted => self.greet(&hello, port),
            Ok(Report::Log { bytes }) => {
                let entries = self.reader.take(&bytes);
                for entry in &entries {
                    self.show(entry);
                }
                if self.reader.is_strange() {
                    return Err(self.mismatch());
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Compares the scale with the file before a line is believed.
    fn greet(&mut self, hello: &Hello, port: &str) -> Result<(), Problem> {
        self.greeted = true;
        if hello.board == BENCH {
            return Err(Problem::new(
                exit::SCALE,
                "the scale on this port is the built-in bench: it keeps no log, and has no ELF file",
                "name the port of a board with --port; `scalewright find` tells what is on a port",
            )
            .fact("port", port));
        }
        let passport = &self.book.passport;
        if hello.board.as_str() != passport.board() || hello.firmware != passport.firmware {
            return Err(self
                .mismatch()
                .fact(
                    "scale",
                    format!("{}, firmware {}", hello.board, version(hello.firmware)),
                )
                .fact(
                    "the file's",
                    format!(
                        "{}, firmware {}",
                        passport.board(),
                        version(passport.firmware)
                    ),
                ));
        }
        if !self.arguments.json {
            outln!(
                "log of scale {} on {port}, firmware {}",
                identity(hello),
                version(hello.firmware)
            );
        }
        Ok(())
    }

    fn mismatch(&self) -> Problem {
        Problem::new(
            exit::DATA,
            "this ELF file is not that of the firmware on the scale: its texts do not fit",
            "name the file this firmware was made from, or flash the scale anew and use that one",
        )
        .fact("file", self.arguments.elf.display().to_string())
    }

    fn show(&self, entry: &Entry) {
        let since = self.began.elapsed().as_secs_f64();
        let time = entry.time.clone().unwrap_or_else(|| format!("{since:.3}"));
        let level = entry.level.unwrap_or("print");
        if self.arguments.json {
            outln!(
                "{}",
                json!({
                    "time": time, "level": level, "text": entry.text, "place": entry.place,
                })
            );
            return;
        }
        let paint = Paint::of_stdout();
        let padded = format!("{level:5}");
        let level = match level {
            "error" => paint.bad(&padded),
            "warn" => paint.heed(&padded),
            _ => padded,
        };
        let place = entry.place.as_deref().unwrap_or_default();
        let room = 80 - 18;
        let words = format!("{} {}", entry.text, place);
        for (index, text) in wrap(words.trim(), room).iter().enumerate() {
            if index == 0 {
                outln!("{time:>10}  {level} {text}");
            } else {
                outln!("{:18}{text}", "");
            }
        }
    }

    fn finish(&self) -> u8 {
        let lost = self.reader.broken() + self.lost_pieces;
        if lost > 0 && !self.arguments.json {
            outln!("{lost} lines or pieces of lines did not come whole");
        }
        exit::PASSED
    }
}

fn hello(line: &mut dyn Line) -> Result<(), LinkFault> {
    let request = Request {
        id: clock::first_id(),
        ask: Ask::Hello {
            wire_version: WIRE_VERSION,
        },
    };
    let mut frame = [0; MAX_FRAME];
    let length = encode(&request, &mut frame).unwrap_or(0);
    line.write(frame.get(..length).unwrap_or_default())
}
