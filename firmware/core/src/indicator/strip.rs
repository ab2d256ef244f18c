//! A strip of the display: one page of eight rows, drawn at once.
//!
//! Whoever draws names places on the whole display of 128 by 64 dots; what lies
//! outside the strip's page falls away. So a screen is drawn eight times, once a
//! page, and never stands in memory as a whole. Refuses to keep anything: a
//! strip is made, drawn, compared and forgotten.

use scalewright_protocol::checksum::Running;

use super::text::{Size, Text, glyph, hangs, spread};

/// Columns of the display.
pub const WIDTH: u8 = 128;
/// Rows of the display.
pub const HEIGHT: u8 = 64;
/// Strips of the display.
pub const PAGES: u8 = 8;
/// Empty columns between two letters.
const GAP: u8 = 1;

/// One page being drawn.
#[derive(Clone, Debug)]
pub struct Strip {
    page: u8,
    columns: [u8; WIDTH as usize],
    overrun: bool,
}

impl Strip {
    /// An empty strip: page 0 is on top.
    #[must_use]
    pub const fn new(page: u8) -> Self {
        Self {
            page,
            columns: [0; WIDTH as usize],
            overrun: false,
        }
    }

    /// Its columns from the left, bit 0 the upper dot.
    #[must_use]
    pub const fn columns(&self) -> &[u8; WIDTH as usize] {
        &self.columns
    }

    /// Whether something was drawn beyond the right end: a text too long.
    #[must_use]
    pub const fn overrun(&self) -> bool {
        self.overrun
    }

    /// Notes a text that has no room.
    pub const fn demand(&mut self, room: bool) {
        self.overrun |= !room;
    }

    /// Whether any of `height` rows from `y` on lies in this strip.
    #[must_use]
    pub const fn shows(&self, y: u8, height: u8) -> bool {
        let top = self.page.wrapping_mul(8);
        y < top.saturating_add(8) && y.saturating_add(height) > top
    }

    /// What of 32 rows from `y` on lies in this strip.
    const fn part(&self, y: u8, bits: u32) -> u8 {
        let top = self.page.wrapping_mul(8);
        if y >= top {
            match bits.checked_shl(y.wrapping_sub(top) as u32) {
                Some(part) => part as u8,
                None => 0,
            }
        } else {
            match bits.checked_shr(top.wrapping_sub(y) as u32) {
                Some(part) => part as u8,
                None => 0,
            }
        }
    }

    /// Lights dots of a column from row `y` on, bit 0 the upper one.
    #[inline(never)]
    pub fn column(&mut self, x: u8, y: u8, bits: u32) {
        let part = self.part(y, bits);
        match self.columns.get_mut(usize::from(x)) {
            Some(column) => *column |= part,
            None => self.overrun |= bits != 0,
        }
    }

    /// Rows `y` to `y + height` as bits from row `y` on; 32 at most.
    const fn rows(height: u8) -> u32 {
        match 1u32.checked_shl(height as u32) {
            Some(above) => above.wrapping_sub(1),
            None => u32::MAX,
        }
    }

    /// Lights a rectangle of at most 32 rows.
    #[inline(never)]
    pub fn fill(&mut self, x: u8, y: u8, width: u8, height: u8) {
        for at in 0..width {
            self.column(x.saturating_add(at), y, Self::rows(height));
        }
    }

    /// Turns lit dots of a rectangle dark and dark ones lit.
    #[inline(never)]
    pub fn invert(&mut self, x: u8, y: u8, width: u8, height: u8) {
        let part = self.part(y, Self::rows(height));
        let columns = self.columns.iter_mut();
        for column in columns.skip(usize::from(x)).take(usize::from(width)) {
            *column ^= part;
        }
    }

    /// A line to the right.
    pub fn line(&mut self, x: u8, y: u8, width: u8) {
        self.fill(x, y, width, 1);
    }

    /// The outline of a rectangle.
    #[inline(never)]
    pub fn frame(&mut self, x: u8, y: u8, width: u8, height: u8) {
        let bottom = y.saturating_add(height).saturating_sub(1);
        let right = x.saturating_add(width).saturating_sub(1);
        self.line(x, y, width);
        self.line(x, bottom, width);
        self.fill(x, y, 1, height);
        self.fill(right, y, 1, height);
    }

