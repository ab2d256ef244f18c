//! Each test's captures beside their limits.
//!
//! What a rule asks, and whether the test was complete, is
//! [`scalewright_metrology::performance`]'s; here captures become its readings,
//! and its findings rows with their uncertainty.

use scalewright_metrology::performance::{
    CreepRule, Extent, Judgement, LoadReading, LoadedSpell, Nudge, Place, PlaceReading, Purpose,
    Reading, Shortfall, SmallOnBigReadings, TimedReading, Unusable, creep, discrimination,
    eccentricity, repeatability, small_on_big, tare, weighing, zero_return, zero_setting,
};

use super::budgeting::{Stated, ZeroSet};
use super::evaluate::{Judge, verdict_of};
use super::plan::{Doing, PlannedTest};
use super::{Spot, Test};
use crate::record::proof::{ProofRow, TestOutcome, Verdict};
use crate::record::weights::name;
use crate::session::deciding;

/// A test's outcome; `None` when nothing was captured for it.
pub(super) fn of(judge: &Judge<'_>, planned: &PlannedTest) -> Option<TestOutcome> {
    let captures = judge.of(planned.test);
    if captures.is_empty() {
        return None;
    }
    let wanted = planned
        .steps
        .iter()
        .filter(|step| step.doing.captures())
        .count();
    let found = match planned.test {
        Test::Zero => zero(judge, &captures),
        Test::Errors => errors(judge, &captures),
        Test::Repeatability => repeated(judge, &captures),
        Test::Eccentricity => off_centre(judge, &captures),
        Test::Discrimination => nudged(judge, &captures),
        Test::SmallOnBig => on_big(judge, &captures),
        Test::Tare => tared(judge, planned, &captures),
        Test::Creep => crept(judge, planned, &captures),
        Test::WarmUp => warmed(judge, planned, &captures),
    };
    let found = found.unwrap_or_else(|unusable| Found {
        rows: Vec::new(),
        incomplete: vec![unusable.to_string()],
        verdict: Verdict::Open,
    });
    let mut incomplete = found.incomplete;
    let mut verdict = found.verdict;
    if captures.len() < wanted {
        incomplete.push(format!(
            "{} of {wanted} captures were made: the test was not finished",
            captures.len()
        ));
        verdict = verdict.max(Verdict::PassesSoFar);
    }
    Some(TestOutcome {
        test: planned.test.name().into(),
        title: planned.test.title().into(),
        says: says(judge, planned.test, &found.rows, verdict),
        source: source(planned.test).into(),
        remarks: remarks(&found.rows),
        rows: found.rows,
        incomplete,
        verdict,
    })
}

/// Whether the test is fine enough for what it judges.
fn remarks(rows: &[ProofRow]) -> Vec<String> {
    let values = rows.iter().filter_map(|row| {
        let expanded_g = row.expanded_u_g?;
        Some((row.what.as_str(), expanded_g, row.limit_g))
    });
    deciding::fineness(values).into_iter().collect()
}

/// Right after zero-setting: what is left of zero is in the uncertainty.
const AT_ZERO: LoadReading = LoadReading {
    load_g: 0.0,
    reading: Reading {
        indication_g: 0.0,
        added_g: None,
    },
};

struct Found {
    rows: Vec<ProofRow>,
    incomplete: Vec<String>,
    verdict: Verdict,
}

impl Found {
    /// Rows with what the rules say of the whole.
    fn new(rows: Vec<ProofRow>, judgement: Judgement, incomplete: &[Shortfall]) -> Self {
        let worst = rows.iter().map(|row| row.verdict).max();
        let whole = verdict_of(judgement);
        // The decision rule speaks value by value; of the rest the test does.
        let of_rows = worst.unwrap_or(Verdict::Open);
        let verdict = match (of_rows, whole) {
            (Verdict::Passes, Verdict::PassesSoFar) => Verdict::PassesSoFar,
            (Verdict::Passes, Verdict::Open) => Verdict::Open,
            (worst, _) => worst,
        };
        Self {
            rows,
            incomplete: incomplete.iter().map(ToString::to_string).collect(),
            verdict,
        }
    }
}

