//! From what was kept of a verification to how it was made.

use jiff::{SignedDuration, Timestamp};
use scalewright_metrology::weights::WeightClass;

use super::entry::{self, ProofEntry};
use super::plan::ProofPlan;
use crate::record::performed::{Performed, Unfinished, UsedWeight, UsedWorth};
use crate::record::weights::class_mpe_g;
use crate::session::plan::{Known, PlannedWeight};

/// How a verification was made.
///
/// The file holds a date for each beginning and going on, none for the end; the
/// last day is that of the latest such date and the scale's own time from the
/// first to the last capture after it. So it may miss midnight by the seconds
/// before the first capture, not by more.
///
/// # Errors
/// Why that can't be told, in plain words.
pub fn performed(entries: &[ProofEntry]) -> Result<Performed, String> {
    let Some(ProofEntry::ProofBegan { plan, date, .. }) = entries.first() else {
        return Err("this is not the beginning of a verification".into());
    };
    let began = moment(date)?;
    let (ended, rest) = last_stretch(entries, began)?;
    let times_s: Vec<f64> = rest
        .iter()
        .filter_map(|entry| match entry {
            ProofEntry::Captured(capture) => Some(capture.at_s),
            _ => None,
        })
        .collect();
    let lasted_s = match (times_s.first(), times_s.last()) {
        (Some(first), Some(last)) => last - first,
        _ => 0.0,
    };
    let lasted = SignedDuration::try_from_secs_f64(lasted_s.max(0.0)).unwrap_or_default();
    let ended = ended.checked_add(lasted).unwrap_or(ended);
    Ok(Performed {
        began: began.to_string(),
        first_day: day(began),
        last_day: day(ended),
        unfinished: unfinished(plan, entries),
        weights: weights(plan, entries),
    })
}

fn moment(date: &str) -> Result<Timestamp, String> {
    date.parse()
        .map_err(|_| format!("the file gives no date of the verification: \"{date}\" is none"))
}

/// The latest date and what was kept after it.
fn last_stretch(
    entries: &[ProofEntry],
    began: Timestamp,
) -> Result<(Timestamp, &[ProofEntry]), String> {
    let mut latest = (began, entries);
    for (index, entry) in entries.iter().enumerate() {
        if let ProofEntry::Resumed { date } = entry {
            latest = (moment(date)?, entries.get(index..).unwrap_or_default());
        }
    }
    Ok(latest)
}

fn day(moment: Timestamp) -> String {
    moment.to_string().chars().take(10).collect()
}

fn unfinished(plan: &ProofPlan, entries: &[ProofEntry]) -> Vec<Unfinished> {
    let done = entry::finished(plan, entries);
    let kept = entry::captures(entries);
    let open = plan.tests.iter().filter(|one| !done.contains(&one.test));
    open.map(|one| Unfinished {
        title: one.test.title().into(),
        made: kept
            .iter()
            .filter(|capture| capture.test == one.test)
            .count(),
        planned: one
            .steps
            .iter()
            .filter(|step| step.doing.captures())
            .count(),
    })
    .collect()
}

fn weights(plan: &ProofPlan, entries: &[ProofEntry]) -> Vec<UsedWeight> {
    let kept = entry::captures(entries);
    let lay = |weight: &&PlannedWeight| {
        kept.iter()
            .any(|capture| capture.load.weights.contains(&weight.id))
    };
    plan.weights.iter().filter(lay).map(used).collect()
}

fn used(weight: &PlannedWeight) -> UsedWeight {
    let limit_g = weight.may_be_off_g();
    UsedWeight {
        id: weight.id.clone(),
        mass_g: weight.mass_g,
        worth: match weight.known {
            Known::Class => UsedWorth::Within {
                limit_g,
                class: class_of(weight.mass_g, limit_g),
            },
            Known::Stated | Known::Not => UsedWorth::Stated {
                expanded_g: limit_g,
            },
        },
        density_kg_m3: weight.density_kg_m3,
    }
}

/// The class whose tolerance this is at this mass. A plan keeps limits, not
/// classes; the tolerances of two classes are never the same (OIML R 111-1:2004,
/// table 1), so the limit tells the class.
fn class_of(mass_g: f64, limit_g: f64) -> Option<String> {
    let classes = [
        WeightClass::E2,
        WeightClass::F1,
        WeightClass::F2,
        WeightClass::M1,
        WeightClass::M2,
        WeightClass::M3,
    ];
    let names = classes.map(|class| class.to_string());
    let of = |name: &String| class_mpe_g(name, mass_g).map(|(_, mpe_g)| mpe_g);
    names
        .into_iter()
        .find(|name| of(name).is_ok_and(|mpe_g| (mpe_g - limit_g).abs() <= 1e-6 * mpe_g))
}
