//! What the captures tell of the cell, in words: hysteresis, creep, scatter.
//! A value smaller than its expanded uncertainty has not been seen.

use super::{K, both};
use crate::record::outcome::{CorrectionTried, Outcome};
use crate::record::together::{CreepFound, Together, Uncertain};
use crate::report::number;

/// One property of the cell.
pub(in crate::report) struct Line {
    /// The trade's word for it.
    pub head: String,
    /// What was found.
    pub says: String,
    /// The word explained, where it first appears.
    pub means: Option<&'static str>,
}

const HYSTERESIS: &str = "the same load reads differently when it is reached from a heavier one";

const CREEP: &str = "the reading moves while the load lies still; the time constant is how long \
                     the first two thirds of it take";

const SCATTER: &str = "what captures of the same load differ by, as a standard deviation";

/// All that is known of the cell.
pub(in crate::report) fn lines(outcome: &Outcome, found: &Together) -> Vec<Line> {
    let e_g = outcome.scale.e;
    let max_g = outcome.scale.max;
    let line = |head: &str, says: String, means| Line {
        head: head.to_owned(),
        says,
        means,
    };
    let mut out = vec![line(
        "Hysteresis",
        match &outcome.correction {
            Some(tried) => format!(
                "{}; {}",
                hysteresis(found.loop_width_g, e_g),
                correction(tried)
            ),
            None => match found
                .loop_width_g
                .is_some_and(|width| seen(width) == Seen::Yes)
            {
                true => format!("{}; it is left in", hysteresis(found.loop_width_g, e_g)),
                false => hysteresis(found.loop_width_g, e_g),
            },
        },
        Some(HYSTERESIS),
    )];
    for (index, one) in found.creep.iter().enumerate() {
        let head = format!("Creep, time constant {}", time_constant(one.seconds));
        let means = (index == 0).then_some(CREEP);
        out.push(line(&head, creep(one, max_g), means));
    }
    if found.creep.is_empty() {
        let says = "not determined: too few captures".to_owned();
        out.push(line("Creep", says, Some(CREEP)));
    }
    let scatter = scatter(found.capture_sd_g);
    out.extend(scatter.map(|says| line("Scatter", says, Some(SCATTER))));
    out
}

fn hysteresis(width_g: Option<Uncertain>, e_g: f64) -> String {
    let Some(width_g) = width_g else {
        return "not tested: no load was reached from a heavier one".to_owned();
    };
    let seen = seen(width_g);
    if seen == Seen::Unknown {
        return number::UNKNOWN.to_owned();
    }
    let (grams, expanded_g) = both(shown(width_g), K * width_g.u);
    let in_e = match (width_g.value / e_g).is_finite() && (width_g.u / e_g).is_finite() {
        true => {
            let (e, expanded_e) = both(shown(width_g) / e_g, K * width_g.u / e_g);
            format!(" ({e} e ± {expanded_e} e)")
        }
        false => String::new(),
    };
    let size = format!("{grams} g ± {expanded_g} g{in_e}");
    match (seen, width_g.value < 0.0) {
        (Seen::No, _) => format!("not seen: the loop is {size} wide"),
        (_, false) => format!("coming down the scale shows up to {size} more than going up"),
        (_, true) => format!("coming down the scale shows up to {size} less than going up"),
    }
}

/// Whether taking hysteresis off in the scale helps.
pub(super) fn correction(tried: &CorrectionTried) -> String {
    let [with, without] =
        [tried.error_with_e, tried.error_without_e].map(|error_e| number::significant(error_e, 2));
    match tried.kept {
        true => format!(
            "the scale takes it off: in the proof it errs by {with} e with that, by {without} e without (rms)"
        ),
        false => format!(
            "taking it off in the scale does not help and was left off: in the proof it erred by {with} e with that, by {without} e without (rms)"
        ),
    }
}

fn creep(one: &CreepFound, max_g: f64) -> String {
    let seen = seen(one.share);
    if seen == Seen::Unknown {
        return number::UNKNOWN.to_owned();
    }
    let (percent, expanded) = both(100.0 * shown(one.share), 100.0 * K * one.share.u);
    let size = format!("{percent} % ± {expanded} % of the load");
    if seen == Seen::No {
        return format!("not seen, {size}");
    }
    let way = if one.share.value < 0.0 {
        "falls"
    } else {
        "rises"
    };
    let at_max = match (one.share.value * max_g).is_finite() && (one.share.u * max_g).is_finite() {
        true => {
            let (grams, expanded) = both(shown(one.share) * max_g, K * one.share.u * max_g);
            format!(", at Max by {grams} g ± {expanded} g")
        }
        false => String::new(),
    };
    format!("the reading {way} by {size}{at_max}")
}

fn scatter((at_zero_g, at_max_g): (f64, f64)) -> Option<String> {
    let known = |sd: f64| sd.is_finite() && sd > 0.0;
    let size = |sd_g: f64| number::spread(sd_g, 2);
    match (known(at_zero_g), known(at_max_g)) {
        (true, true) => Some(format!(
            "{} near zero, {} at Max",
            size(at_zero_g),
            size(at_max_g)
        )),
        (true, false) => Some(format!("{} near zero", size(at_zero_g))),
        (false, true) => Some(format!("{} at Max", size(at_max_g))),
        (false, false) => None,
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Seen {
    Yes,
    No,
    Unknown,
}

fn seen(one: Uncertain) -> Seen {
    match one.value.is_finite() && one.u.is_finite() {
        false => Seen::Unknown,
        true if one.value.abs() >= K * one.u.abs() => Seen::Yes,
        true => Seen::No,
    }
}

/// Without a sign where words say which way, with it where nothing was seen.
fn shown(one: Uncertain) -> f64 {
    match seen(one) {
        Seen::Yes => one.value.abs(),
        _ => one.value,
    }
}

/// Whole minutes as minutes.
fn time_constant(seconds: f64) -> String {
    let minutes = seconds / 60.0;
    match (1.0..1e4).contains(&minutes) && minutes.fract() == 0.0 {
        true => format!("{minutes} min"),
        false => number::duration(seconds),
    }
}
