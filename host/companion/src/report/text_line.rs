//! Lines of a terminal: width, wrapping, colour, and text from outside made
//! harmless.
//!
//! Guarantees: [`fit`] leaves no line wider than asked; [`clean`] lets no
//! escape sequence through. Widths are never underestimated: where a sign may
//! take one column or two it is counted as two.

use super::svg::is_unprintable;
use super::words::tied;

/// A blank no line ends at.
const TIE: char = '\u{a0}';

/// How a text report may look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Whether ANSI colours may be used; they never carry meaning alone.
    pub colour: bool,
    /// Whether only ASCII may be used.
    pub ascii: bool,
    /// Most columns a line may have.
    pub columns: u16,
}

impl Style {
    /// Plain text of 80 columns, as for a file or a pipe.
    pub const PLAIN: Self = Self {
        colour: false,
        ascii: false,
        columns: 80,
    };

    /// The first text, or the second where only ASCII may be used.
    pub(super) fn pick(self, unicode: &'static str, ascii: &'static str) -> &'static str {
        if self.ascii { ascii } else { unicode }
    }
}

/// What a piece of text is, for its colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// Passed.
    Good,
    /// Failed.
    Bad,
    /// Less important.
    Soft,
    /// More important.
    Strong,
    /// The new table.
    After,
    /// The permitted band.
    Limit,
    /// To be heeded.
    Heed,
}

impl Ink {
    fn code(self) -> &'static str {
        match self {
            Ink::Good => "32",
            Ink::Bad => "31",
            Ink::Soft => "2",
            Ink::Strong => "1",
            Ink::After => "36",
            Ink::Limit => "32",
            Ink::Heed => "33",
        }
    }
}

/// The text in its colour, or as it is.
pub(super) fn paint(style: Style, ink: Ink, text: &str) -> String {
    if style.colour && !text.is_empty() {
        format!("\u{1b}[{}m{text}\u{1b}[0m", ink.code())
    } else {
        text.to_owned()
    }
}

/// Text from outside without what could move a cursor or turn the reading
/// order, and in ASCII if the style asks for it.
pub(super) fn clean(style: Style, text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            _ if letter == '\n' || letter == '\t' => safe.push(' '),
            _ if is_unprintable(letter) => safe.push('?'),
            _ if !style.ascii || letter.is_ascii() => safe.push(letter),
            '±' => safe.push_str("+/-"),
            '\u{2010}'..='\u{2015}' | '\u{2212}' => safe.push('-'),
            '×' => safe.push('x'),
            '\u{2026}' => safe.push_str("..."),
            '\u{2018}' | '\u{2019}' => safe.push('\''),
            '\u{201c}' | '\u{201d}' => safe.push('"'),
            '\u{a0}' | '\u{202f}' => safe.push(' '),
            '\u{b5}' | '\u{3bc}' => safe.push('u'),
            _ => safe.push('?'),
        }
    }
    safe
}

/// Columns a text takes, colour codes not counted.
pub(super) fn width(text: &str) -> usize {
    pieces(text)
        .map(|piece| match piece {
            Piece::Code(_) => 0,
            Piece::Letter(letter) => letter_width(letter),
        })
        .sum()
}

/// Columns of one character. From U+1100 on scripts with wide signs begin;
/// between U+2000 and U+2BFF lie the punctuation, blocks and dots we draw with.
fn letter_width(letter: char) -> usize {
    match letter {
        '\u{2000}'..='\u{2bff}' => 1,
        '\u{1100}'.. => 2,
        _ => 1,
    }
}

enum Piece<'a> {
    Code(&'a str),
    Letter(char),
}

fn pieces(text: &str) -> impl Iterator<Item = Piece<'_>> {
    let mut rest = text;
    std::iter::from_fn(move || {
        let letter = rest.chars().next()?;
        if letter == '\u{1b}'
            && let Some(end) = rest.find('m')
        {
            let (code, after) = rest.split_at(end + 1);
            rest = after;
            return Some(Piece::Code(code));
        }
        rest = rest.get(letter.len_utf8()..).unwrap_or("");
        Some(Piece::Letter(letter))
    })
}

/// Lines as a text, each cut to the columns of the style.
pub(super) fn set(style: Style, lines: &[String]) -> String {
    let mut text = String::new();
    for line in lines {
        text.push_str(&fit(style, line));
        text.push('\n');
    }
    text
}

