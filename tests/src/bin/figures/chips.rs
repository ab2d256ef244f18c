//! Topic `chips`: what the two images take of their chips. Cycles are those of
//! the emulators' counters; sizes those of the linked image.

use scalewright_bench::BenchSpec;
use scalewright_core::FACTORY;
use scalewright_protocol::message::{Ask, CaptureOrder, Flags};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;
use scalewright_tests::chip::emulator::knots;
use scalewright_tests::chip::footprint::footprint;
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::session::storing;
use scalewright_tests::chip::{Board, Chip};
use serde_json::json;

use crate::losses::{Losses, number};
use crate::row::{Bound, Sheet};

/// What a board may take, as the issue has it.
struct Floors {
    flash_kib: f64,
    ram_kib: f64,
    sample_percent: f64,
}

const fn floors(board: Board) -> Floors {
    match board {
        Board::Rp2040 => Floors {
            flash_kib: 96.0,
            ram_kib: 32.0,
            sample_percent: 1.0,
        },
        Board::Atmega328p => Floors {
            flash_kib: 30.0,
            ram_kib: 1.8,
            sample_percent: 15.0,
        },
    }
}

const fn clock_hz(board: Board) -> f64 {
    match board {
        Board::Rp2040 => 48e6,
        Board::Atmega328p => 16e6,
    }
}

/// Conversions per second of all these figures.
const RATE_SPS: u16 = 80;
/// Samples that must come through without a loss.
const SAMPLES: usize = 10_000;
/// Longest time from reset to the first indication, s.
const FIRST_S: f64 = 0.5;

/// Measures both boards.
pub fn print(sheet: &mut Sheet) {
    for board in Board::ALL {
        Sheet::part(board.name());
        if let Err(why) = size(sheet, board) {
            sheet.failed("image", &why);
            continue;
        }
        let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(1));
        let zero_counts = zero(&mut chip);
        chip.store(settings(), zero_counts, &table(knots(board).into()))
            .expect("a record is stored");
        first_indication(sheet, &mut chip);
        one_sample(sheet, board, &mut chip, "empty");
        hold(&chip.rig).place_g(3000.0);
        one_sample(sheet, board, &mut chip, "with 3 kg on the pan");
        hold(&chip.rig).place_g(0.0);
        losses(sheet, &mut chip);
        memory(sheet, board, &mut chip);
    }
}

fn settings() -> Settings {
    Settings {
        rate_sps: RATE_SPS,
        // With all that a sample may cost.
        loop_gain: 500,
        ..FACTORY
    }
}

/// As many knots as there may be, curved, up to Max and beyond for this cell.
fn table(knots: i32) -> Vec<Knot> {
    (0..knots)
        .map(|n| Knot {
            counts: n * 3_000_000 / (knots - 1),
            mass: n * (3_300_000 / (knots - 1)) - n * (knots - 1 - n),
        })
        .collect()
}

fn zero(chip: &mut Chip) -> i32 {
    chip.state_after(2000).smooth_q8 >> 8
}

fn size(sheet: &mut Sheet, board: Board) -> Result<(), String> {
    let taken = footprint(board)?;
    let kib = |bytes: f64| bytes / 1024.0;
    sheet.row(
        "flash used",
        kib(taken.flash as f64),
        "KiB",
        Bound::AtMost(floors(board).flash_kib),
        Bound::Beside,
    );
    sheet.beside("static RAM", kib(f64::from(taken.static_ram)), "KiB");
    Ok(())
}

/// From a reset until the scale says a mass, polled every few ms.
fn first_indication(sheet: &mut Sheet, chip: &mut Chip) {
    let before_us = hold(&chip.rig).pass(0).at_us;
    chip.restart("power");
    let indicated = (0..400).any(|_| {
        hold(&chip.rig).pass(2000);
        chip.state().indication.is_some()
    });
    let after_us = hold(&chip.rig).pass(0).at_us;
    let name = "reset to first indication at 80/s";
    if indicated {
        let s = (after_us - before_us) as f64 * 1e-6;
        sheet.row(name, s, "s", Bound::AtMost(FIRST_S), Bound::Beside);
    } else {
        sheet.failed(name, &format!("none after {} us", after_us - before_us));
    }
}

