//! A verification as it happens, line by line, at most 80 columns.

use scalewright_protocol::settings::Conduct;

use crate::report::number;
use crate::session::plan::Load;
use crate::session::proof::plan::{Doing, ProofPlan, ProofStep};
use crate::session::proof::prover::{ProofEvent, Watching};
use crate::session::proof::{Spot, Test};

use super::live::{NO_COMBINATION, TAKE_OFF, describe, wrap};
use super::live_line::{LiveLine, clip};
use super::paint::Paint;

/// Shows a verification.
pub struct ProofScreen {
    paint: Paint,
    quiet: bool,
    /// Whether people (not the bench) put the loads on.
    by_hand: bool,
    e_g: f64,
    test: Option<Test>,
    /// Whether the latest order was for an empty pan.
    empty: bool,
    /// Whether the latest capture was taken back.
    undone: bool,
    line: LiveLine,
}

impl ProofScreen {
    /// A screen on standard output; a quiet one shows nothing.
    #[must_use]
    pub fn new(plan: &ProofPlan, quiet: bool, by_hand: bool) -> Self {
        let paint = Paint::of_stdout();
        Self {
            paint,
            quiet,
            by_hand,
            e_g: plan.scale.e_g,
            test: None,
            empty: false,
            undone: false,
            line: LiveLine::new(paint, quiet),
        }
    }

    /// A line of text, whatever stands on the line at hand.
    pub fn say(&mut self, text: &str) {
        self.line.say(text);
    }

    /// Shows an event.
    pub fn event(&mut self, event: &ProofEvent) {
        if self.quiet {
            return;
        }
        match event {
            ProofEvent::Greeted(held) => {
                let id = format!("{:04X}", held.device_id);
                self.say(&format!(
                    "Hello from scale {} ({}, firmware {}), table {:08x}",
                    self.paint.strong(&id),
                    held.board,
                    held.firmware,
                    held.checksum
                ));
                if held.settings.conduct.has(Conduct::TRACKS_ZERO) {
                    self.say("Its zero follows drift; during the tests it stands still.");
                }
            }
            ProofEvent::Begins(test) => self.begins(*test),
            ProofEvent::Again { why, .. } => {
                self.say(&format!(
                    "  {} {why}: this test begins anew",
                    self.paint.heed("!")
                ));
            }
            ProofEvent::Do { number, of, step } => self.asked(*number, *of, step),
            ProofEvent::Live { gross_g, watching } => self.live(*gross_g, *watching),
            ProofEvent::Wrong {
                asked,
                seen_g,
                looks_like,
                nothing_moved,
            } => self.wrong(asked, *seen_g, looks_like, *nothing_moved),
            ProofEvent::Trouble { what, try_this } => {
                self.say(&format!("  {} {what}", self.paint.bad("!")));
                for line in wrap(&format!("try  {try_this}"), 74) {
                    self.say(&format!("    {line}"));
                }
            }
            ProofEvent::TroubleOver => self.say("    that is over; going on"),
            ProofEvent::Keep(entry) => self.kept(entry),
            ProofEvent::Captured { capture, gross_g } => {
                let error_g = gross_g - capture.load.mass_g;
                let tail = format!(
                    "{:>10} g  {:>8} e",
                    number::error_g(error_g, self.e_g),
                    number::error_e(error_g / self.e_g)
                );
                self.line.conclude(&tail);
            }
        }
    }

    fn kept(&mut self, entry: &crate::session::proof::entry::ProofEntry) {
        use crate::session::proof::entry::ProofEntry;
        match entry {
            ProofEntry::Zeroed { .. } => {
                self.line.conclude(&format!("{:>14}", "zero set"));
            }
            ProofEntry::Tared { cleared, .. } => {
                let what = if *cleared { "tare cleared" } else { "tared" };
                self.line.conclude(&format!("{what:>14}"));
            }
            ProofEntry::Undone => {
                self.undone = true;
                self.say("  taken back");
            }
            ProofEntry::LeftOut { test, why } => {
                for line in wrap(&format!("{} is left out: {why}", test.title()), 76) {
                    self.say(&format!("  {line}"));
                }
            }
            _ => {}
        }
    }

    fn begins(&mut self, test: Test) {
        self.test = Some(test);
        self.say("");
        let title = self.paint.strong(test.title());
        self.say(&title);
        self.say(&format!("  {}", test.about()));
    }

