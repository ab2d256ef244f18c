//! What every report says in words, in one place, so that page and terminal
//! never disagree: the verdict, the facts of the run, the cautions.
//!
//! Guarantees: every sentence is true of an outcome with gaps in it; what is
//! missing is called unknown or left out. Refuses: to judge; verdicts are
//! read from the outcome.

use super::number;
use crate::record::outcome::{CandidateLine, Outcome, ScaleLine, Verification, VerificationRow};

/// Loads closer than this share of e are the same load in both verifications.
const SAME_LOAD_E: f64 = 1e-6;

/// A verification that reaches this share of Max speaks for the whole range.
const PROVES_UP_TO: f64 = 0.9;

/// The way of fitting that solves everything at once, by its name in the record
/// and as people read it.
const JOINT: &str = "joint";
const JOINT_NAME: &str = "all captures together";

/// Where a risk is, one sentence each; a heading and the sentence.
pub const CAUTIONS: [(&str, &str); 4] = [
    (
        "Trade",
        "This is not a legal verification. Weighing for trade needs an instrument \
         approved and verified under the law of the place, and only the authority, or \
         whoever it licenses, can give that.",
    ),
    (
        "Medicine",
        "Do not measure out doses for people or animals with this scale.",
    ),
    (
        "Lifting",
        "Nobody stands or reaches under a suspended load, whatever the scale says.",
    ),
    (
        "Law",
        "Local law and licensed practice decide wherever they ask for more than this \
         report shows.",
    ),
];

/// The cautions in one breath, for where there is little room.
pub const CAUTION: &str = "Not a legal verification: trade needs the authority's approval. \
     Not for dosing medicine. Never trust it under a suspended load.";

/// One load with what both verifications found there.
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    /// The load, g.
    pub load_g: f64,
    /// Whether it was reached from a heavier one.
    pub from_above: bool,
    /// Permissible error, plus or minus, in e.
    pub mpe_e: f64,
    /// What the old setting showed.
    pub before: Option<VerificationRow>,
    /// What the new table shows.
    pub after: Option<VerificationRow>,
}

/// Both verifications side by side, one entry a load, lightest first.
pub fn pairs(outcome: &Outcome) -> Vec<Pair> {
    let same = (SAME_LOAD_E * outcome.scale.e).abs();
    let mut found: Vec<Pair> = outcome
        .after
        .rows
        .iter()
        .map(|row| Pair {
            load_g: row.load_g,
            from_above: row.from_above,
            mpe_e: row.mpe_e,
            before: None,
            after: Some(*row),
        })
        .collect();
    for row in &outcome.before.rows {
        let partner = found
            .iter_mut()
            .filter(|pair| pair.before.is_none() && pair.from_above == row.from_above)
            .find(|pair| (pair.load_g - row.load_g).abs() <= same);
        match partner {
            Some(pair) => pair.before = Some(*row),
            None => found.push(Pair {
                load_g: row.load_g,
                from_above: row.from_above,
                mpe_e: row.mpe_e,
                before: Some(*row),
                after: None,
            }),
        }
    }
    found.sort_by(|a, b| a.load_g.total_cmp(&b.load_g));
    found
}

/// Behind a load that was reached from a heavier one.
#[must_use]
pub fn way(from_above: bool, ascii: bool) -> &'static str {
    match (from_above, ascii) {
        (false, _) => "",
        (true, false) => " ↓",
        (true, true) => " v",
    }
}

/// What [`way`] means, where there is such a load.
pub fn ways_explained(outcome: &Outcome, ascii: bool) -> Option<String> {
    let any = outcome.after.rows.iter().any(|row| row.from_above);
    any.then(|| format!("{}: reached from a heavier load.", way(true, ascii).trim()))
}

/// The verdict in one or two sentences: what the scale was worth and what it
/// is worth now.
pub fn headline(outcome: &Outcome) -> String {
    let before = &outcome.before;
    let after = &outcome.after;
    let class = or_unknown(&outcome.scale.class);
    let only = reach(outcome);
    let was = if before.of == 0 {
        "How wrong the scale was before is not known".to_owned()
    } else if before.passed >= before.of {
        format!(
            "{}, this scale already keeps the limits of class {class} {}{}",
            capital(&or(&before.title, "as it was set")),
            at_all(before.of),
            wrong_beyond(outcome)
        )
    } else {
        format!(
            "{}, this scale breaks the limits of class {class} at {}",
            capital(&or(&before.title, "as it was set")),
            out_of(before.of - before.passed, before.of)
        )
    };
    let title = or(&after.title, "with the new table");
    let largest = match largest(after, outcome.scale.e) {
        Some(text) => format!(", and its largest error is {text}"),
        None => String::new(),
    };
    if after.of == 0 {
        format!("{was}; {title} it has not been verified.")
    } else if after.passed >= after.of {
        format!(
            "{only}{was}; {title} it keeps them {}{largest}.",
            at_all(after.of)
        )
    } else {
        let missed = after.of - after.passed;
        format!(
            "{was}; {title} it still breaks them at {}{largest}.",
            out_of(missed, after.of)
        )
    }
}

