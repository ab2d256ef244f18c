//! The panel: three keys and a display of 128 by 64 dots.
//!
//! Owns which key was pressed, what is on the display and which piece of it to
//! paint next. There is no picture in memory: text is compared with the text
//! shown, and a piece that differs is handed out as at most 18 columns of eight
//! dots, so that a board sends a little at a time and goes on weighing. Refuses
//! to wait and to know the display's wiring.

use heapless::Vec;
use scalewright_protocol::units::{elapsed_ms, reached_ms};

use crate::instrument::Instrument;
use crate::ports::Storage;

mod face;
mod line;
mod words;

use face::{Face, LARGE, VIEWS, face, refused};
use words::{LINE, Phrase, glyph};
pub use words::{ROM, ROM_BYTES};

/// How often what is shown is compared with what is, ms.
const REFRESH_MS: u32 = 100;
/// How long a message stands, ms.
const MESSAGE_MS: u32 = 2000;
/// A key counts when it has been down for so long, ms: contacts bounce.
const DEBOUNCE_MS: u32 = 20;
/// Dots between the left ends of two small letters.
const SMALL_WIDTH: u8 = 6;
/// The same of two large ones.
const LARGE_WIDTH: u8 = 18;
/// Small letters painted at a time.
const RUN: usize = 3;
const SMALL_PAGES: [u8; 3] = [0, 5, 7];
const LARGE_PAGE: u8 = 2;

/// Which keys are down: one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Keys(pub u8);

/// A key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Bit 0: zero-setting.
    Zero,
    /// Bit 1: tare; with a tare in use, no tare.
    Tare,
    /// Bit 2: the next view of the bottom line.
    View,
}

/// A piece of the display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tile {
    /// Row of eight dots, 0 on top.
    pub page: u8,
    /// First column.
    pub column: u8,
    /// Columns from there on; bit 0 is the upper dot.
    pub columns: Vec<u8, 18>,
}

/// State of the panel.
#[derive(Debug)]
pub struct Panel {
    down: Keys,
    down_since_ms: u32,
    counted: bool,
    view: u8,
    message: Option<(Phrase, u32)>,
    shown: Face,
    /// The large letter at work: place and page of three.
    large: Option<(u8, u8)>,
    /// When to compare again; none: at once.
    next_ms: Option<u32>,
    /// Pieces of the display still to be wiped.
    wipe: u8,
}

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}

/// Pieces of 16 columns of all eight pages.
const WIPES: u8 = 64;

impl Panel {
    /// Nothing pressed, nothing shown.
    #[must_use]
    pub fn new() -> Self {
        Self {
            down: Keys(0),
            down_since_ms: 0,
            counted: false,
            view: 0,
            message: None,
            shown: Face::default(),
            large: None,
            next_ms: None,
            wipe: WIPES,
        }
    }

    /// Forgets what is shown: the display was plugged in anew.
    pub fn repaint(&mut self) {
        self.shown = Face::default();
        self.large = None;
        self.wipe = WIPES;
        self.next_ms = None;
    }

    /// Takes which keys are down; the key that counts as pressed with it. Of
    /// several at once none counts.
    pub fn keys(&mut self, now_ms: u32, down: Keys) -> Option<Key> {
        if down != self.down {
            self.down = down;
            self.down_since_ms = now_ms;
            self.counted = false;
            return None;
        }
        if self.counted || elapsed_ms(now_ms, self.down_since_ms) < DEBOUNCE_MS {
            return None;
        }
        self.counted = true;
        match down.0 {
            1 => Some(Key::Zero),
            2 => Some(Key::Tare),
            4 => Some(Key::View),
            _ => None,
        }
    }

