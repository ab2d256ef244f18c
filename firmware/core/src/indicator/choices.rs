//! What choosing an entry does, and what a number that was entered does.

use scalewright_protocol::message::Refusal;

use super::entry::{Entry, Question};
use super::lists::{List, menu};
use super::sight::Sight;
use super::words::Message;
use super::{Indicator, Screen};
use crate::functions::counting::{MOST_PIECES, OFFERED, Sampling};
use crate::functions::peak::Among;
use crate::functions::preferences::{BRIGHTEST, Function, RestAfter};
use crate::functions::preset::{most, preset_tare};
use crate::functions::unit::{Interval, Unit};
use crate::instrument::Instrument;
use crate::ports::Storage;

/// Least d, quanta, of which a tenth can be shown.
const FINER_FROM: i32 = 10;

impl Indicator {
    /// Takes the chosen entry of a list.
    #[inline(never)]
    pub(super) fn choose(&mut self, list: List, sight: &Sight<'_>) {
        let at = self.at;
        match list {
            List::Menu => self.choose_in_menu(at, sight),
            List::Units => {
                self.preferences.unit = Unit::ALL.get(usize::from(at)).copied();
                self.keep();
                self.screen = Screen::Weighing;
            }
            List::Hold => {
                self.choose_function(match at {
                    0 => Function::None,
                    1 => Function::HoldAtRest,
                    _ => Function::HoldMoving,
                });
                self.screen = Screen::Weighing;
            }
            List::Pieces => {
                let offered = at
                    .checked_sub(1)
                    .and_then(|at| OFFERED.get(usize::from(at)));
                match (at, offered) {
                    (0, _) => {
                        self.choose_function(Function::None);
                        self.screen = Screen::Weighing;
                    }
                    (_, Some(pieces)) => self.ask_for(*pieces),
                    _ => self.ask(Question::Pieces, sight),
                }
            }
            List::Limits => match at {
                0 => {
                    let on = self.preferences.function == Function::Limits;
                    self.choose_function(if on { Function::None } else { Function::Limits });
                }
                1 => self.ask(Question::LowLimit, sight),
                2 => self.ask(Question::HighLimit, sight),
                _ => {}
            },
            List::Display => {
                let chosen = &mut self.preferences;
                match at {
                    0 => chosen.brightness = chosen.brightness % BRIGHTEST + 1,
                    1 => chosen.rest_after = after(chosen.rest_after),
                    _ => chosen.rests_dark = !chosen.rests_dark,
                }
                self.keep();
            }
            // What the scale itself does is turned by `press`.
            List::Zero | List::About => {}
        }
    }

    #[inline(never)]
    fn choose_in_menu(&mut self, at: u8, sight: &Sight<'_>) {
        match at {
            menu::UNITS => self.open(List::Units, sight),
            menu::DIGITS => {
                self.screen = Screen::Weighing;
                if sight.settings.d < FINER_FROM {
                    self.say(sight.now_ms, Message::NothingFiner);
                } else {
                    self.extended.ask(sight.now_ms);
                }
            }
            menu::HOLD => self.open(List::Hold, sight),
            menu::COUNT => self.open(List::Pieces, sight),
            menu::LIMITS => self.open(List::Limits, sight),
            menu::PRESET => self.ask(Question::PresetTare, sight),
            menu::ZERO => self.open(List::Zero, sight),
            menu::SCREEN => self.open(List::Display, sight),
            menu::ABOUT => self.open(List::About, sight),
            _ => {
                self.calibration = true;
                self.screen = Screen::Calibrate;
            }
        }
    }

    /// Opens a list at what is in force.
    #[inline(never)]
    fn open(&mut self, list: List, sight: &Sight<'_>) {
        let interval = self.interval(sight);
        let at = list.in_force(&self.told(sight, &interval));
        self.list(list, at);
    }

