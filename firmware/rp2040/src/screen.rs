//! The display's driver: set up, place a piece of picture, light it, ask whether
//! it is there.
//!
//! Built without the feature `display` it takes everything and shows nothing,
//! which is how the rest of the image is shown to be free of panics.

use scalewright_core::indicator::Light;

use crate::display_bus::DisplayBus;

#[cfg(feature = "display")]
use ssd1306::{
    I2CDisplayInterface, Ssd1306,
    mode::{BasicMode, DisplayConfig},
    prelude::{Brightness, DisplayRotation, DisplaySize128x64, I2CInterface},
};

/// Contrast and charging time of a display that is as dim as it gets, and of the
/// levels from 1 on (by eye; the controller's data sheet gives the range only).
#[cfg(feature = "display")]
const DIM: Brightness = Brightness::DIMMEST;
#[cfg(feature = "display")]
const LEVELS: [Brightness; 5] = [
    Brightness::custom(1, 0x20),
    Brightness::custom(2, 0x20),
    Brightness::custom(2, 0x50),
    Brightness::custom(2, 0x90),
    Brightness::custom(2, 0xFF),
];

/// The display did not answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Absent;

/// A display of 128x64 dots at 0x3C.
pub struct Screen {
    #[cfg(feature = "display")]
    driver: Ssd1306<I2CInterface<DisplayBus>, DisplaySize128x64, BasicMode>,
    #[cfg(not(feature = "display"))]
    _bus: DisplayBus,
}

#[cfg(feature = "display")]
impl Screen {
    /// A driver on this bus; nothing is sent yet.
    pub fn new(bus: DisplayBus) -> Self {
        Self {
            driver: Ssd1306::new(
                I2CDisplayInterface::new(bus),
                DisplaySize128x64,
                DisplayRotation::Rotate0,
            ),
        }
    }

    /// Sets it up and lights it.
    ///
    /// # Errors
    /// [`Absent`].
    pub fn set_up(&mut self) -> Result<(), Absent> {
        self.driver.init().map_err(|_| Absent)
    }

    /// Lights it so.
    ///
    /// # Errors
    /// [`Absent`].
    pub fn light(&mut self, light: Light) -> Result<(), Absent> {
        let brightness = match light {
            Light::Off => return self.ask(light),
            Light::Dim => DIM,
            Light::Lit(level) => {
                let level = usize::from(level).saturating_sub(1);
                LEVELS.get(level).copied().unwrap_or(Brightness::NORMAL)
            }
        };
        self.driver.set_brightness(brightness).map_err(|_| Absent)?;
        self.ask(light)
    }

    /// Says once more whether it shall be on, which tells whether it is there.
    ///
    /// # Errors
    /// [`Absent`].
    pub fn ask(&mut self, light: Light) -> Result<(), Absent> {
        let on = light != Light::Off;
        self.driver.set_display_on(on).map_err(|_| Absent)
    }

    /// Places columns of eight dots each, the lowest bit on top, from `column`
    /// on in row `page` of eight. Pages beyond the last are none.
    ///
    /// # Errors
    /// [`Absent`].
    pub fn place(&mut self, page: u8, column: u8, columns: &[u8]) -> Result<(), Absent> {
        let right = u8::try_from(columns.len()).map_or(128, |width| column.saturating_add(width));
        let top = (page & 7) * 8;
        self.driver
            .set_draw_area((column, top), (right.min(128), top + 8))
            .and_then(|()| self.driver.draw(columns))
            .map_err(|_| Absent)
    }
}

#[cfg(not(feature = "display"))]
impl Screen {
    /// Nothing on this bus.
    pub fn new(bus: DisplayBus) -> Self {
        Self { _bus: bus }
    }

    /// Does nothing.
    ///
    /// # Errors
    /// None.
    pub fn set_up(&mut self) -> Result<(), Absent> {
        Ok(())
    }

    /// Takes it where the compiler cannot see that nobody looks at it.
    ///
    /// # Errors
    /// None.
    pub fn light(&mut self, light: Light) -> Result<(), Absent> {
        core::hint::black_box(light);
        Ok(())
    }

    /// Does nothing.
    ///
    /// # Errors
    /// None.
    pub fn ask(&mut self, _light: Light) -> Result<(), Absent> {
        Ok(())
    }

    /// Takes it where the compiler cannot see that nobody looks at it.
    ///
    /// # Errors
    /// None.
    pub fn place(&mut self, page: u8, column: u8, columns: &[u8]) -> Result<(), Absent> {
        core::hint::black_box((page, column, columns));
        Ok(())
    }
}
