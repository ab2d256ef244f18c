//! The EEPROM: two slots for records, and the device's number.
//!
//! ```text
//!    0  slot A   352 bytes: 4 headers of 48, 20 knots of 8
//!  352  slot B   352
//! 1008  number    16 bytes
//! ```
//!
//! Bytes are erased and written one at a time, 1.8 ms each (Microchip,
//! "ATmega328P" data sheet, EEPROM programming times); a byte 0xFF needs no
//! writing. Interrupts stay on while the memory is busy; only
//! the four cycles that start a write are guarded.
//!
//! Brown-out: below about 2.7 V a write may store anything, so the fuses must
//! set the brown-out detector (4.3 V on a 5 V board, 2.7 V on a 3.3 V board).

use core::arch::asm;

use avr_device::atmega328p::EEPROM;
use avr_device::interrupt::free;
use scalewright_core::number::{STORED_BYTES, from_bytes, to_bytes};
use scalewright_core::ports::{Slot, Storage};

/// Bytes of one slot.
pub const SLOT_BYTES: usize = 352;
const SLOT_A_AT: usize = 0;
const SLOT_B_AT: usize = SLOT_A_AT + SLOT_BYTES;
/// Where the device's number stands.
const NUMBER_AT: usize = 1008;
/// Bytes erased by one call, so that the caller comes round every 15 ms.
const ERASE_STEP: usize = 8;

/// EEPM1:0 of EECR: erase only (01), write only (10).
const ERASE_ONLY: u8 = 0b01;
const WRITE_ONLY: u8 = 0b10;

/// The range leaves the slot.
#[derive(Debug)]
pub struct OutsideSlot;

/// The memory; there is one.
pub struct Memory(());

impl Memory {
    /// The chip's memory.
    pub const fn new() -> Self {
        Self(())
    }

    /// The device's number, if one was ever stored.
    pub fn number(&self) -> Option<u32> {
        let mut bytes = [0u8; STORED_BYTES];
        for (byte, at) in bytes.iter_mut().zip(NUMBER_AT..) {
            *byte = self.get(at);
        }
        from_bytes(bytes)
    }

    /// Stores the device's number.
    pub fn set_number(&mut self, number: u32) {
        for (byte, at) in to_bytes(number).iter().zip(NUMBER_AT..) {
            self.erase_byte(at);
            self.write_byte(at, *byte);
        }
    }

    /// Waits until the memory is free and selects a byte.
    fn select(&self, at: usize) {
        while unit().eecr().read().eepe().bit_is_set() {}
        unit().eear().write(|w| w.set(at as u16));
    }

    fn get(&self, at: usize) -> u8 {
        self.select(at);
        unit().eecr().write(|w| w.eere().set_bit());
        unit().eedr().read().bits()
    }

    /// A byte that reads as erased is erased all the same: after a power cut it
    /// may stand on the edge.
    fn erase_byte(&mut self, at: usize) {
        self.select(at);
        self.start(ERASE_ONLY);
    }

    fn write_byte(&mut self, at: usize, byte: u8) {
        if byte != 0xFF {
            self.select(at);
            unit().eedr().write(|w| w.set(byte));
            self.start(WRITE_ONLY);
        }
    }

    /// Starts what `mode` says at the address selected.
    fn start(&mut self, mode: u8) {
        // SAFETY: both modes are among those the data sheet lists.
        unit().eecr().write(|w| unsafe { w.eepm().bits(mode) });
        free(|_| {
            // SAFETY: EEMPE and then EEPE (bits 2 and 1 of I/O register 0x1F),
            // within four cycles as the data sheet demands.
            unsafe {
                asm!(
                    "sbi 0x1F, 2",
                    "sbi 0x1F, 1",
                    options(nostack, preserves_flags)
                )
            }
        });
    }
}

/// The chip's registers for it.
fn unit() -> EEPROM {
    // SAFETY: no other part of this program uses this unit, and interrupts do not.
    unsafe { EEPROM::steal() }
}

/// Address of `offset` in `slot`, if `bytes` bytes from there stay inside.
#[inline(never)]
fn address(slot: Slot, offset: usize, bytes: usize) -> Result<usize, OutsideSlot> {
    let end = offset.checked_add(bytes).ok_or(OutsideSlot)?;
    if end > SLOT_BYTES {
        return Err(OutsideSlot);
    }
    let start = match slot {
        Slot::A => SLOT_A_AT,
        Slot::B => SLOT_B_AT,
        // No room is left for a notebook: the core asks for none.
        Slot::NotesA | Slot::NotesB => return Err(OutsideSlot),
    };
    Ok(start.wrapping_add(offset))
}

impl Storage for Memory {
    type Error = OutsideSlot;

    fn slot_bytes(&self) -> usize {
        SLOT_BYTES
    }

    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), OutsideSlot> {
        let start = address(slot, offset, into.len())?;
        for (byte, at) in into.iter_mut().zip(start..) {
            *byte = self.get(at);
        }
        Ok(())
    }

    fn erase(&mut self, slot: Slot, from: usize) -> Result<Option<usize>, OutsideSlot> {
        let end = from.saturating_add(ERASE_STEP).min(SLOT_BYTES);
        let start = address(slot, from, end.saturating_sub(from))?;
        for at in start..start.saturating_add(end.saturating_sub(from)) {
            self.erase_byte(at);
        }
        Ok((end < SLOT_BYTES).then_some(end))
    }

    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), OutsideSlot> {
        let start = address(slot, offset, bytes.len())?;
        for (byte, at) in bytes.iter().zip(start..) {
            self.write_byte(at, *byte);
        }
        Ok(())
    }
}
