//! The chip's clocks: 48 MHz for everything, from the crystal.
//!
//! 48 MHz is what USB needs; the processor uses the same, which leaves one PLL
//! off and is fast enough by far. Refuses to go on without a crystal.

use rp2040_hal::Clock;
use rp2040_hal::clocks::ClocksManager;
use rp2040_hal::fugit::{HertzU32, RateExtU32};
use rp2040_hal::pac;
use rp2040_hal::pll::{common_configs::PLL_USB_48MHZ, setup_pll_blocking};
use rp2040_hal::watchdog::Watchdog;
use rp2040_hal::xosc::setup_xosc_blocking;

/// Processor cycles per microsecond.
pub const CYCLES_PER_US: u32 = 48;

/// Frequency of the crystal on the board, MHz.
const CRYSTAL_MHZ: u8 = 12;

/// What later steps need of the clocks.
pub struct Clocks {
    /// The 48 MHz of the USB controller.
    #[cfg(feature = "usb")]
    pub usb: rp2040_hal::clocks::UsbClock,
    /// The clock the UART divides.
    pub peripheral: HertzU32,
}

/// Starts crystal, PLL and the microsecond tick of timer and watchdog. `None`
/// when a clock does not start, after which nothing else can work either.
pub fn start(
    xosc: pac::XOSC,
    clocks: pac::CLOCKS,
    pll: pac::PLL_USB,
    resets: &mut pac::RESETS,
    watchdog: &mut Watchdog,
) -> Option<Clocks> {
    let crystal = setup_xosc_blocking(xosc, u32::from(CRYSTAL_MHZ).MHz()).ok()?;
    watchdog.enable_tick_generation(CRYSTAL_MHZ);
    let mut clocks = ClocksManager::new(clocks);
    let pll = setup_pll_blocking(
        pll,
        crystal.operating_frequency(),
        PLL_USB_48MHZ,
        &mut clocks,
        resets,
    )
    .ok()?;
    // As constants, by which the library's divisions are seen not to be by zero.
    let (slow, fast) = (u32::from(CRYSTAL_MHZ).MHz(), CYCLES_PER_US.MHz());
    clocks
        .reference_clock
        .configure_clock(&crystal, slow)
        .ok()?;
    clocks.system_clock.configure_clock(&pll, fast).ok()?;
    clocks.usb_clock.configure_clock(&pll, fast).ok()?;
    clocks
        .peripheral_clock
        .configure_clock(&clocks.system_clock, fast)
        .ok()?;
    Some(Clocks {
        #[cfg(feature = "usb")]
        usb: clocks.usb_clock,
        peripheral: clocks.peripheral_clock.freq(),
    })
}

/// Microseconds since the last reset, wrapping.
pub fn micros() -> u32 {
    // SAFETY: reading a free-running counter; nobody else is disturbed.
    unsafe { (*pac::TIMER::PTR).timerawl().as_ptr().read_volatile() }
}
