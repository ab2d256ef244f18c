//! What stands on the display: one large line, three small ones.
//!
//! ```text
//! page 0     at rest  zero
//! pages 2–4  5980.5            (letters three times as large)
//! page 5               net g
//! page 7     Max 6000 d = 2    (or a message)
//! ```
//!
//! Lines are written from their right end, so what stands last comes first.

use scalewright_protocol::message::{Flags, Refusal};

use super::line::{LINE, Line};
use super::words::{GRAM, KILO, Phrase};
use crate::instrument::Instrument;
use crate::ports::Storage;

/// Views of the bottom line that the VIEW key turns through.
pub const VIEWS: u8 = 4;
/// Characters of the large line, which is also its number of pieces, and that of
/// a small line's.
pub const LARGE: u8 = 7;

/// The lines: rest and zero; net, and the unit; a message, what is wrong, or a
/// view; the indication.
const TOP_LINE: u8 = 0;
const MIDDLE_LINE: u8 = 1;
const BOTTOM_LINE: u8 = 2;
pub const LARGE_LINE: u8 = 3;

/// Writes a line, with its page and its left end; `view` and `message` are for
/// the bottom line.
#[cfg_attr(target_arch = "avr", inline(never))]
pub fn write<R, S, const KNOTS: usize, const QUEUE: usize>(
    line: &mut Line<R>,
    which: u8,
    scale: &Instrument<S, KNOTS, QUEUE>,
    view: u8,
    message: Phrase,
) where
    R: Fn(usize) -> u8 + Copy,
    S: Storage,
{
    let weighed = scale.weigh();
    let flags = scale.flags(weighed.as_ref());
    // Eight bits are sooner asked for one than sixteen.
    let low = flags.0 as u8;
    match which {
        TOP_LINE => {
            line.page = 0;
            if low & Flags::AT_ZERO.0 as u8 != 0 {
                line.say(Phrase::AT_ZERO);
            }
            let rest = line.told(flags, Phrase::TOP);
            line.say(rest);
        }
        MIDDLE_LINE => {
            line.page = 5;
            if weighed.is_some_and(|w| w.net.is_some()) {
                line.put(GRAM);
                if unit_ug(line, scale) != MICROGRAM {
                    line.put(KILO);
                }
                if low & Flags::NET.0 as u8 != 0 {
                    line.say(Phrase::NET);
                }
            }
            line.begin = 0;
        }
        BOTTOM_LINE => {
            line.page = 7;
            let mut phrase = message;
            if phrase == Phrase(0) {
                phrase = line.told(flags, Phrase::BOTTOM);
            }
            if phrase == Phrase::VIEW {
                phrase = Phrase(phrase.0.wrapping_add(view));
                let value = match view {
                    0 => {
                        mass(line, scale, scale.settings.d);
                        line.say(Phrase::INTERVAL);
                        scale.settings.max
                    }
                    1 => weighed.map_or(0, |w| w.mass),
                    _ => scale.reference.tare,
                };
                if view < 3 {
                    mass(line, scale, value);
                } else {
                    line.left = scale.identity().device_id;
                    line.hex();
                }
            }
            line.say(phrase);
        }
        _ => {
            line.page = 2;
            if let Some(indication) = scale.indication(weighed.as_ref()) {
                mass(line, scale, indication);
            }
            // Flush right; what is too long is cut on the right.
            line.begin = line.begin.min(LINE as u8 - LARGE);
        }
    }
}

/// Micrograms of the sixth decimal of a gram, and of a kilogram.
const MICROGRAM: u16 = 1;
const MILLIGRAM: u16 = 1000;

/// What masses are written in: kg from Max 100 kg on, else g; as micrograms of
/// the sixth decimal.
#[cfg_attr(target_arch = "avr", inline(never))]
fn unit_ug<R, S, const KNOTS: usize, const QUEUE: usize>(
    line: &mut Line<R>,
    scale: &Instrument<S, KNOTS, QUEUE>,
) -> u16
where
    R: Fn(usize) -> u8 + Copy,
    S: Storage,
{
    take_mass(line, scale, scale.settings.max, 1_000_000);
    if line.left < 100_000 {
        MICROGRAM
    } else {
        MILLIGRAM
    }
}

/// Takes a mass in quanta at hand, in units of `unit_ug` micrograms.
#[cfg_attr(target_arch = "avr", inline(never))]
fn take_mass<R, S, const KNOTS: usize, const QUEUE: usize>(
    line: &mut Line<R>,
    scale: &Instrument<S, KNOTS, QUEUE>,
    quanta: i32,
    unit_ug: u32,
) where
    R: Fn(usize) -> u8 + Copy,
    S: Storage,
{
    line.take(quanta);
    line.convert(scale.settings.quantum_ug, unit_ug);
}

/// Puts a mass in quanta, rounded to the last digit that d has: with as many
/// decimals as d needs, six at most.
#[cfg_attr(target_arch = "avr", inline(never))]
fn mass<R, S, const KNOTS: usize, const QUEUE: usize>(
    line: &mut Line<R>,
    scale: &Instrument<S, KNOTS, QUEUE>,
    quanta: i32,
) where
    R: Fn(usize) -> u8 + Copy,
    S: Storage,
{
    let mut digit_ug = u32::from(unit_ug(line, scale));
    take_mass(line, scale, scale.settings.d, digit_ug);
    let mut decimals = 6u8;
    while decimals > 0 && line.digit(10) == 0 {
        decimals = decimals.wrapping_sub(1);
        digit_ug = digit_ug.wrapping_mul(10);
    }
    take_mass(line, scale, quanta, digit_ug);
    line.number(decimals);
}

/// Why a key was not obeyed.
pub const fn refused(refusal: Refusal) -> Phrase {
    match refusal {
        Refusal::NotAtRest => Phrase::NOT_AT_REST,
        Refusal::ZeroRange => Phrase::ZERO_RANGE,
        Refusal::TareRange => Phrase::TARE_RANGE,
        Refusal::NotCalibrated => Phrase::NOT_CALIBRATED,
        _ => Phrase::ADC_SILENT,
    }
}
