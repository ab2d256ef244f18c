//! Figures 3 to 5: what the companion's command and the fit take, measured by
//! running them.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use serde_json::Value;

use crate::row::{Bound, Sheet};

/// How far one sum of squares may lie above another and still be the same
/// minimum: loads near 3e6 are rounded to 5e-10, residuals are near 300, so the
/// sums of two programs agree to some 1e-12 at best.
const SAME_SUM: f64 = 2e-12;

/// Runs `command` and reads the JSON object it prints; what went wrong, else.
pub fn json_of(command: &mut Command) -> Result<Value, String> {
    let output = command.output().map_err(|fault| fault.to_string())?;
    // A verdict of "fail" has an exit code of its own and is no fault here.
    serde_json::from_slice(&output.stdout).map_err(|_| {
        let said = String::from_utf8_lossy(&output.stderr);
        let last = said.lines().last().unwrap_or("nothing").to_owned();
        format!("no JSON came, {}; it said: {last}", output.status)
    })
}

/// A number of it; not a number where there is none.
pub fn number(value: &Value, path: &str) -> f64 {
    value
        .pointer(path)
        .and_then(Value::as_f64)
        .unwrap_or(f64::NAN)
}

/// The programs to run and what was measured before.
pub struct Given {
    /// The folder of built programs.
    pub built: PathBuf,
    /// Seconds the build from scratch took, or why it is not known.
    pub build_s: Option<Result<f64, String>>,
    /// Python that has the package to compare with, and the script, or why not.
    pub python: Result<(PathBuf, PathBuf), String>,
    /// Why there are no images of the boards, if so.
    pub images: Result<(), String>,
}

impl Given {
    fn companion(&self, folder: &Path) -> Command {
        let mut command = Command::new(self.built.join("scalewright"));
        command.args(["rehearse", "--json", "--folder"]).arg(folder);
        command
    }

    fn folder(&self) -> PathBuf {
        self.built.join("figures-rehearsal")
    }

    /// One of the examples of the metrology package.
    pub fn example(&self, name: &str) -> PathBuf {
        self.built.join("examples").join(name)
    }
}

/// Prints figure 3.
pub fn times(sheet: &mut Sheet, given: &Given) {
    Sheet::part("3  time for the whole job");
    let name = "rehearse, started to ended";
    let began = Instant::now();
    match json_of(&mut given.companion(&given.folder())) {
        Ok(outcome) => {
            let wall_s = began.elapsed().as_secs_f64();
            let floor = Bound::AtMost(20.0);
            let after = number(&outcome, "/after/largest_error_e");
            if after.is_nan() {
                sheet.failed(name, "the rehearsal did not come to a verification");
            } else {
                sheet.row(name, wall_s, "s", floor, Bound::Beside);
            }
            let before = number(&outcome, "/before/largest_error_e");
            sheet.beside("  largest error before", before, "e");
            sheet.beside("  largest error after", after, "e");
        }
        Err(why) => sheet.failed(name, &why),
    }
    let name = "release build of the host from scratch";
    match &given.build_s {
        None => {}
        Some(Ok(seconds)) => sheet.row(name, *seconds, "s", Bound::AtMost(240.0), Bound::Beside),
        Some(Err(why)) => sheet.failed(name, why),
    }
}

/// Prints figure 4.
pub fn population(sheet: &mut Sheet, given: &Given) {
    Sheet::part("4  of 1000 poor scales (Max 5 kg, e 5 g), those that pass class III");
    let mut command = given.companion(&given.folder());
    let began = Instant::now();
    let found = match json_of(command.args(["--population", "1000"])) {
        Ok(found) => found,
        Err(why) => return sheet.failed("population", &why),
    };
    let wall_s = began.elapsed().as_secs_f64();
    let ways = found["ways"].as_array().cloned().unwrap_or_default();
    let (others, ours) = match ways.split_last() {
        Some((ours, others)) if others.len() == 2 => (others, ours),
        _ => return sheet.failed("population", "not three ways were told of"),
    };
    let mut best: f64 = 0.0;
    for way in others {
        let share = number(way, "/share") * 100.0;
        // A share that can't be read must not make ours look good.
        best = if share.is_nan() {
            share
        } else {
            best.max(share)
        };
        let name = way["name"].as_str().unwrap_or("another way");
        sheet.beside(&format!("  {name}"), share, "%");
    }
    let name = ours["name"].as_str().unwrap_or("ours");
    let share = number(ours, "/share") * 100.0;
    sheet.row(name, share, "%", Bound::Above(best), Bound::Beside);
    let scales = number(&found, "/population");
    let all = Bound::AtLeast(1000.0);
    sheet.row("scales calibrated", scales, "scales", all, Bound::Beside);
    let early = number(&found, "/ended_early");
    sheet.beside(
        "  sessions that ended early (count as failed)",
        early,
        "scales",
    );
    let limit = Bound::AtMost(60.0);
    sheet.row("time for all of them", wall_s, "s", limit, Bound::Beside);
}

/// Prints figure 5.
pub fn fits(sheet: &mut Sheet, given: &Given) {
    Sheet::part("5  40 observations, 4 segments: our fit beside the package pwlf");
    let ratio_name = "times faster than its global fit";
    let (python, script) = match &given.python {
        Ok(found) => found,
        Err(why) => return sheet.failed(ratio_name, why),
    };
    let mut command = Command::new(python);
    command.arg(script).arg(given.example("fit_speed"));
    let found = match json_of(&mut command) {
        Ok(found) => found,
        Err(why) => return sheet.failed(ratio_name, &why),
    };
    let version = found["version"].as_str().unwrap_or("of unknown version");
    println!("   (pwlf {version}, both timed in this call)");
    let (ours_s, ours_rss) = (number(&found, "/ours/seconds"), number(&found, "/ours/rss"));
    sheet.beside("  our fit, median of 500", ours_s, "s");
    for (key, name) in [("global", "its global fit"), ("multistart", "its fast fit")] {
        let theirs_s = number(&found, &format!("/{key}/seconds"));
        let theirs_rss = number(&found, &format!("/{key}/rss"));
        sheet.beside(&format!("  {name}, median of 3"), theirs_s, "s");
        let (name_s, name_rss) = (
            format!("times faster than {name}"),
            format!("sum of squares, ours by {name}"),
        );
        // The floor is against the fit that looks for the global optimum, as
        // ours does; the local multi-start is printed beside it.
        let fast = match key {
            "global" => Bound::AtLeast(100.0),
            _ => Bound::Beside,
        };
        sheet.row(&name_s, theirs_s / ours_s, "times", fast, Bound::Beside);
        let ratio = ours_rss / theirs_rss;
        let small = Bound::AtMost(1.0 + SAME_SUM);
        sheet.row(&name_rss, ratio, "ratio", small, Bound::Beside);
    }
}
