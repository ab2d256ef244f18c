//! The line to the laptop: USB serial and UART, both alive.
//!
//! What is said goes to the line the last byte came from, USB at first. Nothing
//! here waits for a line: bytes that find no room stay with the instrument.

use embedded_hal_nb::serial::{Read, Write};
use rp2040_hal::fugit::{HertzU32, RateExtU32};
use rp2040_hal::gpio::bank0::{Gpio0, Gpio1};
use rp2040_hal::gpio::{FunctionUart, Pin, PullDown, PullUp};
use rp2040_hal::pac;
use rp2040_hal::uart::{DataBits, Enabled, StopBits, UartConfig, UartPeripheral};

/// Bits per second of the UART.
const UART_BAUD: u32 = 115_200;

/// A serial port that never waits.
pub trait Port {
    /// Does what is due.
    fn poll(&mut self);

    /// Bytes that arrived, at most `into` holds; how many.
    fn take(&mut self, into: &mut [u8]) -> usize;

    /// Sends bytes, as many as there is room for; how many.
    fn give(&mut self, bytes: &[u8]) -> usize;
}

/// The UART on its two pins.
pub type Uart = UartPeripheral<Enabled, pac::UART0, UartPins>;
type UartPins = (
    Pin<Gpio0, FunctionUart, PullDown>,
    Pin<Gpio1, FunctionUart, PullUp>,
);

/// Starts the UART: 115200 bit/s, 8 data bits, no parity, 1 stop bit. `None`
/// when the clock cannot be divided to that.
pub fn uart(
    device: pac::UART0,
    pins: UartPins,
    clock: HertzU32,
    resets: &mut pac::RESETS,
) -> Option<Uart> {
    let config = UartConfig::new(UART_BAUD.Hz(), DataBits::Eight, None, StopBits::One);
    UartPeripheral::new(device, pins, resets)
        .enable(config, clock)
        .ok()
}

impl Port for Uart {
    fn poll(&mut self) {}

    fn take(&mut self, into: &mut [u8]) -> usize {
        let arrived = core::iter::from_fn(|| self.read().ok());
        let mut count = 0;
        for (to, byte) in into.iter_mut().zip(arrived) {
            *to = byte;
            count += 1;
        }
        count
    }

    fn give(&mut self, bytes: &[u8]) -> usize {
        bytes
            .iter()
            .take_while(|byte| self.write(**byte).is_ok())
            .count()
    }
}

/// Which line.
#[derive(Clone, Copy)]
enum Line {
    Usb,
    Uart,
}

/// Both lines.
pub struct Link<U> {
    usb: Option<U>,
    uart: Option<Uart>,
    line: Line,
}

impl<U: Port> Link<U> {
    /// A link over what could be started.
    pub const fn new(usb: Option<U>, uart: Option<Uart>) -> Self {
        Self {
            usb,
            uart,
            line: Line::Usb,
        }
    }

    /// Does what is due.
    pub fn poll(&mut self) {
        if let Some(usb) = &mut self.usb {
            usb.poll();
        }
    }

    /// Bytes that arrived on either line, at most `into` holds; how many.
    pub fn receive(&mut self, into: &mut [u8]) -> usize {
        if into.is_empty() {
            return 0;
        }
        let count = self.usb.as_mut().map_or(0, |usb| usb.take(into));
        if count > 0 {
            self.line = Line::Usb;
            return count;
        }
        let count = self.uart.as_mut().map_or(0, |uart| uart.take(into));
        if count > 0 {
            self.line = Line::Uart;
        }
        count
    }

    /// Gives bytes to the line in use; how many it took.
    pub fn send(&mut self, bytes: &[u8]) -> usize {
        if bytes.is_empty() {
            return 0;
        }
        match self.line {
            Line::Usb => self.usb.as_mut().map_or(0, |usb| usb.give(bytes)),
            Line::Uart => self.uart.as_mut().map_or(0, |uart| uart.give(bytes)),
        }
    }

    /// Sleeps until the next interrupt: the tick, or USB with something to do.
    /// What became due since it was last looked at ends the sleep at once.
    pub fn sleep(&mut self) {
        cortex_m::interrupt::disable();
        // SAFETY: the handler below switches this interrupt off again.
        unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::USBCTRL_IRQ) };
        cortex_m::asm::wfi();
        // SAFETY: nothing was relied on to stay uninterrupted.
        unsafe { cortex_m::interrupt::enable() };
    }
}

/// Wakes the main loop, which does the work; USB then stays silent until the
/// loop sleeps again.
#[unsafe(no_mangle)]
extern "C" fn USBCTRL_IRQ() {
    cortex_m::peripheral::NVIC::mask(pac::Interrupt::USBCTRL_IRQ);
}