    fn asked(&mut self, number: usize, of: usize, step: &ProofStep) {
        let mass = number::mass(step.load.mass_g, number::resolution_g(self.e_g));
        let what = match (step.load.weights.is_empty(), step.spot) {
            (true, _) => "empty pan".to_owned(),
            (false, Spot::Middle) => format!("{mass:>8}  {}", step.load.weights.join("+")),
            (false, spot) => format!("{mass:>8}  {}", spot.words()),
        };
        self.line
            .begin(format!("  {number:>2}/{of:<2} {:<38}", clip(&what, 38)));
        let undone = std::mem::take(&mut self.undone);
        let was_empty = std::mem::replace(&mut self.empty, step.load.weights.is_empty());
        if !self.by_hand {
            return;
        }
        let order = match (step.load.weights.is_empty(), step.doing) {
            (true, _) if was_empty => "Leave it empty".to_owned(),
            (true, _) => "Take everything off".to_owned(),
            (false, _) if undone => format!(
                "Lift it and put it on again: {}  ({mass} together)",
                describe(&step.load)
            ),
            (false, Doing::CaptureAfter { seconds }) if seconds > 0 => {
                "Leave it where it is".to_owned()
            }
            (false, _) if step.spot != Spot::Middle => format!(
                "Put it {}: {} ({mass})",
                step.spot.words(),
                describe(&step.load)
            ),
            (false, _) => format!("Put on: {}  ({mass} together)", describe(&step.load)),
        };
        for line in wrap(&order, 78) {
            let line = self.paint.strong(&line);
            self.say(&format!("  {line}"));
        }
        if self.test == Some(Test::Eccentricity) && !step.load.weights.is_empty() {
            for line in pan(step.spot, self.paint.either("o", "●")) {
                self.say(&format!("      {line}"));
            }
        }
    }

    fn live(&mut self, gross_g: f64, watching: Watching) {
        let reading = number::mass(gross_g, number::resolution_g(self.e_g));
        let state = match watching {
            Watching::Waiting => "waiting".to_owned(),
            Watching::Settling => "settling".to_owned(),
            Watching::Other => "not this".to_owned(),
            Watching::Averaging { done, of } => format!("{done}/{of}"),
            Watching::Lying { left_s } if left_s >= 60 => format!("{} min", left_s.div_ceil(60)),
            Watching::Lying { left_s } => format!("{left_s} s"),
        };
        self.line
            .show(gross_g, &format!("{reading:>11} {state:<9}"));
    }

    fn wrong(&mut self, asked: &Load, seen_g: f64, looks_like: &[Load], nothing_moved: bool) {
        let fine = number::resolution_g(self.e_g);
        let to_empty = asked.weights.is_empty();
        let asked = match to_empty {
            true => "the empty pan".to_owned(),
            false => number::mass(asked.mass_g, fine),
        };
        let seems_empty = matches!(looks_like, [load, ..] if load.weights.is_empty());
        if nothing_moved && (!to_empty || seems_empty) {
            let mark = self.paint.heed("..").clone();
            self.say(&format!(
                "  {mark} still waiting for {asked} (t takes what lies there)"
            ));
            return;
        }
        let mark = self.paint.heed("!").clone();
        self.say(&format!(
            "  {mark} that looks like {}, not {asked}",
            number::mass((seen_g / self.e_g).round() * self.e_g, fine)
        ));
        let guess = match looks_like.first() {
            Some(_) if seems_empty => "the pan seems to be empty".to_owned(),
            Some(load) if to_empty => format!("{TAKE_OFF} ({})", describe(load)),
            None if to_empty => TAKE_OFF.to_owned(),
            Some(load) => format!("it could be {}", describe(load)),
            None => NO_COMBINATION.to_owned(),
        };
        for line in wrap(&guess, 74) {
            self.say(&format!("    {line}"));
        }
    }
}

/// The pan from above, with a mark where the load goes.
fn pan(spot: Spot, mark: &str) -> [String; 5] {
    let at = |here: Spot| if here == spot { mark } else { " " };
    let middle = match spot {
        Spot::Middle => format!("|-----{mark}-----|"),
        _ => "|-----+-----|".to_owned(),
    };
    [
        "+-----+-----+".to_owned(),
        format!("|  {}  |  {}  |", at(Spot::FarLeft), at(Spot::FarRight)),
        middle,
        format!("|  {}  |  {}  |", at(Spot::FrontLeft), at(Spot::FrontRight)),
        "+---front---+".to_owned(),
    ]
}
