//! How a line of the other scale is read: a small notation of our own.
//!
//! | Sign | Stands for |
//! |---|---|
//! | `#` | the number, with its sign and its decimal point or comma |
//! | `@` | the unit: g, kg, mg, t, lb or oz, in small or capital letters |
//! | `~` | any text, or none |
//! | blank | any blanks, or none; behind `#` they need not be written |
//! | `\` | takes the next sign as it is |
//! | any other | itself |
//!
//! The pattern must fit the whole line. Without `@` the unit is what follows
//! `#` in the pattern, as in `#kg`.

use std::collections::BTreeSet;
use std::fmt;

use super::gathered::Shown;
use crate::record::mass::unit_g;
use crate::record::readings::digits::{in_g, scan};

/// The pattern where none is given: the first number with a unit behind it.
pub const USUAL: &str = "~# @~";

/// Signs of a pattern, and letters of a line, that are taken at most: fitting
/// takes no more steps than their product.
const LONGEST: usize = 200;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Piece {
    Number,
    Unit,
    Anything,
    Blanks,
    Letter(char),
}

/// A pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pieces: Vec<Piece>,
    /// Unit in g, where the pattern itself says it.
    unit_g: Option<f64>,
}

/// Why a text is no pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PatternFault {
    /// It has no `#`, or more than one.
    Numbers(usize),
    /// It has more than one `@`.
    Units(usize),
    /// Neither `@` nor a unit behind `#`.
    NoUnit,
    /// A `\` at its end.
    Nothing,
    /// Too many signs.
    TooLong,
}

impl fmt::Display for PatternFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Numbers(0) => f.write_str("it has no # for the number"),
            Self::Numbers(count) => write!(f, "it has {count} # where one stands for the number"),
            Self::Units(count) => write!(f, "it has {count} @ where one stands for the unit"),
            Self::NoUnit => f.write_str("it names no unit: write @, or the unit itself, as in #kg"),
            Self::Nothing => f.write_str("nothing follows the \\ at its end"),
            Self::TooLong => write!(f, "it has more than {LONGEST} signs"),
        }
    }
}

impl std::error::Error for PatternFault {}

impl std::str::FromStr for Pattern {
    type Err = PatternFault;

    fn from_str(text: &str) -> Result<Self, PatternFault> {
        if text.chars().count() > LONGEST {
            return Err(PatternFault::TooLong);
        }
        let mut pieces = Vec::new();
        let mut letters = text.trim().chars();
        while let Some(letter) = letters.next() {
            let piece = match letter {
                '#' => Piece::Number,
                '@' => Piece::Unit,
                '~' => Piece::Anything,
                '\\' => Piece::Letter(letters.next().ok_or(PatternFault::Nothing)?),
                _ if letter.is_whitespace() => Piece::Blanks,
                _ => Piece::Letter(letter),
            };
            if !(piece == Piece::Blanks && pieces.last() == Some(&Piece::Blanks)) {
                pieces.push(piece);
            }
            if piece == Piece::Number {
                pieces.push(Piece::Blanks);
            }
        }
        let count = |wanted: Piece| pieces.iter().filter(|piece| **piece == wanted).count();
        match (count(Piece::Number), count(Piece::Unit)) {
            (1, 1) => Ok(Self {
                pieces,
                unit_g: None,
            }),
            (1, 0) => {
                let unit_g = Some(behind_number(&pieces).ok_or(PatternFault::NoUnit)?);
                Ok(Self { pieces, unit_g })
            }
            (1, units) => Err(PatternFault::Units(units)),
            (numbers, _) => Err(PatternFault::Numbers(numbers)),
        }
    }
}

/// The unit that the letters behind the number spell, g.
fn behind_number(pieces: &[Piece]) -> Option<f64> {
    let at = pieces.iter().position(|piece| *piece == Piece::Number)?;
    let behind = pieces
        .iter()
        .skip(at + 1)
        .skip_while(|piece| **piece == Piece::Blanks);
    let word: String = behind
        .map_while(|piece| match piece {
            Piece::Letter(letter) if letter.is_alphabetic() => Some(*letter),
            _ => None,
        })
        .collect();
    unit_g(&word.to_lowercase())
}

/// What was found on the way.
#[derive(Clone, Copy, Default)]
struct Found {
    value: Option<(f64, i16)>,
    unit_g: Option<f64>,
}

impl Pattern {
    /// The reading in a line, or `None` where the pattern doesn't fit it.
    #[must_use]
    pub fn read(&self, line: &str) -> Option<Shown> {
        // Signs that steer a printer are blanks.
        let line: String = line
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let line = line.trim();
        if line.chars().count() > LONGEST {
            return None;
        }
        let found = self.fit(0, line, line.len(), &mut BTreeSet::new(), Found::default())?;
        let (value, places) = found.value?;
        let unit_g = found.unit_g.or(self.unit_g)?;
        let reading_g = in_g(value, unit_g);
        reading_g.is_finite().then(|| Shown {
            reading_g,
            step_g: unit_g * 10f64.powi(-i32::from(places)),
        })
    }

