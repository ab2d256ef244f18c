//! `scalewright compare --weights`: our scale by the guided test of errors, the
//! other as typed or heard after each capture.

use std::fs;
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError, channel};
use std::time::{Duration, Instant};

use crate::drive::Heading;
use crate::link::Line;
use crate::link::find::identity;
use crate::link::serial::SerialLine;
use crate::proving::{self, ProofWatcher, ProofWish, ProvingFault};
use crate::quantise::spec_of;
use crate::record::journal::Journal;
use crate::report::number;
use crate::session::comparing::Choices;
use crate::session::comparing::gathered::{Gathered, Shown};
use crate::session::comparing::heard::{Heard, Hearing};
use crate::session::comparing::pattern::{Pattern, USUAL};
use crate::session::comparing::typed::{HELP, Typed, TypedNews};
use crate::session::plan::Load;
use crate::session::proof::Test;
use crate::session::proof::entry::ProofEntry;
use crate::session::proof::plan::ProofPlan;
use crate::session::proof::prover::{ProofCommand, ProofEvent, Prover};

use super::calibrate::weights_named;
use super::compare::{Arguments, conclude};
use super::find::connect;
use super::live::{describe, wrap};
use super::problem::{Problem, exit};
use super::proof_screen::ProofScreen;
use super::{Outcome, clock, judged, saved};

/// How long one look at keyboard or line takes.
const LOOK: Duration = Duration::from_millis(50);

/// How often it is said what is heard.
const SAID: Duration = Duration::from_secs(5);

/// Reads at most before listening, of what came while nobody listened.
const STALE_READS: usize = 64;

/// Runs a live comparison.
pub fn run(arguments: &Arguments, choices: Choices) -> Outcome {
    let text = arguments.weights.as_deref().unwrap_or_default();
    let weights = weights_named(text, arguments.weight_class.as_deref())?;
    let pattern: Pattern =
        (arguments.line.as_deref().unwrap_or(USUAL).parse()).map_err(|cause| {
            Problem::new(
                exit::USAGE,
                format!("--line: {cause}"),
                "write it as in --line 'net # @'; --help explains the signs",
            )
        })?;
    let line = match &arguments.listen {
        Some(port) => Some((
            SerialLine::open_at(port, arguments.baud)?,
            Heard::new(pattern),
        )),
        None => None,
    };
    let mut found = connect(arguments.port.as_deref(), arguments.json)?;
    let port = found.client.port().to_string();
    let settings = found.client.settings()?;
    let scale = spec_of(&settings);
    let scheme = match &choices.tolerance {
        Some(tolerance) => tolerance.scheme().to_string(),
        None => format!("R76 {} initial", scale.class),
    };
    let plan = ProofPlan::new(scale, weights, &[Test::Errors], false, scheme, false)?;
    if let Some(tolerance) = &choices.tolerance {
        judged::reaches(tolerance, &plan)?;
    }
    if let Some((_, why)) = plan.impossible.first() {
        let what = format!("the loads can't be made: {why}");
        return Err(Problem::new(
            exit::DATA,
            what,
            "add weights that make other sums",
        ));
    }
    let mut journal = Journal::create(&arguments.session)?;
    let session = saved::short(journal.path());
    if !arguments.json {
        outln!(
            "scale {} on {port}\nthis session is kept in {session}",
            identity(&found.hello)
        );
        outln!("After each capture, move the load to the other scale.");
        let how = match line {
            Some(_) => "It is heard there; or",
            None => "Then",
        };
        for line in wrap(
            &format!(
                "{how} {HELP}. At our scale: u takes the last load back, t takes the load as it lies."
            ),
            78,
        ) {
            outln!("{line}");
        }
    }
    let mut prover = Prover::new(plan);
    let screen = ProofScreen::new(prover.plan(), arguments.json, true);
    let mut watcher = BothScales::new(screen, prover.plan().scale.e_g, line, keyboard());
    let heading = Heading {
        date: clock::date(),
        seed: None,
        note: None,
    };
    let kept = proving::run(
        &mut prover,
        &mut found.client,
        Some(&mut journal),
        &heading,
        Vec::new(),
        &mut watcher,
    );
    let gathered = watcher.gathered;
    let beside = journal
        .path()
        .with_extension("")
        .with_extension("theirs.csv");
    if !gathered.is_empty() {
        fs::write(&beside, gathered.csv()).map_err(|error| {
            Problem::new(
                exit::DATA,
                format!("the other scale's readings could not be written: {error}"),
                "check the free space and the folder",
            )
            .fact("file", beside.display().to_string())
        })?;
    }
    let kept = kept.map_err(|fault| ended(fault, &session, &saved::short(&beside)))?;
    if gathered.is_empty() {
        return Err(Problem::new(
            exit::DATA,
            "nothing was read on the other scale",
            format!("write its readings into a file: `scalewright compare {session} other.csv`"),
        ));
    }
    if !arguments.json {
        outln!("\nthe other scale's readings: {}\n", saved::short(&beside));
    }
    conclude(&kept, &gathered.readings(), &choices, arguments)
}

