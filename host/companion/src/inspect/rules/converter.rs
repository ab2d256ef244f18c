//! Rules about the bridge ADC, its supply, the line and the memory.

use scalewright_protocol::units::CODE_MAX;

use super::{Finding, Seen, Topic, bad, count, good, heed};
use crate::report::number::{fixed, significant};

/// How far a converter's own oscillator may be off: it is no crystal, and
/// builders measure up to a tenth either way (common practice). The next rate is
/// eight times away, so there is room.
const RATE_BAND: std::ops::RangeInclusive<f64> = 0.75..=1.35;
/// Share of samples lost on the line above which it has to be mended; below,
/// captures (which the scale makes by itself) do not suffer.
const LOST_BAD: f64 = 0.1;

/// Whether conversions come.
pub fn delivers(seen: &Seen<'_>) -> Option<Finding> {
    let (figures, gathered) = (seen.figures, seen.gathered);
    let watched = fixed(figures.watched_s, 0);
    let stuck = gathered.stuck_states > gathered.silent_states;
    if figures.samples == 0 && stuck {
        return Some(bad(
            Topic::Converter,
            format!(
                "no conversion in {watched} s: the data line stays low whatever the clock does"
            ),
            "the data line is shorted to ground, or the clock does not reach the ADC",
            "look for a short at the data wire; see that data and clock are not exchanged, and that the clock wire is whole",
        ));
    }
    if figures.samples == 0 {
        let gap = gathered.states > gathered.silent_states + gathered.stuck_states + 1;
        return Some(bad(
            Topic::Converter,
            format!("no conversion in {watched} s: the data line never says that one is ready"),
            "the ADC has no supply, or the data wire is open",
            format!(
                "measure the supply at the ADC's own pins; check ground and the data wire{}",
                slower(seen, gap)
            ),
        ));
    }
    let (pauses, longest_ms) = figures.pauses;
    let faulty = gathered.silent_states + gathered.stuck_states;
    if pauses > 0 || faulty > 0 {
        return Some(bad(
            Topic::Converter,
            format!(
                "conversions stop now and then: {} in {watched} s, the longest {} s",
                count(pauses.max(1), "pause"),
                fixed(f64::from(longest_ms) / 1000.0, 1)
            ),
            if stuck {
                "the data line is held low at times: a loose wire, or clock pulses that do not arrive"
            } else {
                "the ADC falls silent at times: its supply dips, or a wire is loose"
            },
            "move each wire while `scalewright watch` runs; give the ADC a supply of its own regulator and 10 uF beside it",
        ));
    }
    None
}

/// Advice for a silent ADC that was told a faster rate than its slowest.
fn slower(seen: &Seen<'_>, gap: bool) -> String {
    let set = seen.subject.settings.rate_sps;
    match seen.subject.rates_sps.iter().min() {
        Some(slowest) if *slowest < set => format!(
            "{}its RATE input may be strapped for {slowest} per second while the scale waits for {set}",
            if gap {
                "; more likely, as it shows signs of life, "
            } else {
                "; or "
            }
        ),
        _ => String::new(),
    }
}

/// Whether the scale itself kept running.
pub fn supply(seen: &Seen<'_>) -> Option<Finding> {
    let restarts = seen.gathered.restarts;
    (restarts > 0).then(|| {
        bad(
            Topic::Supply,
            format!(
                "the scale restarted {} while being watched",
                match restarts {
                    1 => "once".to_string(),
                    _ => format!("{restarts} times"),
                }
            ),
            "its supply dips, or the USB plug is loose",
            "use another cable and port, without a hub; see what else is on the same supply",
        )
    })
}

/// Conversions per second against those set.
pub fn rate(seen: &Seen<'_>) -> Option<Finding> {
    let figures = seen.figures;
    let rate = figures.rate_sps?;
    let set = seen.subject.settings.rate_sps;
    let shown = fixed(rate, 1);
    let fits = |nominal: u16| RATE_BAND.contains(&(rate / f64::from(nominal.max(1))));
    if fits(set) {
        return Some(good(
            Topic::Rate,
            format!(
                "{} in {} s: {shown} a second, {set} are set",
                count(figures.samples, "conversion"),
                fixed(figures.watched_s, 0)
            ),
        ));
    }
    let other = seen.subject.rates_sps.iter().find(|other| fits(**other));
    let what = format!("{shown} conversions a second, but {set} are set");
    Some(match other {
        Some(other) => bad(
            Topic::Rate,
            what,
            format!("the ADC's RATE input is strapped for {other} per second"),
            format!(
                "free the RATE input from its strap and wire it to the board's rate pin; or leave it and set {other} per second"
            ),
        ),
        None => bad(
            Topic::Rate,
            what,
            "the ADC's clock is off, or the board misses conversions",
            "check the ADC's supply; on a board of your own, that its timer runs at the right speed",
        ),
    })
}

/// The ends of the ADC's range.
pub fn range(seen: &Seen<'_>) -> Option<Finding> {
    let figures = seen.figures;
    let (low, high) = figures.at_ends;
    let full = significant(seen.subject.full_scale_mv_per_v(), 3);
    if seen.saturated() {
        let (end, sign) = if high >= low {
            ("upper", "+")
        } else {
            ("lower", "-")
        };
        return Some(bad(
            Topic::Range,
            format!("stuck at the {end} end of the range, {sign}{full} mV/V"),
            "a bridge wire is open, or a signal wire touches the supply",
            "unplug the cell and measure it: between either pair of opposite wires some hundred ohms (350 or 1000 are usual), to its body none; then check each wire at the ADC",
        ));
    }
    (low + high > 0).then(|| {
        bad(
            Topic::Range,
            format!(
                "{} of {} at an end of the range, {full} mV/V (code {CODE_MAX})",
                low + high,
                count(figures.samples, "conversion")
            ),
            "a bridge wire makes contact only at times",
            "move each bridge wire while `scalewright watch` runs; solder or clamp the one that makes the reading jump",
        )
    })
}

/// What the serial line lost.
pub fn line(seen: &Seen<'_>) -> Option<Finding> {
    let (figures, gathered) = (seen.figures, seen.gathered);
    let lost = figures.lost as usize;
    if lost == 0 && gathered.broken_frames == 0 && gathered.repeats == 0 {
        return (figures.samples > 0)
            .then(|| good(Topic::Line, "no sample lost between scale and laptop"));
    }
    let sent = (lost + figures.samples).max(1);
    let what = format!(
        "{lost} of {} lost on the way, {} broken, {} repeated",
        count(sent, "sample"),
        count(gathered.broken_frames, "frame"),
        count(gathered.repeats, "request")
    );
    let advice = "use a shorter or another cable, no hub, away from motors and their supplies";
    Some(if lost as f64 / sent as f64 > LOST_BAD {
        bad(Topic::Line, what, "the line to the scale is bad", advice)
    } else {
        heed(
            Topic::Line,
            what,
            "the line is not quite clean; calibration repeats what was lost",
            advice,
        )
    })
}

/// What the scale's memory says.
pub fn memory(seen: &Seen<'_>) -> Option<Finding> {
    seen.gathered.fell_back.then(|| {
        heed(
            Topic::Memory,
            "the newest record in the scale is damaged; the one before is in force",
            "power went while it was written, or its memory is worn",
            "calibrate anew; if it happens again, change the board",
        )
    })
}
