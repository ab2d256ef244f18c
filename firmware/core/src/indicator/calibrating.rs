//! The screens of a calibration at the scale: a guest of the indicator.
//!
//! Owns which page is shown and what each key means there; what happens to the scale
//! is [`Walk`]'s. Every page says in plain words what to do and has a way out; leaving
//! always keeps the old table.

use scalewright_protocol::message::Refusal;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::units::elapsed_ms;

mod choices;
mod told;

pub use told::Said;

use choices::{CAPACITIES_G, USUAL_INTERVALS, interval_of, intervals_ug, quanta_ug};

use super::acts::Role;
use super::entry::{Entry, Question};
use super::keys::{Key, Press};
use crate::instrument::Instrument;
use crate::ports::Storage;
use crate::walk::{Stage, Trouble, Walk, settings_of};

/// A question whether to go on with an interrupted calibration stands so long, ms.
const ASKED_MS: u32 = 60_000;

/// What is shown besides the stages of the walk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Page {
    /// Nothing: no calibration.
    Closed,
    /// One was interrupted: go on?
    GoOn,
    /// Which capacity.
    Capacity,
    /// Which scale interval.
    Interval,
    /// What the walk is at.
    Walk,
    /// The mass of a load is entered.
    Number,
    /// What else can be done before the next load.
    More,
    /// Whether to stop.
    Stop,
    /// More of the summary.
    Details,
}

/// What else can be done.
const MORE: [&str; 5] = [
    "all taken",
    "enter a mass",
    "undo the last",
    "zero again",
    "stop",
];

/// A calibration at the scale, as somebody at the keys sees it.
#[derive(Debug)]
pub struct Calibrating {
    walk: Walk,
    page: Page,
    /// Where [`Page::Stop`] goes back to.
    before: Page,
    asked_ms: u32,
    /// Among [`CAPACITIES_G`].
    capacity: u8,
    d_ug: u32,
    /// The load offered, quanta.
    offered: i32,
    /// Among [`MORE`].
    more: u8,
    entry: Option<Entry>,
    refused: Option<Refusal>,
}

impl Default for Calibrating {
    fn default() -> Self {
        Self::new()
    }
}