/// A session that ended early, with what can be done with its files.
fn ended(fault: ProvingFault, session: &str, readings: &str) -> Problem {
    let again =
        format!("what was captured can be compared: `scalewright compare {session} {readings}`");
    match fault {
        ProvingFault::Link(fault) => Problem::from(fault),
        ProvingFault::Journal(fault) => Problem::from(fault),
        ProvingFault::Stopped => Problem::new(exit::STOPPED, "stopped", again),
        ProvingFault::Session(fault) => Problem::new(exit::SCALE, fault.to_string(), again),
    }
}

/// Lines from the keyboard.
fn keyboard() -> Receiver<String> {
    let (sender, lines) = channel();
    // Ends with the program: reading a terminal cannot be interrupted.
    std::thread::spawn(move || {
        loop {
            let mut line = String::new();
            match std::io::stdin().read_line(&mut line) {
                Ok(0) | Err(_) => break,
                Ok(_) if sender.send(line).is_err() => break,
                Ok(_) => {}
            }
        }
    });
    lines
}

/// Whoever carries the loads from one scale to the other.
struct BothScales<L: Line> {
    screen: ProofScreen,
    e_g: f64,
    line: Option<(L, Heard)>,
    keys: Receiver<String>,
    typed: Typed,
    gathered: Gathered,
    stop: bool,
}

impl<L: Line> BothScales<L> {
    fn new(
        screen: ProofScreen,
        e_g: f64,
        line: Option<(L, Heard)>,
        keys: Receiver<String>,
    ) -> Self {
        Self {
            screen,
            e_g,
            line,
            keys,
            typed: Typed::default(),
            gathered: Gathered::default(),
            stop: false,
        }
    }

    /// What the other scale shows of a load.
    fn ask(&mut self, load: &Load) {
        self.typed.expect(load.mass_g, self.e_g);
        let order = format!("Now on the other scale: {}. It shows?", describe(load));
        for line in wrap(&order, 74) {
            self.screen.say(&format!("    {line}"));
        }
        self.begin_to_listen(load);
        let mut said = Instant::now();
        loop {
            let wait = match self.line {
                Some(_) => Duration::ZERO,
                None => LOOK,
            };
            match self.keys.recv_timeout(wait) {
                Ok(line) => {
                    let news = self.typed.feed(format!("{}\n", line.trim_end()).as_bytes());
                    if news.into_iter().any(|news| self.take(load, news)) {
                        return;
                    }
                }
                // Nobody is there to type; then only the line can tell.
                Err(RecvTimeoutError::Disconnected) if self.line.is_none() => {
                    self.gathered.take(load, &[]);
                    return;
                }
                Err(_) => {}
            }
            if let Some(shown) = self.listen(&mut said) {
                self.say_shown(&[shown]);
                self.gathered.take(load, &[shown]);
                return;
            }
        }
    }

    /// Forgets what came while nobody listened.
    fn begin_to_listen(&mut self, load: &Load) {
        if let Some((line, heard)) = &mut self.line {
            let mut stale = [0; 256];
            for _ in 0..STALE_READS {
                if !matches!(line.read(&mut stale, Duration::from_millis(1)), Ok(1..)) {
                    break;
                }
            }
            heard.expect(load.mass_g, self.e_g);
        }
    }

