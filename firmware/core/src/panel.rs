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

use face::{PARTS, Part, Sight, VIEWS, refused};
use line::Line;
use words::{LINE, Phrase, column};
pub use words::{ROM, ROM_BYTES};

/// How often what is shown is compared with what is, ms.
const REFRESH_MS: u32 = 100;
/// How long a message stands, ms.
const MESSAGE_MS: u32 = 2000;
/// A key counts when it has been down for so long, ms: contacts bounce.
const DEBOUNCE_MS: u32 = 20;
/// Dots between the left ends of two small letters, and of two large ones.
const SMALL_WIDTH: u8 = 6;
const LARGE_WIDTH: u8 = 18;
/// Small letters painted at a time.
const RUN: u8 = 3;
/// Characters of the large line, and of a small one.
const LARGE: u8 = 7;
const SMALL: u8 = LINE as u8;
/// Pages of the small lines, and the first of the large one's three.
const TOP_PAGE: u8 = 0;
const LARGE_PAGE: u8 = 2;
const MIDDLE_PAGE: u8 = 5;
const BOTTOM_PAGE: u8 = 7;
/// Characters of the whole display.
const ALL: usize = LARGE as usize + 3 * LINE;

impl Part {
    /// Its characters, where they begin among those shown, and its page.
    const fn place(self) -> (u8, u8, u8) {
        match self {
            Self::Large => (LARGE, 0, LARGE_PAGE),
            Self::Top => (SMALL, LARGE, TOP_PAGE),
            Self::Middle => (SMALL, LARGE + SMALL, MIDDLE_PAGE),
            Self::Bottom => (SMALL, LARGE + 2 * SMALL, BOTTOM_PAGE),
        }
    }
}

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
    /// The characters on the display, part by part.
    shown: [u8; ALL],
    /// The large letter at work: place, character, and page of three.
    large: (u8, u8, u8),
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
    pub const fn new() -> Self {
        Self {
            down: Keys(0),
            down_since_ms: 0,
            counted: false,
            view: 0,
            message: None,
            shown: [b' '; ALL],
            large: (0, 0, 0),
            next_ms: None,
            wipe: WIPES,
        }
    }

    /// Forgets what is shown: the display was plugged in anew.
    #[inline(never)]
    pub fn repaint(&mut self) {
        self.shown = [b' '; ALL];
        self.large = (0, 0, 0);
        self.wipe = WIPES;
        self.next_ms = None;
    }

    /// Takes which keys are down; the key that counts as pressed with it. Of
    /// several at once none counts.
    #[inline(never)]
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
    #[inline(never)]
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
    #[inline(never)]
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
        let state = scale.state(now_ms);
        let sight = Sight {
            state: &state,
            settings: scale.settings(),
            tare: scale.tare(),
            device_id: scale.identity().device_id,
            view: self.view,
            message: self.message.map(|(phrase, _)| phrase),
        };
        for part in PARTS {
            let mut line = Line::new(part.place().0);
            sight.write(part, &mut line, &rom);
            if let Some(tile) = self.piece(part, &line, &rom) {
                return Some(tile);
            }
        }
        self.next_ms = Some(now_ms.wrapping_add(REFRESH_MS));
        None
    }

    /// The first piece of a part that differs from what is shown.
    #[inline(never)]
    fn piece(&mut self, part: Part, line: &Line, rom: &dyn Fn(usize) -> u8) -> Option<Tile> {
        let (room, begins, page) = part.place();
        let mut tile = Tile {
            page,
            column: 0,
            columns: Vec::new(),
        };
        let mut left = 0u8;
        for place in 0..room {
            let wanted = line.at(place);
            let Some(shown) = self.shown.get_mut(usize::from(begins.wrapping_add(place))) else {
                continue;
            };
            if left == 0 && *shown == wanted {
                continue;
            }
            if part == Part::Large {
                // A letter that changed while it was painted begins anew.
                let (at, letter, mut third) = self.large;
                if at != place || letter != wanted {
                    third = 0;
                }
                self.large = (place, wanted, third.wrapping_add(1));
                if third == 2 {
                    *shown = wanted;
                    self.large = (0, 0, 0);
                }
                tile.page = page.wrapping_add(third);
                tile.column = place.wrapping_mul(LARGE_WIDTH);
                for at in 0..5 {
                    let dots = enlarged(column(rom, wanted, at), third);
                    for _ in 0..3 {
                        let _ = tile.columns.push(dots);
                    }
                }
                return Some(tile);
            }
            if left == 0 {
                tile.column = place.wrapping_mul(SMALL_WIDTH);
                left = RUN;
            }
            *shown = wanted;
            for at in 0..SMALL_WIDTH {
                let _ = tile.columns.push(column(rom, wanted, at));
            }
            left = left.wrapping_sub(1);
            if left == 0 {
                break;
            }
        }
        (!tile.columns.is_empty()).then_some(tile)
    }
}

/// Page `part` of a column of seven dots drawn three times as high, one row
/// down from the top.
#[inline(never)]
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
