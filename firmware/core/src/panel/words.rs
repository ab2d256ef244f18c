//! Everything the panel can say, as one block of bytes: glyphs, then phrases.
//!
//! A small chip copies constants to its RAM unless its board crate places them
//! in flash by hand, so they stand here as one constant that nothing else
//! refers to; whoever paints is given a function that reads a byte of it.

use crate::font::{COUNT, GLYPHS, position};

/// Characters of a line of small letters.
pub const LINE: usize = 21;
const GLYPH_BYTES: usize = 5;
const PHRASES_AT: usize = COUNT * GLYPH_BYTES;
/// Length of [`ROM`], bytes.
pub const ROM_BYTES: usize = PHRASES_AT + PHRASES.len() * LINE;

/// A fixed text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Phrase {
    AtRest,
    Moving,
    NotCalibrated,
    AboveMax,
    BelowZero,
    AdcSilent,
    AdcStuck,
    Saturated,
    Settling,
    ZeroSet,
    TareSet,
    TareCleared,
    NotAtRest,
    ZeroRange,
    TareRange,
    OlderRecord,
    OtherLayout,
    Max,
    Interval,
    Gross,
    Tare,
    Counts,
    Spread,
    Number,
    AtZero,
    Net,
}

/// In the order of [`Phrase`].
const PHRASES: [&str; 26] = [
    "at rest",
    "moving",
    "not calibrated",
    "above Max",
    "far below zero",
    "ADC silent: wires?",
    "ADC stuck: wires?",
    "ADC at its end",
    "wait",
    "zero set",
    "tare set",
    "tare cleared",
    "not at rest",
    "outside zero range",
    "outside tare range",
    "older record in force",
    "other memory layout",
    "Max ",
    "d = ",
    "gross ",
    "tare ",
    "counts ",
    "spread ",
    "scale ",
    "  >0<",
    "net ",
];

/// Glyphs and phrases.
pub const ROM: [u8; ROM_BYTES] = rom();

const fn rom() -> [u8; ROM_BYTES] {
    let mut bytes = [b' '; ROM_BYTES];
    let mut at = 0;
    while at < PHRASES_AT {
        bytes[at] = GLYPHS[at / GLYPH_BYTES][at % GLYPH_BYTES];
        at += 1;
    }
    let mut phrase = 0;
    while phrase < PHRASES.len() {
        let text = PHRASES[phrase].as_bytes();
        let mut letter = 0;
        while letter < LINE {
            let end = letter >= text.len();
            bytes[PHRASES_AT + phrase * LINE + letter] = if end { 0 } else { text[letter] };
            letter += 1;
        }
        phrase += 1;
    }
    bytes
}

/// The letter of a phrase, or 0 past its end.
#[inline(never)]
pub fn letter(rom: &dyn Fn(usize) -> u8, phrase: Phrase, at: usize) -> u8 {
    if at >= LINE {
        return 0;
    }
    rom(PHRASES_AT
        .wrapping_add(usize::from(phrase as u8).wrapping_mul(LINE))
        .wrapping_add(at))
}

/// A column of a character; blank to the right of its glyph.
#[inline(never)]
pub fn column(rom: &dyn Fn(usize) -> u8, character: u8, at: u8) -> u8 {
    if usize::from(at) >= GLYPH_BYTES {
        return 0;
    }
    rom(position(character)
        .wrapping_mul(GLYPH_BYTES)
        .wrapping_add(usize::from(at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rom(at: usize) -> u8 {
        ROM[at]
    }

    #[test]
    fn phrases_and_glyphs_come_out_of_the_block() {
        assert_eq!(PHRASES.len(), Phrase::Net as usize + 1);
        assert!(PHRASES.iter().all(|text| text.len() <= LINE));
        let spoken: std::string::String = (0..)
            .map(|at| letter(&rom, Phrase::ZeroRange, at))
            .take_while(|letter| *letter != 0)
            .map(char::from)
            .collect();
        assert_eq!(spoken, "outside zero range");
        assert_eq!(letter(&rom, Phrase::OlderRecord, LINE), 0);
        for (at, dots) in (0..).zip(GLYPHS[position(b'A')]) {
            assert_eq!(column(&rom, b'A', at), dots);
        }
        assert_eq!(column(&rom, b'A', 5), 0);
    }
}