    /// Fits the pieces from `at` on to the end of `line` that has `left` bytes.
    /// What failed once fails again, so it is remembered.
    fn fit(
        &self,
        at: usize,
        line: &str,
        left: usize,
        failed: &mut BTreeSet<(usize, usize)>,
        found: Found,
    ) -> Option<Found> {
        let start = line.len().checked_sub(left)?;
        let rest = line.get(start..)?;
        let Some(piece) = self.pieces.get(at) else {
            return rest.is_empty().then_some(found);
        };
        if failed.contains(&(at, left)) {
            return None;
        }
        let fitted = match piece {
            Piece::Blanks => self.fit(at + 1, line, rest.trim_start().len(), failed, found),
            Piece::Letter(letter) => {
                let behind = rest.strip_prefix(*letter);
                behind.and_then(|behind| self.fit(at + 1, line, behind.len(), failed, found))
            }
            Piece::Anything => {
                let ends = rest.char_indices().map(|(end, _)| end).chain([rest.len()]);
                let mut ends = ends;
                ends.find_map(|end| self.fit(at + 1, line, left - end, failed, found))
            }
            Piece::Number => {
                let before = line.get(..start).unwrap_or_default();
                number(before, rest).and_then(|(value, behind)| {
                    let found = Found {
                        value: Some(value),
                        ..found
                    };
                    self.fit(at + 1, line, behind, failed, found)
                })
            }
            Piece::Unit => {
                let end = rest
                    .find(|c: char| !c.is_alphabetic())
                    .unwrap_or(rest.len());
                let word = rest.get(..end).unwrap_or_default();
                unit_g(&word.to_lowercase()).and_then(|unit_g| {
                    let found = Found {
                        unit_g: Some(unit_g),
                        ..found
                    };
                    self.fit(at + 1, line, left - end, failed, found)
                })
            }
        };
        if fitted.is_none() {
            failed.insert((at, left));
        }
        fitted
    }
}

/// The number at the beginning of `rest`, and how many bytes are left behind it.
/// It never begins inside another number, nor behind its sign.
fn number(before: &str, rest: &str) -> Option<((f64, i16), usize)> {
    let begins = rest.starts_with(|c: char| c.is_ascii_digit() || "+-\u{2212}.,".contains(c));
    let inside = before.ends_with(|c: char| c.is_ascii_digit() || c == '.' || c == ',');
    let signed = before.trim_end().ends_with(['-', '+', '\u{2212}']);
    if !begins || inside || signed {
        return None;
    }
    // A blank parts no thousands here: it may part two numbers.
    let sign = rest.len()
        - rest
            .trim_start_matches(['-', '+', '\u{2212}'])
            .trim_start()
            .len();
    let digits = rest.get(sign..)?;
    let end = digits
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
        .unwrap_or(digits.len());
    let (numeral, behind) = scan(rest.get(..sign + end)?)?;
    let value = numeral.of_machine()?;
    behind
        .is_empty()
        .then_some((value, rest.len() - sign - end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(pattern: &str, line: &str) -> Option<f64> {
        let pattern: Pattern = pattern.parse().expect("a pattern");
        pattern.read(line).map(|shown| shown.reading_g)
    }

    #[test]
    fn the_usual_pattern_finds_the_number_with_a_unit() {
        for (line, reading_g) in [
            ("  1000.4 g", Some(1000.4)),
            ("\u{2}N +  1,0004KG \u{3}", Some(1000.4)),
            ("No. 17  net -   12.5 g ok", Some(-12.5)),
            ("-0.2g", Some(-0.2)),
            ("17", None),
            ("1000.4 stone", None),
            ("1.000.4 g", None),
            ("2026-11-26 10:15 2.5 lb", Some(2.5 * 453.592_37)),
        ] {
            assert_eq!(read(USUAL, line), reading_g, "{line}");
        }
    }

    #[test]
    fn a_pattern_says_which_number_is_meant() {
        assert_eq!(
            read("gross ~ net # @", "gross 5 kg net 3.5 kg"),
            Some(3500.0)
        );
        assert_eq!(read("gross # kg ~", "gross 5 kg net 3.5 kg"), Some(5000.0));
        assert_eq!(read("gross # kg", "gross 5 kg net 3.5 kg"), None);
        assert_eq!(read(r"\#~: #g", "#3: 12.25 g"), Some(12.25));
        let shown = USUAL.parse::<Pattern>().expect("usual").read("1.2340 kg");
        assert_eq!(shown.map(|one| one.step_g), Some(1000.0 * 1e-4));
    }

    #[test]
    fn what_is_no_pattern_says_why() {
        for (text, fault) in [
            ("net @", PatternFault::Numbers(0)),
            ("# # @", PatternFault::Numbers(2)),
            ("# @ @", PatternFault::Units(2)),
            ("net # ", PatternFault::NoUnit),
            ("#stone", PatternFault::NoUnit),
            ("#@\\", PatternFault::Nothing),
        ] {
            assert_eq!(text.parse::<Pattern>(), Err(fault), "{text}");
        }
        let long = "~".repeat(300);
        assert_eq!(long.parse::<Pattern>(), Err(PatternFault::TooLong));
    }

    proptest! {
        #[test]
        fn no_text_breaks_it(pattern in "[#@~ \\\\a-gk]{0,30}", line in ".{0,220}") {
            if let Ok(pattern) = pattern.parse::<Pattern>() {
                let _ = pattern.read(&line);
            }
        }

        /// What is written with a pattern is read by it.
        #[test]
        fn a_line_written_with_it_is_read(before in "[a-z:]{0,8}", hundredths in -999_999i64..999_999) {
            let sign = if hundredths < 0 { "-" } else { "" };
            let size = hundredths.abs();
            let line = format!("{before} {sign}{}.{:02} kg ok", size / 100, size % 100);
            let found = read(&format!("{before} # @~"), &line);
            prop_assert!((found.unwrap_or(f64::NAN) - hundredths as f64 * 10.0).abs() < 1e-6);
        }
    }

    /// Many signs for anything cost no more than their number times the line.
    #[test]
    fn it_ends_soon_on_any_line() {
        let pattern = format!("{}#{}@", "~a".repeat(60), "~b".repeat(20));
        let pattern: Pattern = pattern.parse().expect("a pattern");
        assert_eq!(pattern.read(&"a1".repeat(100)), None);
    }
}
