//! What the other scale shows, typed after each capture.
//!
//! Fed with the bytes of a keyboard in any pieces. A number far from the load is
//! asked about once: whoever types it again means it.

use super::gathered::Shown;
use crate::record::mass::unit_g;
use crate::record::readings::digits::{in_g, scan};

/// What a line said.
#[derive(Clone, Debug, PartialEq)]
pub enum TypedNews {
    /// The other scale shows this; several are repeats.
    Readings(Vec<Shown>),
    /// This load is skipped.
    Skipped,
    /// Stop the session.
    Stop,
    /// Far from the load; the same again keeps it.
    Doubtful {
        /// What was typed, g.
        reading_g: f64,
        /// The load, g.
        load_g: f64,
    },
    /// Not understood, and why.
    NotUnderstood(String),
}

/// What can be typed.
pub const HELP: &str = "type what it shows, as 1000.4 or 1000.4 g, several with ; between; \
                        Enter skips this load, q stops";

/// Bytes of a line that are kept; more is nobody's reading.
const LONGEST: usize = 200;

/// How far a reading may be from its load before it is asked about, as a share
/// and in e: whichever is more.
const FAR_SHARE: f64 = 0.05;
const FAR_E: f64 = 20.0;

/// The keyboard.
#[derive(Clone, Debug)]
pub struct Typed {
    line: Vec<u8>,
    too_long: bool,
    unit: String,
    load_g: f64,
    room_g: f64,
    doubted: Option<Vec<Shown>>,
}

impl Default for Typed {
    fn default() -> Self {
        Self {
            line: Vec::new(),
            too_long: false,
            unit: "g".into(),
            load_g: 0.0,
            room_g: f64::INFINITY,
            doubted: None,
        }
    }
}

impl Typed {
    /// The load that is asked for next, and e of our scale, g.
    pub fn expect(&mut self, load_g: f64, e_g: f64) {
        self.load_g = load_g;
        self.room_g = room_g(load_g, e_g);
        self.doubted = None;
    }

    /// The unit of a number that has none: that of the last one that had.
    #[must_use]
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// Takes bytes; gives what each finished line says.
    pub fn feed(&mut self, bytes: &[u8]) -> Vec<TypedNews> {
        let mut news = Vec::new();
        for byte in bytes {
            match byte {
                b'\n' => {
                    let line = std::mem::take(&mut self.line);
                    let too_long = std::mem::take(&mut self.too_long);
                    news.push(match too_long {
                        true => TypedNews::NotUnderstood("that line is too long".into()),
                        false => self.read(&String::from_utf8_lossy(&line)),
                    });
                }
                _ if self.line.len() < LONGEST => self.line.push(*byte),
                _ => self.too_long = true,
            }
        }
        news
    }

    fn read(&mut self, line: &str) -> TypedNews {
        match line.trim() {
            "" | "-" => return TypedNews::Skipped,
            "q" | "stop" => return TypedNews::Stop,
            _ => {}
        }
        let mut shown = Vec::new();
        for piece in line
            .split(';')
            .map(str::trim)
            .filter(|piece| !piece.is_empty())
        {
            match self.one(piece) {
                Ok(one) => shown.push(one),
                Err(why) => return TypedNews::NotUnderstood(why),
            }
        }
        if shown.is_empty() {
            return TypedNews::Skipped;
        }
        let far = shown
            .iter()
            .find(|one| (one.reading_g - self.load_g).abs() > self.room_g);
        match far {
            Some(one) if self.doubted.as_ref() != Some(&shown) => {
                let doubt = TypedNews::Doubtful {
                    reading_g: one.reading_g,
                    load_g: self.load_g,
                };
                self.doubted = Some(shown);
                doubt
            }
            _ => TypedNews::Readings(shown),
        }
    }

