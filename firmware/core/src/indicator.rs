//! The indicator: a display of 128 by 64 dots, three keys, and what they do.
//!
//! The large sister of [`crate::panel`], for chips with flash enough for plain
//! words. Owns the screens, the numbers being entered, the functions of weighing
//! in use and what was chosen; asks the instrument for everything it shows and
//! refuses to know the display's wiring.
//!
//! **Drawn page by page.** There is no picture in memory; see [`painter`]. All
//! state together is a few hundred bytes, so that it fits 2 KiB of RAM.
//!
//! **Keys say what they do.** The lowest row of every screen is made from the
//! same [`Role`]s that a press carries out, so the two cannot disagree. Every
//! screen has a way back and goes back by itself after a minute; nothing in force
//! changes by that, and a number half entered is there when it is asked for
//! again.
//!
//! **A guest** may own the screen: see [`Indicator::admit`].

use scalewright_protocol::message::Flags;
use scalewright_protocol::units::elapsed_ms;

use crate::functions::counting::{Sample, Sampling};
use crate::functions::extended::Extended;
use crate::functions::peak::Peak;
use crate::functions::preferences::{Function, Preferences};
use crate::instrument::Instrument;
use crate::notebook::Kind;
use crate::ports::Storage;

mod acts;
pub mod calibrating;
mod choices;
mod drawing;
pub mod entry;
mod front;
pub mod keys;
pub mod large;
pub mod leaf;
pub mod light;
pub mod lists;
pub mod painter;
pub mod sight;
pub mod strip;
pub mod text;
pub mod weighing;
pub mod words;

pub use acts::Role;
pub use front::Front;
pub use keys::{Key, Press};
pub use leaf::{Guest, Leaf};
pub use light::Light;
pub use painter::Tile;

use entry::Entry;
use keys::Hand;
use light::Watch;
use lists::List;
use painter::Painter;
use sight::Sight;
use words::Message;

/// Without a key for so long a screen goes back to weighing, ms.
pub const PATIENCE_MS: u32 = 60_000;
/// How long a message stands, ms.
const MESSAGE_MS: u32 = 2500;

/// What is on the display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Screen {
    /// The indication.
    Weighing,
    /// A list.
    List(List),
    /// A number being entered.
    Entry,
    /// A sample of pieces being weighed.
    Sample,
    /// How to calibrate; until a guest takes over.
    Calibrate,
    /// What a guest shows.
    Guest,
}

/// State of the indicator.
#[derive(Clone, Debug)]
pub struct Indicator {
    hand: Hand,
    painter: Painter,
    watch: Watch,
    screen: Screen,
    /// The entry chosen in the list that is shown.
    at: u8,
    entry: Option<Entry>,
    sampling: Sampling,
    /// Readings of the sample are being taken.
    averaging: bool,
    sample: Option<Sample>,
    peak: Peak,
    extended: Extended,
    preferences: Preferences,
    unsaved: bool,
    message: Option<(Message, u32)>,
    pressed_ms: u32,
    /// The tare that was entered, quanta; 0 once another is in use.
    preset: i32,
    /// The tare that the held mass is net of.
    tare: i32,
    /// Number of the sample seen last.
    seen: u32,
    calibration: bool,
}

impl Indicator {
    /// Shows the weighing screen; nothing was chosen.
    #[must_use]
    pub const fn new(now_ms: u32) -> Self {
        Self {
            hand: Hand::new(),
            painter: Painter::new(),
            watch: Watch::new(now_ms),
            screen: Screen::Weighing,
            at: 0,
            entry: None,
            sampling: Sampling::new(1),
            averaging: false,
            sample: None,
            peak: Peak::new(),
            extended: Extended::new(),
            preferences: Preferences::new(),
            unsaved: false,
            message: None,
            pressed_ms: now_ms,
            preset: 0,
            tare: 0,
            seen: 0,
            calibration: false,
        }
    }

