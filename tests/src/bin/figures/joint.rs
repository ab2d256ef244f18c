//! The figures of the joint solution of a session.

use std::process::Command;

use serde_json::Value;

use crate::commands::{Given, json_of, number};
use crate::row::{Bound, Sheet};

/// Prints figure 6: the solution beside numpy and scipy, and a plan.
pub fn speed(sheet: &mut Sheet, given: &Given) {
    Sheet::part("6  200 captures, 32 knots, 20 weights: solved beside numpy and scipy");
    let found = given.python.as_ref().map_or_else(
        |why| Err(why.clone()),
        |(python, script)| {
            let mut command = Command::new(python);
            json_of(command.arg(script).arg(given.example("joint_speed")))
        },
    );
    let (times, apart) = (
        "times faster than numpy/scipy",
        "largest relative difference of the answers",
    );
    match &found {
        Ok(found) => {
            let version = |name: &str| found["version"][name].as_str().unwrap_or("?").to_owned();
            let (numpy, scipy) = (version("numpy"), version("scipy"));
            println!("   (numpy {numpy}, scipy {scipy}; one thread each, least of many runs)");
            sheet.beside("  unknowns", number(found, "/unknowns"), "-");
            sheet.beside("  scatters averaged", number(found, "/scatters"), "-");
            sheet.beside("  our solution", number(found, "/ours/seconds"), "s");
            sheet.beside("  theirs", number(found, "/numpy/seconds"), "s");
            let ratio = number(found, "/ratio");
            let (floor, aim) = (Bound::AtLeast(3.0), Bound::AtLeast(10.0));
            sheet.row(times, ratio, "times", floor, aim);
            let largest = number(found, "/agreement/largest");
            sheet.row(apart, largest, "-", Bound::AtMost(1e-9), Bound::Beside);
            let by_u = number(found, "/agreement/values_by_u");
            sheet.beside("  of a value, by its own uncertainty", by_u, "u");
        }
        Err(why) => {
            sheet.failed(times, why);
            sheet.failed(apart, why);
        }
    }
    let name = "plan search over 10 weights";
    // Ours alone: it needs no Python.
    let alone = || json_of(&mut Command::new(given.example("joint_speed")));
    match found.or_else(|_| alone()) {
        Ok(found) => plan(sheet, name, &found),
        Err(why) => sheet.failed(name, &why),
    }
}

fn plan(sheet: &mut Sheet, name: &str, found: &Value) {
    let seconds = number(found, "/plan/seconds");
    sheet.row(name, seconds, "s", Bound::AtMost(2.0), Bound::Beside);
}