    /// Asks for a number; one that was being entered when time ran out goes on.
    #[inline(never)]
    fn ask(&mut self, question: Question, sight: &Sight<'_>) {
        self.screen = Screen::Entry;
        let settings = sight.settings;
        let mass = self.interval(sight);
        let asked = |entry: &&mut Entry| {
            entry.question() == question
                && (question == Question::Pieces || *entry.interval() == mass)
        };
        if let Some(entry) = self.entry.as_mut().filter(asked) {
            entry.begin();
            return;
        }
        let digits = |quanta| mass.digits(quanta, settings.quantum_ug);
        let most = most(&mass, settings.quantum_ug, settings.max);
        let chosen = &self.preferences;
        let entry = match question {
            Question::PresetTare => Entry::new(question, mass, digits(chosen.preset), most),
            Question::LowLimit => Entry::new(question, mass, digits(chosen.low), most),
            Question::HighLimit => Entry::new(question, mass, digits(chosen.high), most),
            Question::Pieces | Question::Load => {
                let pieces = Interval {
                    unit: Unit::Gram,
                    decimals: 0,
                    step: 1,
                };
                Entry::new(
                    question,
                    pieces,
                    i64::from(chosen.pieces),
                    i64::from(MOST_PIECES),
                )
            }
        };
        self.entry = Some(entry);
    }

    /// A number was entered; what it did, if it did something to the instrument.
    #[inline(never)]
    pub(super) fn entered<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        entry: &Entry,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> Option<(Result<(), Refusal>, Message)> {
        let settings = *scale.settings();
        let quanta = entry.interval().quanta(entry.number(), settings.quantum_ug);
        match entry.question() {
            Question::PresetTare => {
                self.screen = Screen::Weighing;
                let tare = preset_tare(
                    entry.number(),
                    entry.interval(),
                    settings.quantum_ug,
                    settings.max,
                );
                let done = match tare {
                    Some(tare) => scale.preset_tare(tare).map(|()| tare),
                    None => Err(Refusal::TareRange),
                };
                if let Ok(tare) = done {
                    self.preset = tare;
                    self.preferences.preset = tare;
                    self.keep();
                }
                let said = match done {
                    Ok(0) => Message::TareCleared,
                    _ => Message::PresetSet,
                };
                return Some((done.map(|_| ()), said));
            }
            // The one entered last holds; the other follows it.
            Question::LowLimit => {
                self.preferences.low = quanta;
                self.preferences.high = self.preferences.high.max(quanta);
                self.keep();
                self.list(List::Limits, 1);
            }
            Question::HighLimit => {
                self.preferences.high = quanta;
                self.preferences.low = self.preferences.low.min(quanta);
                self.keep();
                self.list(List::Limits, 2);
            }
            Question::Pieces => {
                let pieces = u16::try_from(entry.number()).unwrap_or(MOST_PIECES);
                self.ask_for(pieces.max(1));
            }
            // A guest's own affair.
            Question::Load => self.screen = Screen::Weighing,
        }
        None
    }

    /// Asks for a sample.
    #[inline(never)]
    fn ask_for(&mut self, pieces: u16) {
        self.preferences.pieces = pieces;
        self.keep();
        self.sampling = Sampling::new(pieces);
        self.averaging = false;
        self.screen = Screen::Sample;
    }

    #[inline(never)]
    pub(super) fn choose_function(&mut self, function: Function) {
        if self.preferences.function != function {
            self.preferences.function = function;
            self.peak.reset();
            self.keep();
        }
    }

    #[inline(never)]
    fn keep(&mut self) {
        self.unsaved = true;
    }

    /// Which masses are held; none while none is.
    pub(super) const fn among(&self) -> Option<Among> {
        match self.preferences.function {
            Function::HoldAtRest => Some(Among::AtRest),
            Function::HoldMoving => Some(Among::Moving),
            _ => None,
        }
    }
}

/// The next choice.
fn after(rest: RestAfter) -> RestAfter {
    let all = RestAfter::ALL.iter().cycle();
    all.skip_while(|one| **one != rest)
        .nth(1)
        .copied()
        .unwrap_or_default()
}
