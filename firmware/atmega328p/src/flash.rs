//! Data that stays in flash.
//!
//! The chip cannot read flash like memory, so constants normally take RAM.
//! These are placed among the code and fetched with `lpm`.

use core::arch::asm;

use scalewright_core::panel::{ROM, ROM_BYTES};
use scalewright_protocol::passport::{PASSPORT_BYTES, passport};

use crate::display::SETUP;

/// Firmware version: major, minor, patch.
pub const FIRMWARE: (u8, u8, u8) = scalewright_core::VERSION;
/// Kind of board, as the greeting and the passport name it.
pub const BOARD: &str = "atmega328p";

/// Tells the flasher whose image this is.
#[used]
#[unsafe(link_section = ".progmem.data")]
static PASSPORT: [u8; PASSPORT_BYTES] = passport(BOARD, FIRMWARE);

#[unsafe(link_section = ".progmem.data")]
static PANEL: [u8; ROM_BYTES] = ROM;

/// Refers to the passport, so that the linker keeps what no code reads.
pub fn keep_passport() {
    // SAFETY: no instruction at all.
    unsafe {
        asm!("", in("Z") &raw const PASSPORT, options(nomem, nostack, preserves_flags));
    }
}

/// The byte at `at` of the panel's letters and words; 0 past their end.
pub fn panel(at: usize) -> u8 {
    if at < ROM_BYTES {
        // The address of a static in this section is its place in flash.
        fetch((&raw const PANEL).cast::<u8>().wrapping_add(at))
    } else {
        0
    }
}

#[unsafe(link_section = ".progmem.data")]
static DISPLAY_SETUP: [u8; SETUP.len()] = SETUP;

/// The byte at `at` of the display's setup; 0 past its end.
pub fn display_setup(at: usize) -> u8 {
    if at < SETUP.len() {
        fetch((&raw const DISPLAY_SETUP).cast::<u8>().wrapping_add(at))
    } else {
        0
    }
}

/// The byte of flash at `address`.
fn fetch(address: *const u8) -> u8 {
    let byte: u8;
    // SAFETY: reads program memory, which has a byte at every 16-bit address.
    unsafe {
        asm!("lpm {byte}, Z", byte = out(reg) byte, in("Z") address,
            options(pure, nomem, nostack, preserves_flags));
    }
    byte
}
