//! What stands on the display: one large line, three small ones.
//!
//! ```text
//! page 0     at rest  zero
//! pages 2–4  5980.5            (letters three times as large)
//! page 5               net g
//! page 7     Max 6000 d = 2    (or a message)
//! ```

use scalewright_protocol::message::{Flags, Refusal};
use scalewright_protocol::settings::Settings;

use super::line::Line;
use super::words::{LINE, Phrase};
use crate::instrument::Instrument;
use crate::ports::Storage;

/// Characters of the large line.
pub const LARGE: usize = 7;
/// Views of the bottom line that the VIEW key turns through.
pub const VIEWS: u8 = 6;

/// A display's worth of text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Face {
    /// The indication.
    pub large: Line<LARGE>,
    /// Top, beneath the indication, bottom.
    pub small: [Line<LINE>; 3],
}

/// How masses are written: in g or kg, with the digits that d has.
struct Unit {
    kilogram: bool,
    decimals: u8,
    /// Micrograms of one step of the last digit.
    digit_ug: i64,
}

impl Unit {
    /// Grams below 100 kg. As many decimals as d needs, six at most.
    fn of(settings: &Settings) -> Self {
        let quantum_ug = i64::from(settings.quantum_ug);
        let kilogram = i64::from(settings.max).saturating_mul(quantum_ug) >= 100_000_000_000;
        let d_ug = i64::from(settings.d).saturating_mul(quantum_ug);
        let mut digit_ug: i64 = if kilogram { 1_000_000_000 } else { 1_000_000 };
        let mut decimals = 0;
        while decimals < 6 && d_ug % digit_ug.max(1) != 0 {
            digit_ug /= 10;
            decimals += 1;
        }
        Self {
            kilogram,
            decimals,
            digit_ug: digit_ug.max(1),
        }
    }

    fn write<const N: usize>(&self, line: &mut Line<N>, quanta: i32, settings: &Settings) {
        let ug = i64::from(quanta).saturating_mul(i64::from(settings.quantum_ug));
        let half = self.digit_ug / 2;
        let nearest = if ug < 0 {
            ug.saturating_sub(half)
        } else {
            ug.saturating_add(half)
        };
        line.number(nearest / self.digit_ug.max(1), self.decimals);
    }

    fn name(&self, line: &mut Line<LINE>) {
        if self.kilogram {
            line.put(b'k');
        }
        line.put(b'g');
    }
}

/// What `scale` has to show; `message` takes the bottom line.
pub fn face<S: Storage, const KNOTS: usize, const QUEUE: usize>(
    scale: &Instrument<S, KNOTS, QUEUE>,
    now_ms: u32,
    view: u8,
    message: Option<Phrase>,
    rom: &impl Fn(usize) -> u8,
) -> Face {
    let state = scale.state(now_ms);
    let settings = scale.settings();
    let unit = Unit::of(settings);
    let mut face = Face::default();
    let [top, middle, bottom] = &mut face.small;

    let trouble = trouble(state.flags);
    if let Some(indication) = state.indication {
        unit.write(&mut face.large, indication, settings);
        face.large.right();
    }
    if state.flags.has(Flags::SETTLING) {
        top.say(rom, Phrase::Settling);
    } else if !state.flags.any(Flags::ADC_SILENT.with(Flags::ADC_STUCK)) {
        let stable = state.flags.has(Flags::STABLE);
        let rest = if stable {
            Phrase::AtRest
        } else {
            Phrase::Moving
        };
        top.say(rom, rest);
    }
    if state.flags.has(Flags::AT_ZERO) {
        for letter in *b"  >0<" {
            top.put(letter);
        }
    }
    if state.mass.is_some() {
        if state.flags.has(Flags::NET) {
            for letter in *b"net " {
                middle.put(letter);
            }
        }
        unit.name(middle);
        middle.right();
    }
    match message.or(trouble) {
        Some(phrase) => bottom.say(rom, phrase),
        None => {
            let mass = |line: &mut Line<LINE>, phrase, quanta| {
                line.say(rom, phrase);
                unit.write(line, quanta, settings);
                line.put(b' ');
            };
            match view {
                0 => {
                    mass(bottom, Phrase::Max, settings.max);
                    mass(bottom, Phrase::Interval, settings.d);
                }
                1 => mass(bottom, Phrase::Gross, state.mass.unwrap_or(0)),
                2 => mass(bottom, Phrase::Tare, scale.tare()),
                3 => {
                    bottom.say(rom, Phrase::Counts);
                    bottom.number(i64::from(state.smooth_q8 >> 8), 0);
                }
                4 => {
                    bottom.say(rom, Phrase::Spread);
                    bottom.number(i64::from(state.spread_q8 >> 8), 0);
                }
                _ => {
                    bottom.say(rom, Phrase::Number);
                    bottom.hex(scale.identity().device_id);
                }
            }
        }
    }
    face
}

/// The condition that matters most.
fn trouble(flags: Flags) -> Option<Phrase> {
    let conditions = [
        (Flags::ADC_SILENT, Phrase::AdcSilent),
        (Flags::ADC_STUCK, Phrase::AdcStuck),
        (Flags::SATURATED, Phrase::Saturated),
        (Flags::OTHER_LAYOUT, Phrase::OtherLayout),
        (Flags::NOT_CALIBRATED, Phrase::NotCalibrated),
        (Flags::OVERLOAD, Phrase::AboveMax),
        (Flags::UNDERLOAD, Phrase::BelowZero),
        (Flags::FELL_BACK, Phrase::OlderRecord),
    ];
    conditions
        .into_iter()
        .find(|(flag, _)| flags.has(*flag))
        .map(|(_, phrase)| phrase)
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
