//! A session as it happens, line by line, at most 80 columns.
//!
//! On a terminal the line of the load at hand is rewritten while it settles;
//! elsewhere each load is one finished line.

use crate::quantise::spec_of;
use crate::record::together::Together;
use crate::record::weights::name;
use crate::report::number;
use crate::report::together;
use crate::session::event::{Event, Part, Watching, WrongLoad};
use crate::session::plan::{Load, Plan};

use super::live_line::{LiveLine, clip};
use super::paint::Paint;

/// Shows a session.
pub struct Screen {
    paint: Paint,
    quiet: bool,
    /// Whether people (not the bench) put the loads on.
    by_hand: bool,
    e_g: f64,
    /// Fillings of vessels: name of the load, the vessel, about how heavy, g.
    fillings: Vec<(String, String, f64)>,
    /// The filling at hand.
    filled: Option<String>,
    part: Option<Part>,
    line: LiveLine,
}

impl Screen {
    /// A screen on standard output; a quiet one shows nothing.
    #[must_use]
    pub fn new(plan: &Plan, quiet: bool, by_hand: bool) -> Self {
        let paint = Paint::of_stdout();
        Self {
            paint,
            quiet,
            by_hand,
            e_g: plan.scale.e_g,
            fillings: (plan.weights.iter())
                .filter_map(|weight| {
                    let vessel = weight.filling.as_ref()?.vessel.clone();
                    Some((weight.id.clone(), vessel, weight.mass_g))
                })
                .collect(),
            filled: None,
            part: None,
            line: LiveLine::new(paint, quiet),
        }
    }

    /// A line of text, whatever stands on the line at hand.
    pub fn say(&mut self, text: &str) {
        self.line.say(text);
    }

    /// Shows an event.
    pub fn event(&mut self, event: &Event) {
        if self.quiet {
            return;
        }
        match event {
            Event::Greeted {
                hello,
                settings,
                table,
                ..
            } => {
                let spec = spec_of(settings);
                let id = format!("{:04X}", hello.device_id);
                self.say(&format!(
                    "Hello from scale {} ({}, firmware {}.{}.{})",
                    self.paint.strong(&id),
                    hello.board.as_str(),
                    hello.firmware.0,
                    hello.firmware.1,
                    hello.firmware.2
                ));
                self.say(&format!(
                    "  Max {}, e = {}, d = {}, class {}; {}",
                    name(spec.max_g),
                    name(spec.e_g),
                    name(spec.d_g),
                    spec.class,
                    match table.knots {
                        0 => "not calibrated yet".to_string(),
                        knots => format!("holds a table of {knots} points"),
                    }
                ));
            }
            Event::Begins(part) => self.begins(*part),
            Event::PutOn { number, of, load } => self.put_on(*number, *of, load),
            Event::Live {
                load_g,
                net_counts,
                watching,
            } => self.live(*load_g, *net_counts, *watching),
            Event::WrongLoad(wrong) => self.wrong(wrong),
            Event::Trouble { what, try_this } => {
                self.say(&format!("  {} {what}", self.paint.bad("!")));
                self.say(&format!("    try  {try_this}"));
            }
            Event::TroubleOver => self.say("    that is over; going on"),
            Event::Captured { .. } => self.captured(event),
            Event::Undone { load } => {
                self.say(&format!("  taken back: {}", describe(load)));
                if !load.weights.is_empty() {
                    self.say("    lift it and put it on again (t takes it as it lies)");
                }
                self.part = None;
            }
            Event::Quiet(noise) => {
                let in_e = match (noise.sd_e, noise.supports_d_g) {
                    (Some(e), Some(d)) => format!(
                        "{} e: smoothed, the cell supports d = {d} g",
                        number::significant(e, 2)
                    ),
                    _ => format!("{:.0} counts (in e once a load was on)", noise.sd_counts),
                };
                self.say(&format!("  noise of one sample {in_e}"));
            }
            Event::Proposed {
                candidates,
                reason,
                together,
                again,
            } => {
                for line in candidates {
                    let error = line.leave_one_out_error_e.map_or_else(
                        || line.note.clone().unwrap_or_default(),
                        |error| format!("{error:>8.3} e"),
                    );
                    let text = format!(
                        "  {} {:40} {}",
                        if line.chosen { self.paint.either("*", "●") } else { " " },
                        clip(&line.title, 40),
                        clip(&error, 34),
                    );
                    self.say(&if line.chosen { self.paint.strong(&text) } else { text });
                }
                for line in wrap(reason, 76) {
                    self.say(&format!("  {line}"));
                }
                self.together(together, again);
            }
            Event::Storing { .. } => {}
            Event::Stored {
                sequence,
                points,
                checksum,
            } => self.say(&format!(
                "  {points} points written, read back and compared: {} (checksum {checksum:08x}, change {sequence})",
                self.paint.good("equal")
            )),
            Event::Corrects { width_g } => {
                self.say(&format!(
                    "  hysteresis: the scale takes off a loop {} g wide;",
                    number::size_g(*width_g, self.e_g)
                ));
                self.say("  the proof tells whether that helps");
            }
            Event::CorrectionTried(tried) => {
                let text = format!("Hysteresis: {}", together::correction(tried));
                for (index, line) in wrap(&text, 74).iter().enumerate() {
                    let lead = match (index, tried.kept) {
                        (0, true) => self.paint.good(self.paint.either("ok", "✓")),
                        (0, false) => self.paint.heed("!"),
                        _ => " ".into(),
                    };
                    self.say(&format!("  {lead} {line}"));
                }
            }
            Event::Kept => self.say("  the old table stays in force; nothing was changed"),
        }
    }

