//! Which pin does what. The wiring drawings and the emulator hold to the lines
//! marked `pin:`.

use rp2040_hal::gpio::bank0::{
    Gpio0, Gpio1, Gpio2, Gpio3, Gpio4, Gpio6, Gpio7, Gpio8, Gpio12, Gpio13, Gpio15, Gpio25,
};
use rp2040_hal::gpio::{
    FunctionI2C, FunctionSioInput, FunctionSioOutput, FunctionUart, Pin, Pins, PullDown, PullUp,
};

/// Number of the ADC's data line, for the sampler.
pub const ADC_DATA: u8 = 2;
/// Number of the ADC's clock line, for the sampler.
pub const ADC_CLOCK: u8 = 3;

/// A pin that is driven.
pub type Output<I> = Pin<I, FunctionSioOutput, PullDown>;
/// A pin that is pulled up and read.
pub type PulledUp<I> = Pin<I, FunctionSioInput, PullUp>;

/// Every pin in use, with its function.
pub struct Wires {
    // pin: GP2 ADC data
    /// Pulled up, so that an ADC that is not there reads as one that is never
    /// ready.
    pub adc_data: PulledUp<Gpio2>,
    // pin: GP3 ADC clock
    /// Low wakes the converter.
    pub adc_clock: Output<Gpio3>,
    // pin: GP4 ADC rate
    /// High for 80 conversions per second, low for 10.
    pub adc_rate: Output<Gpio4>,
    // pin: GP6 key ZERO
    /// Low while pressed, as all keys.
    pub key_zero: PulledUp<Gpio6>,
    // pin: GP7 key TARE
    /// See `key_zero`.
    pub key_tare: PulledUp<Gpio7>,
    // pin: GP8 key VIEW
    /// See `key_zero`.
    pub key_view: PulledUp<Gpio8>,
    // pin: GP12 display SDA
    /// Pulled up for a display without resistors of its own.
    pub display_sda: Pin<Gpio12, FunctionI2C, PullUp>,
    // pin: GP13 display SCL
    /// See `display_sda`.
    pub display_scl: Pin<Gpio13, FunctionI2C, PullUp>,
    // pin: GP0 UART TX
    /// To the laptop, where USB is not used.
    pub uart_tx: Pin<Gpio0, FunctionUart, PullDown>,
    // pin: GP1 UART RX
    /// Pulled up, so that an open line is quiet.
    pub uart_rx: Pin<Gpio1, FunctionUart, PullUp>,
    // pin: GP25 status LED
    /// High lights it.
    pub led: Output<Gpio25>,
    // pin: GP15 WORK
    /// High while a sample is worked on, for an oscilloscope.
    pub work: Output<Gpio15>,
}

impl Wires {
    /// Gives every pin its function.
    pub fn new(pins: Pins) -> Self {
        Self {
            adc_data: pins.gpio2.reconfigure(),
            adc_clock: pins.gpio3.into_push_pull_output().into_pull_type(),
            adc_rate: pins.gpio4.into_push_pull_output().into_pull_type(),
            key_zero: pins.gpio6.reconfigure(),
            key_tare: pins.gpio7.reconfigure(),
            key_view: pins.gpio8.reconfigure(),
            display_sda: pins.gpio12.reconfigure(),
            display_scl: pins.gpio13.reconfigure(),
            uart_tx: pins.gpio0.reconfigure(),
            uart_rx: pins.gpio1.reconfigure(),
            led: pins.gpio25.into_push_pull_output().into_pull_type(),
            work: pins.gpio15.into_push_pull_output().into_pull_type(),
        }
    }
}
