//! Conditions of the converter that stand in the way of any capture.

use scalewright_protocol::message::Flags;

/// What is to be said when a condition comes or goes.
pub(super) enum News {
    /// It came: what, in plain words, and what to do about it.
    Came(&'static str, &'static str),
    /// It is gone.
    Over,
}

/// Whether something stands in the way: said once when it comes, and once when
/// it is gone.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Trouble {
    said: bool,
}

impl Trouble {
    /// Something was said already that these flags don't show.
    pub(super) fn say(&mut self) {
        self.said = true;
    }

    /// Looks at the flags: whether something stands in the way, and what is new.
    pub(super) fn look(&mut self, flags: Flags) -> (bool, Option<News>) {
        let found = of(flags);
        let before = std::mem::replace(&mut self.said, found.is_some());
        let news = match (before, found) {
            (false, Some((what, try_this))) => Some(News::Came(what, try_this)),
            (true, None) => Some(News::Over),
            _ => None,
        };
        (found.is_some(), news)
    }
}

/// A condition that stands in the way, and what to do about it.
fn of(flags: Flags) -> Option<(&'static str, &'static str)> {
    if flags.has(Flags::ADC_SILENT) {
        Some((
            "the bridge ADC delivers nothing",
            "check its supply and both wires of its clock and data line",
        ))
    } else if flags.has(Flags::ADC_STUCK) {
        Some((
            "the bridge ADC's data line does not follow its clock",
            "check the clock wire, and the data line for a short",
        ))
    } else if flags.has(Flags::SATURATED) {
        Some((
            "the bridge ADC is at the end of its range",
            "take load off; if it stays, look for an open bridge wire",
        ))
    } else {
        None
    }
}
