//! Everything the panel can say, as one block of bytes: letters, then phrases.
//!
//! A small chip copies constants to its RAM unless its board crate places them
//! in flash by hand, so they stand here as one constant that nothing else
//! refers to; whoever paints is given a function that reads a byte of it.
//!
//! Letters go by their place in [`ALPHABET`]. A phrase stands back to front, as
//! lines are written, and its last byte has the highest bit set. Which phrase
//! tells of which condition stands there too, as a list: on an 8-bit chip each
//! condition asked for by code takes three times as much.

use scalewright_protocol::message::Flags;

use crate::font::{GLYPHS, position};

/// The letters in use: a blank, then the digits of base 16, then the rest. They
/// leave the two highest bits of a byte free.
const ALPHABET: [u8; 48] = *b" 0123456789ABCDEF-.:<=>?Mabcdefghiklmnorstuvwxyz";
/// The letter of a digit is this many behind its value.
pub const ZERO: u8 = letter(b'0');
/// Letters that lines put down one by one.
pub const BLANK: u8 = letter(b' ');
pub const MINUS: u8 = letter(b'-');
pub const POINT: u8 = letter(b'.');
pub const GRAM: u8 = letter(b'g');
pub const KILO: u8 = letter(b'k');

const GLYPH_BYTES: usize = 5;
// Glyphs are found with eight bits.
const _: () = assert!(ALPHABET.len() * GLYPH_BYTES <= 256);
const CONDITIONS_AT: usize = ALPHABET.len() * GLYPH_BYTES;
const PHRASES_AT: usize = CONDITIONS_AT + CONDITIONS.len();
/// Length of [`ROM`], bytes.
pub const ROM_BYTES: usize = PHRASES_AT + spoken();
/// Marks the end of a phrase.
const END: u8 = 0x80;

/// A fixed text, by its place among [`PHRASES`], from 1; 0 says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Phrase(pub u8);

/// For the top line: these conditions, in this order, by their bit in [`Flags`];
/// the last is always met. Phrase 1 tells of the first, and so on.
const FOR_THE_TOP: [u8; 5] = [
    bit(Flags::SETTLING),
    bit(Flags::STABLE),
    bit(Flags::ADC_SILENT),
    bit(Flags::ADC_STUCK),
    ALWAYS,
];
/// For the bottom line: what is wrong, the worst first.
const FOR_THE_BOTTOM: [u8; 8] = [
    bit(Flags::ADC_SILENT),
    bit(Flags::ADC_STUCK),
    bit(Flags::SATURATED),
    bit(Flags::OTHER_LAYOUT),
    bit(Flags::NOT_CALIBRATED),
    bit(Flags::OVERLOAD),
    bit(Flags::UNDERLOAD),
    bit(Flags::FELL_BACK),
];
/// A bit that no flag has.
const ALWAYS: u8 = 15;
const CONDITIONS: [u8; FOR_THE_TOP.len() + FOR_THE_BOTTOM.len()] = conditions();

impl Phrase {
    /// The first for the top line.
    pub const TOP: Self = Self(1);
    /// The first for the bottom line.
    pub const BOTTOM: Self = Self(1 + FOR_THE_TOP.len() as u8);
    /// Behind all conditions the views begin: nothing is wrong.
    pub const VIEW: Self = Self(1 + CONDITIONS.len() as u8);
    pub const INTERVAL: Self = phrase(" d = ");
    pub const AT_ZERO: Self = phrase("  >0<");
    pub const NET: Self = phrase("net ");
    pub const ZERO_SET: Self = phrase("zero set");
    pub const TARE_SET: Self = phrase("tare set");
    pub const TARE_CLEARED: Self = phrase("tare cleared");
    pub const NOT_AT_REST: Self = phrase("not at rest");
    pub const ZERO_RANGE: Self = phrase("outside zero range");
    pub const TARE_RANGE: Self = phrase("outside tare range");
    pub const NOT_CALIBRATED: Self = phrase("not calibrated");
    pub const ADC_SILENT: Self = phrase("ADC silent: wires?");
}

