//! Rules about the press of a finger.

use super::{Finding, Seen, Topic, bad, good, heed};
use crate::inspect::press::Pressed;
use crate::report::number::{mass, signed, significant};

/// What may be left of a press after the finger is off: creep is a fraction of
/// a per mille, so this much means friction.
const LEFT_SHARE: f64 = 0.03;

/// Which way the reading went, and whether it came back.
pub fn direction(seen: &Seen<'_>, pressed: Option<Pressed>) -> Option<Finding> {
    let (by_counts, left_counts) = match pressed? {
        Pressed::Waiting => {
            return Some(bad(
                Topic::Direction,
                "nothing moved under the finger",
                "nobody pressed hard enough and in time, or the load does not reach the cell, or its signal does not reach the ADC",
                "run inspect again and press with a firm finger; then see that the cell is held at one end only and bends when pressed; measure the excitation at the cell; check the signal wires",
            ));
        }
        Pressed::Held { by_counts } => (by_counts, None),
        Pressed::Released {
            by_counts,
            left_counts,
        } => (by_counts, Some(left_counts)),
    };
    let volts = format!("{} mV/V", signed(seen.subject.mv_per_v(by_counts), 4));
    if by_counts < 0.0 {
        return Some(bad(
            Topic::Direction,
            format!("reads lower under load: {volts} under the finger"),
            "the signal reaches the ADC the wrong way round, or the cell is upside down",
            "swap the two signal wires; or turn the cell so that its arrow points the way the load pushes",
        ));
    }
    let about = seen
        .subject
        .counts_per_g()
        .map_or_else(String::new, |slope| {
            let load_g = by_counts / slope;
            format!(", about {}", mass(load_g, load_g / 20.0))
        });
    let what = format!("reads higher under load: {volts} under the finger{about}");
    let still = seen
        .figures
        .noise
        .map_or(0.0, |noise| 10.0 * noise.smoothed_sd_counts);
    Some(match left_counts {
        Some(left) if left.abs() > (LEFT_SHARE * by_counts).max(still) => heed(
            Topic::Direction,
            format!(
                "{what}; {} % of it stayed",
                significant(left / by_counts * 100.0, 2)
            ),
            "something rubs: the platform touches its frame, a cable pulls, or a screw is loose",
            "see that nothing but the cell carries the platform, and press again",
        ),
        Some(_) => good(Topic::Direction, format!("{what}, and back")),
        None => heed(
            Topic::Direction,
            format!("{what}; the finger was not seen to leave"),
            "whether the pan comes back is not known",
            "let go, and inspect again",
        ),
    })
}