/// A value beside its limit, decided by the rule.
struct Beside {
    what: String,
    load_g: f64,
    value_g: f64,
    limit_g: f64,
    stated: Stated,
    captures: Vec<usize>,
}

impl Beside {
    fn row(self, judge: &Judge<'_>) -> ProofRow {
        let (verdict, inside) = judge.decide(self.value_g, self.stated, self.limit_g);
        ProofRow {
            what: self.what,
            load_g: self.load_g,
            from_above: false,
            at_s: None,
            value_g: self.value_g,
            limit_g: self.limit_g,
            expanded_u_g: Some(self.stated.expanded_g).filter(|u| u.is_finite()),
            k: Some(self.stated.k).filter(|k| k.is_finite()),
            inside,
            verdict,
            captures: self.captures,
        }
    }
}

fn reading(judge: &Judge<'_>, index: usize) -> Reading {
    Reading::shown(judge.gross_g(index))
}

fn load_reading(judge: &Judge<'_>, index: usize) -> LoadReading {
    LoadReading {
        load_g: judge.captures[index].load.mass_g,
        reading: reading(judge, index),
    }
}

fn zero(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let mut rows = Vec::new();
    let mut worst = Judgement::Passes;
    let mut incomplete = Vec::new();
    for (turn, index) in captures.iter().enumerate() {
        let found = zero_setting(&judge.instrument, load_reading(judge, *index), false)?;
        worst = worst.max(found.judgement);
        incomplete.extend(found.incomplete);
        rows.push(
            Beside {
                what: format!("after setting {}", turn + 1),
                load_g: 0.0,
                value_g: found.error_g,
                limit_g: found.finding.limit_g,
                stated: judge.budgeting.of_difference(&judge.captures[*index].load),
                captures: vec![*index],
            }
            .row(judge),
        );
    }
    Ok(Found::new(rows, worst, &incomplete))
}

fn errors(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let loaded: Vec<usize> = captures
        .iter()
        .copied()
        .filter(|index| judge.captures[*index].load.mass_g > 0.0)
        .collect();
    let loads: Vec<LoadReading> = loaded.iter().map(|i| load_reading(judge, *i)).collect();
    let found = weighing(
        &judge.instrument,
        Some(AT_ZERO),
        &loads,
        Extent::InitialIntrinsicError,
    )?;
    let mut rows = Vec::new();
    for (place, (index, error)) in loaded.iter().zip(&found.errors).enumerate() {
        let capture = &judge.captures[*index];
        let before = place.checked_sub(1).and_then(|before| loaded.get(before));
        let from_above =
            before.is_some_and(|before| capture.load.is_left_of(&judge.captures[*before].load));
        let mut row = Beside {
            what: name(capture.load.mass_g),
            load_g: capture.load.mass_g,
            value_g: error.before_rounding.ec,
            limit_g: error.finding.limit_g,
            stated: judge
                .budgeting
                .stated(&capture.load, ZeroSet::AtTheBeginning),
            captures: vec![*index],
        }
        .row(judge);
        row.from_above = from_above;
        rows.push(row);
    }
    Ok(Found::new(rows, found.judgement, &found.incomplete))
}

fn repeated(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let readings: Vec<Reading> = captures.iter().map(|i| reading(judge, *i)).collect();
    let load = &judge.captures[captures[0]].load;
    let found = repeatability(
        &judge.instrument,
        Some(load.mass_g),
        &readings,
        Purpose::Verification,
    )?;
    let mut rows: Vec<ProofRow> = captures
        .iter()
        .enumerate()
        .map(|(turn, index)| {
            let gross_g = judge.gross_g(*index);
            Beside {
                what: format!("weighing {}", turn + 1),
                load_g: load.mass_g,
                value_g: gross_g - load.mass_g,
                limit_g: judge.permitted_g(load.mass_g),
                stated: judge.budgeting.stated(load, ZeroSet::JustBefore),
                captures: vec![*index],
            }
            .row(judge)
        })
        .collect();
    rows.push(ProofRow {
        what: "largest less smallest".into(),
        load_g: load.mass_g,
        from_above: false,
        at_s: None,
        value_g: found.spread.observed_g,
        limit_g: found.spread.limit_g,
        expanded_u_g: None,
        k: None,
        inside: None,
        verdict: verdict_of(found.spread.judgement),
        captures: captures.to_vec(),
    });
    Ok(Found::new(rows, found.judgement, &found.incomplete))
}

