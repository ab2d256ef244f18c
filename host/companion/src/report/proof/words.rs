//! What both reports of a verification say in words: the verdict, the facts,
//! the numbers of a row.
//!
//! Guarantees: true of a record with gaps; a row without a number or a limit is
//! neither passed nor failed, whatever its record says.

use super::{Kind, in_use};
use crate::record::proof::{Proof, ProofRow, TestOutcome, Verdict};
use crate::report::number;
use crate::report::words::{self, or_unknown};

/// From so many captures on, a row says how many and not which.
const MOST_PLACES: usize = 6;

/// What the scale is worth, in one sentence.
pub(in crate::report) fn headline(proof: &Proof) -> String {
    let by = or_unknown(&proof.scheme);
    let of = proof.tests.len();
    if of == 0 {
        return format!("No test was made, so what this scale is worth by {by} can't be told.");
    }
    let all = match of {
        1 => "the one test made".to_owned(),
        _ => format!("all {of} tests made"),
    };
    let verdict = verdict(proof);
    let said = match verdict {
        Verdict::Passes => format!("this scale passes {all}"),
        Verdict::PassesSoFar => format!(
            "this scale passes so far: nothing speaks against it, but {}",
            match some(proof, verdict) {
                Some((1, names)) => format!("one test was not complete ({names})"),
                Some((many, names)) => format!("{many} of {of} tests were not complete ({names})"),
                None => "not everything was complete".to_owned(),
            }
        ),
        Verdict::Open => match some(proof, verdict) {
            Some((_, names)) => format!(
                "it can't be told whether this scale passes: what was captured allows both in {names}"
            ),
            None => "it can't be told whether this scale passes".to_owned(),
        },
        Verdict::Fails => match some(proof, verdict) {
            Some((many, names)) => format!("this scale fails {many} of {of} tests ({names})"),
            None => "this scale fails".to_owned(),
        },
    };
    format!("Judged by {by}, {said}.")
}

/// The largest error of indication by what is permitted, in one sentence.
pub(in crate::report) fn largest(proof: &Proof) -> Option<String> {
    let (_, row) = nearest(proof, |test| Kind::of(test) == Kind::Errors)?;
    Some(format!(
        "Its error of indication nearest to the limit is {} at {}, where ±{} is permitted.",
        with_unit(value(row.value_g, proof).replace('-', "\u{2212}")),
        load(row, proof),
        with_unit(limit(row.limit_g, proof)),
    ))
}

/// How many tests have a verdict, and their names; `None` for none.
fn some(proof: &Proof, verdict: Verdict) -> Option<(usize, String)> {
    let names: Vec<String> = proof
        .tests
        .iter()
        .filter(|test| test.verdict == verdict)
        .map(title)
        .collect();
    (!names.is_empty()).then(|| (names.len(), names.join("; ")))
}

/// The verdict over all: never better than that of the worst test.
pub(in crate::report) fn verdict(proof: &Proof) -> Verdict {
    let tests = proof.tests.iter().map(|test| test.verdict);
    tests.fold(proof.verdict, Verdict::max)
}

/// A verdict with a mark that reads without colour.
pub(in crate::report) fn marked(verdict: Verdict, ascii: bool) -> &'static str {
    match (verdict, ascii) {
        (Verdict::Passes, false) => "✓ passes",
        (Verdict::PassesSoFar, false) => "(✓) passes so far",
        (Verdict::Open, _) => "? can't be told",
        (Verdict::Fails, false) => "✗ fails",
        (Verdict::Passes, true) => "+ passes",
        (Verdict::PassesSoFar, true) => "(+) passes so far",
        (Verdict::Fails, true) => "x FAILS",
    }
}

/// The same of a row.
pub(in crate::report) fn row_marked(row: &ProofRow, ascii: bool) -> &'static str {
    match is_sound(row) {
        true => marked(row.verdict, ascii),
        false => "? unknown",
    }
}

/// Whether a row has a value and a limit.
pub(in crate::report) fn is_sound(row: &ProofRow) -> bool {
    row.value_g.is_finite() && row.limit_g.is_finite()
}

