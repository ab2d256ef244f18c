//! Scalewright on an ATmega328P: 32 KiB of flash, 2 KiB of RAM, 16 MHz.
//!
//! Owns the order of the main loop; everything about scales is in the core. An
//! interrupt reads the converter and counts milliseconds (`tick`), two move the
//! serial line's bytes (`serial`); the loop does the rest and sleeps.
//!
//! No panic can be reached: the handler below calls a function that does not
//! exist, so the image links only if the optimiser found no path to it.
#![no_std]
#![no_main]
#![feature(abi_avr_interrupt, asm_experimental_arch)]

mod display;
mod flash;
mod memory;
mod pins;
mod ring;
mod serial;
mod tick;
mod watchdog;

use avr_device::atmega328p::Peripherals;
use scalewright_core::FACTORY;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_core::number::NumberMaker;
use scalewright_core::panel::{Keys, Panel};
use scalewright_core::sampling::Reading;
use scalewright_protocol::units::reached_ms;

use display::{Display, Step};
use memory::Memory;
use pins::{AdcRate, KeyTare, KeyView, KeyZero, StatusLed, Work};
use tick::Choice;

/// Most knots of a table.
const KNOTS: usize = 16;
/// Bytes the core holds back itself; the line's own queue does the rest.
const QUEUE: usize = 16;
/// The scale this board is.
type Scale = Instrument<Memory, KNOTS, QUEUE>;
/// What it says of itself; the number is known later.
const IDENTITY: Identity = Identity {
    device_id: 0,
    board: flash::BOARD,
    firmware: flash::FIRMWARE,
    rates_sps: &[10, 80],
};
/// Above this rate the converter's RATE pin is high.
const SLOW_SPS: u16 = 10;

// Division, multiplication and memory moves in the GCC library's and avr-libc's
// hand-written form: listed here they go before the compiler's own, which are
// written for larger chips and cost 6 KB more.
#[link(name = "gcc")]
#[link(name = "c")]
unsafe extern "C" {}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    unsafe extern "C" {
        fn a_panic_can_be_reached() -> !;
    }
    // SAFETY: never linked; see the head of this file.
    unsafe { a_panic_can_be_reached() }
}

#[avr_device::entry]
#[allow(static_mut_refs)]
fn main() -> ! {
    static mut SCALE: Scale = Instrument::switched_off(Memory::new());
    static mut PANEL: Panel = Panel::new();
    // SAFETY: `main` runs once; what interrupts use of these is named there.
    let chip = unsafe { Peripherals::steal() };
    flash::keep_passport();
    let bitten = watchdog::halt(&chip.CPU, &chip.WDT);
    watchdog::start(&chip.WDT);
    chip.CPU.smcr().write(|w| w.se().set_bit());

    let mut work = Work::output();
    let mut led = StatusLed::output();
    let mut rate = AdcRate::output();
    let (zero, tare, view) = (KeyZero::input(), KeyTare::input(), KeyView::input());
    let mut choice = Choice {
        input: FACTORY.input,
        rate_sps: FACTORY.rate_sps,
    };
    rate.set(choice.rate_sps > SLOW_SPS);
    serial::start(&chip.USART0);
    tick::start(&chip.TC1, choice);
    // SAFETY: not inside a critical section.
    unsafe { avr_device::interrupt::enable() };

    let scale = SCALE;
    let device_id = number(scale.storage());
    let mut scale_ms = tick::now_ms();
    let identity = Identity {
        device_id,
        ..IDENTITY
    };
    scale.start(identity, FACTORY, scale_ms);
    if view.reads_low() {
        scale.unlock();
    }
    let panel = PANEL;
    // Whether the last byte taken in stands inside a frame.
    let mut inside = false;
    let mut display = Display::new(chip.TWI, scale_ms);
    loop {
        watchdog::feed();
        let now_ms = tick::now_ms();
        // The scale lives in the time of what it is given: while readings wait,
        // that is behind the clock.
        if tick::is_idle() {
            scale_ms = now_ms;
        }
        let mut idle = true;
        // Readings come before everything that may take long. Those that piled up
        // while a record was written go out one by one: the next is taken when
        // the frame of the last is on its way.
        if scale.output().is_empty()
            && let Some(reading) = tick::reading()
        {
            let (at_ms, result) = reading.unpack(tick::now_ms());
            work.set(true);
            scale_ms = at_ms;
            scale.handle(at_ms, Event::Sample(result));
            pump(scale);
            work.set(false);
            idle = false;
        }
        // A request is taken in as it comes, but its end waits for the readings.
        while scale.room() > 0
            && let Some(byte) = serial::receive(inside && !tick::is_idle())
        {
            inside = byte != 0;
            scale.handle(scale_ms, Event::Bytes(&[byte]));
            idle = false;
        }
        if tick::is_idle()
            && scale
                .next_deadline_ms()
                .is_some_and(|due| reached_ms(scale_ms, due))
        {
            scale.handle(scale_ms, Event::Tick);
            idle = false;
        }
        pump(scale);

        let (input, rate_sps) = scale.adc();
        let wanted = Choice { input, rate_sps };
        if wanted != choice {
            choice = wanted;
            rate.set(rate_sps > SLOW_SPS);
            tick::choose(wanted);
        }

        let pressed = u8::from(zero.reads_low())
            | u8::from(tare.reads_low()) << 1
            | u8::from(view.reads_low()) << 2;
        if let Some(key) = panel.keys(now_ms, Keys(pressed)) {
            panel.press(now_ms, key, scale);
        }
        match display.step(now_ms) {
            Step::Missing => {}
            Step::Found => panel.repaint(),
            Step::Ready => {
                if let Some(tile) = panel.paint(now_ms, scale, flash::panel) {
                    display.paint(tile.page, tile.column, &tile.columns, now_ms);
                    idle = false;
                }
            }
        }
        led.set(is_lit(now_ms, bitten));
        if idle {
            avr_device::asm::sleep();
        }
    }
}

/// Hands the scale's output to the line as far as it takes it.
#[inline(never)]
fn pump(scale: &mut Scale) {
    loop {
        let sent = serial::send(scale.output());
        if sent == 0 {
            break;
        }
        scale.sent(sent);
    }
}

/// This device's number: the stored one, or on the very first start one made
/// from the noise of some conversions. Without a converter it is 0 for now.
#[inline(never)]
fn number(memory: &mut Memory) -> u32 {
    if let Some(number) = memory.number() {
        return number;
    }
    let mut maker = NumberMaker::new();
    // Each turn sleeps until the next tick or longer: three seconds.
    for turn in 0..3000u16 {
        watchdog::feed();
        avr_device::asm::sleep();
        if let Some(code) = tick::reading().and_then(Reading::code)
            && let Some(number) = maker.feed(code, u32::from(turn))
        {
            memory.set_number(number);
            return number;
        }
    }
    0
}

/// The status light: a short flash every second; two after a reset by the
/// watchdog.
#[inline(never)]
fn is_lit(now_ms: u32, bitten: bool) -> bool {
    let phase = now_ms as u16 & 1023;
    phase < 64 || (bitten && (256..320).contains(&phase))
}
