//! Figures 4 and 5 of topic weighing, out of the two images.
//!
//! **4, the room it takes.** The images against what their boards may use
//! (`budget.toml`), the state of either front, and what the small chip's image
//! leaves out, as its guide has it (`firmware/README.md`).
//!
//! **5, painting and the samples.** An emulated chip weighs at 80/s and says every
//! sample; the converter's wires are watched for the time from the end of a
//! conversion to its first clock pulse. Once the display is absent; then a load
//! that grows or shrinks with every conversion changes its digits, and keys turn
//! the pages. A timer's interrupt looks at the converter once a millisecond, so most
//! of a wait is chance, display or not. In the emulator neither clock drifts: that
//! part is the same in both runs, and the *difference* of the longest waits is what
//! painting adds. 50 us are allowed. The *limit* is a period of the converter: a code
//! that waits longer is overwritten by the next, and a sample is lost. The timer's
//! millisecond is 8 % of it; 10 % are allowed in all.

use std::mem::size_of;

use scalewright_bench::BenchSpec;
use scalewright_core::indicator::{Front, Indicator};
use scalewright_core::panel::Panel;
use scalewright_protocol::message::Ask;
use scalewright_protocol::settings::Settings;
use scalewright_tests::chip::emulator::root;
use scalewright_tests::chip::footprint::{budget, footprint};
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::{Board, Chip};
use serde_json::json;

use crate::losses::{Losses, number};
use crate::row::{Bound, Sheet};

/// Conversions per second, and a period, us.
const RATE_SPS: u16 = 80;
const PERIOD_US: f64 = 12_500.0;
/// Samples that must come through, of either run.
const SAMPLES: usize = 10_000;
/// Put on or taken off with each conversion, g: five d.
const POURED_G: f64 = 10.0;
/// What painting may add to the longest wait, us.
const MORE_US: f64 = 50.0;
/// What a wait may be of the limit, %.
const SHARE: f64 = 10.0;
/// What the indicator's state may take, bytes; its own test holds it to that too.
const STATE: f64 = 500.0;

/// Both figures; `images` says why there are none, if so.
pub fn print(sheet: &mut Sheet, images: &Result<(), String>) {
    Sheet::part("4 the whole panel in the room of its chip");
    if let Err(why) = images {
        sheet.failed("images", why);
        Sheet::part("5 painting and the samples");
        return sheet.failed("images", why);
    }
    for board in [Board::Atmega328p, Board::Rp2040] {
        if let Err(why) = size(sheet, board) {
            sheet.failed(&format!("{board}: image"), &why);
        }
    }
    // Pointers and sizes are wider here than on the chips.
    let [front, indicator, panel] = [
        size_of::<Front>(),
        size_of::<Indicator>(),
        size_of::<Panel>(),
    ]
    .map(|bytes| bytes as f64);
    let name = "rp2040: indicator, RAM";
    sheet.row(
        name,
        indicator,
        "bytes",
        Bound::AtMost(STATE),
        Bound::Beside,
    );
    sheet.beside("  calibration at the scale", front - indicator, "bytes");
    sheet.beside("atmega328p: text panel, RAM", panel, "bytes");
    match left_out() {
        Ok(features) => features
            .iter()
            .for_each(|one| println!("      left out: {one}")),
        Err(why) => sheet.failed("what is left out", &why),
    }
    Sheet::part("5 painting and the samples, 80/s");
    for board in Board::ALL {
        painting(sheet, board);
    }
}

/// Flash of an image against the board's own budget.
fn size(sheet: &mut Sheet, board: Board) -> Result<(), String> {
    let bytes = footprint(board)?.flash as f64;
    let limit = budget(board, "flash_bytes")? as f64;
    let name = format!("{board}: flash used");
    sheet.row(&name, bytes, "bytes", Bound::AtMost(limit), Bound::Beside);
    sheet.beside("  room left", limit - bytes, "bytes");
    Ok(())
}

