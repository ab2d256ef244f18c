//! The scale on an RP2040: wiring, and the loop that hands events around.
//!
//! ```text
//! tick (RAM) → queue ┐                    ┌→ USB or UART
//!  USB, UART → bytes ┴→ instrument → frames┘
//!       keys → panel → display
//! ```
//!
//! Holds no arithmetic and no messages of its own: samples, bytes and keys go
//! to the core, and what the core says goes out. Whatever hangs, the watchdog
//! restarts the chip, and the table in force is read anew.
#![no_std]
#![no_main]

mod clock;
mod display_bus;
mod divider;
mod link;
mod link_usb;
#[cfg(not(feature = "rtt"))]
mod log;
mod panel;
mod pins;
mod sampler;
mod screen;
mod storage;

#[cfg(feature = "rtt")]
use defmt_rtt as _;

use embedded_hal::digital::{InputPin, OutputPin};
use rp2040_hal::Sio;
use rp2040_hal::fugit::MicrosDurationU32;
use rp2040_hal::gpio::Pins;
use rp2040_hal::gpio::bank0::Gpio4;
use rp2040_hal::pac;
#[cfg(feature = "usb")]
use rp2040_hal::usb::UsbBus;
use rp2040_hal::watchdog::Watchdog;
use scalewright_core::FACTORY;
use scalewright_core::instrument::{Event, Identity, Instrument};
use scalewright_core::number::NumberMaker;
use scalewright_protocol::passport::{PASSPORT_BYTES, passport};
use scalewright_protocol::settings::Input;
use scalewright_protocol::units::reached_ms;
#[cfg(feature = "usb")]
use usb_device::bus::UsbBusAllocator;

use crate::display_bus::DisplayBus;
use crate::link::{Link, Port};
#[cfg(not(feature = "usb"))]
use crate::link_usb::NoUsb;
#[cfg(feature = "usb")]
use crate::link_usb::Usb;
use crate::panel::{Keyboard, Panel};
use crate::pins::{Output, Wires};
use crate::screen::Screen;
use crate::storage::Flash;

/// The second-stage loader: sets up fast reading of the flash.
#[unsafe(link_section = ".boot2")]
#[unsafe(no_mangle)]
#[used]
static BOOT2_FIRMWARE: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// Knots this board has room for.
const KNOTS: usize = 32;
/// Rates of the ADC, conversions per second (data sheet: the RATE pin).
const RATES_SPS: [u16; 2] = [10, 80];
/// The chip restarts when the loop has not come round for so long: five times
/// the longest erase of a flash sector.
const PATIENCE: MicrosDurationU32 = MicrosDurationU32::secs(2);

/// Bytes taken from the link at a time.
const PIECE: usize = 64;

/// How long the first start waits for conversions, ms.
const FIRST_START_MS: u32 = 2000;

/// Version of this firmware.
const FIRMWARE: (u8, u8, u8) = scalewright_core::VERSION;
/// What the board is called.
const BOARD: &str = "rp2040";

/// What a flasher knows this image by.
#[unsafe(link_section = ".passport")]
#[used]
static PASSPORT: [u8; PASSPORT_BYTES] = passport(BOARD, FIRMWARE);

// Beside each line of the log, in the form the decoder shows as seconds.
defmt::timestamp!("{=u32:ms}", sampler::now_ms());

#[rp2040_hal::entry]
fn main() -> ! {
    sampler::load_ram_code();
    // What cannot start ends here. The watchdog tries again, unless not even
    // its clock runs: without a crystal there is no scale.
    let _ = start();
    loop {
        cortex_m::asm::wfi();
    }
}