/// The line cut to the columns of the style, without blanks at its end. What
/// is cut off is cut with a colour reset, so that nothing runs into the next.
pub(super) fn fit(style: Style, line: &str) -> String {
    let most = usize::from(style.columns);
    let line = line.trim_end();
    if width(line) <= most {
        return line.to_owned();
    }
    let (mut kept, mut used) = (String::new(), 0);
    for piece in pieces(line) {
        match piece {
            Piece::Code(code) => kept.push_str(code),
            Piece::Letter(letter) => {
                used += letter_width(letter);
                if used > most {
                    break;
                }
                kept.push(letter);
            }
        }
    }
    if style.colour {
        kept.push_str("\u{1b}[0m");
    }
    kept
}

/// The text filled up with blanks to a width, at its end or at its start.
pub(super) fn pad(text: &str, to: usize, right: bool) -> String {
    let blanks = " ".repeat(to.saturating_sub(width(text)));
    if right {
        format!("{blanks}{text}")
    } else {
        format!("{text}{blanks}")
    }
}

/// The text in at most `most` columns; what was cut shows it.
pub(super) fn cut(text: &str, most: usize, style: Style) -> String {
    if width(text) <= most {
        return text.to_owned();
    }
    let mark = style.pick("…", "~");
    let mut kept = String::new();
    for letter in text.chars() {
        kept.push(letter);
        if width(&kept) + 1 > most {
            kept.pop();
            break;
        }
    }
    kept + mark
}

/// The text broken between words into lines that fit, the first begun with
/// `first` and the others with as many blanks. Words longer than a line are
/// broken; a number keeps its unit beside it.
pub(super) fn wrap(style: Style, first: &str, text: &str) -> Vec<String> {
    // Tied first: in ASCII a ± is no sign of its own any more.
    let text = clean(
        Style {
            ascii: false,
            ..style
        },
        &tied(text),
    );
    let indent = width(first);
    let room = usize::from(style.columns).saturating_sub(indent).max(1);
    let mut lines = Vec::new();
    let (mut line, mut used) = (first.to_owned(), 0);
    let mut next = |line: &mut String, used: &mut usize| {
        lines.push(std::mem::replace(line, " ".repeat(indent)));
        *used = 0;
    };
    let blank = |letter: char| letter.is_whitespace() && letter != TIE;
    for word in text.split(blank).filter(|word| !word.is_empty()) {
        let word = &clean(style, word).replace(TIE, " ");
        let wide = width(word);
        if used > 0 && used + 1 + wide > room {
            next(&mut line, &mut used);
        }
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        for letter in word.chars() {
            let wide = letter_width(letter);
            if used > 0 && used + wide > room {
                next(&mut line, &mut used);
            }
            line.push(letter);
            used += wide;
        }
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLOUR: Style = Style {
        colour: true,
        ascii: false,
        columns: 10,
    };

    #[test]
    fn width_counts_what_is_seen() {
        let red = paint(COLOUR, Ink::Bad, "fail");
        assert_eq!(width(&red), 4);
        assert_eq!(width("±1 秤"), 5);
    }

    #[test]
    fn a_cut_line_does_not_bleed() {
        let line = paint(COLOUR, Ink::Bad, "much too long a line");
        let cut = fit(COLOUR, &line);
        assert_eq!(width(&cut), 10);
        assert!(cut.ends_with("\u{1b}[0m"));
    }

    #[test]
    fn wrapping_keeps_every_word_and_breaks_long_ones() {
        let lines = wrap(COLOUR, "- ", "one two three unbreakablything end");
        assert!(lines.iter().all(|line| width(line) <= 10), "{lines:?}");
        let joined: String = lines.concat().split_whitespace().collect();
        assert_eq!(joined, "-onetwothreeunbreakablythingend");
    }

    #[test]
    fn a_number_keeps_its_unit() {
        let lines = wrap(COLOUR, "", "about it 12 kg ± 0.5 kg, yes");
        assert_eq!(lines, ["about it", "12 kg", "± 0.5 kg,", "yes"]);
    }

    #[test]
    fn escapes_from_outside_are_taken_out() {
        let hostile = "W2\u{1b}[2J\u{7}\u{202e}\n±";
        assert_eq!(clean(Style::PLAIN, hostile), "W2?[2J?? ±");
        let ascii = Style {
            ascii: true,
            ..Style::PLAIN
        };
        assert_eq!(clean(ascii, "±0.1 – µ秤"), "+/-0.1 - u?");
    }
}