/// The title of a test, or its name, or "unknown".
pub(in crate::report) fn title(test: &TestOutcome) -> String {
    match test.title.trim() {
        "" => words::capital(&or_unknown(&test.test)),
        title => title.to_owned(),
    }
}

/// What a row is, with the way its load was reached.
pub(in crate::report) fn what(row: &ProofRow, ascii: bool) -> String {
    format!(
        "{}{}",
        or_unknown(&row.what),
        words::way(row.from_above, ascii)
    )
}

/// The row's load, as "2 kg".
pub(in crate::report) fn load(row: &ProofRow, proof: &Proof) -> String {
    number::mass(row.load_g, number::resolution_g(proof.scale.e))
}

/// Whether the loads say more than the names of the rows do.
pub(in crate::report) fn loads_differ_from_names(test: &TestOutcome, proof: &Proof) -> bool {
    test.rows
        .iter()
        .any(|row| row.what.trim() != load(row, proof))
}

/// Whether the times of the rows say more than the names do.
pub(in crate::report) fn times_differ_from_names(test: &TestOutcome) -> bool {
    let mut timed = test.rows.iter().filter(|row| row.at_s.is_some());
    timed.any(|row| !row.what.trim().starts_with("after"))
}

/// Whether any row of a test tells an uncertainty.
pub(in crate::report) fn has_uncertainty(test: &TestOutcome) -> bool {
    let told = |row: &ProofRow| row.expanded_u_g.or(row.k).or(row.inside);
    test.rows.iter().any(|row| told(row).is_some())
}

/// Why nothing stands where the budget of the errors would.
pub(in crate::report) fn no_budget(proof: &Proof) -> &'static str {
    match proof.tests.iter().any(has_uncertainty) {
        true => {
            "Load by load it was not evaluated: that comes with the test errors. Each U above is \
             of its own test."
        }
        false => "No uncertainty was evaluated: that means unknown, not small.",
    }
}

/// A value in g with its sign, without unit.
pub(in crate::report) fn value(value_g: f64, proof: &Proof) -> String {
    number::signed(value_g, places(value_g, proof))
}

/// A size in g without sign and unit.
pub(in crate::report) fn size(size_g: f64, proof: &Proof) -> String {
    number::fixed(size_g.abs(), places(size_g, proof))
}

/// A limit in g: as [`size`], without zeros at its end.
pub(in crate::report) fn limit(limit_g: f64, proof: &Proof) -> String {
    number::trimmed(limit_g.abs(), places(limit_g, proof))
}

/// A value in e; "-" where there is no e.
pub(in crate::report) fn in_e(value_g: f64, proof: &Proof) -> String {
    let value_e = value_g / proof.scale.e;
    match value_e.is_finite() {
        true => number::error_e(value_e),
        false => "-".to_owned(),
    }
}

/// Decimals: a hundredth of e, or three digits where e is not known.
fn places(value_g: f64, proof: &Proof) -> usize {
    let e_g = proof.scale.e;
    match e_g.is_finite() && e_g > 0.0 {
        true => number::decimals(number::resolution_g(e_g)),
        false => number::decimals(value_g.abs() / 100.0),
    }
}

fn with_unit(number: String) -> String {
    match number.as_str() {
        number::UNKNOWN => number,
        _ => format!("{number} g"),
    }
}

/// A number that may be absent, "-" then.
pub(in crate::report) fn or_dash(value: Option<f64>, say: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| "-".to_owned(), say)
}

/// A probability in percent; never rounded to certainty.
pub(in crate::report) fn inside(probability: Option<f64>) -> String {
    or_dash(probability, |p| match p {
        _ if !p.is_finite() => number::UNKNOWN.to_owned(),
        0.999.. => "> 99.9 %".to_owned(),
        ..0.001 => "< 0.1 %".to_owned(),
        _ => format!("{} %", number::fixed(100.0 * p, 1)),
    })
}

