//! Conditions of the converter that stand in the way of any capture.

use scalewright_protocol::message::Flags;

/// A condition that stands in the way, and what to do about it.
pub(super) fn of(flags: Flags) -> Option<(&'static str, &'static str)> {
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
