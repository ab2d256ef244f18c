//! What the keys do on each screen.

use scalewright_protocol::message::Flags;

use super::entry::Question;
use super::keys::Press;
use super::lists::{List, holds, menu, of_zero};
use super::sight::Sight;
use super::words::{Message, troubled};
use super::{Indicator, Screen};
use crate::functions::counting::Sampling;
use crate::functions::preferences::Function;
use crate::instrument::Instrument;
use crate::ports::Storage;

/// What a key does now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Nothing; no word stands above the key.
    Nothing,
    /// Zero-setting.
    Zero,
    /// The load becomes the tare.
    Tare,
    /// The tare ends.
    NoTare,
    /// Opens the menu.
    Menu,
    /// Forgets the highest mass.
    Reset,
    /// The pieces on the pan, so many, become the sample.
    Renew(u16),
    /// One step back.
    Back,
    /// The next entry.
    Next,
    /// Takes the chosen entry.
    Choose,
    /// Changes the value of the chosen entry.
    Change,
    /// Counts a digit up.
    Up,
    /// The next digit.
    Onward,
    /// The number is entered.
    Done,
    /// Weighs the sample.
    Take,
}

impl Role {
    /// The word above the key.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Nothing => "",
            Self::Zero => "zero",
            Self::Tare => "tare",
            Self::NoTare => "no tare",
            Self::Menu => "menu",
            Self::Reset => "reset",
            Self::Renew(_) => "renew",
            Self::Back => "back",
            Self::Next => "next",
            Self::Choose => "choose",
            Self::Change => "change",
            Self::Up => "up",
            Self::Onward => "onward",
            Self::Done => "done",
            Self::Take => "take",
        }
    }
}

impl Indicator {
    /// What the keys do now, from the left.
    #[inline(never)]
    pub(super) fn roles(&self, sight: &Sight<'_>) -> [Role; 3] {
        let tare = match (sight.tare != 0, sight.net.is_some()) {
            (true, _) => Role::NoTare,
            (false, true) => Role::Tare,
            (false, false) => Role::Nothing,
        };
        match self.screen {
            Screen::Weighing => {
                let right = if self.extended.shows(sight.now_ms) {
                    Role::Back
                } else {
                    Role::Menu
                };
                [self.left(sight), tare, right]
            }
            Screen::List(list) => {
                let middle = match (list, self.at) {
                    (List::About, _) | (List::Limits, 3) => Role::Nothing,
                    (List::Display | List::Zero | List::Limits, _) => Role::Change,
                    _ => Role::Choose,
                };
                [Role::Next, middle, Role::Back]
            }
            Screen::Entry => match &self.entry {
                Some(entry) => entry.roles(),
                None => [Role::Nothing, Role::Nothing, Role::Back],
            },
            Screen::Sample if self.averaging => [Role::Nothing, Role::Nothing, Role::Back],
            Screen::Sample => [tare, Role::Take, Role::Back],
            Screen::Calibrate => [Role::Nothing, Role::Nothing, Role::Back],
            Screen::Guest => [Role::Nothing; 3],
        }
    }

    /// The left key of the weighing screen.
    #[inline(never)]
    fn left(&self, sight: &Sight<'_>) -> Role {
        let function = self.preferences.function;
        if holds(function) {
            return Role::Reset;
        }
        let counts = function == Function::Count && sight.has(Flags::STABLE);
        if let (true, Some(sample), Some(net)) = (counts, &self.sample, sight.net)
            && let Some(pieces) = sample.renewal(net, sight.spread)
        {
            return Role::Renew(pieces);
        }
        // Far below zero it may help; with no signal at all nothing does.
        let below = sight.has(Flags::UNDERLOAD) && !sight.has(Flags::SATURATED);
        let hopeless = troubled(sight.flags, sight.net.is_some()).is_some() && !below;
        if hopeless { Role::Nothing } else { Role::Zero }
    }

