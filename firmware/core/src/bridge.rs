//! Sampling a load cell: the trait of a bridge ADC, and the driver of the
//! low-cost two-wire 24-bit kind.
//!
//! Owns the pin timing, settling and fault detection; refuses to wait: a
//! missing or stuck converter is an answer, never a hang. Timing from Avia
//! Semiconductor, "24-Bit Analog-to-Digital Converter (ADC) for Weigh Scales"
//! (data sheet, serial interface and digital characteristics).

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use scalewright_protocol::settings::Input;
use scalewright_protocol::units::{CODE_MAX, CODE_MIN, elapsed_ms};

use crate::ports::Critical;

/// Conversions after power-up, reset or a change of input or gain that are not
/// yet valid: 400 ms at 10/s, 50 ms at 80/s (data sheet, settling time).
pub const SETTLING_CONVERSIONS: u8 = 4;
/// Conversion periods without data-ready after which the ADC counts as silent.
pub const SILENT_PERIODS: u8 = 3;
/// Conversion period with the rate pin low, ms (data sheet: 10 per second).
const SLOWEST_PERIOD_MS: u16 = 100;
/// Shortest time between two reports of one and the same fault, ms.
pub const FAULT_REPEAT_MS: u32 = 500;
/// Clock high time of a pulse, us (data sheet: 0.2 to 50, typically 1).
const PULSE_US: u32 = 1;
/// Clock high time that powers the converter down, us (data sheet: above 60).
const POWER_DOWN_US: u32 = 80;

/// One conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Conversion {
    /// The code, ADC counts.
    pub counts: i32,
    /// Whether the code stands at an end of the range.
    pub saturated: bool,
    /// Whether the input has not settled yet; such a code is not a weight and
    /// is dropped by the instrument.
    pub settling: bool,
}

impl Conversion {
    /// A settled conversion; `saturated` follows from the code.
    #[must_use]
    pub const fn settled(counts: i32) -> Self {
        Self {
            counts,
            saturated: counts >= CODE_MAX || counts <= CODE_MIN,
            settling: false,
        }
    }
}

/// Why there are no conversions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum BridgeFault {
    /// No data-ready for [`SILENT_PERIODS`] of the slowest conversion periods
    /// (plus settling).
    Silent = 1,
    /// The data line is low and does not go high after the 25th pulse: data or
    /// clock wire broken or shorted, or a pin that cannot be driven.
    Stuck,
}

/// A bridge ADC, asked often.
pub trait BridgeAdc {
    /// A conversion or a fault when there is a new one; never waits for one.
    /// To be called at least once per conversion period.
    fn poll(&mut self, now_ms: u32) -> Option<Result<Conversion, BridgeFault>>;

    /// Chooses input and gain, and says how many conversions per second to
    /// expect.
    fn select(&mut self, input: Input, rate_sps: u16, now_ms: u32);

    /// Puts the converter to sleep; `poll` then says nothing.
    fn power_down(&mut self);

    /// Wakes it again.
    fn power_up(&mut self, now_ms: u32);
}

/// Driver of the two-wire converter.
///
/// The rate is set by a pin of the converter that is strapped or switched by
/// the board; the driver is told by [`BridgeAdc::select`]. On every fault it
/// reports, it restarts the converter over the clock line, so that a chip that
/// lost its way comes back without help.
#[derive(Debug)]
pub struct TwoWireBridge<CLK, DATA, D, C> {
    clock: CLK,
    data: DATA,
    delay: D,
    critical: C,
    wanted: Input,
    applied: Input,
    settling: u8,
    asleep: bool,
    period_ms: u16,
    /// When the converter last did something, and when we last looked.
    heard_ms: u32,
    polled_ms: u32,
    /// The fault told last, and when.
    fault: Option<(BridgeFault, u32)>,
    /// The data line has been low ever since it was found stuck.
    held_low: bool,
}

/// A pin could not be driven or read.
struct PinFault;

impl<CLK: OutputPin, DATA: InputPin, D: DelayNs, C: Critical> TwoWireBridge<CLK, DATA, D, C> {
    /// A driver over these pins, input A at gain 128. The clock is pulled low,
    /// which wakes the converter.
    pub fn new(clock: CLK, data: DATA, delay: D, critical: C, rate_sps: u16, now_ms: u32) -> Self {
        let mut bridge = Self::asleep(clock, data, delay, critical, rate_sps);
        bridge.power_up(now_ms);
        bridge
    }

    /// The same without touching a pin, for a static: it says nothing before
    /// [`BridgeAdc::power_up`].
    pub const fn asleep(clock: CLK, data: DATA, delay: D, critical: C, rate_sps: u16) -> Self {
        Self {
            clock,
            data,
            delay,
            critical,
            wanted: Input::A128,
            applied: Input::A128,
            settling: 0,
            asleep: true,
            period_ms: period_ms(rate_sps),
            heard_ms: 0,
            polled_ms: 0,
            fault: None,
            held_low: false,
        }
    }

    /// Clock up, hold, down, guarded; then the low time.
    fn pulse(&mut self) -> Result<(), PinFault> {
        let Self {
            clock,
            delay,
            critical,
            ..
        } = self;
        critical
            .run(|| {
                let up = clock.set_high();
                delay.delay_us(PULSE_US);
                let down = clock.set_low();
                up.and(down)
            })
            .map_err(|_| PinFault)?;
        self.delay.delay_us(PULSE_US);
        Ok(())
    }

