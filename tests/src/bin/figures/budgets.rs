//! Figures 1b and 5b of topic proof: budgets against their trials, and the
//! trials' speed beside numpy.

use std::process::Command;

use scalewright_tests::sessions::each;

use crate::commands::{Given, json_of, number};
use crate::row::{Bound, Sheet};

#[path = "../../../../host/metrology/tests/common/set_ups.rs"]
mod set_ups;

/// Set-ups of figure 1b.
const SET_UPS: usize = 100;

/// Prints figure 1b.
pub fn against_trials(sheet: &mut Sheet) {
    Sheet::part("1b  U of the budget beside U of 500,000 trials, random set-ups of a calibration");
    let held = set_ups::where_the_budget_holds(SET_UPS);
    let floor = Bound::AtLeast(SET_UPS as f64);
    let name = "set-ups within JCGM 100 G.6.6";
    sheet.row(name, held.len() as f64, "set-ups", floor, Bound::Beside);
    let name = "  largest disagreement of U";
    match largest_percent(&held) {
        Some(percent) => sheet.row(name, percent, "%", Bound::AtMost(2.0), Bound::Beside),
        None => sheet.failed(name, "a set-up could not be tried"),
    }
    // Where one share outweighs the others, the budget says too much; the
    // report prints both.
    match largest_percent(&set_ups::any(SET_UPS)) {
        Some(percent) => sheet.beside("  the same without that condition", percent, "%"),
        None => sheet.failed(
            "  the same without that condition",
            "one could not be tried",
        ),
    }
}

fn largest_percent(all: &[set_ups::SetUp]) -> Option<f64> {
    let apart = each(all.len() as u64, |at| {
        let one = all.get(usize::try_from(at).ok()?)?;
        Some(100.0 * (set_ups::budget_by_trials(one)? - 1.0).abs())
    });
    let apart: Vec<f64> = apart.into_iter().collect::<Option<_>>()?;
    Some(apart.into_iter().fold(0.0, f64::max))
}

/// Prints figure 5b.
pub fn speed(sheet: &mut Sheet, given: &Given) {
    Sheet::part("5b  200,000 trials of a budget of ten shares beside numpy");
    let found = given.python.as_ref().map_err(Clone::clone);
    let found = found.and_then(|(python, script)| {
        let mut command = Command::new(python);
        json_of(command.arg(script).arg(given.example("monte_carlo_speed")))
    });
    let (times, apart) = (
        "times faster than numpy",
        "answers apart, by what sampling leaves open",
    );
    let found = match found {
        Ok(found) => found,
        Err(why) => {
            sheet.failed(times, &why);
            return sheet.failed(apart, &why);
        }
    };
    let said = |path: &str| {
        let text = found.pointer(path).and_then(serde_json::Value::as_str);
        text.unwrap_or("?").to_owned()
    };
    println!(
        "   (numpy {}, {}, {}; one thread each, least of many runs)",
        said("/version/numpy"),
        said("/numpy/generator"),
        said("/numpy/tails")
    );
    sheet.beside("  our trials", number(&found, "/ours/seconds"), "s");
    sheet.beside(
        "  theirs, normal shares merged as ours",
        number(&found, "/numpy/seconds"),
        "s",
    );
    let (floor, aim) = (Bound::AtLeast(3.0), Bound::AtLeast(10.0));
    sheet.row(times, number(&found, "/ratio"), "times", floor, aim);
    let as_written = number(&found, "/ratio_as_written");
    sheet.beside("  than numpy share by share", as_written, "times");
    let largest = ["mean", "u", "symmetric", "shortest"]
        .map(|what| number(&found, &format!("/agreement/{what}/apart_by_sampling")).abs());
    // f64::max would pass over what is not a number.
    let worst = largest.iter().copied().fold(0.0, f64::max);
    let worst = if largest.iter().any(|one| one.is_nan()) {
        f64::NAN
    } else {
        worst
    };
    sheet.row(apart, worst, "sd", Bound::AtMost(4.0), Bound::Beside);
}
