//! The boards there are, as far as their images go.
//!
//! A new board is one more variant here and one more folder under `firmware/`.

use std::ops::Range;
use std::str::FromStr;

/// A kind of board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Board {
    /// Cortex-M0+, USB, written through the boot drive of its ROM.
    Rp2040,
    /// 8-bit AVR, written through its serial bootloader.
    Atmega328p,
}

impl Board {
    /// Every board.
    pub const ALL: [Self; 2] = [Self::Rp2040, Self::Atmega328p];

    /// Its name: that of its folder, in its greeting and in its passport.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rp2040 => "rp2040",
            Self::Atmega328p => "atmega328p",
        }
    }

    /// The compiler's name for the chip.
    #[must_use]
    pub const fn target(self) -> &'static str {
        match self {
            Self::Rp2040 => "thumbv6m-none-eabi",
            Self::Atmega328p => "avr-none",
        }
    }

    /// Addresses an image may fill, bytes.
    ///
    /// RP2040: flash appears at 0x1000_0000 ("RP2040 Datasheet", address map,
    /// "XIP"); the last five sectors of 4 KiB of a 2 MiB flash hold the table
    /// slots and the device number. `ATmega328P`: 32 KiB of flash from 0, of
    /// which the last 2 KiB stay the bootloader's (largest boot section,
    /// "ATmega328P datasheet", boot size configuration: 1024 words).
    #[must_use]
    pub const fn room(self) -> Range<u32> {
        match self {
            Self::Rp2040 => 0x1000_0000..0x1000_0000 + 2 * 1024 * 1024 - 5 * 4096,
            Self::Atmega328p => 0..30 * 1024,
        }
    }

    /// Addresses of its RAM, as they stand in an ELF file, and its size.
    /// RP2040: 264 KiB from 0x2000_0000. `ATmega328P`: 2 KiB from 0x100, which
    /// the AVR tools number from `0x80_0000` (both from the datasheets).
    #[must_use]
    pub const fn ram(self) -> Range<u32> {
        match self {
            Self::Rp2040 => 0x2000_0000..0x2000_0000 + 264 * 1024,
            Self::Atmega328p => 0x80_0100..0x80_0900,
        }
    }

    /// Ending of the file its loader takes.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Rp2040 => "uf2",
            Self::Atmega328p => "hex",
        }
    }
}

impl FromStr for Board {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|board| board.name() == text.trim().to_lowercase())
            .ok_or_else(|| format!("there are {}", Self::ALL.map(Self::name).join(" and ")))
    }
}

impl std::fmt::Display for Board {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
