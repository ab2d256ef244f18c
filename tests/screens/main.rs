//! The pictures of screens in `firmware/README.md` are what the images show.
//!
//! Each test runs an image on its emulated chip, presses keys and puts loads on as
//! a user would, and compares the sheet it sees with the one in `firmware/screens`.
//! To draw them anew, after `scalewright build-firmware`:
//!
//! ```text
//! SCALEWRIGHT_DRAW=1 cargo test -p scalewright-tests --test screens
//! ```
//!
//! Look at what changed before it is committed. One page shows the firmware's
//! version: it is drawn anew with each.

#![cfg(unix)]

mod calibrating;
mod functions;
mod small;
mod troubles;
mod weighing;

use std::collections::BTreeSet;
use std::path::PathBuf;

use scalewright_bench::setup::set_with_one_load;
use scalewright_core::FACTORY;
use scalewright_tests::chip::Board;
use scalewright_tests::chip::emulator::root;
use scalewright_tests::chip::front::{Front, cell};
use scalewright_tests::chip::sheet::Sheet;

/// Every sheet of a board, a test each.
macro_rules! sheets {
    ($($board:ident: $($name:ident from $file:ident::$draw:ident),+;)+) => {
        $(mod $board {
            $(#[test] fn $name() {
                super::compare(super::$file::$draw(), stringify!($board), stringify!($name));
            })+
        })+
        const SHEETS: &[(&str, &str)] = &[
            $($((stringify!($board), stringify!($name))),+),+
        ];
    };
}

sheets! {
    rp2040:
        weighing from weighing::weighing,
        menu from weighing::menu,
        units_and_holding from functions::units_and_holding,
        counting from functions::counting,
        limits from functions::limits,
        preset_tare from functions::preset_tare,
        troubles from troubles::troubles,
        calibrating from calibrating::calibrating,
        calibrating_otherwise from calibrating::otherwise,
        sealed from calibrating::sealed;
    atmega328p:
        panel from small::panel;
}

fn file_of(board: &str, name: &str) -> String {
    format!("{board}-{}.svg", name.replace('_', "-"))
}

fn folder() -> PathBuf {
    root().join("firmware/screens")
}

/// Compares a sheet with the one that is kept, or keeps it.
fn compare(sheet: Sheet, board: &str, name: &str) {
    let file = file_of(board, name);
    let path = folder().join(&file);
    let seen = sheet.svg();
    if std::env::var_os("SCALEWRIGHT_DRAW").is_some() {
        std::fs::create_dir_all(folder()).expect("a folder");
        std::fs::write(&path, seen).expect("written");
        return;
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    if kept == seen {
        return;
    }
    let changed = seen
        .split("<g ")
        .zip(kept.split("<g ").chain(std::iter::repeat("")))
        .filter(|(seen, kept)| seen != kept)
        .filter_map(|(seen, _)| seen.split("</text>").next()?.rsplit('>').next())
        .collect::<Vec<_>>();
    panic!(
        "firmware/screens/{file} is not what the emulated {board} shows: {changed:?}. \
         If that is meant, draw it anew and look at it: \
         SCALEWRIGHT_DRAW=1 cargo test -p scalewright-tests --test screens"
    );
}

/// A chip with a table that is right.
fn set(board: Board) -> Front {
    let cell = cell(0.0);
    let mut front = Front::new(board, cell.clone());
    let table = set_with_one_load(&cell, &FACTORY, FACTORY_MAX_G);
    front
        .chip
        .store(FACTORY, table.zero_counts, &table.knots)
        .expect("stored");
    front.settle();
    front
}

/// What a key says of what it did is gone after this.
const MESSAGE_MS: u64 = 2500;
/// Max of the factory's settings, g.
const FACTORY_MAX_G: f64 = 6000.0;

/// Every sheet is in the guide, with words for those who do not see it, and no
/// other lies there.
#[test]
fn every_sheet_is_shown_in_the_guide() {
    let guide = std::fs::read_to_string(root().join("firmware/README.md")).expect("the guide");
    let drawn: BTreeSet<String> = SHEETS.iter().map(|(b, name)| file_of(b, name)).collect();
    let kept = std::fs::read_dir(folder()).expect("sheets");
    let kept: BTreeSet<String> = kept
        .map(|entry| entry.expect("a file").file_name().to_string_lossy().into())
        .collect();
    assert_eq!(kept, drawn);
    for file in drawn {
        let shown = guide.split("![").skip(1).find(|after| {
            after
                .split_once("](")
                .is_some_and(|(_, to)| to.starts_with(&format!("screens/{file})")))
        });
        let words = shown.and_then(|after| after.split(']').next());
        assert!(
            words.is_some_and(|words| words.split_whitespace().count() > 5),
            "screens/{file} with an alternative text"
        );
    }
}