fn place(spot: Spot) -> Place {
    match spot {
        Spot::Middle => Place::Centre,
        Spot::FrontLeft => Place::Segment(1),
        Spot::FarLeft => Place::Segment(2),
        Spot::FarRight => Place::Segment(3),
        Spot::FrontRight => Place::Segment(4),
    }
}

fn off_centre(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let load = judge.captures[captures[0]].load.clone();
    let readings: Vec<PlaceReading> = captures
        .iter()
        .map(|index| PlaceReading {
            place: place(judge.captures[*index].spot),
            reading: reading(judge, *index),
        })
        .collect();
    // A cell that bears the whole pan: the quarters count, as with up to four
    // supports.
    let found = eccentricity(
        &judge.instrument,
        Some(AT_ZERO),
        load.mass_g,
        &readings,
        4,
        0.0,
    )?;
    let rows = captures.iter().zip(&found.errors).map(|(index, error)| {
        Beside {
            what: judge.captures[*index].spot.words().into(),
            load_g: load.mass_g,
            value_g: error.error_g,
            limit_g: error.finding.limit_g,
            stated: judge.budgeting.stated(&load, ZeroSet::AtTheBeginning),
            captures: vec![*index],
        }
        .row(judge)
    });
    Ok(Found::new(
        rows.collect(),
        found.judgement,
        &found.incomplete,
    ))
}

/// Captures in twos: a base, and the same with something on top.
fn pairs(captures: &[usize]) -> Vec<(usize, usize)> {
    captures
        .chunks(2)
        .filter_map(|two| match two {
            [base, both] => Some((*base, *both)),
            _ => None,
        })
        .collect()
}

fn nudged(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let pairs = pairs(captures);
    let nudges: Vec<Nudge> = pairs
        .iter()
        .map(|(base, both)| Nudge {
            load_g: judge.captures[*base].load.mass_g,
            weight_g: judge.captures[*both].load.mass_g - judge.captures[*base].load.mass_g,
            before_g: judge.shown_g(*base),
            after_g: judge.shown_g(*both),
        })
        .collect();
    let found = discrimination(&judge.instrument, &nudges)?;
    let rows: Vec<ProofRow> = pairs
        .iter()
        .zip(&nudges)
        .zip(&found.answers)
        .map(|(((base, both), nudge), answer)| ProofRow {
            what: format!("{} on {}", name(nudge.weight_g), name(nudge.load_g)),
            load_g: nudge.load_g,
            from_above: false,
            at_s: None,
            value_g: answer.moved_g,
            limit_g: answer.asked_g,
            expanded_u_g: None,
            k: None,
            inside: None,
            verdict: verdict_of(answer.judgement),
            captures: vec![*base, *both],
        })
        .collect();
    Ok(Found::new(rows, found.judgement, &found.incomplete))
}

fn on_big(judge: &Judge<'_>, captures: &[usize]) -> Result<Found, Unusable> {
    let Some((alone, rest)) = captures.split_first() else {
        return Ok(Found::new(Vec::new(), Judgement::Open, &[]));
    };
    let small_g = judge.captures[*alone].load.mass_g;
    let mut rows = Vec::new();
    let mut worst = Judgement::Passes;
    for (base, both) in pairs(rest) {
        let big_g = judge.captures[base].load.mass_g;
        let readings = SmallOnBigReadings {
            big: reading(judge, base),
            both: reading(judge, both),
            alone: Some((Reading::shown(0.0), reading(judge, *alone))),
        };
        let found = small_on_big(&judge.instrument, small_g, big_g, &readings)?;
        // A big load that is none by itself is one more, not a gap.
        worst = worst.max(match found.judgement {
            Judgement::PassesSoFar => Judgement::Passes,
            other => other,
        });
        rows.push(
            Beside {
                what: format!("{} on {}", name(small_g), name(big_g)),
                load_g: big_g,
                value_g: found.difference_g,
                limit_g: found.finding.limit_g,
                stated: judge.budgeting.of_difference(&judge.captures[both].load),
                captures: vec![*alone, base, both],
            }
            .row(judge),
        );
    }
    Ok(Found::new(rows, worst, &[]))
}