/// A coverage factor.
pub(in crate::report) fn coverage(k: Option<f64>) -> String {
    or_dash(k, |k| number::fixed(k, 2))
}

/// The captures a row rests on, counted from 1 as the list of captures is.
pub(in crate::report) fn captures(row: &ProofRow) -> String {
    match row.captures.as_slice() {
        [] => "-".to_owned(),
        all if all.len() > MOST_PLACES => format!("{} of them", all.len()),
        all => {
            let each = all.iter().map(|at| at.saturating_add(1).to_string());
            each.collect::<Vec<_>>().join(", ")
        }
    }
}

/// The row whose size is largest by what is permitted, among the tests asked
/// for, and its test.
pub(in crate::report) fn nearest(
    proof: &Proof,
    among: impl Fn(&TestOutcome) -> bool,
) -> Option<(&TestOutcome, &ProofRow)> {
    let tests = proof.tests.iter().filter(|test| among(test));
    let rows = tests.flat_map(|test| test.rows.iter().map(move |row| (test, row)));
    let share = |row: &ProofRow| (row.value_g / row.limit_g).abs();
    rows.filter(|(_, row)| is_sound(row) && share(row).is_finite())
        .max_by(|a, b| share(a.1).total_cmp(&share(b.1)))
}

/// Label and value of everything that was fixed before the first load.
pub(in crate::report) fn facts(proof: &Proof) -> Vec<(&'static str, String)> {
    let (device, table) = (&proof.device, &proof.table);
    let loop_g = table.hysteresis_taken_off_g;
    let hysteresis = match loop_g {
        0.0 => "no hysteresis taken off".to_owned(),
        _ if loop_g.is_finite() => format!(
            "a hysteresis of {} g taken off",
            number::significant(loop_g, 2)
        ),
        _ => "hysteresis taken off: unknown".to_owned(),
    };
    let points = match table.points.len() {
        0 => "no points on record".to_owned(),
        1 => "1 point".to_owned(),
        many => format!("{many} points"),
    };
    let resumed: Vec<String> = proof.resumed.iter().map(|date| words::date(date)).collect();
    let mut facts = vec![
        ("Scale", words::scale(&proof.scale)),
        (
            "Device",
            format!(
                "{} on {}, firmware {}, wire version {}",
                or_unknown(&device.id),
                or_unknown(&device.board),
                or_unknown(&device.firmware),
                device.wire_version
            ),
        ),
        (
            "Table",
            format!(
                "checksum (CRC-32) {}, change number {}, {points}, {hysteresis}",
                or_unknown(&table.checksum),
                table.sequence
            ),
        ),
    ];
    if table.zero_tracking {
        let still = "follows drift in use; it stood still during the tests";
        facts.push(("Zero", still.to_owned()));
    }
    facts.extend([
        ("Judged by", or_unknown(&proof.scheme)),
        ("That stands in", or_unknown(&proof.scheme_source)),
        ("Decision rule", or_unknown(&proof.rule)),
        ("Date", words::date(&proof.date)),
    ]);
    facts.extend(in_use::surroundings(proof).map(|noted| ("Surroundings", noted)));
    if !resumed.is_empty() {
        facts.push(("Went on", resumed.join("; ")));
    }
    facts
}

/// What a rehearsal must say of itself; `None` on real hardware.
pub(in crate::report) fn rehearsal(proof: &Proof) -> Option<String> {
    let what = words::bench(proof.seed, proof.device.is_bench())?;
    Some(format!("{what}: no real scale was tried."))
}

/// What was not tested: tests left out with the reason, then what a
/// verification of this kind does not try.
pub(in crate::report) fn not_tested(proof: &Proof) -> Vec<String> {
    let left_out = proof.left_out.iter().map(|(test, why)| {
        let why = match why.trim() {
            "" => "no reason is on record",
            why => why,
        };
        format!(
            "{}, left out: {why}",
            words::capital(&or_unknown(&test.replace('-', " ")))
        )
    });
    left_out.chain(proof.not_tested.iter().cloned()).collect()
}