    /// Does what `key` asks for, and says so on the bottom line.
    pub fn press<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        key: Key,
        scale: &mut Instrument<S, KNOTS, QUEUE>,
    ) {
        self.next_ms = None;
        let said = match key {
            Key::View => {
                self.view = if self.view + 1 < VIEWS {
                    self.view + 1
                } else {
                    0
                };
                self.message = None;
                return;
            }
            Key::Zero => scale.zero().map(|()| Phrase::ZeroSet),
            Key::Tare if scale.tare() != 0 => {
                scale.clear_tare();
                Ok(Phrase::TareCleared)
            }
            Key::Tare => scale.take_tare().map(|()| Phrase::TareSet),
        };
        self.message = Some((said.unwrap_or_else(refused), now_ms));
    }

    /// The next piece to paint, if what is shown is not what is. `rom` reads a
    /// byte of [`ROM`].
    pub fn paint<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
        rom: impl Fn(usize) -> u8,
    ) -> Option<Tile> {
        if let Some(left) = self.wipe.checked_sub(1) {
            self.wipe = left;
            return Some(Tile {
                page: left / 8,
                column: left % 8 * 16,
                columns: Vec::from_array([0; 16]),
            });
        }
        if self
            .next_ms
            .is_some_and(|next_ms| !reached_ms(now_ms, next_ms))
        {
            return None;
        }
        if let Some((_, since_ms)) = self.message
            && elapsed_ms(now_ms, since_ms) >= MESSAGE_MS
        {
            self.message = None;
        }
        let message = self.message.map(|(phrase, _)| phrase);
        let wanted = face(scale, now_ms, self.view, message, &rom);
        let tile = self
            .large_piece(&wanted, &rom)
            .or_else(|| self.small_piece(&wanted, &rom));
        if tile.is_none() {
            self.next_ms = Some(now_ms.wrapping_add(REFRESH_MS));
        }
        tile
    }

    fn large_piece(&mut self, wanted: &Face, rom: &impl Fn(usize) -> u8) -> Option<Tile> {
        let (place, part) = self.large.take().or_else(|| {
            let differs = |place: &usize| wanted.large.at(*place) != self.shown.large.at(*place);
            let place = (0..LARGE).find(differs)?;
            Some((place as u8, 0))
        })?;
        let at = usize::from(place);
        let character = wanted.large.at(at);
        if part == 0 {
            set(&mut self.shown.large.0, at, character);
        } else if self.shown.large.at(at) != character {
            // It changed while it was painted: from the top again.
            return self.large_piece(wanted, rom);
        }
        if part < 2 {
            self.large = Some((place, part + 1));
        }
        let mut columns = Vec::new();
        for column in glyph(rom, character) {
            let dots = enlarged(column, part);
            for _ in 0..3 {
                let _ = columns.push(dots);
            }
        }
        Some(Tile {
            page: LARGE_PAGE + part,
            column: place * LARGE_WIDTH,
            columns,
        })
    }

    fn small_piece(&mut self, wanted: &Face, rom: &impl Fn(usize) -> u8) -> Option<Tile> {
        for ((page, want), shown) in SMALL_PAGES
            .into_iter()
            .zip(&wanted.small)
            .zip(&mut self.shown.small)
        {
            let differs = |at: &usize| want.at(*at) != shown.at(*at);
            let Some(first) = (0..LINE).find(differs) else {
                continue;
            };
            let mut columns = Vec::new();
            for at in first..LINE.min(first + RUN) {
                let character = want.at(at);
                set(&mut shown.0, at, character);
                for column in glyph(rom, character) {
                    let _ = columns.push(column);
                }
                let _ = columns.push(0);
            }
            return Some(Tile {
                page,
                column: first as u8 * SMALL_WIDTH,
                columns,
            });
        }
        None
    }
}

/// Makes the character at `place` this one; blanks fill what is between.
fn set<const N: usize>(line: &mut Vec<u8, N>, place: usize, character: u8) {
    while line.len() <= place && line.push(b' ').is_ok() {}
    if let Some(there) = line.get_mut(place) {
        *there = character;
    }
}

/// Page `part` of a column of seven dots drawn three times as high, one row
/// down from the top.
const fn enlarged(column: u8, part: u8) -> u8 {
    let mut dots = 0;
    let mut bit = 0;
    while bit < 8 {
        let row = part * 8 + bit;
        if row > 0 && row < 22 && column >> ((row - 1) / 3) & 1 != 0 {
            dots |= 1 << bit;
        }
        bit += 1;
    }
    dots
}