    /// Mass of a load, to a hundredth of e.
    fn mass(&self, load: &Load) -> String {
        number::mass(load.mass_g, number::resolution_g(self.e_g))
    }

    /// What the captures say of weights and scale.
    fn together(&mut self, found: &Together, again: &[Vec<String>]) {
        self.say("");
        let title = self
            .paint
            .strong("Weights and scale, from all captures together");
        self.say(&title);
        let bad = found.verdicts.len();
        for (index, sentence) in together::sentences(found, self.e_g).iter().enumerate() {
            let mark = if index < bad {
                self.paint.heed("!")
            } else if index == 0 {
                self.paint.good(self.paint.either("ok", "✓"))
            } else {
                self.paint.either("-", "·").to_string()
            };
            let lines = wrap(sentence, 74);
            for (index, line) in lines.iter().enumerate() {
                let lead = if index == 0 { mark.as_str() } else { " " };
                self.say(&format!("  {lead} {line}"));
            }
        }
        for names in again {
            self.say(&format!("    to settle it: {}", names.join(" + ")));
        }
    }

    fn begins(&mut self, part: Part) {
        if self.part == Some(part) {
            return;
        }
        self.part = Some(part);
        let title = match part {
            Part::Greeting => return,
            Part::NoiseCheck => "Noise of the empty pan",
            Part::Zero => "Zero",
            Part::Preload => "The heaviest load first: it exercises the cell",
            Part::Rising => "Test loads, going up",
            Part::Falling => "Test loads, coming down (hysteresis shows here)",
            Part::ZeroReturn => "Zero again (drift shows here)",
            Part::Again => "Once more, since something is in doubt",
            Part::Fit => "Ways to fit, judged by the error at loads left out (leave-one-out)",
            Part::Store => "Into the scale",
            Part::VerificationZero => "Zero-setting before the proof",
            Part::Verification => {
                "Proof with loads not used: error before, now, of the permitted, in e"
            }
        };
        self.say("");
        let title = self.paint.strong(title);
        self.say(&title);
    }

    fn put_on(&mut self, number: usize, of: usize, load: &Load) {
        let what = if load.weights.is_empty() {
            describe(load)
        } else {
            format!("{:>8}  {}", self.mass(load), load.weights.join("+"))
        };
        self.line.begin(if of > 1 {
            format!("  {number:>2}/{of:<2} {:<34}", clip(&what, 34))
        } else {
            format!("  {:<40}", clip(&what, 40))
        });
        let filling = self
            .fillings
            .iter()
            .find(|(id, ..)| load.weights.contains(id) && self.filled.as_ref() != Some(id));
        if let Some((id, vessel, mass_g)) = filling.cloned() {
            let order = format!(
                "Fill {vessel} until it weighs about {}, and then leave it as it is: what is spilt or poured off becomes an error.",
                name(mass_g)
            );
            for line in wrap(&order, 76) {
                let line = self.paint.strong(&line);
                self.say(&format!("  {line}"));
            }
            self.filled = Some(id);
        }
        if self.by_hand {
            let order = if load.weights.is_empty() {
                "Take everything off".to_string()
            } else {
                format!("Put on: {}  ({} together)", describe(load), self.mass(load))
            };
            for line in wrap(&order, 78) {
                let line = self.paint.strong(&line);
                self.say(&format!("  {line}"));
            }
        }
    }

