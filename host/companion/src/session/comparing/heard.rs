//! What the other scale says on its line.
//!
//! Fed with bytes in any pieces; knows no port and no clock. A reading counts
//! when the latest ones agree, near the load that is expected: everything else
//! is told as what it is.

use std::collections::VecDeque;

use super::gathered::Shown;
use super::pattern::Pattern;
use super::typed::room_g;

/// Readings that must agree.
const AGREEING: usize = 5;

/// How far they may be apart, in last places.
const APART: f64 = 1.5;

/// Bytes of a line that are kept.
const LONGEST: usize = 400;

/// What is on the line now.
#[derive(Clone, Debug, PartialEq)]
pub enum Hearing {
    /// Nothing came yet.
    Silent,
    /// Lines come that the pattern doesn't fit; the latest of them.
    NotUnderstood(String),
    /// Readings come and are not at rest, or too few; the latest.
    Moving(Shown),
    /// At rest, but far from the load.
    Elsewhere(Shown),
    /// At rest near the load.
    Steady(Shown),
}

/// The line of the other scale.
#[derive(Clone, Debug)]
pub struct Heard {
    pattern: Pattern,
    line: Vec<u8>,
    latest: VecDeque<Shown>,
    strange: Option<String>,
    load_g: f64,
    room_g: f64,
}

impl Heard {
    /// A line read by a pattern.
    #[must_use]
    pub fn new(pattern: Pattern) -> Self {
        Self {
            pattern,
            line: Vec::new(),
            latest: VecDeque::new(),
            strange: None,
            load_g: 0.0,
            room_g: f64::INFINITY,
        }
    }

    /// The load that is expected now, and e of our scale, g: what was heard
    /// before is forgotten.
    pub fn expect(&mut self, load_g: f64, e_g: f64) {
        self.load_g = load_g;
        self.room_g = room_g(load_g, e_g);
        self.latest.clear();
        self.strange = None;
    }

    /// Takes bytes.
    pub fn feed(&mut self, bytes: &[u8]) {
        for byte in bytes {
            match byte {
                b'\n' | b'\r' if self.line.is_empty() => {}
                b'\n' | b'\r' => {
                    let line = std::mem::take(&mut self.line);
                    self.read(&String::from_utf8_lossy(&line));
                }
                // A line without end: what comes later is worth more.
                _ if self.line.len() >= LONGEST => self.line.clear(),
                _ => self.line.push(*byte),
            }
        }
    }

    fn read(&mut self, line: &str) {
        let Some(shown) = self.pattern.read(line) else {
            let visible = line.chars().filter(|c| !c.is_control()).take(60);
            self.strange = Some(visible.collect());
            return;
        };
        if self.latest.len() >= AGREEING {
            self.latest.pop_front();
        }
        self.latest.push_back(shown);
    }

    /// What is on the line now.
    #[must_use]
    pub fn hearing(&self) -> Hearing {
        let Some(last) = self.latest.back().copied() else {
            return match &self.strange {
                Some(line) => Hearing::NotUnderstood(line.clone()),
                None => Hearing::Silent,
            };
        };
        let of = |fold: fn(f64, f64) -> f64, from: f64| {
            self.latest.iter().map(|one| one.reading_g).fold(from, fold)
        };
        let range_g = of(f64::max, f64::NEG_INFINITY) - of(f64::min, f64::INFINITY);
        let rests = self.latest.len() == AGREEING && range_g <= APART * last.step_g;
        let near = (last.reading_g - self.load_g).abs() <= self.room_g;
        match (rests, near) {
            (false, _) => Hearing::Moving(last),
            (true, false) => Hearing::Elsewhere(last),
            (true, true) => Hearing::Steady(last),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::pattern::USUAL;
    use super::*;
    use proptest::prelude::*;

    fn heard() -> Heard {
        let mut heard = Heard::new(USUAL.parse().expect("a pattern"));
        heard.expect(1000.0, 2.0);
        heard
    }

    #[test]
    fn a_reading_counts_once_five_agree() {
        let mut heard = heard();
        assert_eq!(heard.hearing(), Hearing::Silent);
        heard.feed(b"hello\r\n");
        assert_eq!(heard.hearing(), Hearing::NotUnderstood("hello".into()));
        for (text, rests) in [
            ("0.4 g\r\n", false),
            ("700.1 g\r\n1000.4 g\r\n1000.4 g\r\n", false),
            ("1000.5 g\r\n1000.4 g\r\n", false),
            ("1000.4 ", false),
            ("g\r\n", true),
        ] {
            heard.feed(text.as_bytes());
            assert_eq!(
                matches!(heard.hearing(), Hearing::Steady(_)),
                rests,
                "{text}"
            );
        }
        heard.feed(b"1003.0 g\r\n");
        assert!(matches!(heard.hearing(), Hearing::Moving(_)));
    }

    #[test]
    fn rest_at_another_load_is_not_taken() {
        let mut heard = heard();
        heard.feed(&b"0.1 g\n".repeat(6));
        assert!(matches!(heard.hearing(), Hearing::Elsewhere(shown) if shown.reading_g == 0.1));
        heard.expect(0.0, 2.0);
        assert_eq!(heard.hearing(), Hearing::Silent);
    }

    proptest! {
        #[test]
        fn no_bytes_break_it(bytes in prop::collection::vec(any::<u8>(), 0..900)) {
            let mut heard = heard();
            heard.feed(&bytes);
            let _ = heard.hearing();
        }

        /// How the bytes are cut changes nothing.
        #[test]
        fn pieces_make_no_difference(cuts in prop::collection::vec(1usize..9, 1..40)) {
            let text = b"N 1000.4 g\r\nN 1000.5 g\r\nN 1000.4 g\r\nN 1000.4 g\r\nN 1000.4 g\r\n";
            let mut heard = heard();
            let mut rest = &text[..];
            for cut in cuts {
                let (now, later) = rest.split_at(cut.min(rest.len()));
                heard.feed(now);
                rest = later;
            }
            heard.feed(rest);
            prop_assert!(matches!(heard.hearing(), Hearing::Steady(_)));
        }
    }
}