    /// Takes up what was chosen before; called once, after the instrument was
    /// started. A scale that remembers nothing begins as if nobody had chosen.
    pub fn recall<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        let entry = scale.recall(Kind::Preferences);
        let bytes = entry.as_ref().map_or(&[][..], |entry| &entry.content);
        self.preferences = Preferences::from_bytes(bytes);
    }

    /// Remembers what was chosen, once after each change, and not before the
    /// screen it was chosen on was left: a memory wears. One that does not take it
    /// loses a choice and no weighing.
    fn remember<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        if self.unsaved && self.screen == Screen::Weighing && !scale.is_storing() {
            self.unsaved = false;
            let _ = scale.remember(Kind::Preferences, &self.preferences.to_bytes());
        }
    }

    /// What was chosen.
    #[must_use]
    pub const fn preferences(&self) -> &Preferences {
        &self.preferences
    }

    /// What is on the display.
    #[must_use]
    pub const fn screen(&self) -> Screen {
        self.screen
    }

    /// How the display shall be lit.
    #[must_use]
    pub const fn light(&self) -> Light {
        self.watch.light(&self.preferences)
    }

    /// Forgets what is shown: the display was plugged in anew.
    pub const fn repaint(&mut self) {
        self.painter.forget();
    }

    /// Whether somebody chose "calibrate", once each time. A calibration that runs
    /// without a laptop then admits itself.
    pub const fn calibration_asked(&mut self) -> bool {
        core::mem::replace(&mut self.calibration, false)
    }

    /// Gives the screen to a guest: what it passes to [`Self::paint`] is shown,
    /// [`Self::turn`] hands it every key that counts, nothing times out and the
    /// display does not rest, until [`Self::dismiss`].
    pub const fn admit(&mut self) {
        self.screen = Screen::Guest;
        self.painter.hurry();
    }

    /// The guest is gone: back to weighing.
    pub const fn dismiss(&mut self) {
        self.screen = Screen::Weighing;
        self.painter.hurry();
    }

    /// One turn of the board's loop: takes which keys are down, a bit each from
    /// the left, and what the instrument weighed since. To be called after each
    /// sample, so that none is missed where the highest is held. A key that counts
    /// is handed back while a guest has the screen.
    pub fn turn<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        down: u8,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) -> Option<Press> {
        self.pass(&Sight::of(now_ms, scale));
        self.remember(scale);
        let press = self.hand.take(now_ms, down)?;
        self.painter.hurry();
        self.pressed_ms = now_ms;
        let slept = self.watch.resting();
        self.watch.wake(now_ms);
        if slept {
            self.hand.let_go();
            return None;
        }
        if self.screen == Screen::Guest {
            return Some(press);
        }
        self.press(now_ms, press, scale);
        None
    }

    /// Time went by and the instrument may have a new sample.
    #[inline(never)]
    fn pass(&mut self, sight: &Sight<'_>) {
        let now_ms = sight.now_ms;
        self.extended.pass(now_ms);
        if let Some((_, since_ms)) = self.message
            && elapsed_ms(now_ms, since_ms) >= MESSAGE_MS
        {
            self.message = None;
        }
        if self.screen == Screen::Guest {
            self.watch.wake(now_ms);
            self.pressed_ms = now_ms;
        } else if elapsed_ms(now_ms, self.pressed_ms) >= PATIENCE_MS {
            self.screen = Screen::Weighing;
            self.averaging = false;
            // Later turns of the clock shall not matter.
            self.pressed_ms = now_ms.wrapping_sub(PATIENCE_MS);
        }
        self.watch
            .pass(now_ms, sight.gross, sight.settings.d, &self.preferences);
        if self.preferences.suit(sight.settings.quantum_ug) {
            self.sample = None;
            self.averaging = false;
            self.entry = None;
            if self.screen == Screen::Entry {
                self.screen = Screen::Weighing;
            }
        }
        if sight.tare != self.tare {
            // Net masses before and after cannot be compared.
            self.tare = sight.tare;
            self.peak.reset();
        }
        if self.preset != sight.tare {
            self.preset = 0;
        }
        if sight.sample != self.seen {
            self.seen = sight.sample;
            self.weighed(sight);
        }
    }

    /// A new sample.
    #[inline(never)]
    fn weighed(&mut self, sight: &Sight<'_>) {
        let at_rest = sight.has(Flags::STABLE);
        if let Some(among) = self.among() {
            self.peak.push(among, sight.net, at_rest);
        }
        if !self.averaging {
            return;
        }
        let d = sight.settings.d;
        match self.sampling.push(sight.net, sight.spread, at_rest, d) {
            None => {}
            Some(Ok(sample)) => {
                self.averaging = false;
                self.sample = Some(sample);
                self.choose_function(Function::Count);
                self.screen = Screen::Weighing;
                self.say(sight.now_ms, Message::Counting);
            }
            Some(Err(_)) => {
                self.averaging = false;
                self.say(sight.now_ms, Message::SampleTooLight);
            }
        }
    }

    #[inline(never)]
    fn say(&mut self, now_ms: u32, message: Message) {
        self.message = Some((message, now_ms));
        self.painter.hurry();
    }
}
