//! What stands on the display: one large line, three small ones.
//!
//! ```text
//! page 0     at rest  zero
//! pages 2–4  5980.5            (letters three times as large)
//! page 5               net g
//! page 7     Max 6000 d = 2    (or a message)
//! ```

use scalewright_protocol::message::{Flags, Refusal, State};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::units::{divide_to_nearest, saturate_i32};

use super::line::Line;
use super::words::Phrase;

/// Views of the bottom line that the VIEW key turns through.
pub const VIEWS: u8 = 6;

/// A line of the display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The indication.
    Large,
    /// Rest and zero.
    Top,
    /// Net, and the unit.
    Middle,
    /// A message, what is wrong, or a view.
    Bottom,
}

/// All parts, in the order in which they are painted.
pub const PARTS: [Part; 4] = [Part::Large, Part::Top, Part::Middle, Part::Bottom];

/// What there is to show.
pub struct Sight<'a> {
    /// The scale's state now.
    pub state: &'a State,
    /// Its settings.
    pub settings: &'a Settings,
    /// Tare in use, quanta.
    pub tare: i32,
    /// Number of the device.
    pub device_id: u32,
    /// The view of the bottom line.
    pub view: u8,
    /// Takes the bottom line.
    pub message: Option<Phrase>,
}

/// How masses are written: in g or kg, with the digits that d has.
struct Unit {
    kilogram: bool,
    decimals: u8,
    /// Micrograms of one step of the last digit.
    digit_ug: u32,
}

impl Unit {
    /// Grams below 100 kg. As many decimals as d needs, six at most.
    #[inline(never)]
    fn of(settings: &Settings) -> Self {
        let ug = |quanta: i32| i64::from(quanta).wrapping_mul(i64::from(settings.quantum_ug));
        let kilogram = ug(settings.max) >= 100_000_000_000;
        let d_ug = ug(settings.d);
        let mut digit_ug: u32 = if kilogram { 1_000_000_000 } else { 1_000_000 };
        let mut decimals = 0;
        while decimals < 6 && d_ug.checked_rem(i64::from(digit_ug)).unwrap_or(0) != 0 {
            digit_ug /= 10;
            decimals += 1;
        }
        Self {
            kilogram,
            decimals,
            digit_ug,
        }
    }
}

impl Sight<'_> {
    /// Writes what `part` shows.
    #[inline(never)]
    pub fn write(&self, part: Part, line: &mut Line, rom: &dyn Fn(usize) -> u8) {
        let flags = self.state.flags;
        match part {
            Part::Large => {
                if let Some(indication) = self.state.indication {
                    self.mass(line, indication);
                    line.right();
                }
            }
            Part::Top => {
                if flags.has(Flags::SETTLING) {
                    line.say(rom, Phrase::Settling);
                } else if flags.has(Flags::STABLE) {
                    line.say(rom, Phrase::AtRest);
                } else if !flags.any(Flags::ADC_SILENT.with(Flags::ADC_STUCK)) {
                    line.say(rom, Phrase::Moving);
                }
                if flags.has(Flags::AT_ZERO) {
                    line.say(rom, Phrase::AtZero);
                }
            }
            Part::Middle => {
                if self.state.mass.is_some() {
                    if flags.has(Flags::NET) {
                        line.say(rom, Phrase::Net);
                    }
                    if Unit::of(self.settings).kilogram {
                        line.put(b'k');
                    }
                    line.put(b'g');
                    line.right();
                }
            }
            Part::Bottom => match self.message.or_else(|| trouble(flags)) {
                Some(phrase) => line.say(rom, phrase),
                None => self.view(line, rom),
            },
        }
    }

    fn view(&self, line: &mut Line, rom: &dyn Fn(usize) -> u8) {
        match self.view {
            0 => {
                line.say(rom, Phrase::Max);
                self.mass(line, self.settings.max);
                line.put(b' ');
                line.say(rom, Phrase::Interval);
                self.mass(line, self.settings.d);
            }
            1 => {
                line.say(rom, Phrase::Gross);
                self.mass(line, self.state.mass.unwrap_or(0));
            }
            2 => {
                line.say(rom, Phrase::Tare);
                self.mass(line, self.tare);
            }
            3 => {
                line.say(rom, Phrase::Counts);
                line.number(self.state.smooth_q8 >> 8, 0);
            }
            4 => {
                line.say(rom, Phrase::Spread);
                line.number((self.state.spread_q8 >> 8) as i32, 0);
            }
            _ => {
                line.say(rom, Phrase::Number);
                line.hex(self.device_id);
            }
        }
    }

    /// Appends a mass in quanta, rounded to the last digit that d has.
    #[inline(never)]
    fn mass(&self, line: &mut Line, quanta: i32) {
        let unit = Unit::of(self.settings);
        let ug = i64::from(quanta).wrapping_mul(i64::from(self.settings.quantum_ug));
        let digits = divide_to_nearest(ug, i64::from(unit.digit_ug));
        line.number(saturate_i32(digits), unit.decimals);
    }
}

/// The condition that matters most.
fn trouble(flags: Flags) -> Option<Phrase> {
    Some(if flags.has(Flags::ADC_SILENT) {
        Phrase::AdcSilent
    } else if flags.has(Flags::ADC_STUCK) {
        Phrase::AdcStuck
    } else if flags.has(Flags::SATURATED) {
        Phrase::Saturated
    } else if flags.has(Flags::OTHER_LAYOUT) {
        Phrase::OtherLayout
    } else if flags.has(Flags::NOT_CALIBRATED) {
        Phrase::NotCalibrated
    } else if flags.has(Flags::OVERLOAD) {
        Phrase::AboveMax
    } else if flags.has(Flags::UNDERLOAD) {
        Phrase::BelowZero
    } else if flags.has(Flags::FELL_BACK) {
        Phrase::OlderRecord
    } else {
        return None;
    })
}

/// Why a key was not obeyed.
pub fn refused(refusal: Refusal) -> Phrase {
    match refusal {
        Refusal::NotAtRest => Phrase::NotAtRest,
        Refusal::ZeroRange => Phrase::ZeroRange,
        Refusal::TareRange => Phrase::TareRange,
        Refusal::NotCalibrated => Phrase::NotCalibrated,
        _ => Phrase::AdcSilent,
    }
}