/// Starts everything and runs. `None` when something would not start.
fn start() -> Option<core::convert::Infallible> {
    let mut pac = pac::Peripherals::take()?;
    let mut watchdog = Watchdog::new(pac.WATCHDOG);
    let clocks = clock::start(
        pac.XOSC,
        pac.CLOCKS,
        pac.PLL_USB,
        &mut pac.RESETS,
        &mut watchdog,
    )?;
    watchdog.start(PATIENCE);

    let sio = Sio::new(pac.SIO);
    let pins = Pins::new(
        pac.IO_BANK0,
        pac.PADS_BANK0,
        sio.gpio_bank0,
        &mut pac.RESETS,
    );
    let mut wires = Wires::new(pins);
    let mut keyboard = Keyboard {
        zero: wires.key_zero,
        tare: wires.key_tare,
        view: wires.key_view,
    };

    let mut flash = Flash::new(pac.XIP_CTRL, pac.XIP_SSI);
    sampler::start(RATES_SPS[0], &pac.TIMER, wires.adc_clock, wires.adc_data);
    let device_id = match flash.device_number() {
        Some(number) => number,
        None => first_start(&mut flash, &mut wires.adc_rate, &mut watchdog),
    };

    let identity = Identity {
        device_id,
        board: BOARD,
        firmware: FIRMWARE,
        rates_sps: &RATES_SPS,
    };
    let mut instrument: Instrument<Flash, KNOTS> =
        Instrument::new(identity, flash, FACTORY, sampler::now_ms());
    if keyboard.view.is_low().unwrap_or(false) {
        instrument.unlock();
    }
    let mut selected = (Input::A128, 0);
    let (mut faulty, mut lost) = (false, 0);

    #[cfg(feature = "usb")]
    let number = number_text(device_id);
    #[cfg(feature = "usb")]
    let bus = UsbBusAllocator::new(UsbBus::new(
        pac.USBCTRL_REGS,
        pac.USBCTRL_DPRAM,
        clocks.usb,
        true,
        &mut pac.RESETS,
    ));
    #[cfg(feature = "usb")]
    let usb = Usb::new(&bus, &number);
    #[cfg(not(feature = "usb"))]
    let usb = Some(NoUsb);
    let uart = link::uart(
        pac.UART0,
        (wires.uart_tx, wires.uart_rx),
        clocks.peripheral,
        &mut pac.RESETS,
    );
    let mut link = Link::new(usb, uart);
    let display = DisplayBus::new(pac.I2C0, wires.display_sda, wires.display_scl);
    let screen = Screen::new(display);
    let mut panel = Panel::new(keyboard, screen, sampler::now_ms(), &mut instrument);
    defmt::info!("started, device {=u32:08x}", device_id);

    loop {
        watchdog.feed();
        while let Some((at_ms, said)) = sampler::pop() {
            let _ = wires.work.set_high();
            faulty = said.is_err();
            instrument.handle(at_ms, Event::Sample(said));
            pump(&mut instrument, &mut link);
            let _ = wires.work.set_low();
        }
        let now_ms = sampler::now_ms();
        link.poll();
        let mut bytes = [0; PIECE];
        let room = instrument.room().min(PIECE);
        let count = link.receive(bytes.get_mut(..room).unwrap_or(&mut []));
        if let Some(bytes @ [_, ..]) = bytes.get(..count) {
            instrument.handle(now_ms, Event::Bytes(bytes));
        }
        if instrument
            .next_deadline_ms()
            .is_some_and(|due_ms| reached_ms(now_ms, due_ms))
        {
            instrument.handle(now_ms, Event::Tick);
        }
        pump(&mut instrument, &mut link);
        if lost != sampler::lost() {
            lost = sampler::lost();
            defmt::warn!("{=u32} conversions lost so far", lost);
        }
        let wanted = instrument.adc();
        if wanted != selected {
            selected = wanted;
            let (input, rate_sps) = wanted;
            let _ = wires.adc_rate.set_state((rate_sps == RATES_SPS[1]).into());
            sampler::select(input, rate_sps);
            defmt::info!("{=u16} conversions per second", rate_sps);
        }
        panel.turn(now_ms, &mut instrument);
        #[cfg(not(feature = "rtt"))]
        log::offer(&mut instrument);
        let _ = wires.led.set_state(lit(now_ms, faulty).into());
        if !instrument.is_storing() {
            link.sleep();
        }
    }
}

/// Makes and stores the device number from the noise of the first conversions.
/// Without an ADC there is none (0), and the next start tries again.
fn first_start(flash: &mut Flash, rate: &mut Output<Gpio4>, watchdog: &mut Watchdog) -> u32 {
    let _ = rate.set_high();
    sampler::select(Input::A128, RATES_SPS[1]);
    let mut maker = NumberMaker::new();
    while sampler::now_ms() < FIRST_START_MS {
        watchdog.feed();
        while let Some((_, said)) = sampler::pop() {
            if let Ok(conversion) = said
                && let Some(number) = maker.feed(conversion.counts, clock::micros())
            {
                flash.store_device_number(number);
                return number;
            }
        }
    }
    0
}

/// Gives the link what the instrument has to say, as far as there is room.
fn pump(instrument: &mut Instrument<Flash, KNOTS>, link: &mut Link<impl Port>) {
    loop {
        let count = link.send(instrument.output());
        if count == 0 {
            break;
        }
        instrument.sent(count);
    }
}

/// The device number as the USB serial number: eight hexadecimal digits.
#[cfg(feature = "usb")]
fn number_text(number: u32) -> heapless::String<8> {
    let mut text = heapless::String::new();
    for place in (0..8).rev() {
        let digit = core::char::from_digit(number >> (4 * place) & 0xF, 16);
        let _ = text.push(digit.unwrap_or('0').to_ascii_uppercase());
    }
    text
}

/// Whether the LED shines: a blink a second while all is well, five without
/// usable conversions.
fn lit(now_ms: u32, faulty: bool) -> bool {
    let period_ms = if faulty { 200 } else { 1000 };
    now_ms % period_ms < 50
}

/// A panic stops everything; the watchdog then restarts the chip.
#[cfg(not(feature = "panic-link-check"))]
#[panic_handler]
fn stop(_: &core::panic::PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::nop();
    }
}

/// Links only if nothing can reach it.
#[cfg(feature = "panic-link-check")]
#[panic_handler]
fn stop(_: &core::panic::PanicInfo<'_>) -> ! {
    unsafe extern "C" {
        fn a_panic_can_be_reached() -> !;
    }
    // SAFETY: never linked, so never run.
    unsafe { a_panic_can_be_reached() }
}
