//! The panel: three keys and a display of 128 by 64 dots.
//!
//! Owns which key was pressed, what is on the display and which piece of it to
//! paint next. There is no picture in memory: text is compared with the text
//! shown, and a piece that differs is handed out as 18 columns of eight dots, so
//! that a board sends a little at a time and goes on weighing. Refuses to wait
//! and to know the display's wiring.
//!
//! Written for a chip with little flash: a piece is one large letter's page or
//! three small letters, both 18 columns, so that one loop paints either; one
//! line at a time is written, compared and forgotten.

use crate::instrument::Instrument;
use crate::ports::Storage;

mod face;
mod line;
mod words;

use face::{LARGE, LARGE_LINE, VIEWS, refused};
use line::{LINE, Line};
use words::{Phrase, column};
pub use words::{ROM, ROM_BYTES};

/// How often what is shown is compared with what is, ms.
const REFRESH_MS: u16 = 100;
/// How long a message stands, in turns of the lowest byte of the clock, 256 ms;
/// the first counts as begun: 1.5 s to 1.8 s.
const MESSAGE_256_MS: u8 = 7;
/// A key counts when it has been down for so long, ms: contacts bounce.
const DEBOUNCE_MS: u8 = 20;
/// Columns of a piece, of all eight pages of a display, and their number.
const PIECE: usize = 18;
const WIDTH: u8 = 128;
const PIECES_ACROSS: u8 = 8;
const WIPES: u8 = 8 * PIECES_ACROSS;
/// Columns of a letter with the gap behind it.
const LETTER_COLUMNS: u8 = 6;
/// Small letters of a piece.
const RUN: u8 = 3;
/// Where the pieces of a line end.
const PIECES: u8 = LARGE * PIECE as u8;
/// In place of a large letter's page: small letters, and nothing to paint.
const SMALL: u8 = 0xFF;
const SAME: u8 = 0xFE;
/// Characters of the whole display.
const ALL: usize = LARGE as usize + 3 * LINE;
/// Bits of a shown large letter that tell how many of its pages are painted; 0
/// once all three are.
const PAGES: u8 = 0xC0;
const ONE_PAGE: u8 = 0x40;

/// Which keys are down: one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Keys(pub u8);

/// A key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Bit 0: zero-setting.
    Zero = 1,
    /// Bit 1: tare; with a tare in use, no tare.
    Tare = 2,
    /// Bit 2: the next view of the bottom line.
    View = 4,
}

/// A piece of the display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tile {
    /// Row of eight dots, 0 on top.
    pub page: u8,
    /// First column.
    pub column: u8,
    /// Columns from there on; bit 0 is the upper dot.
    pub columns: [u8; PIECE],
}

/// State of the panel. Times are bytes of the clock: what they are compared
/// with is looked at more often than they turn over, and where it is not, a key
/// or a change counts a little later.
#[derive(Debug)]
pub struct Panel {
    down: Keys,
    counted: bool,
    down_since_ms: u8,
    view: u8,
    message: Phrase,
    message_since_256_ms: u8,
    /// The letters on the display, line by line, the large line last.
    shown: [u8; ALL],
    /// Pieces of the display that were wiped.
    wiped: u8,
    /// Nothing differed at that time, and no key was pressed since.
    settled: bool,
    settled_ms: u16,
}

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}

