//! The panel: keys, and what stands on the display after all pieces are painted.

mod common;

use common::*;
use scalewright_core::bridge::BridgeFault;
use scalewright_core::font::{COUNT, GLYPHS, position};
use scalewright_core::instrument::Event;
use scalewright_core::panel::{Key, Keys, Panel, ROM};
use scalewright_protocol::settings::Settings;

/// What a display of eight pages of 128 columns holds.
struct Display([[u8; 128]; 8]);

impl Display {
    fn new() -> Self {
        // Whatever it held when it was switched on.
        Self([[0xA5; 128]; 8])
    }

    /// Paints until nothing differs; the number of pieces.
    fn settle(&mut self, panel: &mut Panel, scale: &Scale, now_ms: u32) -> usize {
        let mut pieces = 0;
        while let Some(tile) = panel.paint(now_ms, scale, |at| ROM[at]) {
            assert!(tile.columns.len() <= 18);
            for (at, column) in tile.columns.iter().enumerate() {
                self.0[usize::from(tile.page)][usize::from(tile.column) + at] = *column;
            }
            pieces += 1;
            assert!(pieces < 300, "painting comes to an end");
        }
        pieces
    }

    fn dot(&self, x: usize, y: usize) -> bool {
        self.0[y / 8][x] >> (y % 8) & 1 != 0
    }

    /// The text of a page of small letters, read by its dots.
    fn small(&self, page: usize) -> String {
        let letters: Vec<char> = (0..21)
            .map(|at| {
                let glyph: [u8; 5] = self.0[page][at * 6..at * 6 + 5].try_into().unwrap();
                character(glyph)
            })
            .collect();
        letters.iter().collect::<String>().trim_end().to_string()
    }

    /// The large text: each dot is three by three.
    fn large(&self) -> String {
        let letters: Vec<char> = (0..7)
            .map(|at| {
                let mut glyph = [0u8; 5];
                for (column, dots) in glyph.iter_mut().enumerate() {
                    for row in 0..7 {
                        let (x, y) = (at * 18 + column * 3, 16 + 1 + row * 3);
                        let square = (0..9).map(|n| self.dot(x + n % 3, y + n / 3));
                        let lit = square.filter(|lit| *lit).count();
                        assert!(lit == 0 || lit == 9, "letter {at} is whole");
                        *dots |= u8::from(lit == 9) << row;
                    }
                }
                character(glyph)
            })
            .collect();
        letters.iter().collect::<String>().trim().to_string()
    }
}

fn character(glyph: [u8; 5]) -> char {
    let at = (0..COUNT).find(|at| GLYPHS[*at] == glyph);
    char::from(b' ' + u8::try_from(at.expect("a letter we have")).unwrap())
}

fn shown(panel: &mut Panel, scale: &Scale, now_ms: u32) -> Display {
    let mut display = Display::new();
    panel.repaint();
    display.settle(panel, scale, now_ms);
    display
}

/// Presses and releases.
fn press(panel: &mut Panel, now_ms: u32, key: u8) -> Option<Key> {
    assert_eq!(panel.keys(now_ms, Keys(key)), None, "contacts bounce");
    let pressed = panel.keys(now_ms + 30, Keys(key));
    assert_eq!(panel.keys(now_ms + 60, Keys(key)), None, "once");
    panel.keys(now_ms + 90, Keys(0));
    panel.keys(now_ms + 120, Keys(0));
    pressed
}

#[test]
fn the_indication_stands_there_with_unit_rest_and_zero() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let now = load(&mut scale, 0, ZERO, 30);
    let display = shown(&mut panel, &scale, now);
    assert_eq!(display.large(), "0");
    assert_eq!(display.small(0), "at rest  >0<");
    assert_eq!(display.small(5).trim(), "g");
    assert_eq!(display.small(7), "Max 6000 d = 1");
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    let display = shown(&mut panel, &scale, now);
    assert_eq!(display.large(), "3010", "3.01 kg by the table");
    assert_eq!(display.small(0), "at rest");
}

#[test]
fn only_what_differs_is_painted_and_not_more_often_than_an_eye_sees() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let mut display = Display::new();
    let now = load(&mut scale, 0, ZERO + 30_000, 30);
    assert!(display.settle(&mut panel, &scale, now) > 64, "wiped first");
    assert_eq!(display.settle(&mut panel, &scale, now + 99), 0);
    assert_eq!(display.settle(&mut panel, &scale, now + 100), 0);
    // Another last digit: one large letter of three pages.
    let now = load(&mut scale, now + 200, ZERO + 30_010, 30);
    assert_eq!(display.settle(&mut panel, &scale, now), 3);
    assert_eq!(display.large(), "3011");
}

#[test]
fn a_letter_that_changes_while_it_is_painted_is_whole_in_the_end() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let mut display = Display::new();
    let mut now = load(&mut scale, 0, ZERO, 30);
    display.settle(&mut panel, &scale, now);
    for counts in (0..400).map(|n| n * 37 % 60_000) {
        // A piece or two between samples: the text runs away under the brush.
        now = load(&mut scale, now, ZERO + counts, 1);
        for _ in 0..counts % 3 {
            if let Some(tile) = panel.paint(now, &scale, |at| ROM[at]) {
                for (at, column) in tile.columns.iter().enumerate() {
                    display.0[usize::from(tile.page)][usize::from(tile.column) + at] = *column;
                }
            }
        }
    }
    now = load(&mut scale, now, ZERO + 20_000, 30);
    display.settle(&mut panel, &scale, now);
    let mut anew = Panel::new();
    let afresh = shown(&mut anew, &scale, now);
    assert_eq!(display.large(), afresh.large());
    assert!(display.0 == afresh.0, "as if painted afresh");
}