    /// A look at the line; a reading once it is steady.
    fn listen(&mut self, said: &mut Instant) -> Option<Shown> {
        let (line, heard) = self.line.as_mut()?;
        let mut bytes = [0; 256];
        match line.read(&mut bytes, LOOK) {
            Ok(read) => heard.feed(bytes.get(..read).unwrap_or_default()),
            Err(fault) => {
                self.screen.say(&format!(
                    "    the other scale's line: {fault}; type instead"
                ));
                self.line = None;
                return None;
            }
        }
        let hearing = heard.hearing();
        if let Hearing::Steady(shown) = hearing {
            return Some(shown);
        }
        if said.elapsed() > SAID {
            *said = Instant::now();
            for line in wrap(&heard_in_words(&hearing), 74) {
                self.screen.say(&format!("    {line}"));
            }
        }
        None
    }

    fn say_shown(&mut self, shown: &[Shown]) {
        let all: Vec<String> = shown.iter().map(|one| said(*one)).collect();
        self.screen
            .say(&format!("    other scale {}", all.join("; ")));
    }

    /// Takes what was typed; true when the load is done with.
    fn take(&mut self, load: &Load, news: TypedNews) -> bool {
        match news {
            TypedNews::Readings(shown) => {
                self.say_shown(&shown);
                self.gathered.take(load, &shown);
                return true;
            }
            TypedNews::Skipped => {
                self.screen.say("    skipped");
                self.gathered.take(load, &[]);
                return true;
            }
            TypedNews::Stop => {
                self.stop = true;
                self.gathered.take(load, &[]);
                return true;
            }
            TypedNews::Doubtful { reading_g, load_g } => {
                let far = format!("{reading_g} g is far from {load_g} g: the same again keeps it");
                self.screen.say(&format!("    {far}"));
            }
            TypedNews::NotUnderstood(why) => {
                for line in wrap(&format!("{why}; {HELP}"), 74) {
                    self.screen.say(&format!("    {line}"));
                }
            }
        }
        false
    }
}

/// A reading with the places it came with.
fn said(shown: Shown) -> String {
    let places = number::decimals(shown.step_g);
    format!("{} g", number::fixed(shown.reading_g, places))
}

fn heard_in_words(hearing: &Hearing) -> String {
    match hearing {
        Hearing::Silent => {
            "nothing comes on the other scale's line: check cable, --baud, and that it sends by itself; or type what it shows".into()
        }
        Hearing::NotUnderstood(line) => {
            format!("its lines don't fit the pattern, as \"{line}\": see --line; or type what it shows")
        }
        Hearing::Moving(shown) => format!("it moves: {}", said(*shown)),
        Hearing::Elsewhere(shown) => format!("it rests at {}, which is not this load", said(*shown)),
        Hearing::Steady(shown) => said(*shown),
    }
}

impl<L: Line> ProofWatcher for BothScales<L> {
    fn event(&mut self, event: &ProofEvent) {
        self.screen.event(event);
        match event {
            ProofEvent::Captured { capture, .. } if capture.load.weights.is_empty() => {
                self.gathered.take(&capture.load, &[]);
            }
            ProofEvent::Captured { capture, .. } if !self.stop => self.ask(&capture.load),
            ProofEvent::Keep(ProofEntry::Undone) => self.gathered.undo(),
            ProofEvent::Again { .. } => self.gathered.clear(),
            _ => {}
        }
    }

    fn wish(&mut self) -> ProofWish {
        if self.stop {
            return ProofWish::Stop;
        }
        match self.keys.try_recv() {
            Ok(line) => match line.trim() {
                "u" | "undo" => ProofWish::Say(ProofCommand::Undo),
                "t" | "take" => ProofWish::Say(ProofCommand::TakeAsIs),
                "q" | "stop" => ProofWish::Stop,
                "" => ProofWish::GoOn,
                _ => {
                    self.screen.say(
                        "    u: take the last one back   t: take this load as it is   q: stop",
                    );
                    ProofWish::GoOn
                }
            },
            Err(TryRecvError::Empty | TryRecvError::Disconnected) => ProofWish::GoOn,
        }
    }
}
