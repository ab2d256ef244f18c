//! `scalewright watch`: the indication live, a moving plot, and a log.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use clap::Args;
use scalewright_protocol::message::{Answer, Ask, Sample, State};
use scalewright_protocol::units::elapsed_ms;

use crate::inspect::{Losses, Recent, Subject};
use crate::link::LinkFault;
use crate::link::find::{Found, identity};
use crate::wording::declined;

use super::Outcome;
use super::find::connect;
use super::inspect::read_subject;
use super::log_file::{LogFile, as_json};
use super::paint::Paint;
use super::problem::{Problem, exit};
use super::watch_link::{Again, Trouble, find_again, typed_lines};
use super::watch_screen::{Terminal, View, WINDOW_MS};

/// Options of `watch`.
#[derive(Args)]
#[command(after_help = "\
Examples:
  scalewright watch                        until q and Enter, or Ctrl-C
  scalewright watch --log drift.csv        every sample into a file as well
  scalewright watch --seconds 60 --json    one JSON object a sample

A letter and Enter: z zero-setting, t tare, c clear tare, q end.

When the scale is unplugged, watch waits for it and goes on; the log counts the
connections. A log is flushed line by line and never written over.")]
pub struct Arguments {
    /// Ask this port
    #[arg(long)]
    port: Option<String>,
    /// Take one of so many samples
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..))]
    every: u8,
    /// Write all samples taken into this new file, as CSV
    #[arg(long)]
    log: Option<PathBuf>,
    /// End after so many seconds
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=4_000_000))]
    seconds: Option<u32>,
    /// Print one JSON object a sample
    #[arg(long)]
    json: bool,
}

/// Device time between two drawings, ms.
const STEP_MS: u16 = 100;
/// Device time between two lines where nothing can be redrawn, ms.
const LINE_MS: u64 = 1000;
/// How long a note stands, ms watched.
const NOTE_MS: u64 = 10_000;
/// Pause between two attempts to find a scale that is gone.
const RETRY: Duration = Duration::from_millis(500);

/// Set by Ctrl-C.
static STOP: AtomicBool = AtomicBool::new(false);

/// Runs `watch`.
pub fn run(arguments: &Arguments) -> Outcome {
    let found = connect(arguments.port.as_deref(), arguments.json)?;
    let log = arguments.log.as_deref().map(LogFile::begin).transpose()?;
    // Without a handler Ctrl-C ends at once, which loses only the summary.
    let _ = ctrlc::set_handler(|| STOP.store(true, Ordering::Relaxed));
    let mut watch = Watch::new(arguments, found, log)?;
    let paint = Paint::of_stdout();
    let mut terminal = (paint.live && !arguments.json).then(|| Terminal::take(paint));
    let ended = watch.until_end(&mut terminal);
    drop(terminal);
    watch.summary();
    ended?;
    Ok(if watch.gone {
        exit::SCALE
    } else {
        exit::PASSED
    })
}

struct Watch<'a> {
    arguments: &'a Arguments,
    found: Found,
    subject: Subject,
    typed: Receiver<String>,
    log: Option<LogFile>,
    state: Option<State>,
    recent: Recent,
    losses: Losses,
    samples: usize,
    connection: u32,
    /// Time watched, ms: the device's, and the laptop's while it was gone.
    passed_ms: u64,
    told_ms: u64,
    note: String,
    /// When that was said, ms watched.
    noted_ms: u64,
    gone: bool,
    /// Nobody reads what is shown any more.
    deaf: bool,
    /// Something was typed since the screen was drawn.
    touched: bool,
}

impl<'a> Watch<'a> {
    fn new(
        arguments: &'a Arguments,
        mut found: Found,
        log: Option<LogFile>,
    ) -> Result<Self, Problem> {
        let (subject, _) = read_subject(&mut found.client, &found.hello, None)?;
        let mut watch = Self {
            arguments,
            found,
            subject,
            typed: typed_lines(),
            log,
            state: None,
            recent: Recent::new(WINDOW_MS),
            losses: Losses::default(),
            samples: 0,
            connection: 1,
            passed_ms: 0,
            told_ms: 0,
            note: String::new(),
            noted_ms: 0,
            gone: false,
            deaf: false,
            touched: false,
        };
        watch.stream()?;
        Ok(watch)
    }

