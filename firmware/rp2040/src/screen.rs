//! The display's driver: set up, place a piece of picture, ask whether it is
//! there.
//!
//! Built without the feature `display` it takes everything and shows nothing,
//! which is how the rest of the image is shown to be free of panics.

use crate::display_bus::DisplayBus;

#[cfg(feature = "display")]
use ssd1306::{
    I2CDisplayInterface, Ssd1306,
    mode::{BasicMode, DisplayConfig},
    prelude::{DisplayRotation, DisplaySize128x64, I2CInterface},
};

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

    /// Says something harmless to it.
    ///
    /// # Errors
    /// [`Absent`].
    pub fn ask(&mut self) -> Result<(), Absent> {
        self.driver.set_display_on(true).map_err(|_| Absent)
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

    /// Does nothing.
    ///
    /// # Errors
    /// None.
    pub fn ask(&mut self) -> Result<(), Absent> {
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