    fn data_is_low(&mut self) -> Result<bool, PinFault> {
        self.data.is_low().map_err(|_| PinFault)
    }

    /// 24 bits, most significant first, and one to three pulses that choose the
    /// next conversion's input; whether the line went high after that.
    fn shift(&mut self) -> Result<(i32, bool), PinFault> {
        // 0.1 us from data-ready to the first clock edge.
        self.delay.delay_us(1);
        let mut bits = 0u32;
        for _ in 0..24u8 {
            self.pulse()?;
            // Data are valid 0.1 us after the rising edge until the next one.
            bits = bits << 1 | u32::from(!self.data_is_low()?);
        }
        let choice = match self.wanted {
            Input::A128 => 1u8,
            Input::B32 => 2,
            Input::A64 => 3,
        };
        for _ in 0..choice {
            self.pulse()?;
        }
        let released = !self.data_is_low()?;
        Ok(((bits << 8) as i32 >> 8, released))
    }

    fn convert(&mut self, now_ms: u32) -> Option<Result<Conversion, BridgeFault>> {
        let counts = match self.shift() {
            Ok((counts, true)) => counts,
            Ok((_, false)) | Err(PinFault) => {
                self.held_low = true;
                return self.report(BridgeFault::Stuck, now_ms);
            }
        };
        self.heard_ms = now_ms;
        self.fault = None;
        self.held_low = false;
        let mut conversion = Conversion::settled(counts);
        conversion.settling = self.settling > 0;
        self.settling = self.settling.saturating_sub(1);
        if self.applied != self.wanted {
            self.applied = self.wanted;
            self.settling = SETTLING_CONVERSIONS;
            conversion.settling = true;
        }
        Some(Ok(conversion))
    }

    /// Tells a fault when it is new or due again, and restarts the converter.
    fn report(
        &mut self,
        fault: BridgeFault,
        now_ms: u32,
    ) -> Option<Result<Conversion, BridgeFault>> {
        if let Some((before, told_ms)) = self.fault
            && before == fault
            && elapsed_ms(now_ms, told_ms) < FAULT_REPEAT_MS
        {
            return None;
        }
        self.fault = Some((fault, now_ms));
        self.power_down();
        self.power_up(now_ms);
        Some(Err(fault))
    }

    /// Whatever rate is set: on many modules the rate pin is strapped to the
    /// slowest, and such a converter is slow, not silent.
    fn silent_after_ms(&self) -> u32 {
        let periods = SILENT_PERIODS.wrapping_add(self.settling);
        u32::from(SLOWEST_PERIOD_MS.wrapping_mul(u16::from(periods)))
    }
}

impl<CLK: OutputPin, DATA: InputPin, D: DelayNs, C: Critical> BridgeAdc
    for TwoWireBridge<CLK, DATA, D, C>
{
    fn poll(&mut self, now_ms: u32) -> Option<Result<Conversion, BridgeFault>> {
        if self.asleep {
            return None;
        }
        // While nobody looked (a flash erase blocks for long), silence is no
        // fault of the converter's: such a gap counts as one period.
        let away_ms = elapsed_ms(now_ms, self.polled_ms);
        self.polled_ms = now_ms;
        let period_ms = u32::from(self.period_ms);
        if away_ms > period_ms {
            self.heard_ms = self.heard_ms.wrapping_add(away_ms - period_ms);
        }
        match self.data_is_low() {
            Ok(true) if self.held_low => match self.fault {
                Some((_, told_ms)) if elapsed_ms(now_ms, told_ms) < FAULT_REPEAT_MS => None,
                _ => self.convert(now_ms),
            },
            Ok(true) => self.convert(now_ms),
            Ok(false) => {
                self.held_low = false;
                if elapsed_ms(now_ms, self.heard_ms) >= self.silent_after_ms() {
                    self.report(BridgeFault::Silent, now_ms)
                } else {
                    None
                }
            }
            Err(PinFault) => self.report(BridgeFault::Stuck, now_ms),
        }
    }

    fn select(&mut self, input: Input, rate_sps: u16, now_ms: u32) {
        self.wanted = input;
        let period_ms = period_ms(rate_sps);
        if period_ms != self.period_ms {
            self.period_ms = period_ms;
            self.heard_ms = now_ms;
            self.polled_ms = now_ms;
            self.settling = SETTLING_CONVERSIONS;
        }
    }

    fn power_down(&mut self) {
        self.asleep = true;
        // A pin that cannot be driven shows as a fault at the next poll.
        let _ = self.clock.set_high();
        self.delay.delay_us(POWER_DOWN_US);
    }

    #[cfg_attr(target_arch = "avr", inline(never))]
    fn power_up(&mut self, now_ms: u32) {
        let _ = self.clock.set_low();
        self.asleep = false;
        self.applied = Input::A128;
        self.settling = SETTLING_CONVERSIONS;
        self.heard_ms = now_ms;
        self.polled_ms = now_ms;
    }
}

/// Time of one conversion, ms, rounded up.
const fn period_ms(rate_sps: u16) -> u16 {
    let rate_sps = if rate_sps == 0 { 1 } else { rate_sps };
    1000u16.div_ceil(rate_sps)
}