    fn stream(&mut self) -> Result<(), LinkFault> {
        let every = self.arguments.every;
        self.found
            .client
            .ask(&Ask::Stream { every }, &mut |_| {})
            .map(|_| ())
    }

    /// Watches until somebody ends it or time is up.
    fn until_end(&mut self, terminal: &mut Option<Terminal>) -> Result<(), Problem> {
        while !self.is_over() {
            match self.step() {
                Ok(()) => {}
                Err(Trouble::Log(problem)) => return Err(problem),
                Err(Trouble::Link(fault)) => match fault {
                    LinkFault::Refused(_) | LinkFault::WrongVersion { .. } => {
                        return Err(fault.into());
                    }
                    _ => self.come_back(&fault, terminal)?,
                },
            }
            self.draw(terminal);
        }
        if !self.gone {
            // It may be gone this very moment: then there is nothing to stop.
            let _ = self
                .found
                .client
                .ask(&Ask::Stream { every: 0 }, &mut |_| {});
        }
        Ok(())
    }

    fn is_over(&self) -> bool {
        let limit = self.arguments.seconds.map(|s| u64::from(s) * 1000);
        STOP.load(Ordering::Relaxed) || self.deaf || limit.is_some_and(|ms| self.passed_ms >= ms)
    }

    /// What was typed, then a tenth of a second of samples.
    fn step(&mut self) -> Result<(), Trouble> {
        while let Ok(line) = self.typed.try_recv() {
            self.touched = true;
            self.obey(line.trim())?;
        }
        let wait = Ask::Wait { up_to_ms: STEP_MS };
        let Answer::State(state) = self.ask(&wait)? else {
            return Err(Trouble::Link(LinkFault::Confused {
                port: self.found.client.port().into(),
            }));
        };
        if let Some(before) = &self.state {
            let ms = elapsed_ms(state.at_ms, before.at_ms);
            if ms < 1 << 31 {
                self.passed_ms += u64::from(ms);
            } else {
                self.say("the scale restarted: its supply or plug may be loose");
                self.begin_anew();
                self.stream()?;
            }
        }
        self.state = Some(state);
        Ok(())
    }

    /// Asks, and takes the samples that come in between; what came before a
    /// fault counts all the same.
    fn ask(&mut self, ask: &Ask) -> Result<Answer, Trouble> {
        let mut arrived: Vec<Sample> = Vec::new();
        let answer = self
            .found
            .client
            .ask(ask, &mut |sample| arrived.push(*sample));
        for sample in &arrived {
            self.take(sample)?;
        }
        Ok(answer?)
    }

    fn begin_anew(&mut self) {
        self.connection += 1;
        self.losses.begin_anew();
        self.recent.clear();
    }

    fn take(&mut self, sample: &Sample) -> Result<(), Problem> {
        self.samples += 1;
        self.losses
            .push(sample.sequence, u32::from(self.arguments.every));
        let quantum_g = self.subject.quantum_g();
        let value = match (self.subject.calibrated(), sample.mass) {
            (true, Some(mass)) => Some(f64::from(mass) * quantum_g),
            (true, None) => None,
            (false, _) => Some(f64::from(sample.smooth_q8) / 256.0),
        };
        if let Some(value) = value {
            self.recent.push(sample.at_ms, value);
        }
        if let Some(log) = &mut self.log {
            log.sample(self.connection, sample, quantum_g)?;
        }
        if self.arguments.json {
            self.tell(&as_json(self.connection, sample, quantum_g).to_string());
        }
        Ok(())
    }

    /// A line on standard output; nobody there to read it ends the watch.
    fn tell(&mut self, line: &str) {
        use std::io::Write as _;
        self.deaf |= writeln!(std::io::stdout(), "{line}").is_err();
    }

