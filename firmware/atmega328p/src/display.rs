//! The 128x64 I2C display, a piece at a time.
//!
//! Owns the bus and the display's set-up. A display that is missing, comes
//! late or is pulled out never stops the scale: every wait for the bus ends
//! after [`PATIENCE`] looks, and the display is tried again every
//! [`RETRY_MS`]. Nothing is kept of the picture: what to paint comes as tiles.
//!
//! A driver crate is not used: BasicMode of the usual one brings a generic
//! interface, formatting and panics that this image has no room for, and what is
//! needed here is one table and three bus calls.
//!
//! Commands after Solomon Systech, "SSD1306 128 x 64 Dot Matrix OLED/PLED
//! Segment/Common Driver with Controller", section 9 (from memory); bus states
//! after Microchip, "ATmega328P" data sheet, 2-wire serial interface, master
//! transmitter mode.

use avr_device::atmega328p::TWI;
use scalewright_protocol::units::elapsed_ms;

use crate::flash;
use crate::pins::{DisplayClock, DisplayData};

/// Looks at the bus before it counts as stuck: about 0.5 ms, while a byte takes
/// 23 us at 400 kbit/s.
const PATIENCE: u16 = 1000;
/// Time between two tries to find a display, ms.
const RETRY_MS: u32 = 2000;
/// Time between two looks whether it is still there, ms.
const PROBE_MS: u32 = 500;
/// 0x3C and the bit for writing.
const ADDRESS: u8 = 0x3C << 1;
/// SCL = 16 MHz / (16 + 2 · 12) = 400 kHz.
const BIT_RATE: u8 = 12;

/// First byte of a message: commands follow, or columns.
const COMMANDS: u8 = 0x00;
const DATA: u8 = 0x40;

/// Bus states: started, started again, address and data acknowledged.
const STARTED: u8 = 0x08;
const AGAIN: u8 = 0x10;
const ADDRESSED: u8 = 0x18;
const TAKEN: u8 = 0x28;

/// Off; clock; 64 lines; no offset; line 0 on top; charge pump; page addressing;
/// columns and lines mirrored as the usual module is mounted; contrast and
/// charge times for the built-in pump; show memory, not inverted; on.
pub const SETUP: [u8; 25] = [
    0xAE, 0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40, 0x8D, 0x14, 0x20, 0x02, 0xA1, 0xC8, 0xDA, 0x12,
    0x81, 0x8F, 0xD9, 0xF1, 0xDB, 0x40, 0xA4, 0xA6, ON,
];
const ON: u8 = 0xAF;

/// The bus did not do what it was told, or nobody acknowledged.
struct NoDisplay;

/// What a step of the display came to.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Nothing can be painted now.
    Missing,
    /// Just set up: whatever it showed is gone, and its memory holds chance.
    Found,
    /// Can be painted.
    Ready,
}

/// The display and its bus.
pub struct Display {
    bus: TWI,
    ready: bool,
    /// When it was last spoken to.
    tried_ms: u32,
}

impl Display {
    /// A display that has not been looked for.
    pub fn new(bus: TWI, now_ms: u32) -> Self {
        DisplayData::input();
        DisplayClock::input();
        bus.twbr().write(|w| w.set(BIT_RATE));
        Self {
            bus,
            ready: false,
            tried_ms: now_ms.wrapping_sub(RETRY_MS),
        }
    }

    /// Looks for the display when that is due.
    #[inline(never)]
    pub fn step(&mut self, now_ms: u32) -> Step {
        let since_ms = elapsed_ms(now_ms, self.tried_ms);
        if self.ready {
            // Says "on" once more, which changes nothing, to learn whether it is
            // still there.
            if since_ms >= PROBE_MS {
                let there = self.message(COMMANDS, &[ON]);
                self.note(there, now_ms);
            }
            return if self.ready {
                Step::Ready
            } else {
                Step::Missing
            };
        }
        if since_ms < RETRY_MS {
            return Step::Missing;
        }
        let found = self.set_up();
        self.note(found, now_ms);
        if self.ready {
            Step::Found
        } else {
            Step::Missing
        }
    }

    /// Paints `columns`, bit 0 on top, from `column` on in `page` (rows of eight
    /// pixels).
    #[inline(never)]
    pub fn paint(&mut self, page: u8, column: u8, columns: &[u8], now_ms: u32) {
        let place = [0xB0 | page & 7, column & 0x0F, 0x10 | column >> 4 & 7];
        let painted = self
            .message(COMMANDS, &place)
            .and_then(|()| self.message(DATA, columns));
        self.note(painted, now_ms);
    }

    fn note(&mut self, result: Result<(), NoDisplay>, now_ms: u32) {
        self.ready = result.is_ok();
        if !self.ready {
            // A stop, and then both lines let go: a bus stuck half-way starts anew.
            self.end();
            self.bus.twcr().reset();
        }
        self.tried_ms = now_ms;
    }

    fn set_up(&mut self) -> Result<(), NoDisplay> {
        self.begin(COMMANDS)?;
        for at in 0..SETUP.len() {
            self.byte(flash::display_setup(at))?;
        }
        self.end();
        Ok(())
    }

    #[inline(never)]
    fn message(&mut self, kind: u8, bytes: &[u8]) -> Result<(), NoDisplay> {
        self.begin(kind)?;
        for byte in bytes {
            self.byte(*byte)?;
        }
        self.end();
        Ok(())
    }

    #[inline(never)]
    fn begin(&mut self, kind: u8) -> Result<(), NoDisplay> {
        self.bus.twcr().write(|w| {
            w.twint().set_bit();
            w.twsta().set_bit();
            w.twen().set_bit()
        });
        let state = self.wait()?;
        if state != STARTED && state != AGAIN {
            return Err(NoDisplay);
        }
        self.put(ADDRESS, ADDRESSED)?;
        self.byte(kind)
    }

    fn byte(&mut self, byte: u8) -> Result<(), NoDisplay> {
        self.put(byte, TAKEN)
    }

    #[inline(never)]
    fn put(&mut self, byte: u8, then: u8) -> Result<(), NoDisplay> {
        self.bus.twdr().write(|w| w.set(byte));
        self.bus.twcr().write(|w| {
            w.twint().set_bit();
            w.twen().set_bit()
        });
        if self.wait()? == then {
            Ok(())
        } else {
            Err(NoDisplay)
        }
    }

    fn end(&mut self) {
        self.bus.twcr().write(|w| {
            w.twint().set_bit();
            w.twsto().set_bit();
            w.twen().set_bit()
        });
        // The bus says no more than that the stop is out.
        let mut left = PATIENCE;
        while left > 0 && self.bus.twcr().read().twsto().bit_is_set() {
            left = left.wrapping_sub(1);
        }
    }

    /// The bus state once it has done what it was told.
    fn wait(&mut self) -> Result<u8, NoDisplay> {
        for _ in 0..PATIENCE {
            if self.bus.twcr().read().twint().bit_is_set() {
                return Ok(self.bus.twsr().read().bits() & 0xF8);
            }
        }
        Err(NoDisplay)
    }
}
