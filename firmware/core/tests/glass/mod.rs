//! A display made of tiles: what it shows as dots, as text and as a picture.
//!
//! Tests look at screens through it as a person would: nothing is known but what
//! was sent. Set `SCALEWRIGHT_SCREENS` to a folder, and every screen that a test
//! keeps is written there as a PNG, six times as large.
#![allow(dead_code)]

use std::path::PathBuf;

use scalewright_core::font::{FIRST, GLYPHS};
use scalewright_core::indicator::{Guest, Indicator, Tile};
use scalewright_protocol::checksum::crc32;

use crate::common::Scale;

/// Dots of a picture for each dot of the display.
const ENLARGED: usize = 6;

/// The display's memory.
#[derive(Clone, PartialEq, Eq)]
pub struct Glass(pub [[u8; 128]; 8]);

impl Glass {
    /// Whatever it held when it was switched on.
    pub fn new() -> Self {
        Self([[0xA5; 128]; 8])
    }

    pub fn take(&mut self, tile: &Tile) {
        let from = usize::from(tile.column);
        self.0[usize::from(tile.page)][from..from + tile.columns.len()]
            .copy_from_slice(&tile.columns);
    }

    /// Paints until nothing differs; the number of tiles.
    pub fn settle(
        &mut self,
        indicator: &mut Indicator,
        scale: &Scale,
        now_ms: u32,
        guest: Option<&Guest<'_>>,
    ) -> usize {
        let mut tiles = 0;
        for _ in 0..300 {
            match indicator.paint(now_ms, scale, guest) {
                Some(tile) => {
                    self.take(&tile);
                    tiles += 1;
                }
                None if indicator.is_settled() => return tiles,
                None => {}
            }
        }
        panic!("painting comes to an end");
    }

    /// As if everything were drawn at once.
    pub fn redrawn(
        indicator: &Indicator,
        scale: &Scale,
        now_ms: u32,
        guest: Option<&Guest<'_>>,
    ) -> Self {
        let mut glass = Self::new();
        for page in 0..8 {
            let strip = indicator.page(now_ms, scale, guest, page);
            let cut = strip.overrun();
            glass.0[usize::from(page)] = *strip.columns();
            let said = glass.small(usize::from(page) * 8);
            assert!(!cut, "a text on page {page} is cut, perhaps {said:?}");
        }
        glass
    }

    pub fn dot(&self, x: usize, y: usize) -> bool {
        self.0[y / 8][x] >> (y % 8) & 1 != 0
    }

    /// Eight rows of dots from `y` on, lit or, where inverse, dark.
    fn row(&self, y: usize, from: usize, to: usize, inverse: bool) -> Vec<u8> {
        let column = |x| {
            (0..8)
                .map(|row| u8::from(self.dot(x, y + row) != inverse) << row)
                .sum()
        };
        (from..to).map(column).collect()
    }

    /// The small letters of a row of dots.
    pub fn small(&self, y: usize) -> String {
        read(&self.row(y, 0, 128, false))
    }

    /// What the three keys do.
    pub fn keys(&self) -> [String; 3] {
        [0, 43, 86].map(|x| {
            let lit = self.dot(x, 55);
            read(&self.row(56, x + 1, x + 41, lit))
        })
    }

    /// Text in tall letters, each row twice.
    pub fn tall(&self, y: usize) -> String {
        let column = |x| {
            (0..8)
                .map(|row| u8::from(self.dot(x, y + 2 * row)) << row)
                .sum()
        };
        read(&(0..128).map(column).collect::<Vec<u8>>())
    }

