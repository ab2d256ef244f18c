//! Who puts the loads on: a simulated person, or the one at the keyboard.

use std::io::{BufRead, Write};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

use crate::drive::{Watcher, Wish};
use crate::proving::{ProofWatcher, ProofWish};
use crate::record::weights::pick;
use crate::session::event::Event;
use crate::session::plan::{Load, Plan};
use crate::session::procedure::{Command, Decision};
use crate::session::proof::prover::{ProofCommand, ProofEvent};

use super::live::Screen;
use super::proof_screen::ProofScreen;
use super::studio::Studio;

/// Asks a question; whether somebody says yes. Nobody there is a no.
#[must_use]
pub fn says_yes(question: &str) -> bool {
    outpart!("\n{question} [y/N] ");
    let _ = std::io::stdout().flush();
    let line = read_line();
    if line.is_none() {
        // Nothing typed has ended the line.
        outln!();
    }
    matches!(line.as_deref().map(str::trim), Some("y" | "Y" | "yes"))
}

/// The simulated person of the bench; decides as the bench was told to.
pub struct Simulated<'a> {
    /// Shows what happens.
    pub screen: Screen,
    /// The bench.
    pub studio: &'a Studio,
}

impl Watcher for Simulated<'_> {
    fn event(&mut self, event: &Event) {
        self.screen.event(event);
        match event {
            Event::PutOn { load, .. } => self.studio.put_on(&load.weights),
            Event::WrongLoad(_) => {
                self.screen
                    .say("    the operator is told and puts it right");
                self.studio.put_right();
            }
            _ => {}
        }
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        match decision {
            Decision::Table => Wish::Say(Command::Accept),
            Decision::Doubt => Wish::Say(Command::Repeat),
            Decision::NoTable => Wish::Stop,
        }
    }
}

/// Somebody at the keyboard who places weights on the simulated pan.
pub struct Asked<'a> {
    /// Shows what happens.
    pub screen: Screen,
    /// The bench.
    pub studio: &'a Studio,
    /// The plan, for the names of the weights.
    pub plan: Plan,
    /// What was typed instead of a load.
    pub wish: Option<Wish>,
}

impl Asked<'_> {
    fn place(&mut self, load: &Load) {
        loop {
            let wanted = super::live::describe(load);
            outpart!("    put on what? [Enter: {wanted}] ");
            let _ = std::io::stdout().flush();
            let Some(line) = read_line() else {
                self.wish = Some(Wish::Stop);
                return;
            };
            match self.understand(&line, load) {
                Ok(Typed::Weights(ids)) => {
                    self.studio.put_on(&ids);
                    return;
                }
                Ok(Typed::Wish(wish)) => {
                    self.wish = Some(wish);
                    return;
                }
                Err(complaint) => self.screen.say(&format!("    {complaint}")),
            }
        }
    }

    fn understand(&self, line: &str, load: &Load) -> Result<Typed, String> {
        let line = line.trim();
        match line {
            "" => return Ok(Typed::Weights(load.weights.clone())),
            "0" | "nothing" | "empty" => return Ok(Typed::Weights(Vec::new())),
            "u" | "undo" => return Ok(Typed::Wish(Wish::Say(Command::Undo))),
            "t" | "take" => return Ok(Typed::Wish(Wish::Say(Command::TakeAsIs))),
            "q" | "stop" => return Ok(Typed::Wish(Wish::Stop)),
            _ => {}
        }
        pick(line, &self.plan.weights)
            .map(Typed::Weights)
            .map_err(|text| format!("there is no (other) \"{text}\" here.\n    {HELP}"))
    }
}

/// What can be typed at a prompt for a load.
pub const HELP: &str = "Type names or masses, as W3+W5 or 1kg+200g; Enter: what is asked for;\n    0: nothing; u: take the last one back; t: take what lies there; q: stop";

enum Typed {
    Weights(Vec<String>),
    Wish(Wish),
}

fn read_line() -> Option<String> {
    let mut line = String::new();
    match std::io::stdin().lock().read_line(&mut line) {
        Ok(0) | Err(_) => None,
        Ok(_) => Some(line),
    }
}

impl Watcher for Asked<'_> {
    fn event(&mut self, event: &Event) {
        self.screen.event(event);
        match event {
            Event::PutOn { load, .. } => self.place(load),
            Event::WrongLoad(wrong) => self.place(&wrong.asked),
            _ => {}
        }
    }

    fn wish(&mut self) -> Wish {
        self.wish.take().unwrap_or(Wish::GoOn)
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        match decision {
            Decision::Table => ask_for_table(&mut self.screen, &mut read_line, false),
            Decision::Doubt => ask_for_table(&mut self.screen, &mut read_line, true),
            Decision::NoTable => ask_for_more(&mut self.screen, &mut read_line),
        }
    }
}

/// Somebody at a real scale: weights speak through the signal; the keyboard is
/// for second thoughts only.
pub struct AtTheScale {
    /// Shows what happens.
    pub screen: Screen,
    /// Lines typed.
    typed: Receiver<String>,
    /// Whether to accept the table unasked.
    pub yes: bool,
}