fn tared(judge: &Judge<'_>, planned: &PlannedTest, captures: &[usize]) -> Result<Found, Unusable> {
    let Some((first, rest)) = captures.split_first() else {
        return Ok(Found::new(Vec::new(), Judgement::Open, &[]));
    };
    let container = (planned.steps.iter())
        .find(|step| step.doing == Doing::Tare)
        .map_or(0.0, |step| step.load.mass_g);
    // The scale's own tare is rounded like its masses; what it took for the
    // container is what it said of it.
    let container_reads_g = judge.gross_g(*first);
    let net = |index: usize| LoadReading {
        load_g: judge.captures[index].load.mass_g - container,
        reading: Reading::shown(judge.gross_g(index) - container_reads_g),
    };
    let after = LoadReading {
        load_g: 0.0,
        reading: Reading::shown(judge.shown_g(*first)),
    };
    let loads: Vec<LoadReading> = rest.iter().map(|index| net(*index)).collect();
    let found = tare(&judge.instrument, container, after, &loads)?;
    let mut rows = vec![
        Beside {
            what: "right after taring".into(),
            load_g: container,
            value_g: found.setting_error_g,
            limit_g: found.setting.limit_g,
            stated: judge.budgeting.of_difference(&judge.captures[*first].load),
            captures: vec![*first],
        }
        .row(judge),
    ];
    for (index, error) in rest.iter().zip(&found.net_errors) {
        rows.push(
            Beside {
                what: format!("{} in it", name(error.load_g)),
                load_g: error.load_g,
                value_g: error.before_rounding.ec,
                limit_g: error.finding.limit_g,
                stated: judge
                    .budgeting
                    .stated(&judge.captures[*index].load, ZeroSet::AtTheBeginning),
                captures: vec![*first, *index],
            }
            .row(judge),
        );
    }
    Ok(Found::new(rows, found.judgement, &found.incomplete))
}

fn crept(judge: &Judge<'_>, planned: &PlannedTest, captures: &[usize]) -> Result<Found, Unusable> {
    let staying = |index: &&usize| {
        let step = planned.steps.get(judge.captures[**index].step);
        step.is_some_and(|step| matches!(step.doing, Doing::CaptureAfter { .. }))
    };
    let lying: Vec<usize> = captures.iter().filter(staying).copied().collect();
    let Some(first) = lying.first() else {
        return Ok(Found::new(Vec::new(), Judgement::Open, &[]));
    };
    let load = judge.captures[*first].load.clone();
    let timed: Vec<TimedReading> = lying
        .iter()
        .map(|index| TimedReading {
            at_s: judge.captures[*index].rested_s,
            reading: reading(judge, *index),
        })
        .collect();
    let found = creep(&judge.instrument, load.mass_g, &timed, CreepRule::Scale)?;
    let mut incomplete = found.incomplete.clone();
    let mut worst = found.judgement;
    let first_g = judge.gross_g(*first);
    let mut rows: Vec<ProofRow> = lying
        .iter()
        .skip(1)
        .map(|index| {
            let at_s = judge.captures[*index].rested_s;
            let mut row = Beside {
                what: format!("after {:.0} min", at_s / 60.0),
                load_g: load.mass_g,
                value_g: judge.gross_g(*index) - first_g,
                limit_g: found.half_hour.limit_g,
                stated: judge.of_change(*first, *index),
                captures: vec![*first, *index],
            }
            .row(judge);
            row.at_s = Some(at_s);
            row
        })
        .collect();
    let (before, after) = (captures.first(), captures.last());
    let empty = |index: &&usize| judge.captures[**index].load.weights.is_empty();
    if let (Some(before), Some(after), Some(last)) =
        (before.filter(empty), after.filter(empty), lying.last())
        && before != after
    {
        let capture = &judge.captures[*after];
        let returned = zero_return(
            &judge.instrument,
            LoadedSpell {
                load_g: load.mass_g,
                lasted_s: judge.captures[*last].rested_s,
            },
            reading(judge, *before),
            TimedReading {
                at_s: capture.rested_s,
                reading: reading(judge, *after),
            },
        )?;
        worst = worst.max(returned.judgement);
        incomplete.extend(returned.incomplete);
        rows.push(
            Beside {
                what: "zero after it".into(),
                load_g: 0.0,
                value_g: returned.change_g,
                limit_g: returned.finding.limit_g,
                stated: judge.of_change(*before, *after),
                captures: vec![*before, *after],
            }
            .row(judge),
        );
    }
    incomplete.dedup();
    Ok(Found::new(rows, worst, &incomplete))
}

