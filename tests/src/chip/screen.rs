//! The emulated display: its text read by its dots.

use std::ops::Range;

use scalewright_core::font::{COUNT, GLYPHS};
use scalewright_core::indicator::large;
use scalewright_core::indicator::strip::Strip;
use scalewright_core::indicator::text::Text;

/// Dots of the display, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Screen(Vec<Vec<bool>>);

impl Screen {
    /// From rows of '#' and anything else.
    #[must_use]
    pub fn of(rows: &[String]) -> Self {
        let row = |row: &String| row.chars().map(|dot| dot == '#').collect();
        Self(rows.iter().map(row).collect())
    }

    /// Whether this dot is lit.
    #[must_use]
    pub fn dot(&self, x: usize, y: usize) -> bool {
        self.0.get(y).and_then(|row| row.get(x)).copied() == Some(true)
    }

    /// The small letters of a page, unknown ones as '?'.
    #[must_use]
    pub fn small(&self, page: usize) -> String {
        self.text(21, |at, column, row| {
            self.dot(at * 6 + column, page * 8 + row)
        })
    }

    /// The large letters.
    #[must_use]
    pub fn large(&self) -> String {
        self.text(7, |at, column, row| {
            self.dot(at * 18 + column * 3 + 1, 17 + row * 3 + 1)
        })
    }

    fn text(&self, letters: usize, lit: impl Fn(usize, usize, usize) -> bool) -> String {
        let text: String = (0..letters)
            .map(|at| {
                let mut glyph = [0u8; 5];
                for (column, dots) in glyph.iter_mut().enumerate() {
                    *dots = (0..7)
                        .map(|row| u8::from(lit(at, column, row)) << row)
                        .sum();
                }
                let place = (0..COUNT).find(|n| GLYPHS[*n] == glyph);
                place.map_or('?', |n| char::from(b' ' + n as u8))
            })
            .collect();
        text.trim().to_string()
    }

    /// A line of the indicator's small letters whose first row is `y`: they are as
    /// wide as drawn, and those with a tail hang a row lower.
    #[must_use]
    pub fn words(&self, y: usize) -> String {
        self.written(0..128, |x, row| self.dot(x, y + row))
    }

    /// The indicator's tall letters, each row twice, from row `y` on.
    #[must_use]
    pub fn tall(&self, y: usize) -> String {
        self.written(0..128, |x, row| self.dot(x, y + 2 * row))
    }

    /// What the indicator's keys do, dark on light at the bottom.
    #[must_use]
    pub fn keys(&self) -> [String; 3] {
        [0, 43, 86].map(|x| {
            let light = self.dot(x, 55);
            self.written(x + 1..x + 41, |x, row| self.dot(x, 56 + row) != light)
        })
    }

    fn written(&self, columns: Range<usize>, lit: impl Fn(usize, usize) -> bool) -> String {
        let column = |x| -> u8 { (0..8).map(|row| u8::from(lit(x, row)) << row).sum() };
        let columns: Vec<u8> = columns.map(column).collect();
        let mut text = String::new();
        let mut empty = 0;
        for run in columns.split(|column| *column == 0) {
            if run.is_empty() {
                empty += 1;
                continue;
            }
            // Digits bring two empty columns of their own.
            if empty >= 4 {
                text.push(' ');
            }
            empty = 0;
            text.push(letter(run).unwrap_or('?'));
        }
        text.trim().to_string()
    }

    /// The indicator's large digits, which begin at row 8.
    #[must_use]
    pub fn indication(&self) -> String {
        let mut text = String::new();
        let mut x = 0;
        while x < 128 {
            let here = "0123456789-."
                .chars()
                .map(|one| (one, large_columns(one)))
                .find(|(_, columns)| {
                    let mut at = (x..).zip(columns);
                    at.all(|(x, column)| {
                        (0..24).all(|row| self.dot(x, 8 + row) == (column >> row & 1 != 0))
                    })
                });
            match here {
                Some((one, columns)) => {
                    text.push(one);
                    x += columns.len();
                }
                None => x += 1,
            }
        }
        text
    }
}

/// The letter drawn in these columns.
fn letter(run: &[u8]) -> Option<char> {
    let drawn = |glyph: &[u8; 5]| {
        let from = glyph.iter().position(|column| *column != 0)?;
        let to = glyph.iter().rposition(|column| *column != 0)?;
        let hung: Vec<u8> = glyph[from..=to].iter().map(|column| column << 1).collect();
        (glyph[from..=to] == *run || hung == run).then_some(())
    };
    let at = GLYPHS.iter().position(|glyph| drawn(glyph).is_some())?;
    Some(char::from(b' ' + u8::try_from(at).ok()?))
}

/// The columns of a large digit, the upper dot in the lowest bit.
fn large_columns(one: char) -> Vec<u32> {
    let text = Text::of(one.encode_utf8(&mut [0; 4]));
    let width = usize::from(large::width(&text));
    let mut columns = vec![0; width];
    for page in 0..3 {
        let mut strip = Strip::new(page);
        large::draw(&mut strip, 0, 0, &text);
        for (into, from) in columns.iter_mut().zip(strip.columns()) {
            *into |= u32::from(*from) << (8 * page);
        }
    }
    columns
}
