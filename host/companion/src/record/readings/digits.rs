//! Numbers whose decimal sign is not known beforehand.

use std::fmt;

use super::ReadingsFault;

/// What parts decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimal {
    /// 1000.4
    Point,
    /// 1000,4
    Comma,
}

impl Decimal {
    const fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    const fn other(self) -> Self {
        match self {
            Self::Point => Self::Comma,
            Self::Comma => Self::Point,
        }
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Point => "a decimal point",
            Self::Comma => "a decimal comma",
        })
    }
}

/// A number as it is written.
#[derive(Clone, Debug, PartialEq)]
pub struct Numeral {
    negative: bool,
    /// Digits, points and commas.
    body: String,
    /// Whether blanks or apostrophes part its thousands.
    parted: bool,
    exponent: i32,
}

/// What a numeral tells of its decimal sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hint {
    /// It has none.
    None,
    /// This one.
    Is(Decimal),
    /// Both would do, as in "1,500".
    Either,
    /// It is no number either way.
    Broken,
}

/// A value in a unit as grams, without the noise that the product leaves behind
/// fourteen digits.
#[must_use]
pub fn in_g(value: f64, unit_g: f64) -> f64 {
    let product = value * unit_g;
    format!("{product:.13e}").parse().unwrap_or(product)
}

/// Digits that are read at most: more is no reading.
const MOST: usize = 30;

/// The number a text begins with, and the text after it. `None` when there is
/// no digit at its beginning.
#[must_use]
pub fn scan(text: &str) -> Option<(Numeral, &str)> {
    let text = text.trim();
    let unsigned = text.strip_prefix(['-', '\u{2212}']);
    let negative = unsigned.is_some();
    let rest = unsigned.or_else(|| text.strip_prefix('+')).unwrap_or(text);
    let rest = rest.trim_start();
    let (mut body, mut parted, mut end) = (String::new(), false, 0);
    let mut letters = rest.char_indices().peekable();
    while let Some((at, letter)) = letters.next() {
        let next = letters.peek().map(|(_, next)| *next);
        let digit_next = next.is_some_and(|next| next.is_ascii_digit());
        match letter {
            '0'..='9' | '.' | ',' => {
                body.push(letter);
                end = at + letter.len_utf8();
            }
            ' ' | '\'' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2019}'
                if digit_next && body.ends_with(|c: char| c.is_ascii_digit()) =>
            {
                parted = true;
            }
            _ => break,
        }
    }
    if body.len() > MOST || !body.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let (exponent, rest) = exponent(rest.get(end..).unwrap_or_default());
    let numeral = Numeral {
        negative,
        body,
        parted,
        exponent,
    };
    Some((numeral, rest.trim()))
}

/// "E+03" before the rest of a text.
fn exponent(text: &str) -> (i32, &str) {
    let Some(power) = text.strip_prefix(['e', 'E']) else {
        return (0, text);
    };
    let unsigned = power.strip_prefix(['-', '+']).unwrap_or(power);
    let digits = unsigned.len()
        - unsigned
            .trim_start_matches(|c: char| c.is_ascii_digit())
            .len();
    let end = power.len() - unsigned.len() + digits;
    let read = power.get(..end).and_then(|power| power.parse().ok());
    match (read, power.get(end..)) {
        (Some(power), Some(rest)) if (1..=3).contains(&digits) => (power, rest),
        _ => (0, text),
    }
}

impl Numeral {
    /// What it tells of its decimal sign.
    #[must_use]
    pub fn hint(&self) -> Hint {
        let count = |sign: char| self.body.matches(sign).count();
        let only = |decimal: Decimal| match self.value(decimal) {
            Some(_) => Hint::Is(decimal),
            None => Hint::Broken,
        };
        match (count('.'), count(',')) {
            (0, 0) => Hint::None,
            (points, commas) if points > 0 && commas > 0 => {
                let comma_last = self.body.rfind(',') > self.body.rfind('.');
                only(if comma_last {
                    Decimal::Comma
                } else {
                    Decimal::Point
                })
            }
            (points, commas) => {
                let here = if points > 0 {
                    Decimal::Point
                } else {
                    Decimal::Comma
                };
                if points + commas > 1 {
                    return only(here.other());
                }
                let (before, after) = self.body.split_once(here.sign()).unwrap_or_default();
                let may_part_thousands = after.len() == 3
                    && (1..=3).contains(&before.len())
                    && !before.starts_with('0')
                    && !self.parted;
                match may_part_thousands {
                    true => Hint::Either,
                    false => only(here),
                }
            }
        }
    }

