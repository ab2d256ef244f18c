//! The watchdog: two seconds, fed by the main loop alone.
//!
//! After a reset by the watchdog it goes on running at its shortest period,
//! 16 ms, until its flag is cleared (Microchip, "ATmega328P" data sheet,
//! watchdog timer). [`halt`] therefore comes first in `main`; what runs before
//! it (variables set to their first values) takes less than 1 ms.

use core::arch::asm;

use avr_device::atmega328p::{CPU, WDT};

/// WDRF of MCUSR.
const BY_WATCHDOG: u8 = 1 << 3;
/// WDTCSR: change enable and system reset.
const CHANGE: u8 = 1 << 4 | 1 << 3;
/// WDTCSR: system reset, 256 K cycles of its 128 kHz clock.
const TWO_SECONDS: u8 = 1 << 3 | 0b111;

/// Stops it and says whether it was what restarted the chip. A serial
/// bootloader may have cleared the flag before; then that is not known.
pub fn halt(cpu: &CPU, unit: &WDT) -> bool {
    avr_device::asm::wdr();
    let cause = cpu.mcusr().read().bits();
    // SAFETY: zero clears all flags; the data sheet asks for it before WDE.
    cpu.mcusr().write(|w| unsafe { w.bits(0) });
    change(unit, 0);
    cause & BY_WATCHDOG != 0
}

/// Starts it.
pub fn start(unit: &WDT) {
    avr_device::asm::wdr();
    change(unit, TWO_SECONDS);
}

/// Says that the main loop is alive.
pub fn feed() {
    avr_device::asm::wdr();
}

fn change(unit: &WDT, value: u8) {
    avr_device::interrupt::free(|_| {
        // SAFETY: the register at this address is the watchdog's alone; the two
        // stores follow each other within four cycles as the data sheet demands.
        unsafe {
            asm!("st Z, {change}", "st Z, {value}",
                change = in(reg) CHANGE, value = in(reg) value,
                in("Z") unit.wdtcsr().as_ptr(),
                options(nostack, preserves_flags));
        }
    });
}
