//! The display's I2C bus, never waiting for long.
//!
//! A bus held low by a half-plugged display must not stop the scale, so every
//! wait here ends after [`PATIENCE_US`] and the controller starts afresh. Only
//! writing is needed and offered.

use embedded_hal::i2c::{self, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use rp2040_hal::gpio::bank0::{Gpio12, Gpio13};
use rp2040_hal::gpio::{FunctionI2C, Pin, PullUp};
use rp2040_hal::pac;

use crate::clock::micros;

/// Longest wait for the bus, us: 17 bytes of 9 bits take 383 us at 400 kHz.
const PATIENCE_US: u32 = 2000;
/// Bits per second: "fast mode" (NXP UM10204, table 10).
const BUS_HZ: u32 = 400_000;
const CLOCK_HZ: u32 = crate::clock::CYCLES_PER_US * 1_000_000;
const PERIOD: u32 = CLOCK_HZ / BUS_HZ;
/// Three fifths of the period low: the bus asks for 1.3 of 2.5 us at least.
const LOW: u16 = (PERIOD * 3 / 5) as u16;
const HIGH: u16 = PERIOD as u16 - LOW;
/// 0.3 us of data hold time, cycles.
const HOLD: u16 = (CLOCK_HZ / 10_000_000 * 3 + 1) as u16;
/// Shortest pulse that is taken for one, cycles: 50 ns.
const SPIKE: u8 = (CLOCK_HZ / 20_000_000 + 1) as u8;

/// Why nothing was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BusFault {
    /// Nobody answers.
    NoAnswer,
    /// The bus did not become free in time.
    Stuck,
    /// Reading was asked for.
    WriteOnly,
}

impl i2c::Error for BusFault {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NoAnswer => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            Self::Stuck => ErrorKind::Bus,
            Self::WriteOnly => ErrorKind::Other,
        }
    }
}

/// The bus on controller 0.
pub struct DisplayBus {
    device: pac::I2C0,
}

impl DisplayBus {
    /// A bus on its two pins.
    pub fn new(
        device: pac::I2C0,
        _sda: Pin<Gpio12, FunctionI2C, PullUp>,
        _scl: Pin<Gpio13, FunctionI2C, PullUp>,
    ) -> Self {
        let mut bus = Self { device };
        bus.restart();
        bus
    }

    /// Resets and sets up the controller (RP2040 datasheet, 4.3.10 and 4.3.14).
    fn restart(&mut self) {
        // SAFETY: the reset bit of our own controller, set and cleared by the
        // registers' atomic aliases, so that nobody else's bit is touched.
        unsafe {
            let reset = (*pac::RESETS::PTR).reset().as_ptr();
            let bit = 1 << 3;
            reset.byte_add(0x2000).write_volatile(bit);
            reset.byte_add(0x3000).write_volatile(bit);
        }
        let begun_us = micros();
        // SAFETY: reading a status register.
        while unsafe { (*pac::RESETS::PTR).reset_done().read() }
            .i2c0()
            .bit_is_clear()
        {
            if micros().wrapping_sub(begun_us) > PATIENCE_US {
                return;
            }
        }
        let i2c = &self.device;
        i2c.ic_enable().write(|w| w.enable().disabled());
        i2c.ic_con().modify(|_, w| {
            w.speed().fast();
            w.master_mode().enabled();
            w.ic_slave_disable().slave_disabled();
            w.ic_restart_en().enabled()
        });
        // SAFETY: all values are in the fields' ranges by their types.
        unsafe {
            i2c.ic_fs_scl_hcnt()
                .write(|w| w.ic_fs_scl_hcnt().bits(HIGH));
            i2c.ic_fs_scl_lcnt().write(|w| w.ic_fs_scl_lcnt().bits(LOW));
            i2c.ic_fs_spklen().write(|w| w.ic_fs_spklen().bits(SPIKE));
            i2c.ic_sda_hold()
                .modify(|_, w| w.ic_sda_tx_hold().bits(HOLD));
        }
        i2c.ic_enable().write(|w| w.enable().enabled());
    }

    /// Waits for `ready`; a refusal of the display or the clock ends it.
    fn wait(&self, ready: impl Fn(&pac::I2C0) -> bool) -> Result<(), BusFault> {
        let begun_us = micros();
        loop {
            if self.device.ic_tx_abrt_source().read().bits() != 0 {
                return Err(BusFault::NoAnswer);
            }
            if ready(&self.device) {
                return Ok(());
            }
            if micros().wrapping_sub(begun_us) > PATIENCE_US {
                return Err(BusFault::Stuck);
            }
        }
    }

    fn send(&mut self, address: u8, bytes: &[u8]) -> Result<(), BusFault> {
        let i2c = &self.device;
        i2c.ic_enable().write(|w| w.enable().disabled());
        // SAFETY: a 7-bit address.
        i2c.ic_tar()
            .write(|w| unsafe { w.ic_tar().bits(u16::from(address & 0x7F)) });
        i2c.ic_enable().write(|w| w.enable().enabled());
        i2c.ic_clr_stop_det().read();
        let mut left = bytes;
        while let Some((byte, after)) = left.split_first() {
            self.wait(|i2c| i2c.ic_status().read().tfnf().bit_is_set())?;
            // SAFETY: any byte is data.
            self.device
                .ic_data_cmd()
                .write(|w| unsafe { w.dat().bits(*byte).stop().bit(after.is_empty()) });
            left = after;
        }
        self.wait(|i2c| i2c.ic_raw_intr_stat().read().stop_det().bit_is_set())
    }
}

impl i2c::ErrorType for DisplayBus {
    type Error = BusFault;
}

impl I2c for DisplayBus {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusFault> {
        for operation in operations {
            let Operation::Write(bytes) = operation else {
                return Err(BusFault::WriteOnly);
            };
            if bytes.is_empty() {
                continue;
            }
            if let Err(fault) = self.send(address, bytes) {
                self.restart();
                return Err(fault);
            }
        }
        Ok(())
    }
}