/// Lines as they are typed.
fn typed_lines() -> Receiver<String> {
    let (sender, typed) = channel();
    // Ends with the program: reading a terminal cannot be interrupted.
    std::thread::spawn(move || {
        while let Some(line) = read_line() {
            if sender.send(line).is_err() {
                break;
            }
        }
    });
    typed
}

impl AtTheScale {
    /// Somebody at the keyboard.
    #[must_use]
    pub fn new(screen: Screen, yes: bool) -> Self {
        let typed = typed_lines();
        Self { screen, typed, yes }
    }
}

/// Somebody at a real scale who verifies it.
pub struct ProofAtTheScale {
    screen: ProofScreen,
    typed: Receiver<String>,
}

impl ProofAtTheScale {
    /// Somebody at the keyboard.
    #[must_use]
    pub fn new(screen: ProofScreen) -> Self {
        Self {
            screen,
            typed: typed_lines(),
        }
    }
}

impl ProofWatcher for ProofAtTheScale {
    fn event(&mut self, event: &ProofEvent) {
        self.screen.event(event);
    }

    fn wish(&mut self) -> ProofWish {
        match self.typed.try_recv() {
            Ok(line) => match line.trim() {
                "u" | "undo" => ProofWish::Say(ProofCommand::Undo),
                "t" | "take" => ProofWish::Say(ProofCommand::TakeAsIs),
                "l" | "leave" => ProofWish::Say(ProofCommand::LeaveOut),
                "q" | "stop" => ProofWish::Stop,
                _ => {
                    self.screen.say(
                        "    u: take the last one back   t: take this load   l: leave this test out   q: stop",
                    );
                    ProofWish::GoOn
                }
            },
            Err(TryRecvError::Empty | TryRecvError::Disconnected) => ProofWish::GoOn,
        }
    }
}

/// The simulated person of the bench, verifying.
pub struct ProofSimulated<'a> {
    /// Shows what happens.
    pub screen: ProofScreen,
    /// The bench.
    pub studio: &'a Studio,
}

impl ProofWatcher for ProofSimulated<'_> {
    fn event(&mut self, event: &ProofEvent) {
        self.screen.event(event);
        match event {
            ProofEvent::Do { step, .. } => self.studio.put_on_at(&step.load.weights, step.spot),
            ProofEvent::Wrong { .. } => {
                self.screen
                    .say("    the operator is told and puts it right");
                self.studio.put_right();
            }
            _ => {}
        }
    }
}

impl Watcher for AtTheScale {
    fn event(&mut self, event: &Event) {
        self.screen.event(event);
    }

    fn wish(&mut self) -> Wish {
        match self.typed.try_recv() {
            Ok(line) => match line.trim() {
                "u" | "undo" => Wish::Say(Command::Undo),
                "t" | "take" => Wish::Say(Command::TakeAsIs),
                "q" | "stop" => Wish::Stop,
                _ => {
                    self.screen.say(
                        "    u: take the last one back   t: take this load as it is   q: stop",
                    );
                    Wish::GoOn
                }
            },
            Err(TryRecvError::Empty | TryRecvError::Disconnected) => Wish::GoOn,
        }
    }

    fn decide(&mut self, decision: Decision) -> Wish {
        let typed = &self.typed;
        let mut next = || typed.recv().ok();
        match decision {
            Decision::Table if self.yes => Wish::Say(Command::Accept),
            Decision::Table => ask_for_table(&mut self.screen, &mut next, false),
            Decision::Doubt => ask_for_table(&mut self.screen, &mut next, true),
            Decision::NoTable => ask_for_more(&mut self.screen, &mut next),
        }
    }
}

/// Asks what to do with a table; `doubt` says whether something should be
/// captured again first.
fn ask_for_table(
    screen: &mut Screen,
    next: &mut dyn FnMut() -> Option<String>,
    doubt: bool,
) -> Wish {
    loop {
        if doubt {
            screen.say("  r: capture that again first (best)   or put this table into the scale:");
        }
        screen.say("  Put this table into the scale? y: yes   n: keep the old one   u: undo");
        match next().as_deref().map(str::trim) {
            Some("r" | "repeat") if doubt => return Wish::Say(Command::Repeat),
            Some("y" | "yes") => return Wish::Say(Command::Accept),
            Some("n" | "no") => return Wish::Say(Command::Keep),
            Some("u" | "undo") => return Wish::Say(Command::Undo),
            Some("q" | "stop") | None => return Wish::Stop,
            Some(_) => {}
        }
    }
}

fn ask_for_more(screen: &mut Screen, next: &mut dyn FnMut() -> Option<String>) -> Wish {
    loop {
        screen.say("  u: take the last load back and do it again   q: stop here");
        match next().as_deref().map(str::trim) {
            Some("u" | "undo") => return Wish::Say(Command::Undo),
            Some("q" | "stop") | None => return Wish::Stop,
            Some(_) => {}
        }
    }
}