/// What the scale says while it warms up: the same load, less zero beside it,
/// must keep the permissible error at any time (OIML R 76-1 A.5.2, from memory).
fn warmed(judge: &Judge<'_>, planned: &PlannedTest, captures: &[usize]) -> Result<Found, Unusable> {
    let mut rows = Vec::new();
    for (empty, loaded) in pairs(captures) {
        let load = &judge.captures[loaded].load;
        let step = planned.steps.get(judge.captures[loaded].step);
        let seconds = match step.map(|step| step.doing) {
            Some(Doing::CaptureOn { seconds }) => seconds,
            _ => 0,
        };
        let mut row = Beside {
            what: match seconds {
                0 => "at once".into(),
                seconds => format!("after {} min", seconds / 60),
            },
            load_g: load.mass_g,
            value_g: judge.gross_g(loaded) - judge.gross_g(empty) - load.mass_g,
            limit_g: judge.permitted_g(load.mass_g),
            stated: judge.budgeting.stated(load, ZeroSet::JustBefore),
            captures: vec![empty, loaded],
        }
        .row(judge);
        row.at_s = Some(judge.captures[loaded].at_s);
        rows.push(row);
    }
    let incomplete: Vec<Shortfall> = match rows.last().and_then(|row| row.at_s) {
        Some(at_s) if at_s < 1740.0 => vec![Shortfall::TimeTooShort {
            lasted_s: at_s,
            asked_s: 1800.0,
        }],
        _ => Vec::new(),
    };
    let judgement = match incomplete.is_empty() {
        true => Judgement::Passes,
        false => Judgement::PassesSoFar,
    };
    Ok(Found::new(rows, judgement, &incomplete))
}

/// One sentence: the value nearest to its limit.
fn says(judge: &Judge<'_>, test: Test, rows: &[ProofRow], verdict: Verdict) -> String {
    let nearest = rows.iter().filter(|row| row.limit_g > 0.0).max_by(|a, b| {
        let share = |row: &ProofRow| (row.value_g / row.limit_g).abs();
        share(a).total_cmp(&share(b))
    });
    let e_g = judge.plan.scale.e_g;
    let Some(row) = nearest else {
        return format!("{} {}", test.title(), verdict.words());
    };
    let value = format!(
        "{:.2} e ({:.2} g)",
        row.value_g.abs() / e_g,
        row.value_g.abs()
    );
    let limit = format!("{:.2} e", row.limit_g / e_g);
    match test {
        Test::Discrimination => format!(
            "the indication moved by {:.2} g where {:.2} g are asked for ({})",
            row.value_g, row.limit_g, row.what
        ),
        Test::Repeatability => format!("at most {value} of {limit} permitted ({})", row.what),
        _ => format!("at most {value} of {limit} permitted, {}", row.what),
    }
}

const fn source(test: Test) -> &'static str {
    match test {
        Test::Zero => "OIML R 76-1:2006, 4.5.2 and A.4.2.3",
        Test::Errors => "OIML R 76-1:2006, A.4.4 (the loads from memory)",
        Test::Repeatability => "OIML R 76-1:2006, 3.6.1 and A.4.10 (numbers from memory)",
        Test::Eccentricity => "OIML R 76-1:2006, 3.6.2 and A.4.7 (places from memory)",
        Test::Discrimination => "OIML R 76-1:2006, 3.8.2.2 and A.4.8 (from memory)",
        Test::SmallOnBig => "common practice",
        Test::Tare => "OIML R 76-1:2006, 4.6.3 and A.4.6 (from memory)",
        Test::Creep => "OIML R 76-1:2006, 3.9.4 and A.4.11 (from memory)",
        Test::WarmUp => "OIML R 76-1:2006, 5.3.5 and A.5.2 (from memory)",
    }
}
