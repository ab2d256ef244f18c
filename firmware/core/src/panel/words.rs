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
}

/// In the order of [`Phrase`].
const PHRASES: [&str; 24] = [
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
pub fn letter(rom: &impl Fn(usize) -> u8, phrase: Phrase, at: usize) -> u8 {
    if at >= LINE {
        return 0;
    }
    rom(PHRASES_AT + phrase as usize * LINE + at)
}

/// The columns of a character.
pub fn glyph(rom: &impl Fn(usize) -> u8, character: u8) -> [u8; GLYPH_BYTES] {
    let at = position(character) * GLYPH_BYTES;
    [rom(at), rom(at + 1), rom(at + 2), rom(at + 3), rom(at + 4)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rom(at: usize) -> u8 {
        ROM[at]
    }

    #[test]
    fn phrases_and_glyphs_come_out_of_the_block() {
        assert_eq!(PHRASES.len(), Phrase::Number as usize + 1);
        assert!(PHRASES.iter().all(|text| text.len() <= LINE));
        let spoken: std::string::String = (0..)
            .map(|at| letter(&rom, Phrase::ZeroRange, at))
            .take_while(|letter| *letter != 0)
            .map(char::from)
            .collect();
        assert_eq!(spoken, "outside zero range");
        assert_eq!(letter(&rom, Phrase::OlderRecord, LINE), 0);
        assert_eq!(glyph(&rom, b'A'), GLYPHS[position(b'A')]);
    }
}
