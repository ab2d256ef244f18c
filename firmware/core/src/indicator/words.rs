//! What the indicator says: conditions in place of digits, and short messages.
//!
//! A condition has two lines: what happened, in large letters, and what to do.
//! The worst comes first.

use scalewright_protocol::message::{Flags, Refusal};

/// What stands in place of digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What happened.
    pub what: &'static str,
    /// What to do.
    pub remedy: &'static str,
}

const fn trouble(what: &'static str, remedy: &'static str) -> Trouble {
    Trouble { what, remedy }
}

/// The worst first.
const TROUBLES: [(Flags, Trouble); 9] = [
    (
        Flags::ADC_SILENT,
        trouble("no signal", "wires? see the guide"),
    ),
    (
        Flags::ADC_STUCK,
        trouble("signal stuck", "data wire? see the guide"),
    ),
    (
        Flags::SATURATED.with(Flags::OVERLOAD),
        trouble("too heavy", "unload, else see guide"),
    ),
    (
        Flags::SATURATED,
        trouble("no reading", "signal wire? see guide"),
    ),
    (
        Flags::OTHER_LAYOUT,
        trouble("other version", "table kept: see guide"),
    ),
    (
        Flags::NOT_CALIBRATED,
        trouble("not calibrated", "menu, then calibrate"),
    ),
    (Flags::OVERLOAD, trouble("too heavy", "take load off")),
    (
        Flags::UNDERLOAD,
        trouble("below zero", "pan off? or press zero"),
    ),
    (Flags::SETTLING, trouble("one moment", "the signal settles")),
];

/// Without a mass and without a reason that is known.
const UNKNOWN: Trouble = trouble("one moment", "no reading yet");

/// What stands in place of digits while these conditions are met; none when
/// there are digits.
#[must_use]
#[inline(never)]
pub fn troubled(flags: Flags, digits: bool) -> Option<Trouble> {
    let told = TROUBLES.iter().find(|(flag, _)| flags.has(*flag));
    match told {
        Some((_, trouble)) => Some(*trouble),
        None if digits => None,
        None => Some(UNKNOWN),
    }
}

/// A message of the lowest line, for some seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Message {
    /// Zero was set.
    ZeroSet,
    /// The load is the tare.
    TareSet,
    /// No tare any more.
    TareCleared,
    /// There was nothing to count as a container.
    NoTare,
    /// A tare was entered.
    PresetSet,
    /// Counting begins.
    Counting,
    /// The sample says nothing.
    SampleTooLight,
    /// There is nothing finer to show.
    NothingFiner,
    /// Why a key was not obeyed.
    Refused(Refusal),
}

impl Message {
    /// Its words.
    #[must_use]
    #[inline(never)]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ZeroSet => "zero set",
            Self::TareSet => "tare set",
            Self::TareCleared => "tare cleared",
            Self::NoTare => "nothing to tare is there",
            Self::PresetSet => "preset tare in use",
            Self::Counting => "counting begins",
            Self::SampleTooLight => "too light: more pieces",
            Self::NothingFiner => "no finer digits to show",
            Self::Refused(refusal) => match refusal {
                Refusal::NotAtRest => "not at rest yet: wait",
                Refusal::ZeroRange => "too much: use tare",
                Refusal::TareRange => "tare: only from 0 to Max",
                Refusal::NotCalibrated => "not calibrated yet",
                Refusal::Sealed => "sealed: see the guide",
                Refusal::Busy => "a laptop is storing: wait",
                Refusal::Storage => "could not be stored",
                _ => "no signal: see guide",
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::strip::WIDTH;
    use super::super::text::Size;
    use super::*;

    #[test]
    fn every_word_has_room() {
        for trouble in TROUBLES
            .iter()
            .map(|(_, trouble)| trouble)
            .chain([&UNKNOWN])
        {
            assert!(Size::Tall.width(trouble.what) <= WIDTH, "{}", trouble.what);
            assert!(
                Size::Small.width(trouble.remedy) <= WIDTH,
                "{}",
                trouble.remedy
            );
        }
        let messages = [
            Message::ZeroSet,
            Message::TareSet,
            Message::TareCleared,
            Message::NoTare,
            Message::PresetSet,
            Message::Counting,
            Message::SampleTooLight,
            Message::NothingFiner,
        ];
        let refusals = [
            Refusal::NotAtRest,
            Refusal::ZeroRange,
            Refusal::TareRange,
            Refusal::NotCalibrated,
            Refusal::AdcFault,
            Refusal::Sealed,
            Refusal::Busy,
            Refusal::Storage,
        ];
        for message in messages.into_iter().chain(refusals.map(Message::Refused)) {
            assert!(
                Size::Small.width(message.words()) <= WIDTH,
                "{}",
                message.words()
            );
        }
    }

    #[test]
    fn the_worst_is_told_and_what_informs_is_no_trouble() {
        let informs = Flags::STABLE
            .with(Flags::AT_ZERO)
            .with(Flags::NET)
            .with(Flags::CONTINUED)
            .with(Flags::SPIKE)
            .with(Flags::FELL_BACK);
        assert_eq!(troubled(informs, true), None);
        assert_eq!(troubled(informs, false), Some(UNKNOWN));
        let mut flags = informs;
        for (flag, trouble) in TROUBLES.iter().rev() {
            flags = flags.with(*flag);
            // Saturated and too heavy come together once both are set.
            let told = troubled(flags, false).expect("told");
            assert!(told == *trouble || flags.has(Flags::SATURATED.with(Flags::OVERLOAD)));
        }
        assert_eq!(troubled(flags, false).map(|t| t.what), Some("no signal"));
    }
}
