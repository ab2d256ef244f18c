//! Which piece of the display to send next.
//!
//! Of what is shown a checksum for each tile is kept and nothing else: a page is
//! drawn, and the first tile of it that differs is handed out, one with each
//! call, so that a board sends a little at a time and goes on weighing. Now and
//! then a tile goes out although nothing changed: what interference did to the
//! display heals within a minute, and one whose checksum happened to agree too.

use scalewright_protocol::units::elapsed_ms;

use super::strip::{PAGES, Strip, WIDTH};

/// Columns of a tile.
pub const TILE: usize = 16;
const ACROSS: usize = WIDTH as usize / TILE;
const TILES: usize = ACROSS * PAGES as usize;
/// Time from one look at all pages, in which nothing differed, to the next, ms.
const REST_MS: u32 = 60;
/// Time from one tile that is sent anyway to the next, ms.
const HEAL_MS: u32 = 500;

/// A piece of the display: 16 columns of eight dots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tile {
    /// Row of eight dots, 0 on top.
    pub page: u8,
    /// First column.
    pub column: u8,
    /// Columns from there on; bit 0 is the upper dot.
    pub columns: [u8; TILE],
}

/// What is known of the display.
#[derive(Clone, Debug)]
pub struct Painter {
    checksums: [u32; TILES],
    /// Tiles of each page whose checksum is that of the display.
    known: [u8; PAGES as usize],
    page: u8,
    /// Pages looked at since something last differed.
    quiet: u8,
    rested_ms: u32,
    healed_ms: u32,
    heal: u8,
}

impl Default for Painter {
    fn default() -> Self {
        Self::new()
    }
}

impl Painter {
    /// Nothing is known.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            checksums: [0; TILES],
            known: [0; PAGES as usize],
            page: 0,
            quiet: 0,
            rested_ms: 0,
            healed_ms: 0,
            heal: 0,
        }
    }

    /// Forgets what is shown.
    pub const fn forget(&mut self) {
        self.known = [0; PAGES as usize];
        self.quiet = 0;
    }

    /// Looks at once instead of after a rest: something was pressed.
    pub const fn hurry(&mut self) {
        self.quiet = 0;
    }

    /// Whether the last look at all pages found nothing that differs.
    #[must_use]
    pub const fn is_settled(&self) -> bool {
        self.quiet >= PAGES
    }

    /// The page to draw now, if any.
    pub fn wants(&mut self, now_ms: u32) -> Option<u8> {
        if self.quiet >= PAGES {
            if elapsed_ms(now_ms, self.rested_ms) < REST_MS {
                return None;
            }
            self.quiet = 0;
        }
        Some(self.page)
    }

    /// Takes the page that was wanted; the first tile of it that differs.
    pub fn take(&mut self, now_ms: u32, strip: &Strip) -> Option<Tile> {
        let page = self.page;
        if elapsed_ms(now_ms, self.healed_ms) >= HEAL_MS {
            self.healed_ms = now_ms;
            self.unknow(self.heal);
            self.heal = self.heal.wrapping_add(1) % TILES as u8;
        }
        let first = usize::from(page).wrapping_mul(ACROSS);
        let known = self.known.get(usize::from(page)).copied().unwrap_or(0);
        let shown = self.checksums.iter_mut().skip(first);
        for (at, checksum) in (0..ACROSS).zip(shown) {
            let column = at.wrapping_mul(TILE);
            let wanted = strip.checksum(column, TILE);
            let bit = 1u8.checked_shl(at as u32).unwrap_or(0);
            if *checksum == wanted && known & bit != 0 {
                continue;
            }
            *checksum = wanted;
            if let Some(known) = self.known.get_mut(usize::from(page)) {
                *known |= bit;
            }
            self.quiet = 0;
            let mut tile = Tile {
                page,
                column: column as u8,
                columns: [0; TILE],
            };
            let columns = strip.columns().iter().skip(column);
            for (into, from) in tile.columns.iter_mut().zip(columns) {
                *into = *from;
            }
            return Some(tile);
        }
        self.page = page.wrapping_add(1) % PAGES;
        self.quiet = self.quiet.saturating_add(1);
        if self.quiet == PAGES {
            self.rested_ms = now_ms;
        }
        None
    }

    /// The tile goes out when its page is next looked at.
    fn unknow(&mut self, tile: u8) {
        let bit = 1u8
            .checked_shl(u32::from(tile) % ACROSS as u32)
            .unwrap_or(0);
        if let Some(known) = self.known.get_mut(usize::from(tile) / ACROSS) {
            *known &= !bit;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn painted(
        painter: &mut Painter,
        now_ms: u32,
        draw: impl Fn(&mut Strip),
    ) -> std::vec::Vec<Tile> {
        let mut tiles = std::vec::Vec::new();
        while let Some(page) = painter.wants(now_ms) {
            let mut strip = Strip::new(page);
            draw(&mut strip);
            tiles.extend(painter.take(now_ms, &strip));
            assert!(tiles.len() < 200, "painting comes to an end");
        }
        tiles
    }

    #[test]
    fn everything_first_and_then_what_differs() {
        let mut painter = Painter::new();
        assert_eq!(painted(&mut painter, 0, |_| {}).len(), 64);
        assert!(painter.is_settled());
        assert_eq!(
            painted(&mut painter, REST_MS - 1, |s| s.fill(0, 0, 99, 9)),
            []
        );
        let tiles = painted(&mut painter, REST_MS, |strip| strip.fill(20, 20, 5, 5));
        assert_eq!(tiles.len(), 2, "one tile of two pages");
        assert!(tiles.iter().all(|tile| tile.column == 16));
        painter.forget();
        assert_eq!(painted(&mut painter, REST_MS + 1, |_| {}).len(), 64);
    }

    #[test]
    fn what_nobody_changed_is_sent_anew_within_a_minute() {
        let mut painter = Painter::new();
        painted(&mut painter, 0, |_| {});
        let mut seen = std::collections::BTreeSet::new();
        for now_ms in (0..60_000).step_by(10) {
            for tile in painted(&mut painter, now_ms, |_| {}) {
                seen.insert((tile.page, tile.column));
            }
        }
        assert_eq!(seen.len(), 64);
    }
}
