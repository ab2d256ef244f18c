//! The tick: every millisecond the clock moves on and the bridge is asked.
//!
//! Owns the ADC's two wires and the interrupt that works them. Guarantees that
//! conversions are read while the main loop is busy, even while flash is being
//! erased: the interrupt, the vector that leads to it and all it touches stand
//! in RAM. It has the highest priority, so nothing comes between the edges of a
//! clock pulse.

use core::arch::asm;
use core::cell::UnsafeCell;
use core::convert::Infallible;
use core::sync::atomic::{AtomicU32, Ordering};

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use rp2040_hal::gpio::bank0::{Gpio2, Gpio3};
use rp2040_hal::pac;
use scalewright_core::bridge::{BridgeAdc, BridgeFault, Conversion, TwoWireBridge};
use scalewright_core::ports::Unguarded;
use scalewright_core::sampling::Reading;
use scalewright_protocol::settings::Input;

use crate::clock::CYCLES_PER_US;
use crate::pins::{ADC_CLOCK, ADC_DATA, Output, PulledUp};

/// Readings that may wait for the main loop: 0.8 s at 80 per second, twice the
/// longest erase of a flash sector (0.4 s, Winbond, "W25Q16JV" data sheet, AC
/// characteristics; from memory).
const QUEUE: u32 = 64;

/// Period of the tick, us.
const TICK_US: u32 = 1000;
/// An alarm may be so early and still be the one that was set, us.
const EARLY_US: i32 = 2;

type Bridge = TwoWireBridge<ClockPin, DataPin, Spin, Unguarded>;

/// The bridge and the queue. The interrupt writes `head` and the slots, the
/// main loop `tail`; the bridge is the interrupt's, and the main loop touches
/// it only with interrupts off.
struct Shared {
    bridge: UnsafeCell<Option<Bridge>>,
    slots: UnsafeCell<[Option<Reading>; QUEUE as usize]>,
    head: AtomicU32,
    tail: AtomicU32,
    now_ms: AtomicU32,
    due_us: AtomicU32,
    lost: AtomicU32,
}

// SAFETY: one core, one interrupt; who may touch what stands at `Shared`.
unsafe impl Sync for Shared {}

static SHARED: Shared = Shared {
    bridge: UnsafeCell::new(None),
    slots: UnsafeCell::new([None; QUEUE as usize]),
    head: AtomicU32::new(0),
    tail: AtomicU32::new(0),
    now_ms: AtomicU32::new(0),
    due_us: AtomicU32::new(0),
    lost: AtomicU32::new(0),
};

/// Vectors in RAM; the table must lie on a multiple of its size rounded up to a
/// power of two (ARMv6-M Architecture Reference Manual, B3.2.5, from memory).
#[repr(C, align(256))]
struct Vectors(UnsafeCell<[u32; VECTORS]>);

const VECTORS: usize = 16 + 32;

// SAFETY: written once before interrupts are on, then read by the processor.
unsafe impl Sync for Vectors {}

static RAM_VECTORS: Vectors = Vectors(UnsafeCell::new([0; VECTORS]));

unsafe extern "C" {
    static __vector_table: [u32; VECTORS];
    static mut __sram_code: u32;
    static mut __eram_code: u32;
    static __siram_code: u32;
}

/// Brings the code that must not live in flash into RAM. To be called first.
pub fn load_ram_code() {
    // SAFETY: the linker script gives three word-aligned ends of one region
    // that nothing has been called in yet; the vectors are copied while
    // interrupts are still off.
    unsafe {
        let mut to = &raw mut __sram_code;
        let mut from = &raw const __siram_code;
        while to < &raw mut __eram_code {
            to.write_volatile(from.read_volatile());
            to = to.add(1);
            from = from.add(1);
        }
        let vectors = RAM_VECTORS.0.get();
        vectors.write((&raw const __vector_table).read_volatile());
        (*cortex_m::peripheral::SCB::PTR).vtor.write(vectors as u32);
    }
}

/// Starts the tick with the bridge at this rate. The two pins are the
/// sampler's from here on.
pub fn start(rate_sps: u16, timer: &pac::TIMER, _clock: Output<Gpio3>, _data: PulledUp<Gpio2>) {
    let bridge = Bridge::new(ClockPin, DataPin, Spin, Unguarded, rate_sps, 0);
    // SAFETY: the interrupt is not enabled yet.
    unsafe { *SHARED.bridge.get() = Some(bridge) };
    let due_us = crate::clock::micros().wrapping_add(TICK_US);
    SHARED.due_us.store(due_us, Ordering::Relaxed);
    timer.inte().modify(|_, w| w.alarm_0().set_bit());
    // SAFETY: every value is a valid alarm time.
    timer.alarm0().write(|w| unsafe { w.bits(due_us) });
    // SAFETY: the handler below is ready; it is the only one of its priority 0.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::TIMER_IRQ_0) };
}

/// Milliseconds since the tick started, wrapping.
pub fn now_ms() -> u32 {
    SHARED.now_ms.load(Ordering::Relaxed)
}