    fn live(&mut self, load_g: Option<f64>, net_counts: f64, watching: Watching) {
        let value = load_g.unwrap_or(net_counts);
        let number = match load_g {
            Some(g) => number::mass(g, number::resolution_g(self.e_g)),
            None => format!("{net_counts:.0} counts"),
        };
        let state = match watching {
            Watching::Waiting => "waiting".to_string(),
            Watching::Settling => "settling".to_string(),
            Watching::Averaging { done, of } => format!("{done}/{of}"),
        };
        self.line.show(value, &format!("{number:>13} {state:<9}"));
    }

    fn captured(&mut self, event: &Event) {
        let Event::Captured {
            capture,
            before_g,
            after_g,
            mpe_g,
        } = event
        else {
            return;
        };
        let (load_g, e_g) = (capture.load.mass_g, self.e_g);
        let in_e = |reading: f64| number::error_e((reading - load_g) / e_g);
        let tail = match (before_g, after_g) {
            (before, Some(after)) => {
                let pass = (after - load_g).abs() <= *mpe_g;
                let mark = if pass {
                    self.paint.good(self.paint.either("ok", "✓"))
                } else {
                    self.paint.bad(self.paint.either("no", "✗"))
                };
                let was = before.map_or_else(|| "-".into(), in_e);
                format!(
                    "{was:>8} {} {:>8} of {} {mark}",
                    self.paint.either("->", "→"),
                    in_e(*after),
                    number::trimmed(mpe_g / e_g, 1),
                )
            }
            (Some(before), None) if load_g > 0.0 => {
                format!("{:>8} e as set before", in_e(*before))
            }
            _ => format!("{:>10.0} counts", capture.mean_counts),
        };
        self.line.conclude(&tail);
    }

    fn wrong(&mut self, wrong: &WrongLoad) {
        let seen = number::mass(wrong.seen_g, self.e_g / 2.0);
        let asked = if wrong.asked.weights.is_empty() {
            "the empty pan".to_string()
        } else {
            self.mass(&wrong.asked)
        };
        if wrong.to_exchange {
            let mark = self.paint.heed("..");
            self.say(&format!(
                "  {mark} it reads right, but nothing was lifted since the load before:"
            ));
            for line in wrap(
                &format!("put {} on in its place", describe(&wrong.asked)),
                74,
            ) {
                self.say(&format!("    {line}"));
            }
            return;
        }
        if wrong.nothing_moved {
            self.say(&format!(
                "  {} still waiting for {asked} (t takes what lies there)",
                self.paint.heed("..")
            ));
            return;
        }
        self.say(&format!(
            "  {} that looks like {seen}, not {asked}",
            self.paint.heed("!")
        ));
        if wrong.seen_g < -wrong.tolerance_g {
            self.say("    lighter than the empty pan: something lay on it when zero was taken.");
            self.say("    Empty it, then u and Enter until zero is asked for again");
            return;
        }
        let guess = match wrong.looks_like.as_slice() {
            [] if wrong.asked.weights.is_empty() => TAKE_OFF.to_string(),
            [] => wrap(NO_COMBINATION, 74).join("\n    "),
            [load, ..] if load.weights.is_empty() => "the pan seems to be empty".to_string(),
            [load, ..] => {
                // Somebody mistakes one weight, rarely three.
                let differs = load
                    .weights
                    .iter()
                    .filter(|id| !wrong.asked.weights.contains(id))
                    .chain(
                        wrong
                            .asked
                            .weights
                            .iter()
                            .filter(|id| !load.weights.contains(id)),
                    )
                    .count();
                let guess = format!("it could be {} ({})", describe(load), name(load.mass_g));
                if differs > 2 {
                    format!("{guess},\n    or the load rests against something")
                } else {
                    guess
                }
            }
        };
        self.say(&format!("    {guess}"));
        if wrong.will_be_taken {
            self.say("    if it is the load asked for, a weight may be wrong: leave it, it is");
            self.say("    taken in a moment and judged together with the others");
        }
    }
}

/// Said of a load that no weights explain.
pub const NO_COMBINATION: &str = "no combination of the weights makes that: the load \
    may rest against something, or a weight is not on the list";
/// The same where the pan should be empty.
pub const TAKE_OFF: &str = "take off what lies there";

/// A load in words: its weights, or the empty pan.
#[must_use]
pub fn describe(load: &Load) -> String {
    if load.weights.is_empty() {
        "empty pan".into()
    } else {
        load.weights.join(" + ")
    }
}

/// Lines of at most `columns` characters, broken at spaces.
#[must_use]
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let Some(line) = lines.last_mut() else { break };
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > columns {
            lines.push(word.into());
        } else {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}
