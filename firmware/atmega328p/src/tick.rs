//! The tick: milliseconds, and the bridge ADC read in the interrupt.
//!
//! A thousand times a second, whatever the main loop is busy with, the
//! converter is looked at and a finished conversion read and queued. So no code
//! is lost while a record is being written or the display painted, as long as
//! the main loop comes back within [`READINGS`] conversions: 200 ms at 80/s,
//! where the longest wait for the memory in one go is 86 ms (see `memory`), and
//! the main loop works on what waits before it begins the next long thing.
//!
//! Reading a code takes about 0.1 ms with interrupts off, less than the two
//! bytes (0.17 ms) that the serial line's receiver can hold.

use core::arch::asm;
use core::cell::Cell;

use avr_device::atmega328p::TC1;
use avr_device::interrupt::{Mutex, free};
use embedded_hal::delay::DelayNs;
use scalewright_core::bridge::{BridgeAdc, Conversion, TwoWireBridge};
use scalewright_core::ports::Unguarded;
use scalewright_core::sampling::Reading;
use scalewright_protocol::settings::Input;

use crate::pins::{AdcClock, AdcData};
use crate::ring::Ring;

/// Conversions that can wait for the main loop.
pub const READINGS: usize = 16;
/// Cycles of the 16 MHz clock in a millisecond, less one: the timer's top.
const TOP: u16 = 15_999;

type Bridge = TwoWireBridge<AdcClock, AdcData, Spin, Unguarded>;

static NOW_MS: Mutex<Cell<u32>> = Mutex::new(Cell::new(0));
/// What the interrupt has not yet been told.
static CHOICE: Mutex<Cell<Option<Choice>>> = Mutex::new(Cell::new(None));
static QUEUE: Mutex<Ring<Reading, READINGS>> = Mutex::new(Ring::new(NOTHING));

/// Stands in places of the queue that were never used; all zeros, so that the
/// queue takes no flash.
const NOTHING: Reading = Reading::pack(0, &Ok(Conversion::settled(0)));

/// What the converter shall do.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    /// Input and gain.
    pub input: Input,
    /// Conversions per second that its RATE pin is set to.
    pub rate_sps: u16,
}

/// Sets the converter's pins up and starts the timer; interrupts must be let in
/// afterwards.
pub fn start(timer: &TC1, choice: Choice) {
    AdcClock::output();
    AdcData::input();
    choose(choice);
    timer.ocr1a().write(|w| w.set(TOP));
    timer.timsk1().write(|w| w.ocie1a().set_bit());
    // SAFETY: mode 4 of the waveform generator, "clear timer on compare match",
    // WGM13:10 = 0100, is a valid pattern of these two bits.
    timer
        .tccr1b()
        .write(|w| unsafe { w.wgm1().bits(0b01) }.cs1().direct());
}

/// Milliseconds since the start, wrapping.
#[inline(never)]
pub fn now_ms() -> u32 {
    free(|cs| NOW_MS.borrow(cs).get())
}

/// Tells the converter's driver what is wanted from now on.
pub fn choose(choice: Choice) {
    free(|cs| CHOICE.borrow(cs).set(Some(choice)));
}

/// Whether no reading waits to be worked on.
pub fn is_idle() -> bool {
    free(|cs| QUEUE.borrow(cs).is_empty())
}

/// The oldest reading not yet worked on.
pub fn reading() -> Option<Reading> {
    free(|cs| QUEUE.borrow(cs).pop())
}

#[avr_device::interrupt(atmega328p)]
fn TIMER1_COMPA() {
    static mut BRIDGE: Bridge =
        TwoWireBridge::asleep(AdcClock::SET_UP, AdcData::SET_UP, Spin, Unguarded, 10);
    static mut AWAKE: bool = false;
    let bridge = BRIDGE;
    free(|cs| {
        let now_ms = NOW_MS.borrow(cs).get().wrapping_add(1);
        NOW_MS.borrow(cs).set(now_ms);
        if let Some(choice) = CHOICE.borrow(cs).take() {
            bridge.select(choice.input, choice.rate_sps, now_ms);
        }
        if !*AWAKE {
            *AWAKE = true;
            bridge.power_up(now_ms);
        }
        if let Some(result) = bridge.poll(now_ms) {
            // Without room the reading is lost, and the gap shows in its time.
            let _ = QUEUE.borrow(cs).push(Reading::pack(now_ms, &result));
        }
    });
}

/// Waits by counting cycles; a little longer than asked.
pub struct Spin;

impl DelayNs for Spin {
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1000));
    }

    #[inline(always)]
    fn delay_us(&mut self, us: u32) {
        for _ in 0..us {
            // SAFETY: counts a register down: 1 + 5 · 3 cycles, 1 us at 16 MHz.
            unsafe {
                asm!("ldi {left}, 5", "1:", "dec {left}", "brne 1b",
                    left = out(reg_upper) _, options(nomem, nostack));
            }
        }
    }
}