impl Calibrating {
    /// None is under way.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            walk: Walk::new(),
            page: Page::Closed,
            before: Page::Closed,
            asked_ms: 0,
            capacity: 0,
            d_ug: 0,
            offered: 0,
            more: 0,
            entry: None,
            refused: None,
        }
    }

    /// Whether it wants the screen.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.page != Page::Closed
    }

    /// What the walk is at.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        self.walk.stage()
    }

    /// Opens, with the question whether to go on where one was interrupted.
    pub fn open<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        self.refused = None;
        self.asked_ms = now_ms;
        if Walk::is_interrupted(scale) {
            self.page = Page::GoOn;
            return;
        }
        self.ask_capacity(scale.settings());
    }

    /// Opens only if one was interrupted; for a scale just switched on.
    pub fn open_interrupted<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if !scale.is_sealed() && Walk::is_interrupted(scale) {
            self.open(now_ms, scale);
        }
    }

    /// The capacity nearest to the one in force is offered first.
    fn ask_capacity(&mut self, settings: &Settings) {
        let max_g = quanta_ug(settings.max, settings.quantum_ug) / 1_000_000;
        let near = CAPACITIES_G
            .iter()
            .enumerate()
            .min_by_key(|(_, capacity)| u64::from(**capacity).abs_diff(max_g));
        self.capacity = near.map_or(0, |(at, _)| at as u8);
        self.page = Page::Capacity;
    }

    fn ask_interval(&mut self) {
        let usual = intervals_ug().rev().find(|d_ug| {
            self.suits(*d_ug) && self.capacity_ug().checked_div(*d_ug) >= Some(USUAL_INTERVALS)
        });
        let usual = usual.and_then(|d_ug| u32::try_from(d_ug).ok());
        self.d_ug = usual.unwrap_or_else(|| self.finer(u32::MAX));
        self.page = Page::Interval;
    }

    fn begin<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let intervals = self.capacity_ug().checked_div(u64::from(self.d_ug));
        let intervals = intervals.and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
        let settings = settings_of(scale.settings(), self.d_ug, intervals);
        self.refused = self.walk.begin(scale, settings).err();
        self.page = Page::Walk;
        self.offer_first();
    }

    /// Carries out what a key says.
    pub fn press<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        press: Press,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        self.asked_ms = now_ms;
        // Only where something is turned through does a held key count again.
        let turns = matches!(self.page, Page::Capacity | Page::Interval | Page::Number)
            || (self.page == Page::Walk && self.walk.stage() == Stage::Choose);
        if press.held && !(turns && press.key == Key::Left) {
            return;
        }
        match self.page {
            Page::Closed => {}
            Page::GoOn => match press.key {
                Key::Left => {
                    self.refused = self.walk.resume(scale).err();
                    self.page = Page::Walk;
                    self.offer_next();
                }
                Key::Middle => {
                    self.walk.discard(scale);
                    self.ask_capacity(scale.settings());
                }
                Key::Right => self.page = Page::Closed,
            },
            Page::Capacity => match press.key {
                Key::Left => {
                    let next = self.capacity.saturating_add(1);
                    let wraps = usize::from(next) >= CAPACITIES_G.len();
                    self.capacity = if wraps { 0 } else { next };
                }
                Key::Middle => self.ask_interval(),
                Key::Right => self.page = Page::Closed,
            },
            Page::Interval => match press.key {
                Key::Left => self.d_ug = self.finer(self.d_ug),
                Key::Middle => self.begin(scale),
                Key::Right => self.page = Page::Capacity,
            },
            Page::Number => self.press_number(press.key),
            Page::More => self.press_more(press.key, scale),
            Page::Stop => match press.key {
                Key::Left => self.page = self.before,
                Key::Middle => {}
                Key::Right => {
                    self.walk.quit(scale);
                    self.page = Page::Closed;
                }
            },
            Page::Details => match press.key {
                Key::Left => self.page = Page::Walk,
                _ => self.press_walk(press.key, scale),
            },
            Page::Walk => self.press_walk(press.key, scale),
        }
    }

    fn press_number(&mut self, key: Key) {
        let Some(entry) = &mut self.entry else {
            self.page = Page::Walk;
            return;
        };
        let [left, middle, right] = entry.roles();
        let role = match key {
            Key::Left => left,
            Key::Middle => middle,
            Key::Right => right,
        };
        match role {
            Role::Up => entry.up(),
            Role::Onward => entry.onward(),
            Role::Done => {
                let quantum_ug = self.walk.settings().quantum_ug;
                let mass = entry.interval().quanta(entry.number(), quantum_ug);
                if mass > 0 {
                    self.offered = mass;
                }
                self.page = Page::Walk;
            }
            _ if entry.is_first() => self.page = Page::Walk,
            _ => entry.back(),
        }
    }

    fn press_more<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        key: Key,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        match (key, self.more) {
            (Key::Left, at) => {
                let next = at.saturating_add(1);
                self.more = if usize::from(next) < MORE.len() {
                    next
                } else {
                    0
                };
            }
            (Key::Right, _) => self.page = Page::Walk,
            (Key::Middle, 0) => {
                self.walk.finish();
                self.page = Page::Walk;
            }
            (Key::Middle, 1) => {
                let settings = self.walk.settings();
                let interval = interval_of(settings).tenth();
                let begin = interval.digits(self.offered, settings.quantum_ug);
                let most = interval.digits(settings.overload_above(), settings.quantum_ug);
                self.entry = Some(Entry::new(Question::Load, interval, begin, most));
                self.page = Page::Number;
            }
            (Key::Middle, 2) => self.undo(scale),
            (Key::Middle, 3) => {
                self.walk.zero_again();
                self.page = Page::Walk;
            }
            (Key::Middle, _) => self.ask_stop(),
        }
    }

    /// Takes the last load back, and offers it again.
    fn undo<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if let Some(taken) = self.walk.loads().last() {
            self.offered = taken.mass;
        }
        self.walk.undo(scale);
        self.page = Page::Walk;
    }

    fn ask_stop(&mut self) {
        self.before = Page::Walk;
        self.page = Page::Stop;
    }

    fn press_walk<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        key: Key,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if self.refused.is_some() {
            // It never began.
            self.page = Page::Closed;
            return;
        }
        match (self.walk.stage(), key) {
            (Stage::Off, _) => self.page = Page::Closed,
            (Stage::EmptyPan | Stage::EmptyAgain, Key::Middle) => self.walk.pan_is_empty(scale),
            (Stage::EmptyAgain, Key::Left) => self.undo(scale),
            (Stage::Choose, Key::Left) => self.offer_other(),
            (Stage::Choose, Key::Middle) => self.walk.choose(self.offered),
            (Stage::Choose, Key::Right) => {
                self.more = 0;
                self.page = Page::More;
            }
            (Stage::PutOn(_) | Stage::Taking(_), Key::Right)
            | (Stage::LooksLike { .. }, Key::Left) => self.walk.another(scale),
            (Stage::LooksLike { .. }, Key::Middle) => {
                self.walk.believe(scale);
                self.offer_next();
            }
            // On another key than the one pressed before: once too often says nothing.
            (Stage::NotEmpty(_), Key::Left) => self.walk.believe_empty(scale),
            (Stage::NotEmpty(_), Key::Middle) => {
                self.walk.again();
                self.walk.pan_is_empty(scale);
            }
            (Stage::Summary, Key::Left) => self.page = Page::Details,
            (Stage::Summary, Key::Middle) if self.page == Page::Details => self.undo(scale),
            (Stage::Summary, Key::Middle) => {
                self.page = Page::Walk;
                self.walk.accept(scale);
            }
            (Stage::Done, Key::Right) => {
                self.walk.quit(scale);
                self.page = Page::Closed;
            }
            (Stage::Trouble(Trouble::Table(_)), Key::Left) => self.undo(scale),
            // With loads taken it would lose them; zero can be taken again besides.
            (Stage::Trouble(Trouble::Falling), Key::Left) if self.walk.loads().is_empty() => {
                self.walk.anew(scale);
                self.offer_first();
            }
            (Stage::Trouble(_), Key::Middle) => self.walk.again(),
            (Stage::Done, _)
            | (Stage::EmptyPan | Stage::TakingZero | Stage::TakingLast, Key::Left)
            | (
                Stage::TakingZero | Stage::TakingLast | Stage::PutOn(_) | Stage::Taking(_),
                Key::Middle,
            )
            | (Stage::PutOn(_) | Stage::Taking(_) | Stage::Trouble(_), Key::Left) => {}
            (_, Key::Right) => self.ask_stop(),
        }
    }

    /// Looks after what is under way; to be called with every turn.
    pub fn watch<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let before = self.walk.loads().len();
        self.walk.watch(scale);
        if self.walk.loads().len() > before {
            self.offer_next();
        }
        // Nobody is there: weigh, and ask again at the next start.
        if matches!(self.page, Page::GoOn | Page::Capacity | Page::Interval)
            && elapsed_ms(now_ms, self.asked_ms) >= ASKED_MS
        {
            self.page = Page::Closed;
        }
    }
}