    /// Rows as text, two dots a letter.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for y in (0..64).step_by(2) {
            for x in 0..128 {
                text.push(match (self.dot(x, y), self.dot(x, y + 1)) {
                    (true, true) => '\u{2588}',
                    (true, false) => '\u{2580}',
                    (false, true) => '\u{2584}',
                    (false, false) => ' ',
                });
            }
            text.push('\n');
        }
        text
    }

    /// Writes a picture where pictures are wanted.
    pub fn keep(&self, name: &str) {
        let Some(folder) = std::env::var_os("SCALEWRIGHT_SCREENS").map(PathBuf::from) else {
            return;
        };
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::write(folder.join(format!("{name}.png")), self.png()).expect("written");
        std::fs::write(folder.join(format!("{name}.txt")), self.text()).expect("written");
    }

    /// A grey picture with a margin; stored without compression, which needs no
    /// library (RFC 2083; RFC 1950 and 1951 for the stored blocks).
    fn png(&self) -> Vec<u8> {
        const MARGIN: usize = 4;
        let (width, height) = ((128 + 2 * MARGIN) * ENLARGED, (64 + 2 * MARGIN) * ENLARGED);
        let mut rows = Vec::new();
        for y in 0..height {
            rows.push(0);
            for x in 0..width {
                let place =
                    |at: usize, most| (at / ENLARGED).checked_sub(MARGIN).filter(|at| *at < most);
                let lit =
                    matches!((place(x, 128), place(y, 64)), (Some(x), Some(y)) if self.dot(x, y));
                let edge = x % ENLARGED == 0 || y % ENLARGED == 0;
                rows.push(match (lit, edge) {
                    (true, false) => 0xF0,
                    (true, true) => 0xB0,
                    (false, _) => 0x10,
                });
            }
        }
        let mut header = Vec::new();
        header.extend((width as u32).to_be_bytes());
        header.extend((height as u32).to_be_bytes());
        header.extend([8, 0, 0, 0, 0]);
        let mut packed = vec![0x78, 0x01];
        let blocks = rows.chunks(0xFFFF).count();
        for (at, block) in rows.chunks(0xFFFF).enumerate() {
            packed.push(u8::from(at + 1 == blocks));
            packed.extend((block.len() as u16).to_le_bytes());
            packed.extend((!(block.len() as u16)).to_le_bytes());
            packed.extend(block);
        }
        let (mut a, mut b) = (1u32, 0u32);
        for byte in &rows {
            a = (a + u32::from(*byte)) % 65_521;
            b = (b + a) % 65_521;
        }
        packed.extend((b << 16 | a).to_be_bytes());
        let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
        for (kind, data) in [(b"IHDR", header), (b"IDAT", packed), (b"IEND", Vec::new())] {
            png.extend((data.len() as u32).to_be_bytes());
            let typed = [kind.as_slice(), &data].concat();
            png.extend(&typed);
            png.extend(crc32(&typed).to_be_bytes());
        }
        png
    }
}

/// Letters by their dots, those with a tail a row lower; unknown ones as '?'. Letters end at an empty column;
/// five or more of them are a blank, since digits bring two of their own.
fn read(columns: &[u8]) -> String {
    let mut text = String::new();
    for run in columns.split(|column| *column == 0) {
        if run.is_empty() {
            text.push('\n');
            continue;
        }
        let drawn = |glyph: &[u8; 5]| {
            let from = glyph.iter().position(|column| *column != 0)?;
            let to = glyph.iter().rposition(|column| *column != 0)?;
            let hung: Vec<u8> = glyph[from..=to].iter().map(|column| column << 1).collect();
            (glyph[from..=to] == *run || hung == run).then_some(())
        };
        let at = GLYPHS.iter().position(|glyph| drawn(glyph).is_some());
        text.push(at.map_or('?', |at| char::from(FIRST + at as u8)));
    }
    // Each line end stands for an empty column beyond the first of a gap.
    let mut words = String::new();
    let mut empty = 0;
    for letter in text.chars() {
        if letter == '\n' {
            empty += 1;
            continue;
        }
        if empty >= 4 {
            words.push(' ');
        }
        empty = 0;
        words.push(letter);
    }
    words.trim().to_string()
}