#[test]
fn keys_zero_and_tare_and_say_why_not() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let mut now = load(&mut scale, 0, ZERO + 100, 30);
    assert_eq!(press(&mut panel, now, 1), Some(Key::Zero));
    panel.press(now, Key::Zero, &mut scale);
    assert_eq!(scale.state(now).zero_counts, ZERO + 100);
    assert_eq!(shown(&mut panel, &scale, now).small(7), "zero set");
    assert_eq!(
        shown(&mut panel, &scale, now + 2000).small(7),
        "Max 6000 d = 1"
    );

    now = load(&mut scale, now + 2000, ZERO + 100 + 10_000, 30);
    assert_eq!(press(&mut panel, now, 2), Some(Key::Tare));
    panel.press(now, Key::Tare, &mut scale);
    let display = shown(&mut panel, &scale, now);
    assert_eq!(display.large(), "0");
    assert_eq!(display.small(5).trim(), "net g");
    assert_eq!(display.small(7), "tare set");
    panel.press(now, Key::Tare, &mut scale);
    assert_eq!(shown(&mut panel, &scale, now).small(7), "tare cleared");
    assert_eq!(scale.tare(), 0);

    panel.press(now, Key::Zero, &mut scale);
    assert_eq!(
        shown(&mut panel, &scale, now).small(7),
        "outside zero range"
    );
    scale.handle(now, Event::Sample(Err(BridgeFault::Silent)));
    let display = shown(&mut panel, &scale, now + 3000);
    assert_eq!(display.large(), "", "no fault shows a mass");
    assert_eq!(display.small(7), "ADC silent: wires?");
    assert_eq!(press(&mut panel, now, 3), None, "two at once");
}

#[test]
fn the_view_key_turns_through_what_else_there_is() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let now = load(&mut scale, 0, ZERO + 30_000, 30);
    let mut seen = Vec::new();
    for _ in 0..5 {
        seen.push(shown(&mut panel, &scale, now).small(7));
        panel.press(now, Key::View, &mut scale);
    }
    assert_eq!(
        seen,
        [
            "Max 6000 d = 1",
            "gross 3010",
            "tare 0",
            "scale 00004F2A",
            "Max 6000 d = 1"
        ]
    );
}

#[test]
fn masses_have_the_unit_and_the_digits_that_max_and_d_need() {
    // Mass of a quantum (ug), e and d in quanta; Max is 600 000 quanta, and the
    // load 301 000.
    let cases = [
        (10_000, 200, 50, "3010.0", "g", "Max 6000.0 d = 0.5"),
        (10, 100, 50, "3.0100", "g", "Max 6.0000 d = 0.0005"),
        (150_000, 200, 100, "45150", "g", "Max 90000 d = 15"),
        (250_000, 200, 80, "75.26", "kg", "Max 150.00 d = 0.02"),
        // d is more micrograms than 32 bits hold.
        (100_000_000, 200, 100, "30100", "kg", "Max 60000 d = 10"),
    ];
    for (quantum_ug, e, d, large, unit, bottom) in cases {
        let (mut scale, mut laptop) = calibrated();
        let settings = Settings {
            quantum_ug,
            e,
            d,
            ..kitchen()
        };
        let stored = laptop.transfer(&mut scale, settings, ZERO, &knots());
        assert!(stored.is_ok());
        let now = load(&mut scale, 0, ZERO + 30_000, 30);
        let display = shown(&mut Panel::new(), &scale, now);
        assert_eq!(display.large(), large);
        assert_eq!(display.small(5).trim(), unit);
        assert_eq!(display.small(7), bottom);
    }
}

#[test]
fn what_is_below_zero_has_a_sign_and_zero_has_none() {
    let (mut scale, _) = calibrated();
    let mut panel = Panel::new();
    let now = load(&mut scale, 0, ZERO - 1, 30);
    panel.press(now, Key::View, &mut scale);
    let display = shown(&mut panel, &scale, now);
    assert_eq!(display.large(), "0");
    assert_eq!(display.small(7), "gross 0", "a tenth of a gram below");
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    panel.press(now, Key::Tare, &mut scale);
    let now = load(&mut scale, now, ZERO, 30);
    let display = shown(&mut panel, &scale, now + 2000);
    assert_eq!(display.large(), "-3010");
    assert_eq!(display.small(7), "gross 0");
}

#[test]
fn an_uncalibrated_scale_shows_no_mass() {
    let mut scale = start(Flash::new(512));
    let mut panel = Panel::new();
    let now = load(&mut scale, 0, ZERO, 30);
    let display = shown(&mut panel, &scale, now);
    assert_eq!(display.large(), "");
    assert_eq!(display.small(7), "not calibrated");
    assert_eq!(position(b'?'), 31);
}
