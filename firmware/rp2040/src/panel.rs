//! Keys and display, between the board's pins and the core's front.
//!
//! The core decides what a key does and what is shown; this brings key levels
//! in and pieces of picture out, at most one piece a turn of the main loop. A
//! display that does not answer is looked for again every [`RETRY_MS`] and stops
//! nobody.

use core::convert::Infallible;

use embedded_hal::digital::InputPin;
use rp2040_hal::gpio::bank0::{Gpio6, Gpio7, Gpio8};
use scalewright_core::indicator::{Front, Light};
use scalewright_core::instrument::Instrument;
use scalewright_core::ports::Storage;
use scalewright_protocol::units::elapsed_ms;

use crate::pins::PulledUp;
use crate::screen::{Absent, Screen};

/// Time between two attempts to find the display, ms.
const RETRY_MS: u32 = 2000;
/// Time between two questions whether it is still there, ms. When nothing
/// changes little is painted, and its absence would go unnoticed; back again
/// it would be dark.
const ASK_MS: u32 = 500;

/// The three keys.
pub struct Keyboard {
    /// The left one, ZERO.
    pub zero: PulledUp<Gpio6>,
    /// The middle one, TARE.
    pub tare: PulledUp<Gpio7>,
    /// The right one, VIEW.
    pub view: PulledUp<Gpio8>,
}

impl Keyboard {
    /// Keys held down now, a bit each from the left.
    fn down(&mut self) -> u8 {
        let bit = |level: Result<bool, Infallible>| u8::from(level.unwrap_or(false));
        let (zero, tare) = (bit(self.zero.is_low()), bit(self.tare.is_low()));
        zero | tare << 1 | bit(self.view.is_low()) << 2
    }
}

/// Keys, display and what the core knows of them.
pub struct Panel {
    front: Front,
    keyboard: Keyboard,
    screen: Screen,
    /// Whether the display was there when last spoken to, and when that was, ms.
    present: bool,
    spoken_ms: u32,
    /// How it was lit; unknown when it was just found.
    lit: Option<Light>,
}

impl Panel {
    /// A panel whose display is looked for at once, with what was chosen before.
    pub fn new<S: Storage, const KNOTS: usize>(
        keyboard: Keyboard,
        screen: Screen,
        now_ms: u32,
        instrument: &mut Instrument<S, KNOTS>,
    ) -> Self {
        Self {
            front: Front::new(now_ms, instrument),
            keyboard,
            screen,
            present: false,
            spoken_ms: now_ms.wrapping_sub(RETRY_MS),
            lit: None,
        }
    }

    /// One turn: keys, then one piece of picture.
    pub fn turn<S: Storage, const KNOTS: usize>(
        &mut self,
        now_ms: u32,
        instrument: &mut Instrument<S, KNOTS>,
    ) {
        let down = self.keyboard.down();
        self.front.turn(now_ms, down, instrument);
        let silent_ms = elapsed_ms(now_ms, self.spoken_ms);
        if !self.present {
            if silent_ms >= RETRY_MS {
                let set_up = self.screen.set_up();
                self.note(now_ms, set_up);
                self.front.repaint();
                self.lit = None;
            }
            return;
        }
        let light = self.front.indicator().light();
        if self.lit != Some(light) {
            let lit = self.screen.light(light);
            self.note(now_ms, lit);
            self.lit = Some(light);
        } else if let Some(tile) = self.front.paint(now_ms, instrument) {
            let placed = self.screen.place(tile.page, tile.column, &tile.columns);
            self.note(now_ms, placed);
        } else if silent_ms >= ASK_MS {
            let asked = self.screen.ask(light);
            self.note(now_ms, asked);
        }
    }

    fn note(&mut self, now_ms: u32, spoken: Result<(), Absent>) {
        self.present = spoken.is_ok();
        self.spoken_ms = now_ms;
    }
}
