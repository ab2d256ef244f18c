//! Measures and prints the figures we promise, by topic; `tests/figures` builds
//! what is needed and calls this. One figure a line; a figure is `ok` when its
//! floor is reached. Exit code 1 when any is `short`, 2 for a wrong call.

mod certified;
mod chips;
mod codes;
mod commands;
mod row;
mod together;

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
    (--python PYTHON SCRIPT | --no-python WHY)";

fn given(mut words: impl Iterator<Item = String>) -> Option<Given> {
    let built = std::env::current_exe().ok()?.parent()?.to_path_buf();
    let mut build_s = None;
    let mut python = Err("no Python was named".into());
    while let Some(word) = words.next() {
        match word.as_str() {
            "--build-s" => build_s = Some(Ok(words.next()?.parse().ok()?)),
            "--build-failed" => build_s = Some(Err(words.next()?)),
            "--python" => {
                python = Ok((PathBuf::from(words.next()?), PathBuf::from(words.next()?)));
            }
            "--no-python" => python = Err(words.next()?),
            _ => return None,
        }
    }
    Some(Given {
        built,
        build_s,
        python,
    })
}

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let topic = words.next();
    if topic.as_deref() == Some("chips") {
        return of_chips();
    }
    if topic.as_deref() == Some("joint-solve") {
        return of_joint_solve();
    }
    let (Some("main-job"), Some(given)) = (topic.as_deref(), given(words)) else {
        eprintln!("{USAGE}");
        return ExitCode::from(2);
    };
    let mut sheet = Sheet::default();
    Sheet::heading();
    certified::regression(&mut sheet);
    certified::cell(&mut sheet);
    codes::print(&mut sheet);
    commands::times(&mut sheet, &given);
    commands::population(&mut sheet, &given);
    commands::fits(&mut sheet, &given);
    if sheet.sum_up() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn of_chips() -> ExitCode {
    let mut sheet = Sheet::default();
    Sheet::heading();
    chips::print(&mut sheet);
    if sheet.sum_up() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn of_joint_solve() -> ExitCode {
    let mut sheet = Sheet::default();
    Sheet::heading();
    together::published(&mut sheet);
    together::population(&mut sheet);
    together::third(&mut sheet);
    together::forecast(&mut sheet);
    together::cell(&mut sheet);
    if sheet.sum_up() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
