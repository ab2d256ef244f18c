//! The emulated display: its text read by its dots, and a picture of it.

use std::fmt::Write;

use scalewright_core::font::{COUNT, GLYPHS};

/// Dots of the display, row by row.
pub struct Screen(Vec<Vec<bool>>);

impl Screen {
    /// From rows of '#' and anything else.
    #[must_use]
    pub fn of(rows: &[String]) -> Self {
        let row = |row: &String| row.chars().map(|dot| dot == '#').collect();
        Self(rows.iter().map(row).collect())
    }

    fn dot(&self, x: usize, y: usize) -> bool {
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

    /// A picture, dots four units wide, as on a glass with black ground.
    #[must_use]
    pub fn svg(&self) -> String {
        let mut svg = String::from(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"-8 -8 528 272\" width=\"528\">\
             <title>The display</title><rect x=\"-8\" y=\"-8\" width=\"528\" height=\"272\" \
             fill=\"#111\"/><g fill=\"#cfe8ff\">",
        );
        for y in 0..64 {
            for x in (0..128).filter(|x| self.dot(*x, y)) {
                let _ = write!(
                    svg,
                    "<rect x=\"{}\" y=\"{}\" width=\"3.4\" height=\"3.4\"/>",
                    x * 4,
                    y * 4
                );
            }
        }
        svg.push_str("</g></svg>\n");
        svg
    }
}