impl Panel {
    /// Nothing pressed, nothing shown. All its bytes are zero.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            down: Keys(0),
            counted: false,
            down_since_ms: 0,
            view: 0,
            message: Phrase(0),
            message_since_256_ms: 0,
            shown: [words::BLANK; ALL],
            wiped: 0,
            settled: false,
            settled_ms: 0,
        }
    }

    /// Forgets what is shown: the display was plugged in anew.
    pub fn repaint(&mut self) {
        self.shown = [words::BLANK; ALL];
        self.wiped = 0;
        self.settled = false;
    }

    /// Takes which keys are down; the key that counts as pressed with it. Of
    /// several at once none counts.
    pub fn keys(&mut self, now_ms: u32, down: Keys) -> Option<Key> {
        let now_ms = now_ms as u8;
        if down != self.down {
            self.down = down;
            self.down_since_ms = now_ms;
            self.counted = false;
            return None;
        }
        if self.counted || now_ms.wrapping_sub(self.down_since_ms) < DEBOUNCE_MS {
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
        self.settled = false;
        self.message_since_256_ms = (now_ms >> 8) as u8;
        let (done, said) = match key {
            Key::View => {
                self.view = self.view.wrapping_add(1);
                if self.view >= VIEWS {
                    self.view = 0;
                }
                self.message = Phrase(0);
                return;
            }
            Key::Zero => (scale.zero(), Phrase::ZERO_SET),
            Key::Tare if scale.tare() != 0 => {
                scale.clear_tare();
                (Ok(()), Phrase::TARE_CLEARED)
            }
            Key::Tare => (scale.take_tare(), Phrase::TARE_SET),
        };
        self.message = match done {
            Ok(()) => said,
            Err(refusal) => refused(refusal),
        };
    }

    /// The next piece to paint, if what is shown is not what is. `rom` reads a
    /// byte of [`ROM`].
    #[inline]
    pub fn paint<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
        rom: impl Fn(usize) -> u8 + Copy,
    ) -> Option<Tile> {
        let mut tile = Tile {
            page: 0,
            column: 0,
            columns: [0; PIECE],
        };
        self.next(now_ms as u16, scale, rom, &mut tile)
            .then_some(tile)
    }

    /// Fills a blank tile with the next piece; whether there is one.
    fn next<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u16,
        scale: &Instrument<S, KNOTS, QUEUE>,
        rom: impl Fn(usize) -> u8 + Copy,
        tile: &mut Tile,
    ) -> bool {
        if self.wiped < WIPES {
            tile.page = self.wiped / PIECES_ACROSS;
            // The last across ends with the display.
            let column = self.wiped % PIECES_ACROSS * PIECE as u8;
            tile.column = column.min(WIDTH - PIECE as u8);
            self.wiped = self.wiped.wrapping_add(1);
            return true;
        }
        if self.settled && now_ms.wrapping_sub(self.settled_ms) < REFRESH_MS {
            return false;
        }
        if ((now_ms >> 8) as u8).wrapping_sub(self.message_since_256_ms) >= MESSAGE_256_MS {
            self.message = Phrase(0);
        }
        self.settled = false;
        let mut which = 0;
        while which <= LARGE_LINE {
            let mut line = Line::new(rom);
            face::write(&mut line, which, scale, self.view, self.message);
            if self.piece(which, &line, rom, tile) {
                return true;
            }
            which = which.wrapping_add(1);
        }
        self.settled = true;
        self.settled_ms = now_ms;
        false
    }

    /// Fills a tile with the first piece of a line that differs from what is
    /// shown; whether one does. Never inlined: the compiler for the 8-bit chip
    /// (LLVM of Rust 1.96) then makes wrong code, which leaves the display blank;
    /// `tests/chips.rs` looks at it.
    #[cfg_attr(target_arch = "avr", inline(never))]
    fn piece<R: Fn(usize) -> u8 + Copy>(
        &mut self,
        which: u8,
        line: &Line<R>,
        rom: R,
        tile: &mut Tile,
    ) -> bool {
        let letters = if which == LARGE_LINE { 1 } else { RUN };
        let mut shown_at = which.wrapping_mul(LINE as u8);
        let mut from = line.begin;
        let mut first = 0u8;
        while first < PIECES {
            let mut part = SAME;
            let mut left = letters;
            let mut place = from;
            while left > 0 {
                let mut wanted = line.at(place);
                if let Some(shown) = self.shown.get_mut(usize::from(shown_at))
                    && *shown != wanted
                {
                    part = SMALL;
                    if letters == 1 {
                        // A letter that changed while it was painted begins anew.
                        part = 0;
                        if *shown & !PAGES == wanted {
                            part = *shown & PAGES;
                        }
                        let next = part.wrapping_add(ONE_PAGE);
                        if next != PAGES {
                            wanted |= next;
                        }
                    }
                    *shown = wanted;
                }
                shown_at = shown_at.wrapping_add(1);
                place = place.wrapping_add(1);
                left = left.wrapping_sub(1);
            }
            if part != SAME {
                tile.column = first;
                tile.paint(line, from, part, rom);
                return true;
            }
            from = place;
            first = first.wrapping_add(PIECE as u8);
        }
        false
    }
}

impl Tile {
    /// Paints the letters of a line from `from` on: three small ones or, of a
    /// large one, the page that `part` names as [`PAGES`] does.
    fn paint<R: Fn(usize) -> u8 + Copy>(&mut self, line: &Line<R>, from: u8, part: u8, rom: R) {
        self.page = line.page;
        let mut repeats = 1u8;
        let third = part / ONE_PAGE;
        if part != SMALL {
            self.page = self.page.wrapping_add(third);
            repeats = 3;
        }
        let mut at = 0u8;
        let mut again = repeats;
        let mut letter = from;
        for columns in &mut self.columns {
            let mut dots = column(rom, line.at(letter), at);
            if part != SMALL {
                dots = enlarged(dots, third);
            }
            *columns = dots;
            again = again.wrapping_sub(1);
            if again == 0 {
                again = repeats;
                at = at.wrapping_add(1);
                if at == LETTER_COLUMNS {
                    at = 0;
                    letter = letter.wrapping_add(1);
                }
            }
        }
    }
}

/// Page `third` of a column of seven dots drawn three times as high, one row
/// down from the top.
const fn enlarged(column: u8, third: u8) -> u8 {
    // All rows pass through; the last eight stay.
    let mut rows = third.wrapping_mul(8).wrapping_add(7);
    let mut left = column;
    let mut again = 3u8;
    let mut dots = 0;
    while rows > 0 {
        dots = dots >> 1 | left << 7;
        again = again.wrapping_sub(1);
        if again == 0 {
            again = 3;
            left >>= 1;
        }
        rows = rows.wrapping_sub(1);
    }
    dots
}