    /// Carries out what a key says it does.
    #[inline(never)]
    pub(super) fn press<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        press: Press,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let sight = Sight::of(now_ms, scale);
        let roles = self.roles(&sight);
        let role = roles
            .get(press.key.place())
            .copied()
            .unwrap_or(Role::Nothing);
        // Held, a key goes on only where that is of use.
        if press.held && !matches!(role, Role::Up | Role::Next) {
            return;
        }
        let done = match role {
            Role::Zero => Some((scale.zero(), Message::ZeroSet)),
            Role::Tare => {
                let done = scale.take_tare();
                let none = scale.reference.tare == 0;
                let said = if none {
                    Message::NoTare
                } else {
                    Message::TareSet
                };
                Some((done, said))
            }
            Role::NoTare => {
                scale.clear_tare();
                Some((Ok(()), Message::TareCleared))
            }
            Role::Done => match self.entry.take() {
                Some(entry) => self.entered(&entry, scale),
                None => {
                    self.screen = Screen::Weighing;
                    None
                }
            },
            Role::Change if self.screen == Screen::List(List::Zero) => {
                if let Err(refusal) = scale.switch(of_zero(self.at)) {
                    self.screen = Screen::Weighing;
                    self.say(now_ms, Message::Refused(refusal));
                }
                None
            }
            role => {
                self.go(role, &sight);
                None
            }
        };
        match done {
            Some((Ok(()), said)) => {
                if matches!(said, Message::ZeroSet) {
                    self.peak.reset();
                }
                self.say(now_ms, said);
            }
            Some((Err(refusal), _)) => self.say(now_ms, Message::Refused(refusal)),
            None => {}
        }
    }

    /// What changes the screen or what was chosen.
    #[inline(never)]
    fn go(&mut self, role: Role, sight: &Sight<'_>) {
        match role {
            Role::Menu => self.list(List::Menu, 0),
            Role::Reset => self.peak.reset(),
            Role::Renew(pieces) => {
                self.sampling = Sampling::new(pieces);
                self.averaging = true;
                self.screen = Screen::Sample;
            }
            Role::Back => self.back(),
            Role::Next => {
                if let Screen::List(list) = self.screen {
                    let next = self.at.saturating_add(1);
                    self.at = if next < list.length() { next } else { 0 };
                }
            }
            Role::Choose | Role::Change => {
                if let Screen::List(list) = self.screen {
                    self.choose(list, sight);
                }
            }
            Role::Up | Role::Onward => {
                if let Some(entry) = &mut self.entry {
                    if role == Role::Up {
                        entry.up();
                    } else {
                        entry.onward();
                    }
                }
            }
            Role::Take => {
                self.sampling = Sampling::new(self.sampling.pieces());
                self.averaging = true;
            }
            _ => {}
        }
    }

    #[inline(never)]
    pub(super) fn list(&mut self, list: List, at: u8) {
        self.screen = Screen::List(list);
        self.at = at;
    }

    #[inline(never)]
    fn back(&mut self) {
        self.extended.end();
        match self.screen {
            Screen::List(list) => match list.from() {
                Some(at) => self.list(List::Menu, at),
                None => self.screen = Screen::Weighing,
            },
            Screen::Entry => match &mut self.entry {
                Some(entry) if !entry.is_first() => entry.back(),
                // Left on purpose: begun anew the next time.
                entry => match entry.take().map(|entry| entry.question()) {
                    Some(Question::LowLimit) => self.list(List::Limits, 1),
                    Some(Question::HighLimit) => self.list(List::Limits, 2),
                    Some(Question::Pieces) => self.list(List::Pieces, 5),
                    _ => self.list(List::Menu, menu::PRESET),
                },
            },
            Screen::Sample if self.averaging => self.averaging = false,
            Screen::Sample => self.list(List::Pieces, 0),
            Screen::Calibrate => self.list(List::Menu, menu::CALIBRATE),
            Screen::Weighing | Screen::Guest => {}
        }
    }
}