    fn obey(&mut self, word: &str) -> Result<(), Trouble> {
        let (ask, done) = match word {
            "z" | "zero" => (Ask::SetZero, "zero is set"),
            "t" | "tare" => (Ask::Tare, "tare is set"),
            "c" | "clear" => (Ask::ClearTare, "tare is cleared"),
            "q" | "quit" | "stop" => {
                STOP.store(true, Ordering::Relaxed);
                return Ok(());
            }
            "" => {
                self.note.clear();
                return Ok(());
            }
            _ => {
                self.say("a letter and Enter: z zero, t tare, c clear tare, q end");
                return Ok(());
            }
        };
        match self.ask(&ask) {
            Ok(_) => self.say(done),
            Err(Trouble::Link(LinkFault::Refused(refusal))) => {
                self.say(&format!("the scale declined: {}", declined(refusal)));
            }
            Err(trouble) => return Err(trouble),
        }
        Ok(())
    }

    /// Says something beside the numbers.
    fn say(&mut self, text: &str) {
        self.note = text.into();
        self.noted_ms = self.passed_ms;
        if !Paint::of_stdout().live || self.arguments.json {
            eprintln!("{text}");
        }
    }

    /// Waits for a scale that is gone, and goes on with it.
    fn come_back(
        &mut self,
        fault: &LinkFault,
        terminal: &mut Option<Terminal>,
    ) -> Result<(), Problem> {
        self.say(&format!("{fault}; trying until it is back"));
        (self.gone, self.state) = (true, None);
        let mut before = Instant::now();
        while !self.is_over() {
            self.draw(terminal);
            std::thread::sleep(RETRY);
            let now = Instant::now();
            let passed = now.duration_since(before).as_millis();
            self.passed_ms += u64::try_from(passed).unwrap_or(u64::MAX);
            before = now;
            while let Ok(line) = self.typed.try_recv() {
                self.touched = true;
                if matches!(line.trim(), "q" | "quit" | "stop") {
                    STOP.store(true, Ordering::Relaxed);
                }
            }
            let (found, subject) = match find_again(self.arguments.port.as_deref(), &self.found) {
                Again::Back(found, subject) => (*found, *subject),
                Again::Another(what) => {
                    self.say(&what);
                    continue;
                }
                Again::Nobody => continue,
            };
            (self.found, self.subject) = (found, subject);
            if self.stream().is_ok() {
                self.gone = false;
                self.begin_anew();
                self.say("the scale is back; going on");
                return Ok(());
            }
        }
        Ok(())
    }

    fn draw(&mut self, terminal: &mut Option<Terminal>) {
        if !self.gone && self.passed_ms > self.noted_ms + NOTE_MS {
            self.note.clear();
        }
        let title = format!(
            "scale {} on {}",
            identity(&self.found.hello),
            self.found.client.port()
        );
        let log = self
            .log
            .as_ref()
            .map_or_else(String::new, |log| log.path().display().to_string());
        let view = View {
            title: &title,
            subject: &self.subject,
            state: self.state.as_ref(),
            recent: &self.recent,
            lost: self.losses.lost,
            note: &self.note,
            log: &log,
        };
        if let Some(terminal) = terminal {
            if std::mem::take(&mut self.touched) {
                terminal.typed();
            }
            self.deaf |= !terminal.draw(&view);
        } else if !self.arguments.json
            && self.state.is_some()
            && self.passed_ms >= self.told_ms + LINE_MS
        {
            let line = view.line(self.passed_ms / 1000);
            self.told_ms = self.passed_ms;
            self.tell(&line);
        }
    }

    /// What there was, in two lines.
    fn summary(&self) {
        let lost = match self.losses.lost {
            0 => "none lost on the line".to_string(),
            lost => format!("{lost} lost on the line"),
        };
        let mut lines = vec![format!(
            "{} samples in {} s, {lost}, {}",
            self.samples,
            self.passed_ms / 1000,
            match self.connection {
                1 => "one connection".to_string(),
                many => format!("{many} connections"),
            }
        )];
        if let Some(log) = &self.log {
            lines.push(format!(
                "  log  {} ({} samples)",
                log.path().display(),
                log.lines()
            ));
        }
        if self.gone {
            lines.push("  the scale was gone at the end".into());
        }
        for line in lines {
            if self.arguments.json {
                eprintln!("{line}");
            } else {
                outln!("{line}");
            }
        }
    }
}