/// The oldest reading not yet taken: when it was made, ms, and what was said.
pub fn pop() -> Option<(u32, Result<Conversion, BridgeFault>)> {
    let tail = SHARED.tail.load(Ordering::Relaxed);
    if tail == SHARED.head.load(Ordering::Acquire) {
        return None;
    }
    // SAFETY: slots from tail to head are left alone by the interrupt.
    let slots = unsafe { &*SHARED.slots.get() };
    let reading = slots.get((tail % QUEUE) as usize).copied().flatten();
    SHARED.tail.store(tail.wrapping_add(1), Ordering::Release);
    reading.map(|reading| reading.unpack(now_ms()))
}

/// Readings dropped because nobody took them in time.
pub fn lost() -> u32 {
    SHARED.lost.load(Ordering::Relaxed)
}

/// Tells the bridge which input to read at which rate from now on.
pub fn select(input: Input, rate_sps: u16) {
    cortex_m::interrupt::free(|_| {
        // SAFETY: interrupts are off.
        if let Some(bridge) = unsafe { &mut *SHARED.bridge.get() } {
            bridge.select(input, rate_sps, now_ms());
        }
    });
}

/// The tick. Everything it calls is inlined or placed in RAM by the linker
/// script.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".ram_code.tick")]
extern "C" fn TIMER_IRQ_0() {
    let mut now_ms = SHARED.now_ms.load(Ordering::Relaxed);
    let mut due_us = SHARED.due_us.load(Ordering::Relaxed);
    // SAFETY: timer registers that belong to this interrupt alone.
    unsafe {
        let timer = &*pac::TIMER::PTR;
        let counter = timer.timerawl().as_ptr();
        timer.intr().as_ptr().write_volatile(1);
        // An alarm that went off in the moment it was set anew comes twice.
        if due_us.wrapping_sub(counter.read_volatile()) as i32 > EARLY_US {
            return;
        }
        // An alarm set too late would come an hour later: the counter must
        // still be on its way there.
        loop {
            due_us = due_us.wrapping_add(TICK_US);
            now_ms = now_ms.wrapping_add(1);
            timer.alarm0().as_ptr().write_volatile(due_us);
            if due_us.wrapping_sub(counter.read_volatile()) as i32 > 0 {
                break;
            }
        }
    }
    SHARED.due_us.store(due_us, Ordering::Relaxed);
    SHARED.now_ms.store(now_ms, Ordering::Relaxed);
    // SAFETY: the bridge belongs to this interrupt.
    let Some(bridge) = (unsafe { &mut *SHARED.bridge.get() }) else {
        return;
    };
    if let Some(said) = bridge.poll(now_ms) {
        push(Reading::pack(now_ms, &said));
    }
}

#[inline(always)]
fn push(reading: Reading) {
    let head = SHARED.head.load(Ordering::Relaxed);
    let waiting = head.wrapping_sub(SHARED.tail.load(Ordering::Acquire));
    if waiting >= QUEUE {
        let lost = SHARED.lost.load(Ordering::Relaxed);
        SHARED.lost.store(lost.wrapping_add(1), Ordering::Relaxed);
        return;
    }
    // SAFETY: the slot at head is left alone by the main loop.
    let slots = unsafe { &mut *SHARED.slots.get() };
    if let Some(slot) = slots.get_mut((head % QUEUE) as usize) {
        *slot = Some(reading);
    }
    SHARED.head.store(head.wrapping_add(1), Ordering::Release);
}

/// The ADC's clock line.
struct ClockPin;

impl ErrorType for ClockPin {
    type Error = Infallible;
}

impl OutputPin for ClockPin {
    #[inline(always)]
    fn set_low(&mut self) -> Result<(), Infallible> {
        // SAFETY: clears one output that is ours.
        unsafe {
            let register = (*pac::SIO::PTR).gpio_out_clr().as_ptr();
            register.write_volatile(1 << ADC_CLOCK);
        }
        Ok(())
    }

    #[inline(always)]
    fn set_high(&mut self) -> Result<(), Infallible> {
        // SAFETY: sets one output that is ours.
        unsafe {
            let register = (*pac::SIO::PTR).gpio_out_set().as_ptr();
            register.write_volatile(1 << ADC_CLOCK);
        }
        Ok(())
    }
}

/// The ADC's data line.
struct DataPin;

impl ErrorType for DataPin {
    type Error = Infallible;
}

impl InputPin for DataPin {
    #[inline(always)]
    fn is_high(&mut self) -> Result<bool, Infallible> {
        // SAFETY: reads the inputs.
        let levels = unsafe { (*pac::SIO::PTR).gpio_in().as_ptr().read_volatile() };
        Ok(levels & 1 << ADC_DATA != 0)
    }

    #[inline(always)]
    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

/// Waits by counting.
struct Spin;

impl DelayNs for Spin {
    #[inline(always)]
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1000));
    }

    #[inline(always)]
    fn delay_us(&mut self, us: u32) {
        // Three cycles a turn: one for the subtraction, two for the branch.
        let turns = us.wrapping_mul(CYCLES_PER_US / 3) | 1;
        // SAFETY: counts a register down.
        unsafe {
            asm!(
                "2:", "subs {0}, #1", "bne 2b",
                inout(reg) turns => _,
                options(nomem, nostack)
            );
        }
    }
}