    fn one(&mut self, text: &str) -> Result<Shown, String> {
        let (numeral, unit) = scan(text).ok_or_else(|| format!("\"{text}\" is no number"))?;
        let unit = match unit {
            "" => self.unit.clone(),
            unit => unit.to_lowercase(),
        };
        let factor = unit_g(&unit)
            .ok_or_else(|| format!("\"{unit}\" is no mass unit: write g, kg, mg, t, lb or oz"))?;
        let (value, places) = numeral.alone().ok_or_else(|| {
            format!("\"{text}\" can be read in two ways: write all places, or no comma and point")
        })?;
        self.unit = unit;
        Ok(Shown {
            reading_g: in_g(value, factor),
            step_g: factor * 10f64.powi(-i32::from(places)),
        })
    }
}

/// How far a reading may be from a load and still be thought its, g: never so
/// far that an empty scale would do.
pub(super) fn room_g(load_g: f64, e_g: f64) -> f64 {
    let usual = (FAR_SHARE * load_g.abs()).max(FAR_E * e_g);
    usual.min((0.5 * load_g.abs()).max(2.0 * e_g))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shown(reading_g: f64, step_g: f64) -> Shown {
        Shown { reading_g, step_g }
    }

    #[test]
    fn numbers_come_in_pieces_and_keep_their_unit() {
        let mut typed = Typed::default();
        typed.expect(1000.0, 2.0);
        assert_eq!(typed.feed(b"10"), []);
        assert_eq!(
            typed.feed(b"00.4\r\n"),
            [TypedNews::Readings(vec![shown(1000.4, 0.1)])]
        );
        assert_eq!(
            typed.feed(b"1,0005 kg; 1.0006\n"),
            [TypedNews::Readings(vec![
                shown(1000.5, 0.1),
                shown(1000.6, 0.1)
            ])]
        );
        assert_eq!(typed.unit(), "kg");
        assert_eq!(
            typed.feed(b"\n-\nq\n"),
            [TypedNews::Skipped, TypedNews::Skipped, TypedNews::Stop]
        );
    }

    #[test]
    fn what_is_far_from_the_load_is_asked_about_once() {
        let mut typed = Typed::default();
        typed.expect(1000.0, 2.0);
        let doubt = TypedNews::Doubtful {
            reading_g: 100.4,
            load_g: 1000.0,
        };
        assert_eq!(typed.feed(b"100.4\n"), std::slice::from_ref(&doubt));
        assert_eq!(
            typed.feed(b"100.4\n"),
            [TypedNews::Readings(vec![shown(100.4, 0.1)])]
        );
        typed.expect(1000.0, 2.0);
        assert_eq!(typed.feed(b"100.4\n"), [doubt]);
    }

    #[test]
    fn an_empty_scale_is_no_reading_of_a_small_load() {
        let mut typed = Typed::default();
        typed.expect(20.0, 2.0);
        assert!(matches!(
            typed.feed(b"0.1\n")[..],
            [TypedNews::Doubtful { .. }]
        ));
        assert!(matches!(
            typed.feed(b"21.5\n")[..],
            [TypedNews::Readings(_)]
        ));
    }

    #[test]
    fn what_is_not_understood_says_why() {
        let mut typed = Typed::default();
        for (line, why) in [
            ("about a kilo", "is no number"),
            ("5 stone", "is no mass unit"),
            ("1,500", "in two ways"),
        ] {
            let news = typed.feed(format!("{line}\n").as_bytes());
            let [TypedNews::NotUnderstood(said)] = &news[..] else {
                panic!("{news:?}")
            };
            assert!(said.contains(why), "{said}");
        }
        let news = typed.feed(&[b"7".repeat(500), b"\n".to_vec()].concat());
        assert_eq!(
            news,
            [TypedNews::NotUnderstood("that line is too long".into())]
        );
    }

    proptest! {
        #[test]
        fn no_bytes_break_it(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let mut typed = Typed::default();
            typed.expect(1000.0, 2.0);
            let lines = bytes.iter().filter(|b| **b == b'\n').count();
            prop_assert_eq!(typed.feed(&bytes).len(), lines);
        }
    }
}