    /// Its value and the places after its decimal sign; `None` when it is no
    /// number with this sign.
    #[must_use]
    pub fn value(&self, decimal: Decimal) -> Option<(f64, i16)> {
        let (whole, places) = match self.body.split_once(decimal.sign()) {
            Some((whole, places)) => (whole, places),
            None => (self.body.as_str(), ""),
        };
        if !places.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let mut groups = whole.split(decimal.other().sign());
        let first = groups.next().unwrap_or_default();
        let rest: Vec<&str> = groups.collect();
        let grouped = rest.iter().all(|group| group.len() == 3);
        if !(rest.is_empty() || grouped && (1..=3).contains(&first.len())) {
            return None;
        }
        let whole: String = std::iter::once(first).chain(rest).collect();
        if whole.len() + places.len() == 0 {
            return None;
        }
        let sign = if self.negative { "-" } else { "" };
        let text = format!("{sign}0{whole}.{places}0e{}", self.exponent);
        let value: f64 = text.parse().ok()?;
        let places = i32::try_from(places.len())
            .ok()?
            .saturating_sub(self.exponent);
        let places = i16::try_from(places).ok()?;
        value.is_finite().then_some((value, places))
    }

    /// The value of a number that stands alone, with its places; `None` when it
    /// is none, or can be read in two ways.
    #[must_use]
    pub fn alone(&self) -> Option<(f64, i16)> {
        match self.hint() {
            Hint::None => self.value(Decimal::Point),
            Hint::Is(decimal) => self.value(decimal),
            Hint::Either | Hint::Broken => None,
        }
    }

    /// The value of a number from a machine, which parts no thousands.
    #[must_use]
    pub fn of_machine(&self) -> Option<(f64, i16)> {
        let comma = self.body.contains(',') && !self.body.contains('.');
        let decimal = if comma {
            Decimal::Comma
        } else {
            Decimal::Point
        };
        if self.body.matches(['.', ',']).count() > 1 || self.parted {
            return None;
        }
        self.value(decimal)
    }
}

/// The decimal sign of all numbers together, each with its line and its text;
/// `commas` says whether commas part the columns.
pub(super) fn decimal_of<'a>(
    all: impl Iterator<Item = (usize, &'a str, &'a Numeral)>,
    commas: bool,
) -> Result<Decimal, ReadingsFault> {
    let (mut point, mut comma, mut either) = (None, None, None);
    for (line, text, numeral) in all {
        let place = match numeral.hint() {
            Hint::None => continue,
            Hint::Is(Decimal::Point) => &mut point,
            Hint::Is(Decimal::Comma) => &mut comma,
            Hint::Either => &mut either,
            Hint::Broken => {
                let what = format!("\"{text}\" is no number");
                return Err(ReadingsFault::at(line, what, "correct it"));
            }
        };
        place.get_or_insert((line, text));
    }
    match (point, comma, either) {
        (Some((at, pointed)), Some((line, text)), _) => {
            let (first, second) = if at < line {
                ((at, pointed), (line, text))
            } else {
                ((line, text), (at, pointed))
            };
            let what = format!(
                "\"{}\" has another decimal sign than \"{}\" in line {}",
                second.1, first.1, first.0
            );
            Err(ReadingsFault::at(
                second.0,
                what,
                "write one sign throughout",
            ))
        }
        (Some(_), None, _) => Ok(Decimal::Point),
        (None, Some(_), _) => Ok(Decimal::Comma),
        (None, None, Some((line, text))) if !(commas && text.contains('.')) => {
            let thousand: String = text.chars().filter(|c| !matches!(c, '.' | ',')).collect();
            let what = format!(
                "\"{text}\" can be read in two ways, and no other number of the file tells which"
            );
            let advice = format!("write {text}0 or {thousand}, as it is meant");
            Err(ReadingsFault::at(line, what, advice))
        }
        _ => Ok(Decimal::Point),
    }
}

/// Errors needed before their digits show more than the last place.
const ENOUGH: usize = 3;

/// The scale interval that readings show, g: 1, 2 or 5 last places, the largest
/// of which all readings are multiples. `shown` has each reading, its last place
/// and its load, g. A reading that is its load tells nothing: loads are round.
pub(crate) fn interval_g(shown: &[(f64, f64, Option<f64>)]) -> f64 {
    let least_g = shown.iter().map(|one| one.1).fold(f64::INFINITY, f64::min);
    let off = |one: &(f64, f64, Option<f64>)| one.0 - one.2.unwrap_or(one.0);
    let mut errors: Vec<i64> = (shown.iter())
        .map(|one| (off(one) / least_g).round() as i64)
        .filter(|error| *error != 0)
        .collect();
    errors.sort_unstable();
    errors.dedup();
    if errors.len() < ENOUGH {
        return least_g;
    }
    let of_all = |factor: &&f64| {
        let step = **factor * least_g;
        let off = |reading: f64| (reading / step - (reading / step).round()).abs();
        shown.iter().all(|one| off(one.0) < 1e-4)
    };
    let found = [5.0, 2.0].iter().find(of_all);
    found.map_or(least_g, |factor| factor * least_g)
}
