//! A page that a guest fills: a title, up to three lines, what the keys do.
//!
//! Somebody else, such as a calibration without a laptop, may own the screen for
//! a while. It needs no picture of its own: it says what shall stand there, the
//! page looks like all others, and it gets the keys.

use super::acts::Role;
use super::entry::Entry;
use super::strip::{Strip, WIDTH};
use super::text::Size;

/// Rows of the keys' words and of everything above.
pub(super) const KEYS_Y: u8 = 55;
const KEYS_HEIGHT: u8 = 9;
/// First column and width of each key's word.
const KEYS: [(u8, u8); 3] = [(0, 42), (43, 42), (86, 42)];
/// Row where the title's line lies.
const RULE_Y: u8 = 8;

/// What a guest shows.
#[derive(Clone, Copy, Debug)]
pub enum Guest<'a> {
    /// A page.
    Leaf(Leaf<'a>),
    /// A number being entered, whose keys are its own: the guest carries out what
    /// [`Entry::roles`] says of the key it is handed.
    Number(&'a Entry),
}

impl Guest<'_> {
    /// Draws it with its keys.
    pub fn draw(&self, strip: &mut Strip) {
        match self {
            Self::Leaf(leaf) => leaf.draw(strip),
            Self::Number(entry) => {
                entry.draw(strip);
                keys(strip, entry.roles().map(Role::words));
            }
        }
    }
}

/// A page. What is empty is left out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Leaf<'a> {
    /// On top: where one is.
    pub title: &'a str,
    /// Right of it, for instance "3 of 7".
    pub step: &'a str,
    /// In tall letters: what to do or how much.
    pub large: &'a str,
    /// Below, in small letters.
    pub lines: [&'a str; 2],
    /// How far it is, 255 for all; none draws no bar.
    pub progress: Option<u8>,
    /// What each key does now, from the left.
    pub keys: [&'a str; 3],
}

impl Leaf<'_> {
    /// Draws it.
    #[inline(never)]
    pub fn draw(&self, strip: &mut Strip) {
        title(strip, self.title, self.step);
        let wide = Size::Medium.width(self.large) <= WIDTH;
        let size = if wide { Size::Medium } else { Size::Tall };
        strip.text(0, 12, size, self.large);
        strip.text(0, 29, Size::Small, self.lines[0]);
        strip.text(0, 38, Size::Small, self.lines[1]);
        if let Some(share) = self.progress {
            strip.bar(0, 47, WIDTH, 6, share);
        }
        keys(strip, self.keys);
    }
}

/// Draws a title with a line below.
#[inline(never)]
pub(super) fn title(strip: &mut Strip, title: &str, right: &str) {
    strip.text(0, 0, Size::Small, title);
    strip.text_to(WIDTH, 0, Size::Small, right);
    strip.line(0, RULE_Y, WIDTH);
}

/// Draws what each key does; one that does nothing stays dark.
#[inline(never)]
pub(super) fn keys(strip: &mut Strip, words: [&str; 3]) {
    for (word, (x, width)) in words.iter().zip(KEYS) {
        if word.is_empty() {
            continue;
        }
        // A dark edge on both sides keeps the first and last letter legible.
        strip.text_amid(x + 1, width - 2, KEYS_Y + 1, Size::Small, word);
        strip.invert(x, KEYS_Y, width, KEYS_HEIGHT);
    }
}