/// All that can be said. First what the conditions stand for, in their order;
/// then the views, in theirs; the others in any.
const PHRASES: [&str; 26] = [
    "wait",
    "at rest",
    " ",
    " ",
    "moving",
    "ADC silent: wires?",
    "ADC stuck: wires?",
    "ADC at its end",
    "other memory layout",
    "not calibrated",
    "above Max",
    "far below zero",
    "older record in force",
    "Max ",
    "gross ",
    "tare ",
    "scale ",
    " d = ",
    "  >0<",
    "net ",
    "zero set",
    "tare set",
    "tare cleared",
    "not at rest",
    "outside zero range",
    "outside tare range",
];
/// Letters and phrases.
pub const ROM: [u8; ROM_BYTES] = rom();

/// Place of a character among the letters. Only evaluated at compile time,
/// where a character without a letter stops the build.
const fn letter(character: u8) -> u8 {
    let mut at = 0;
    while ALPHABET[at] != character {
        at += 1;
    }
    at as u8
}

/// The phrase of this text. Evaluated at compile time.
const fn phrase(text: &str) -> Phrase {
    let mut at = 0;
    while !same(PHRASES[at].as_bytes(), text.as_bytes()) {
        at += 1;
    }
    Phrase(at as u8 + 1)
}

const fn same(a: &[u8], b: &[u8]) -> bool {
    let mut at = 0;
    while at < a.len() && at < b.len() && a[at] == b[at] {
        at += 1;
    }
    at == a.len() && at == b.len()
}

/// Which bit a flag is.
const fn bit(flag: Flags) -> u8 {
    flag.0.trailing_zeros() as u8
}

const fn conditions() -> [u8; FOR_THE_TOP.len() + FOR_THE_BOTTOM.len()] {
    let mut all = [0; FOR_THE_TOP.len() + FOR_THE_BOTTOM.len()];
    let mut at = 0;
    while at < all.len() {
        all[at] = if at < FOR_THE_TOP.len() {
            FOR_THE_TOP[at]
        } else {
            FOR_THE_BOTTOM[at - FOR_THE_TOP.len()]
        };
        at += 1;
    }
    all
}

/// Bytes of all phrases.
const fn spoken() -> usize {
    let mut bytes = 0;
    let mut phrase = 0;
    while phrase < PHRASES.len() {
        bytes += PHRASES[phrase].len();
        phrase += 1;
    }
    bytes
}

const fn rom() -> [u8; ROM_BYTES] {
    let mut bytes = [0; ROM_BYTES];
    let mut at = 0;
    while at < CONDITIONS_AT {
        bytes[at] = GLYPHS[position(ALPHABET[at / GLYPH_BYTES])][at % GLYPH_BYTES];
        at += 1;
    }
    while at < PHRASES_AT {
        bytes[at] = CONDITIONS[at - CONDITIONS_AT];
        at += 1;
    }
    let mut phrase = 0;
    while phrase < PHRASES.len() {
        let text = PHRASES[phrase].as_bytes();
        let mut left = text.len();
        while left > 0 {
            left -= 1;
            bytes[at] = letter(text[left]);
            at += 1;
        }
        bytes[at - 1] |= END;
        phrase += 1;
    }
    bytes
}

/// Hands the letters of a phrase over, the last first.
#[inline(always)]
pub fn say(rom: impl Fn(usize) -> u8, phrase: Phrase, mut put: impl FnMut(u8)) {
    let mut before = phrase.0;
    // Phrases are found by counting ends: a place for each would take more.
    for at in PHRASES_AT..ROM_BYTES {
        let byte = rom(at);
        if before == 1 {
            put(byte & !END);
        }
        if byte & END != 0 {
            before = before.wrapping_sub(1);
            if before == 0 {
                break;
            }
        }
    }
}

/// The phrase for the first condition that is met, from `first` on; the first
/// view when none is.
#[cfg_attr(target_arch = "avr", inline(never))]
pub fn told<R: Fn(usize) -> u8>(rom: R, flags: Flags, first: Phrase) -> Phrase {
    let mut phrase = first;
    let flags = flags.0 | 1 << ALWAYS;
    while phrase.0 < Phrase::VIEW.0
        && flags >> (rom(CONDITIONS_AT - 1 + usize::from(phrase.0)) & 15) & 1 == 0
    {
        phrase = Phrase(phrase.0.wrapping_add(1));
    }
    phrase
}

