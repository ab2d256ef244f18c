//! Keys and display, between the board's pins and the core's panel.
//!
//! The core decides what a key does and what is shown; this brings key levels
//! in and pieces of picture out, at most one piece a turn of the main loop. A
//! display that does not answer is looked for again every [`RETRY_MS`] and stops
//! nobody.

use core::convert::Infallible;

use embedded_hal::digital::InputPin;
use rp2040_hal::gpio::bank0::{Gpio6, Gpio7, Gpio8};
use scalewright_core::instrument::Instrument;
use scalewright_core::panel::{self, Keys, ROM_BYTES};
use scalewright_core::ports::Storage;
use scalewright_protocol::units::elapsed_ms;

use crate::pins::PulledUp;
use crate::screen::{Absent, Screen};

/// Time between two attempts to find the display, ms.
const RETRY_MS: u32 = 2000;
/// Time between two questions whether it is still there, ms. When nothing
/// changes nothing is painted, and its absence would go unnoticed; back again
/// it would be dark.
const ASK_MS: u32 = 500;

/// Letters and phrases, in flash.
static GLYPHS: [u8; ROM_BYTES] = panel::ROM;

/// The three keys.
pub struct Keyboard {
    /// Zero-setting.
    pub zero: PulledUp<Gpio6>,
    /// Tare.
    pub tare: PulledUp<Gpio7>,
    /// The next view.
    pub view: PulledUp<Gpio8>,
}

impl Keyboard {
    /// Keys held down now.
    fn down(&mut self) -> Keys {
        let bit = |level: Result<bool, Infallible>| u8::from(level.unwrap_or(false));
        let (zero, tare) = (bit(self.zero.is_low()), bit(self.tare.is_low()));
        Keys(zero | tare << 1 | bit(self.view.is_low()) << 2)
    }
}

/// Keys, display and what the core knows of them.
pub struct Panel {
    core: panel::Panel,
    keyboard: Keyboard,
    screen: Screen,
    /// Whether the display was there when last spoken to, and when that was, ms.
    present: bool,
    spoken_ms: u32,
}

impl Panel {
    /// A panel whose display is looked for at once.
    pub fn new(keyboard: Keyboard, screen: Screen, now_ms: u32) -> Self {
        Self {
            core: panel::Panel::new(),
            keyboard,
            screen,
            present: false,
            spoken_ms: now_ms.wrapping_sub(RETRY_MS),
        }
    }

    /// One turn: keys, then one piece of picture.
    pub fn turn<S: Storage, const KNOTS: usize>(
        &mut self,
        now_ms: u32,
        instrument: &mut Instrument<S, KNOTS>,
    ) {
        let down = self.keyboard.down();
        if let Some(key) = self.core.keys(now_ms, down) {
            self.core.press(now_ms, key, instrument);
        }
        let silent_ms = elapsed_ms(now_ms, self.spoken_ms);
        if !self.present {
            if silent_ms >= RETRY_MS {
                let set_up = self.screen.set_up();
                self.note(now_ms, set_up);
                self.core.repaint();
            }
            return;
        }
        let rom = |at: usize| GLYPHS.get(at).copied().unwrap_or(0);
        if let Some(tile) = self.core.paint(now_ms, instrument, rom) {
            let placed = self.screen.place(tile.page, tile.column, &tile.columns);
            self.note(now_ms, placed);
        } else if silent_ms >= ASK_MS {
            let asked = self.screen.ask();
            self.note(now_ms, asked);
        }
    }

    fn note(&mut self, now_ms: u32, spoken: Result<(), Absent>) {
        self.present = spoken.is_ok();
        self.spoken_ms = now_ms;
    }
}
