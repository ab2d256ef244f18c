//! Who changes a scale, when and why, for boards that keep it.

use scalewright_protocol::message::Ask;

/// Said right before the change it belongs to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Note {
    /// When, s since 1970-01-01 UTC.
    pub when_s: u32,
    /// Who and why; at most [`scalewright_protocol::message::NOTE_BYTES`] are kept.
    pub text: String,
}

impl Note {
    /// The request that says it. A scale without a notebook refuses it as
    /// [`scalewright_protocol::message::Refusal::Unknown`].
    #[must_use]
    pub fn ask(&self) -> Ask {
        let mut text = heapless::String::new();
        for letter in self.text.chars().filter(|letter| !letter.is_control()) {
            // The first that finds no room ends it.
            if text.push(letter).is_err() {
                break;
            }
        }
        Ask::Note {
            when_s: self.when_s,
            text,
        }
    }
}
