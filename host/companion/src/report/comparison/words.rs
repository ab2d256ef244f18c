//! What both reports say in words.

use crate::record::comparison::{ComparedLoad, ComparisonRecord, ErrorLine, SideLine};
use crate::record::proof::Verdict;
use crate::report::number;

/// A mass, to a hundredth of e.
pub(super) fn mass(record: &ComparisonRecord, mass_g: f64) -> String {
    number::mass(mass_g, number::resolution_g(record.scale.e))
}

/// A size in g, without sign.
pub(super) fn size(record: &ComparisonRecord, size_g: f64) -> String {
    format!("{} g", number::size_g(size_g, record.scale.e))
}

/// The permitted error at a load by the corners of the band, g; `None` where
/// they don't reach.
pub(super) fn permitted_g(record: &ComparisonRecord, load_g: f64) -> Option<f64> {
    record.band.chunks(2).find_map(|stretch| match stretch {
        [from, to] if load_g <= to.load_g => {
            let share = (load_g - from.load_g) / (to.load_g - from.load_g);
            let share = if share.is_finite() {
                share.clamp(0.0, 1.0)
            } else {
                1.0
            };
            Some(from.permitted_g + share * (to.permitted_g - from.permitted_g))
        }
        _ => None,
    })
}

/// The answer first: the weight; else what the tolerance makes of both; a
/// difference that shows and is permitted comes second.
pub(super) fn headline(record: &ComparisonRecord) -> String {
    if let Some(text) = weight(record) {
        return text;
    }
    let keeps = |verdict: Verdict| matches!(verdict, Verdict::Passes | Verdict::PassesSoFar);
    let (ours, theirs) = (&record.ours, &record.theirs);
    let first = match (keeps(ours.verdict), keeps(theirs.verdict)) {
        (true, true) => "Both keep the tolerance.".to_owned(),
        (true, false) => format!(
            "{} keeps the tolerance, {} {}.",
            ours.name,
            theirs.name,
            lacks(theirs.verdict)
        ),
        (false, true) => format!(
            "{} keeps the tolerance, {} {}.",
            theirs.name,
            ours.name,
            lacks(ours.verdict)
        ),
        (false, false) => match ours.verdict.max(theirs.verdict) {
            Verdict::Fails if ours.verdict == theirs.verdict => {
                "Both break the tolerance.".to_owned()
            }
            _ => "Neither is shown to keep the tolerance.".to_owned(),
        },
    };
    format!("{first} {}", record.importance)
}

const fn lacks(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fails => "breaks it",
        _ => "can't be judged",
    }
}

/// The weight that both find wrong.
pub(super) fn weight(record: &ComparisonRecord) -> Option<String> {
    let found = record.weight.as_ref()?;
    let way = if found.off_g < 0.0 { "light" } else { "heavy" };
    let names = found.names.join(" or ");
    Some(format!(
        "A weight rather than either scale: {names} is {} too {way}.",
        size(record, found.off_g)
    ))
}

/// How it is known that it is the weight.
pub(super) fn weight_why(record: &ComparisonRecord) -> Option<String> {
    let found = record.weight.as_ref()?;
    let each = found.each_g.map(|g| number::error_g(g, record.scale.e));
    let several = match found.names.len() {
        0 | 1 => String::new(),
        _ => " These loads don't tell the names apart: weigh them one by one.".into(),
    };
    Some(format!(
        "Both scales move alike wherever it lies, by {} g on {} and {} g on {} (together ± {}, k = 2). Check it on a better scale, then correct the weights file and compare again.{several}",
        each[0],
        record.ours.name,
        each[1],
        record.theirs.name,
        size(record, found.expanded_u_g),
    ))
}

/// What a scale is worth against the tolerance.
pub(super) fn side(
    record: &ComparisonRecord,
    side: &SideLine,
    of: fn(&ComparedLoad) -> &ErrorLine,
) -> String {
    let all = record.rows.len();
    let count = |verdict: Verdict| {
        record
            .rows
            .iter()
            .filter(|row| of(row).verdict == verdict)
            .count()
    };
    let (kept, fails) = (count(Verdict::Passes), count(Verdict::Fails));
    let said = match (fails, all - kept - fails) {
        (0, 0) => format!("keeps the tolerance at all {}", loads(all)),
        (0, open) => format!(
            "keeps it at {kept} of {}; at {open} it can't be told",
            loads(all)
        ),
        (fails, _) => format!("breaks the tolerance at {fails} of {}", loads(all)),
    };
    let largest = side.largest.map_or_else(String::new, |worst| {
        format!(
            "; at worst {} g of ±{} at {}",
            number::error_g(worst.error_g, record.scale.e),
            size(record, worst.permitted_g),
            mass(record, worst.load_g)
        )
    });
    let without = match side.verdict_without {
        Some(verdict) if verdict != side.verdict => {
            format!(
                "; without the loads that hold the wrong weight it {}",
                verdict_words(verdict)
            )
        }
        _ => String::new(),
    };
    format!("{} {said}{largest}{without}.", side.name)
}

fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Passes | Verdict::PassesSoFar => "keeps it",
        Verdict::Open => "can't be judged",
        Verdict::Fails => "still breaks it",
    }
}

fn loads(count: usize) -> String {
    match count {
        1 => "1 load".into(),
        _ => format!("{count} loads"),
    }
}

/// Mean difference and limits of agreement.
pub(super) fn agreement(record: &ComparisonRecord) -> String {
    let Some(found) = &record.agreement else {
        return "Fewer than three loads: no mean difference is stated.".into();
    };
    let e_g = record.scale.e;
    let g = |value: f64| number::error_g(value, e_g);
    let [bias, low, high] = found.bias_g;
    format!(
        "On average {} reads {} g {} {} (95 %: {} to {} g); 95 % of single differences lie between {} and {} g, as far as they don't depend on the load.",
        record.ours.name,
        number::size_g(bias, e_g),
        if bias < 0.0 { "below" } else { "above" },
        record.theirs.name,
        g(low),
        g(high),
        g(found.lower_g[0]),
        g(found.upper_g[0]),
    )
}

/// By what both are judged.
pub(super) fn judged(record: &ComparisonRecord) -> String {
    let intervals = match record.their_e_g {
        None => format!("e = {} for both", mass(record, record.scale.e)),
        Some(e_g) => format!(
            "e = {} for {} and e = {} for {}",
            mass(record, record.scale.e),
            record.ours.name,
            mass(record, e_g),
            record.theirs.name
        ),
    };
    format!(
        "Both are judged by {}, with {intervals} ({}). Source: {}.",
        record.scheme, record.rule, record.scheme_source
    )
}

/// Where the uncertainties come from.
pub(super) fn uncertainties(record: &ComparisonRecord) -> String {
    format!(
        "U: expanded uncertainty, k = 2. {}: {}. {}: {}. The weights lay on both, so their uncertainty is in the errors and not in the differences. E_n: difference over its U; within ±1 they agree.",
        record.ours.name, record.ours.uncertainty, record.theirs.name, record.theirs.uncertainty
    )
}

/// Loads of one scale only, in one sentence a side.
pub(super) fn unpaired(record: &ComparisonRecord) -> Vec<String> {
    let of = |ours: bool| {
        let all = record.unpaired.iter().filter(|one| one.ours == ours);
        let all: Vec<String> = all
            .map(|one| match one.line {
                Some(line) => format!("{} (line {line})", one.what),
                None => one.what.clone(),
            })
            .collect();
        all.join(", ")
    };
    let mut out = Vec::new();
    for (ours, has, lacks) in [
        (true, &record.ours.name, &record.theirs.name),
        (false, &record.theirs.name, &record.ours.name),
    ] {
        let list = of(ours);
        if !list.is_empty() {
            out.push(format!(
                "Only {has} had {list}: not compared, since {lacks} did not."
            ));
        }
    }
    out
}

/// What is permitted at a load, g; of both where that differs.
pub(super) fn limits(row: &ComparedLoad, places: usize) -> String {
    let each = [row.ours.permitted_g, row.theirs.permitted_g];
    match each {
        [ours, theirs] if ours == theirs => number::trimmed(ours, places),
        each => each.map(|g| number::trimmed(g, places)).join(" / "),
    }
}

/// A verdict as a mark, doubled by a word in the legend of each report.
pub(super) fn mark(verdict: Verdict, ascii: bool) -> &'static str {
    match (verdict, ascii) {
        (Verdict::Passes | Verdict::PassesSoFar, false) => "\u{2713}",
        (Verdict::Passes | Verdict::PassesSoFar, true) => "ok",
        (Verdict::Open, _) => "?",
        (Verdict::Fails, false) => "\u{2717}",
        (Verdict::Fails, true) => "no",
    }
}