/// Filter, stability, table and frame, by the cycles the WORK pin is high.
fn one_sample(sheet: &mut Sheet, board: Board, chip: &mut Chip, pan: &str) {
    chip.ask(&Ask::Stream { every: 1 });
    chip.state_after(1000);
    hold(&chip.rig)
        .emulator
        .command(&json!({"do": "meter_reset"}));
    chip.state_after(10_000);
    let meter = hold(&chip.rig).emulator.meter();
    let percent = |cycles: f64| cycles * f64::from(RATE_SPS) / clock_hz(board) * 100.0;
    let count = number(&meter, "work_count");
    sheet.row(
        &format!("one sample's time at 80/s, {pan}"),
        percent(number(&meter, "work_cycles") / count),
        "%",
        Bound::AtMost(floors(board).sample_percent),
        Bound::Beside,
    );
    sheet.beside(
        "  the longest seen",
        percent(number(&meter, "work_most_cycles")),
        "%",
    );
    let busy = number(&meter, "busy_cycles") / number(&meter, "cycles") * 100.0;
    sheet.beside("  all work, streaming and display", busy, "%");
}

/// Streams while tables are stored without a pause and the display is painted.
fn losses(sheet: &mut Sheet, chip: &mut Chip) {
    // What settles or fills the filter is read and counts as no sample.
    chip.state_after(1000);
    let mut losses = Losses::begin(chip);
    let mut stored = 0;
    let knots = [table(8), table(12), table(16)];
    while losses.seen < SAMPLES {
        let knots = &knots[stored % knots.len()];
        // The operator is at work too, so that the display has much to paint.
        hold(&chip.rig).place_g((stored % 50) as f64 * 100.0);
        let zero_counts = 0;
        for ask in storing(settings(), zero_counts, knots)
            .iter()
            .chain(&[Ask::Stream { every: 1 }, Ask::Wait { up_to_ms: 2000 }])
        {
            chip.client
                .ask(ask, &mut |sample| losses.sample(sample))
                .unwrap_or_else(|fault| panic!("{ask:?}: {fault}"));
        }
        stored += 1;
    }
    let lost = losses.lost(chip);
    let name = format!("samples lost of {}, storing {stored} tables", losses.seen);
    sheet.row(&name, lost, "samples", Bound::AtMost(0.0), Bound::Beside);
}

/// The deepest stack after the worst that a companion and a line can do.
fn memory(sheet: &mut Sheet, board: Board, chip: &mut Chip) {
    let full = table(knots(board).into());
    chip.store(settings(), -8_000_000, &full).expect("stored");
    chip.restart("power");
    chip.hello();
    chip.ask(&Ask::Stream { every: 1 });
    for _ in 0..2 {
        chip.store(settings(), -8_000_000, &full).expect("stored");
        chip.ask(&Ask::Capture(CaptureOrder {
            samples: 64,
            rest_counts: 1 << 24,
            patience_ms: 60_000,
        }));
        chip.state_after(2500);
        for key in 0..3 {
            let mut keys = [false; 3];
            keys[key] = true;
            hold(&chip.rig).keys(keys);
            chip.state_after(100);
            hold(&chip.rig).keys([false; 3]);
        }
        for ask in [
            Ask::SetSettings(settings()),
            Ask::RollBack,
            Ask::SetZero,
            Ask::Tare,
            Ask::ClearTare,
            Ask::Table,
            Ask::Knots { from: 0 },
            Ask::Settings,
            Ask::State,
        ] {
            // Refusals are answers too.
            let _ = chip.try_ask(&ask);
        }
        hold(&chip.rig).emulator.input(&[0x55; 300]);
        chip.state_after(500);
    }
    assert!(!chip.state().flags.any(Flags::ADC_SILENT), "still at work");
    let meter = hold(&chip.rig).emulator.meter();
    let stack = number(&meter, "stack_deepest_bytes") / 1024.0;
    let fixed = number(&meter, "static_ram_bytes") / 1024.0;
    sheet.beside("deepest stack", stack, "KiB");
    sheet.row(
        "static RAM and deepest stack",
        fixed + stack,
        "KiB",
        Bound::AtMost(floors(board).ram_kib),
        Bound::Beside,
    );
}