    /// Draws a text with its upper left corner at `x`, `y`; the column behind
    /// it.
    #[inline(never)]
    pub fn text(&mut self, x: u8, y: u8, size: Size, text: &str) -> u8 {
        let mut x = x;
        let shows = self.shows(y, size.height());
        for letter in text.bytes() {
            let (columns, first, width) = glyph(letter);
            let step = size.columns(width);
            if shows {
                for at in 0..step {
                    let bits = spread(columns, first, at, size, hangs(letter));
                    self.column(x.saturating_add(at), y, u32::from(bits));
                }
            }
            x = x.saturating_add(step).saturating_add(size.columns(GAP));
        }
        self.overrun |= x.saturating_sub(size.columns(GAP)) > WIDTH;
        x
    }

    /// Draws a text whose last column is before `right`.
    #[inline(never)]
    pub fn text_to(&mut self, right: u8, y: u8, size: Size, text: &str) {
        let width = size.width(text);
        self.overrun |= width > right;
        self.text(right.saturating_sub(width), y, size, text);
    }

    /// Draws a text in the middle of `width` columns from `x` on.
    #[inline(never)]
    pub fn text_amid(&mut self, x: u8, width: u8, y: u8, size: Size, text: &str) {
        let taken = size.width(text);
        self.overrun |= taken > width;
        let before = width.saturating_sub(taken) / 2;
        self.text(x.saturating_add(before), y, size, text);
    }

    /// Draws a composed text.
    #[inline(never)]
    pub fn put(&mut self, x: u8, y: u8, size: Size, text: &Text) -> u8 {
        self.text(x, y, size, text.as_str())
    }

    /// A bar of `width` by `height` with a frame, filled to `share` of 255.
    #[inline(never)]
    pub fn bar(&mut self, x: u8, y: u8, width: u8, height: u8, share: u8) {
        self.frame(x, y, width, height);
        let inside = u16::from(width.saturating_sub(2));
        let filled = inside.wrapping_mul(u16::from(share)).wrapping_add(127) / 255;
        self.fill(
            x.saturating_add(1),
            y.saturating_add(1),
            filled as u8,
            height.saturating_sub(2),
        );
    }

    /// A checksum of `count` columns from `from` on: the CRC-32 of the wire. With 16
    /// bits one change in 65 000 would go unseen until it healed, and screens change
    /// more often than that.
    #[must_use]
    #[inline(never)]
    pub fn checksum(&self, from: usize, count: usize) -> u32 {
        let mut crc = Running::new();
        for column in self.columns.iter().skip(from).take(count) {
            crc.push(*column);
        }
        crc.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The display as rows of dots.
    fn drawn(draw: impl Fn(&mut Strip)) -> std::vec::Vec<std::string::String> {
        let mut rows = std::vec::Vec::new();
        for page in 0..PAGES {
            let mut strip = Strip::new(page);
            draw(&mut strip);
            for row in 0..8 {
                let dot = |column: &u8| if column >> row & 1 != 0 { '#' } else { '.' };
                rows.push(strip.columns().iter().map(dot).collect());
            }
        }
        rows
    }

    #[test]
    fn what_crosses_pages_is_whole() {
        let rows = drawn(|strip| strip.frame(3, 5, 10, 20));
        for (y, row) in rows.iter().enumerate() {
            let wanted = match y {
                5 | 24 => "...##########...",
                6..=23 => "...#........#...",
                _ => "................",
            };
            assert_eq!(&row[..16], wanted, "row {y}");
        }
    }

    #[test]
    fn inverse_is_undone_by_inverse_and_outside_is_dark() {
        let rows = drawn(|strip| {
            strip.invert(120, 50, 200, 9);
            strip.invert(121, 51, 200, 7);
        });
        assert_eq!(&rows[50][118..], "..########");
        assert_eq!(&rows[51][118..], "..#.......");
        assert_eq!(&rows[58][118..], "..########");
        assert_eq!(&rows[59][118..], "..........");
    }

    #[test]
    fn too_long_a_text_is_noticed_on_every_page() {
        for page in 0..PAGES {
            let mut strip = Strip::new(page);
            strip.text(0, 0, Size::Small, "a text that fits");
            assert!(!strip.overrun());
            strip.text(100, 0, Size::Small, "a text");
            assert!(strip.overrun());
        }
    }

    #[test]
    fn the_checksum_is_the_catalogued_one() {
        // CRC-32/ISO-HDLC of the digits 1 to 9 (catalogue of parametrised CRC
        // algorithms, as in protocol/WIRE.md).
        let mut strip = Strip::new(0);
        for (x, digit) in (0u8..).zip(b"123456789") {
            strip.column(x, 0, u32::from(*digit));
        }
        assert_eq!(strip.checksum(0, 9), 0xCBF4_3926);
    }
}