/// Largest error of a verification with its load, as
/// "0.31 e (0.62 g) at 4 kg"; `None` when it is not known.
pub fn largest(of: &Verification, e_g: f64) -> Option<String> {
    if of.of == 0 || !of.largest_error_e.is_finite() {
        return None;
    }
    let mut text = format!("{} e", number::size_e(of.largest_error_e));
    let grams = of.largest_error_e * e_g;
    if grams.is_finite() {
        text.push_str(&format!(" ({} g)", number::size_g(grams, e_g)));
    }
    if of.largest_at_g.is_finite() {
        // To a hundredth of e: masses as found have any number of digits.
        let step_g = 0.01 * e_g;
        let at_g = match step_g > 0.0 {
            true => (of.largest_at_g / step_g).round() * step_g,
            false => of.largest_at_g,
        };
        let load = number::mass(at_g, number::resolution_g(e_g));
        text.push_str(&format!(" at {load}"));
    }
    Some(text)
}

/// A warning when the uncertainty reaches past the limit at loads that pass:
/// there the pass is likely and not proven. `None` when there is no such load.
pub fn unproven(outcome: &Outcome) -> Option<String> {
    let rows = &outcome.after.rows;
    let open = rows.iter().filter(|row| is_unproven(row)).count();
    (open > 0).then(|| {
        let at = out_of(open, rows.len());
        format!(
            "At {at} the error is inside the limit by less than its uncertainty U: the \
             pass is likely there, not proven."
        )
    })
}

/// Whether a row passes by less than its uncertainty.
pub fn is_unproven(row: &VerificationRow) -> bool {
    row.pass && row.error_e.abs() + row.expanded_u_e > row.mpe_e
}

/// The scale in one line, as "Max 6 kg, e = 2 g, d = 1 g, class III".
pub fn scale_line(outcome: &Outcome) -> String {
    scale(&outcome.scale)
}

/// The same of what a scale claims to be.
pub fn scale(scale: &ScaleLine) -> String {
    let fine = number::resolution_g(scale.e);
    let mut text = format!(
        "Max {}, e = {}",
        number::mass(scale.max, fine),
        number::mass(scale.e, fine)
    );
    if scale.d != scale.e {
        let d = number::mass(scale.d, number::resolution_g(scale.d));
        text.push_str(&format!(", d = {d}"));
    }
    text.push_str(&format!(", class {}", or_unknown(&scale.class)));
    text
}

/// The noise in one line, as "0.08 e a sample, enough for d = 0.5 g".
pub fn noise_line(outcome: &Outcome) -> String {
    let noise = &outcome.noise;
    let mut text = match noise.sd_e.filter(|sd| sd.is_finite()) {
        Some(sd) => format!("{} e a sample", number::significant(sd, 2)),
        None => format!(
            "{} counts a sample",
            number::significant(noise.sd_counts, 3)
        ),
    };
    if let Some(d) = noise.supports_d_g.filter(|d| d.is_finite()) {
        let d = number::mass(d, number::resolution_g(d));
        text.push_str(&format!(", quiet enough for d = {d}"));
    }
    text
}

/// The date of the run as "2026-05-02 14:05 UTC+02:00"; a date that is not
/// ISO 8601 with a time stays as it was told.
pub fn when(outcome: &Outcome) -> String {
    date(&outcome.date)
}

/// The same of any date.
pub fn date(told: &str) -> String {
    let told = or_unknown(told);
    let parts = || -> Option<(&str, &str, &str)> {
        let (day, rest) = told.split_once('T')?;
        let (time, rest) = rest.split_at_checked(5)?;
        let zone = rest.find(['+', '-', 'Z']).and_then(|at| rest.get(at..));
        let digits = |text: &str| {
            text.bytes()
                .all(|b| b.is_ascii_digit() || b"-:".contains(&b))
        };
        (digits(day) && digits(time)).then_some((day, time, zone.unwrap_or("")))
    };
    match parts() {
        Some((day, time, "")) => format!("{day} {time}"),
        Some((day, time, "Z")) => format!("{day} {time} UTC"),
        // A zone may have a name behind it in brackets.
        Some((day, time, zone)) => format!("{day} {time} UTC{}", zone.replace('[', " [")),
        None => told,
    }
}

/// What a rehearsal must say of itself; `None` on real hardware.
pub fn rehearsal(outcome: &Outcome) -> Option<String> {
    let what = bench(outcome.seed, outcome.device.is_bench())?;
    Some(format!("{what}: no real scale was calibrated."))
}