/// A column of a letter; blank to the right of its glyph.
#[inline(always)]
pub fn column(rom: impl Fn(usize) -> u8, letter: u8, at: u8) -> u8 {
    if usize::from(at) >= GLYPH_BYTES {
        return 0;
    }
    let glyph = letter.wrapping_mul(GLYPH_BYTES as u8);
    rom(usize::from(glyph.wrapping_add(at)))
}

#[cfg(test)]
pub mod tests {
    use std::string::String;

    use super::*;

    /// Letters as characters.
    pub fn read(letters: impl IntoIterator<Item = u8>) -> String {
        letters
            .into_iter()
            .map(|letter| char::from(ALPHABET[usize::from(letter)]))
            .collect()
    }

    fn rom(at: usize) -> u8 {
        ROM[at]
    }

    fn spoken(phrase: Phrase) -> String {
        let mut letters = std::vec::Vec::new();
        say(rom, phrase, |letter| letters.insert(0, letter));
        read(letters)
    }

    #[test]
    fn every_phrase_comes_out_of_the_block_and_fits_a_line() {
        for (number, text) in (1..).zip(PHRASES) {
            assert_eq!(spoken(Phrase(number)), text);
            assert!(text.len() <= super::super::line::LINE);
        }
        assert_eq!(spoken(Phrase(0)), "", "nothing said");
        assert_eq!(spoken(Phrase::VIEW), "Max ");
        assert_eq!(spoken(Phrase::TARE_RANGE), "outside tare range");
    }

    #[test]
    fn the_worst_condition_is_told() {
        let bottom = |flags| spoken(told(rom, flags, Phrase::BOTTOM));
        assert_eq!(told(rom, Flags(0), Phrase::BOTTOM), Phrase::VIEW);
        // What only informs is no trouble.
        for flag in [Flags::STABLE, Flags::AT_ZERO, Flags::NET, Flags::SETTLING] {
            assert_eq!(told(rom, flag, Phrase::BOTTOM), Phrase::VIEW);
        }
        let worst_first = [
            (Flags::ADC_SILENT, "ADC silent: wires?"),
            (Flags::ADC_STUCK, "ADC stuck: wires?"),
            (Flags::SATURATED, "ADC at its end"),
            (Flags::OTHER_LAYOUT, "other memory layout"),
            (Flags::NOT_CALIBRATED, "not calibrated"),
            (Flags::OVERLOAD, "above Max"),
            (Flags::UNDERLOAD, "far below zero"),
            (Flags::FELL_BACK, "older record in force"),
        ];
        let mut flags = Flags(0);
        for (flag, text) in worst_first.iter().rev() {
            flags = flags.with(*flag);
            assert_eq!(bottom(flags), *text);
            assert_eq!(bottom(*flag), *text);
        }
        let top = |flags| spoken(told(rom, flags, Phrase::TOP));
        assert_eq!(top(Flags(0)), "moving");
        assert_eq!(top(Flags::STABLE.with(Flags::NET)), "at rest");
        assert_eq!(top(Flags::SETTLING), "wait");
        assert_eq!(top(Flags::ADC_STUCK), " ");
        assert_eq!(top(Flags::ADC_SILENT), " ");
    }

    #[test]
    fn every_letter_is_in_use_drawn_and_leaves_two_bits() {
        let single = b"0123456789ABCDEF-.gk";
        for (at, character) in ALPHABET.iter().enumerate() {
            assert!(at < 64);
            assert_eq!(usize::from(letter(*character)), at, "stands there once");
            let spoken = PHRASES
                .iter()
                .any(|text| text.as_bytes().contains(character));
            assert!(
                spoken || single.contains(character),
                "{character} is unused"
            );
            assert_ne!(GLYPHS[position(*character)], GLYPHS[position(b'"')]);
            for (column_at, dots) in (0..).zip(GLYPHS[position(*character)]) {
                assert_eq!(column(rom, at as u8, column_at), dots);
            }
        }
        assert_eq!(column(rom, ZERO, 5), 0);
    }
}
