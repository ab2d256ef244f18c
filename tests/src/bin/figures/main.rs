//! Measures and prints the figures we promise, by topic; `tests/figures` builds
//! what is needed and calls this. One figure a line; a figure is `ok` when its
//! floor is reached. Exit code 1 when any is `short`, 2 for a wrong call.

mod budgets;
mod certificate;
mod certified;
mod chips;
mod codes;
mod commands;
mod joint;
mod losses;
mod permitted;
mod proof;
mod published;
mod row;
mod share;
mod together;
mod verified;
mod weighing;

/// The exact arithmetic the protocol's own tests use.
#[path = "../../../../protocol/tests/support/exact.rs"]
mod exact;

use std::path::PathBuf;
use std::process::ExitCode;

use commands::Given;
use row::Sheet;

const USAGE: &str = "use tests/figures TOPIC, which calls this as\n\
    figures chips\n\
    figures main-job [--build-s SECONDS | --build-failed WHY] \
    (--python PYTHON SCRIPT | --no-python WHY)\n\
    figures joint-solve | proof (--python PYTHON SCRIPT | --no-python WHY)\n\
    figures weighing [--no-images WHY]";

fn given(mut words: impl Iterator<Item = String>) -> Option<Given> {
    let built = std::env::current_exe().ok()?.parent()?.to_path_buf();
    let mut build_s = None;
    let mut python = Err("no Python was named".into());
    let mut images = Ok(());
    while let Some(word) = words.next() {
        match word.as_str() {
            "--build-s" => build_s = Some(Ok(words.next()?.parse().ok()?)),
            "--build-failed" => build_s = Some(Err(words.next()?)),
            "--python" => {
                python = Ok((PathBuf::from(words.next()?), PathBuf::from(words.next()?)));
            }
            "--no-python" => python = Err(words.next()?),
            "--no-images" => images = Err(words.next()?),
            _ => return None,
        }
    }
    Some(Given {
        built,
        build_s,
        python,
        images,
    })
}

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let topic = words.next().unwrap_or_default();
    let print: fn(&mut Sheet, &Given) = match topic.as_str() {
        "main-job" => main_job,
        "chips" => |sheet, _| chips::print(sheet),
        "joint-solve" => joint_solve,
        "proof" => proven,
        "weighing" => |sheet, given| weighing::print(sheet, &given.images),
        _ => return not_understood(),
    };
    let Some(given) = given(words) else {
        return not_understood();
    };
    let mut sheet = Sheet::default();
    Sheet::heading();
    print(&mut sheet, &given);
    if sheet.sum_up() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn not_understood() -> ExitCode {
    eprintln!("{USAGE}");
    ExitCode::from(2)
}

fn main_job(sheet: &mut Sheet, given: &Given) {
    certified::regression(sheet);
    certified::cell(sheet);
    codes::print(sheet);
    commands::times(sheet, given);
    commands::population(sheet, given);
    commands::fits(sheet, given);
}

fn joint_solve(sheet: &mut Sheet, given: &Given) {
    together::published(sheet);
    together::population(sheet);
    together::third(sheet);
    together::forecast(sheet);
    together::cell(sheet);
    joint::speed(sheet, given);
    share::print(sheet);
}

fn proven(sheet: &mut Sheet, given: &Given) {
    published::examples(sheet);
    budgets::against_trials(sheet);
    permitted::steps(sheet);
    proof::decisions(sheet);
    verified::long_verification(sheet, given);
    certificate::print(sheet);
    budgets::speed(sheet, given);
}