/// What the built-in bench must be called; `None` of real hardware. A bench
/// behind a port tells its board and no seed.
pub fn bench(seed: Option<u64>, is_bench: bool) -> Option<String> {
    match (seed, is_bench) {
        (Some(seed), _) => Some(format!("A rehearsal on the built-in bench, seed {seed}")),
        (None, true) => Some("On the built-in bench, played as a board".into()),
        (None, false) => None,
    }
}

/// The distinct weights used, in order of first use.
pub fn weights(outcome: &Outcome) -> Vec<&str> {
    let mut found: Vec<&str> = Vec::new();
    for weight in outcome.loads.iter().flat_map(|load| &load.weights) {
        if !found.contains(&weight.as_str()) {
            found.push(weight);
        }
    }
    found
}

/// "pass" or "fail" with a mark that also reads without colour; a row without
/// a number is neither, whatever its record says.
pub fn verdict(row: &VerificationRow, ascii: bool) -> &'static str {
    match (row.error_e.is_finite(), row.pass, ascii) {
        (false, _, _) => "? unknown",
        (_, true, false) => "✓ pass",
        (_, false, false) => "✗ fail",
        (_, true, true) => "+ pass",
        (_, false, true) => "x FAIL",
    }
}

/// The text, or "unknown" when it is blank.
pub fn or_unknown(text: &str) -> String {
    or(text, number::UNKNOWN)
}

fn or(text: &str, instead: &str) -> String {
    let text = text.trim();
    if text.is_empty() { instead } else { text }.to_owned()
}

/// A short name as it is read: with blanks where it has underscores.
pub fn name(name: &str) -> String {
    match name {
        JOINT => JOINT_NAME.to_owned(),
        _ => or_unknown(&name.replace('_', " ")),
    }
}

/// What a way of fitting is, beside its name.
pub fn explained(line: &CandidateLine) -> String {
    match line.title == name(&line.name) {
        true if line.name == JOINT => "curve, weights, zero and hysteresis at once".to_owned(),
        true => String::new(),
        false => line.title.clone(),
    }
}

/// The text with numbers tied to their units, and a ± to its number, so that no
/// line ends between.
pub fn tied(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split(' ') {
        let unit = matches!(
            word.trim_end_matches(['.', ',', ')', ';', ':']),
            "e" | "g" | "kg" | "mg" | "%" | "min" | "s"
        );
        if !out.is_empty() {
            let number = out.ends_with(|last: char| last.is_ascii_digit());
            let tie = unit && number || out.ends_with('±');
            out.push(if tie { '\u{a0}' } else { ' ' });
        }
        out.push_str(word);
    }
    out
}

/// The text as a sentence: a large letter first and a full stop last.
pub fn sentence(text: &str) -> String {
    let text = capital(&or_unknown(text));
    let ended = text.ends_with(['.', '!', '?']);
    if ended { text } else { text + "." }
}

/// The text with its first letter large.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// How far the verification went, where that is not far enough to speak for the
/// whole range: the beginning of a sentence.
fn reach(outcome: &Outcome) -> String {
    let top_g = proved_g(outcome);
    match top_g < PROVES_UP_TO * outcome.scale.max {
        true => {
            let fine = number::resolution_g(outcome.scale.e);
            let [top, max] = [top_g, outcome.scale.max].map(|load_g| number::mass(load_g, fine));
            format!("Proved only up to {top} of {max}. ")
        }
        false => String::new(),
    }
}

fn proved_g(outcome: &Outcome) -> f64 {
    let loads = outcome.after.rows.iter().map(|row| row.load_g);
    loads.fold(0.0, f64::max)
}

/// How wrong the old setting is where the verification did not reach, by the new
/// table.
fn wrong_beyond(outcome: &Outcome) -> String {
    let beyond = outcome.before_curve.iter();
    let worst = beyond
        .filter(|(load_g, error_e)| *load_g > proved_g(outcome) && error_e.is_finite())
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    match worst {
        Some((load_g, error_e)) if error_e.abs() > 1.0 => {
            let load = number::mass(*load_g, number::resolution_g(outcome.scale.e));
            let size = number::size_e(*error_e);
            format!(", but by the new table it is {size} e wrong at {load}")
        }
        _ => String::new(),
    }
}

fn at_all(loads: usize) -> String {
    match loads {
        1 => "at the one load tried".to_owned(),
        _ => format!("at all {loads} loads"),
    }
}

fn out_of(some: usize, all: usize) -> String {
    match (some, all) {
        (1, 1) => "the one load tried".to_owned(),
        _ if some == all => format!("all {all} loads"),
        _ => format!("{some} of {all} loads"),
    }
}