/// The rows of the guide's table: feature, bytes and why.
fn left_out() -> Result<Vec<String>, String> {
    let path = root().join("firmware/README.md");
    let guide = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let section = guide.split("\n## What the small chip leaves out\n").nth(1);
    let section = section.and_then(|after| after.split("\n## ").next());
    let rows = section
        .unwrap_or_default()
        .lines()
        .filter(|line| line.starts_with("| "));
    let rows: Vec<String> = rows
        .skip(1)
        .filter_map(|row| {
            let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
            match cells.as_slice() {
                [feature, bytes, why] => {
                    let unit = if bytes.parse::<u32>().is_ok() {
                        " bytes"
                    } else {
                        ""
                    };
                    Some(format!("{feature}: {bytes}{unit}; {why}"))
                }
                _ => None,
            }
        })
        .collect();
    if rows.is_empty() {
        return Err("the guide's table of it was not found".into());
    }
    Ok(rows)
}

/// What was seen in a run.
struct Seen {
    samples: usize,
    lost: f64,
    longest_us: f64,
    painted_per_s: f64,
}

fn painting(sheet: &mut Sheet, board: Board) {
    let spec = BenchSpec::studio(1);
    let mut chip = Chip::switched_on(board, &spec);
    let table = spec.stored.expect("the studio's table");
    let settings = Settings {
        rate_sps: RATE_SPS,
        ..spec.settings
    };
    if let Err(fault) = chip.store(settings, table.zero_counts, &table.knots) {
        return sheet.failed(&format!("{board}: a table"), &fault.to_string());
    }
    display(&mut chip, false);
    let dark = run(&mut chip, false);
    display(&mut chip, true);
    let lit = run(&mut chip, true);
    let share = |us: f64| 100.0 * us / PERIOD_US;
    for (name, seen) in [("no display", &dark), ("painting", &lit)] {
        let text = format!("{board}, {name}: lost of {}", seen.samples);
        sheet.row(
            &text,
            seen.lost,
            "samples",
            Bound::AtMost(0.0),
            Bound::Beside,
        );
        sheet.beside("  longest wait of a conversion", seen.longest_us, "us");
        sheet.beside("  bytes painted in a second", seen.painted_per_s, "");
    }
    let more = lit.longest_us - dark.longest_us;
    let name = format!("{board}: painting waits longer by");
    sheet.row(&name, more, "us", Bound::AtMost(MORE_US), Bound::Beside);
    let name = format!("{board}: longest wait, painting, of the limit");
    sheet.row(
        &name,
        share(lit.longest_us),
        "%",
        Bound::AtMost(SHARE),
        Bound::Beside,
    );
}

fn display(chip: &mut Chip, plugged: bool) {
    let order = json!({"do": "display", "plugged": plugged});
    hold(&chip.rig).emulator.command(&order);
    // Until it is missed or found, and painted for the first time.
    chip.state_after(5000);
}

/// Samples in a row while the load never rests and, if it is looked at, keys turn
/// the pages.
fn run(chip: &mut Chip, looked_at: bool) -> Seen {
    chip.ask(&Ask::Stream { every: 1 });
    hold(&chip.rig).world.pouring_g = POURED_G;
    chip.state_after(1000);
    hold(&chip.rig)
        .emulator
        .command(&json!({"do": "meter_reset"}));
    let mut losses = Losses::begin(chip);
    let began_us = hold(&chip.rig).pass(0).at_us;
    let mut turn = 0;
    while losses.seen < SAMPLES {
        let mut keys = [false; 3];
        // Into the menu with the right key, on with the left one, and out again.
        keys[if turn % 12 == 0 || turn % 12 == 9 {
            2
        } else {
            0
        }] = looked_at && turn % 12 < 10;
        turn += 1;
        for (down, up_to_ms) in [(keys, 90), ([false; 3], 310)] {
            hold(&chip.rig).keys(down);
            chip.client
                .ask(&Ask::Wait { up_to_ms }, &mut |sample| losses.sample(sample))
                .unwrap_or_else(|fault| panic!("{fault}"));
        }
    }
    let seconds = (hold(&chip.rig).pass(0).at_us - began_us) as f64 * 1e-6;
    let lost = losses.lost(chip);
    let meter = hold(&chip.rig).emulator.meter();
    hold(&chip.rig).world.pouring_g = 0.0;
    chip.ask(&Ask::Stream { every: 0 });
    Seen {
        samples: losses.seen,
        lost,
        longest_us: number(&meter, "longest_wait_ns") * 1e-3,
        painted_per_s: number(&meter, "display_bytes") / seconds,
    }
}
