//! Which pin does what, and how pins are driven.
//!
//! Single bits of the I/O ports are set and cleared by one instruction each
//! (`sbi`, `cbi`), so the interrupt and the main loop may use pins of the same
//! port without guarding each other.

use core::arch::asm;
use core::convert::Infallible;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};

// pin: PD2 ADC data
/// Data line of the bridge ADC; the pull-up makes a line that nobody drives read high: silent.
pub type AdcData = Pin<PORT_D, 2>;
// pin: PD3 ADC clock
/// Clock line of the bridge ADC.
pub type AdcClock = Pin<PORT_D, 3>;
// pin: PD4 ADC rate
/// High for 80 conversions per second, low for 10.
pub type AdcRate = Pin<PORT_D, 4>;
// pin: PB0 key ZERO
/// Key ZERO, to ground.
pub type KeyZero = Pin<PORT_B, 0>;
// pin: PB1 key TARE
/// Key TARE, to ground.
pub type KeyTare = Pin<PORT_B, 1>;
// pin: PB2 key VIEW
/// Key VIEW, to ground.
pub type KeyView = Pin<PORT_B, 2>;
// pin: PB5 status LED
/// Status light.
pub type StatusLed = Pin<PORT_B, 5>;
// pin: PD7 WORK
/// High while a sample is worked on: a point for an oscilloscope.
pub type Work = Pin<PORT_D, 7>;
// pin: PC4 display SDA
/// Data line of the display; used by the chip's bus unit. The pull-up keeps an
/// empty connector quiet; a display brings stronger ones.
pub type DisplayData = Pin<PORT_C, 4>;
// pin: PC5 display SCL
/// Clock line of the display; see [`DisplayData`].
pub type DisplayClock = Pin<PORT_C, 5>;
// These belong to the chip's serial unit.
// pin: PD0 UART RX
// pin: PD1 UART TX

/// Number of a port's input register in the I/O space; its direction and output
/// registers follow (Microchip, "ATmega328P" data sheet, register summary).
const PORT_B: u8 = 0x03;
/// See [`PORT_B`].
const PORT_C: u8 = 0x06;
/// See [`PORT_B`].
const PORT_D: u8 = 0x09;

/// One pin: the number of its port's input register, and its bit.
pub struct Pin<const PORT: u8, const BIT: u8>(());

impl<const PORT: u8, const BIT: u8> Pin<PORT, BIT> {
    /// A pin that [`Self::output`] or [`Self::input`] has set up elsewhere.
    pub const SET_UP: Self = Self(());

    /// Makes it an output, low.
    pub fn output() -> Self {
        // SAFETY: one bit of a port register, changed by one instruction.
        unsafe {
            asm!("cbi {port}, {bit}", "sbi {direction}, {bit}",
                port = const PORT + 2, direction = const PORT + 1, bit = const BIT,
                options(nostack, preserves_flags));
        }
        Self(())
    }

    /// Makes it an input with the chip's own pull-up.
    pub fn input() -> Self {
        // SAFETY: as in `output`.
        unsafe {
            asm!("cbi {direction}, {bit}", "sbi {port}, {bit}",
                port = const PORT + 2, direction = const PORT + 1, bit = const BIT,
                options(nostack, preserves_flags));
        }
        Self(())
    }

    /// Drives it high or low.
    #[inline(always)]
    pub fn set(&mut self, high: bool) {
        // SAFETY: as in `output`.
        unsafe {
            if high {
                asm!("sbi {port}, {bit}", port = const PORT + 2, bit = const BIT,
                    options(nostack, preserves_flags));
            } else {
                asm!("cbi {port}, {bit}", port = const PORT + 2, bit = const BIT,
                    options(nostack, preserves_flags));
            }
        }
    }

    /// Whether the line is low now.
    #[inline(always)]
    pub fn reads_low(&self) -> bool {
        let bits: u8;
        // SAFETY: reads an input register.
        unsafe {
            asm!("in {bits}, {pin}", bits = out(reg) bits, pin = const PORT,
                options(nostack, preserves_flags));
        }
        bits & (1 << BIT) == 0
    }
}

impl<const PORT: u8, const BIT: u8> ErrorType for Pin<PORT, BIT> {
    type Error = Infallible;
}

impl<const PORT: u8, const BIT: u8> OutputPin for Pin<PORT, BIT> {
    #[inline(always)]
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }

    #[inline(always)]
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }
}

impl<const PORT: u8, const BIT: u8> InputPin for Pin<PORT, BIT> {
    #[inline(always)]
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.reads_low())
    }

    #[inline(always)]
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.reads_low())
    }
}
