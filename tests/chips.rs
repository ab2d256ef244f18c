//! The real firmware images on emulated chips: what a board would do.
//!
//! Needs Node and the images; `tests/run` brings both. What an emulator cannot
//! show is said in `firmware/README.md`.

#![cfg(unix)]

mod support;

use std::process::Command;
use std::time::{Duration, Instant};

use scalewright::drive::{self, Heading};
use scalewright::firmware::log_lines::Book;
use scalewright::link::LinkFault;
use scalewright::session::procedure::Procedure;
use scalewright_bench::BenchSpec;
use scalewright_core::FACTORY;
use scalewright_protocol::codec::MAX_PAYLOAD;
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::{Answer, Ask, Flags, Sample};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;
use scalewright_protocol::tags::report;
use scalewright_tests::chip::asks::Chance;
use scalewright_tests::chip::emulator::{Stop, image, knots as most_knots, root};
use scalewright_tests::chip::footprint::{budget, footprint};
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::screen::Screen;
use scalewright_tests::chip::session::{identity, storing};
use scalewright_tests::chip::twin::Twin;
use scalewright_tests::chip::{Board, Chip, Person, Shared};
use serde_json::json;
use support::hands::{weights_file, with_hands};
use support::port::Stranger;
use support::{Folder, run};

/// Each test once for each board, so that they run side by side.
macro_rules! on_both {
    ($($name:ident),+ $(,)?) => {
        mod rp2040 {
            $(#[test] fn $name() { super::$name(super::Board::Rp2040); })+

            /// Nothing that runs while flash is erased lies in flash.
            #[test]
            fn what_runs_while_flash_is_busy_lies_in_ram() {
                super::checked_by("resident.mjs", &[]);
            }

            /// What the chip logs is read with the texts in its own image: time,
            /// level, text and where it stands.
            #[test]
            fn the_log_reads_back() {
                super::the_log_reads_back(super::Board::Rp2040);
            }

            /// Each call of the panic handler left in the image is named in
            /// panics.toml, with the reason why it is not reached.
            #[test]
            fn every_panic_left_in_the_image_is_accounted_for() {
                super::checked_by("panics.mjs", &["firmware/rp2040/panics.toml"]);
            }
        }
        mod atmega328p {
            $(#[test] fn $name() { super::$name(super::Board::Atmega328p); })+
        }
    };
}

on_both!(
    a_guided_calibration_gives_what_the_bench_core_gives,
    power_cuts_leave_the_old_table_or_the_new,
    faults_of_the_converter_are_told_and_pass,
    a_hung_loop_is_ended_and_the_table_is_there,
    the_display_shows_and_the_keys_act,
    garbage_on_the_line_costs_nothing,
    requests_at_random_are_answered_as_by_the_bench_core,
    decayed_memory_falls_back_and_says_so,
    no_sample_is_lost_while_a_table_is_stored,
    a_scale_without_a_display_weighs_on,
    the_command_calibrates_the_board_over_its_port,
    the_image_keeps_its_budget,
);

/// The whole guided run against the image, its codes given to the host's build
/// of the core too: every sample, state, capture and reply must be the same.
fn a_guided_calibration_gives_what_the_bench_core_gives(board: Board) {
    let mut spec = BenchSpec::studio_factory(7);
    // An emulated chip is slow enough without waiting for hands.
    spec.habits.reaction_s = (0.3, 0.6);
    spec.habits.handling_s = (0.3, 0.5);
    let mut chip = Chip::switched_on(board, &spec);
    chip.client.line_mut().twin = Some(Twin::new(identity(board)));
    let mut procedure = Procedure::new(chip.plan());
    procedure.set_patience_s(600);
    let mut person = Person::at(chip.rig.clone());
    let heading = Heading {
        date: "2026-11-25T10:00:00Z".into(),
        seed: Some(7),
        ..Heading::default()
    };
    drive::run(
        &mut procedure,
        &mut chip.client,
        None,
        &heading,
        &mut person,
    )
    .unwrap_or_else(|fault| panic!("{fault}; {:?}", person.troubles));
    let outcome = procedure.outcome().expect("an outcome");
    assert_eq!(outcome.after.verdict, "pass", "{:?}", outcome.after);

    let knots = chip.knots();
    let twin = chip.client.line_mut().twin.take().expect("the twin");
    assert_eq!(knots, twin.knots(), "the same integer table");
    assert!(knots.len() <= usize::from(most_knots(board)));
    let compared = twin.compared;
    assert!(compared.samples > 1500, "{compared:?}");
    assert!(
        compared.states > 100 && compared.replies > 30,
        "{compared:?}"
    );
    assert_eq!(compared.unsent, 0, "{compared:?}");
}

/// Tables that are told apart at a glance.
fn table(knots: i32) -> Vec<Knot> {
    (0..knots)
        .map(|n| Knot {
            counts: n * 60_000,
            mass: n * 300_000 + n * (knots - 1 - n) * 10,
        })
        .collect()
}

/// With hysteresis corrected, which must agree to the quantum too.
fn settings(rate_sps: u16) -> Settings {
    Settings {
        rate_sps,
        loop_gain: 400,
        ..FACTORY
    }
}

/// Cut after so many bytes of the whole transfer, at places spread over erase,
/// knots and header; after the next start the table is the old or the new.
fn power_cuts_leave_the_old_table_or_the_new(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(3));
    let (old, new) = (table(6), table(9));
    // Slots are used in turn: this makes the spare one hold something.
    chip.store(settings(80), 1, &table(4)).expect("stored");
    chip.store(settings(80), 1, &old).expect("stored");
    let memory = hold(&chip.rig).emulator.memory();
    let hex: String = memory.iter().map(|byte| format!("{byte:02x}")).collect();

    // How many bytes the whole work takes: the last cut that comes too late.
    let (mut kept, mut renewed, mut cuts) = (0, 0, 0);
    let mut after = 0u64;
    loop {
        hold(&chip.rig)
            .emulator
            .command(&json!({"do": "set_memory", "hex": hex}));
        chip.restart("power");
        chip.hello();
        hold(&chip.rig).cut_after(Some(after));
        let stored = chip.store(settings(80), 1, &new);
        let cut = chip.stopped() == Some(Stop::PowerCut);
        assert!(cut || stored.is_ok(), "{stored:?}, {:?}", chip.stopped());
        hold(&chip.rig).cut_after(None);
        chip.restart("power");
        let found = chip.knots();
        assert!(found == old || found == new, "cut after {after}: {found:?}");
        assert!(
            !chip.state().flags.has(Flags::FELL_BACK),
            "a cut is no decay"
        );
        if !cut {
            assert_eq!(found, new);
            break;
        }
        cuts += 1;
        kept += usize::from(found == old);
        renewed += usize::from(found == new);
        // Every byte of the first and last ones would take an hour; the core's
        // own tests cut at each.
        after += match after {
            0..16 => 1,
            _ => 13,
        };
        if board == Board::Rp2040 && (64..4096).contains(&after) {
            after += 300;
        }
        if board == Board::Atmega328p && after > 16 {
            after += 6;
        }
    }
    assert!(cuts > 25, "{cuts} cuts");
    // The header's last byte makes the record; a board with a notebook notes the
    // change there after it, in 48 bytes and at first a head as long.
    let noting = match board {
        Board::Rp2040 => 2 * 48 / 13 + 1,
        Board::Atmega328p => 0,
    };
    assert!(
        kept + renewed == cuts && renewed <= 1 + noting,
        "{kept} old, {renewed} new"
    );
}

fn faults_of_the_converter_are_told_and_pass(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(4));
    chip.store(settings(80), 0, &table(5)).expect("stored");
    chip.state_after(2000);
    for (wires, flag) in [
        ("unplugged", Flags::ADC_SILENT),
        ("data_high", Flags::ADC_SILENT),
        ("data_low", Flags::ADC_STUCK),
    ] {
        hold(&chip.rig).wires(wires);
        let state = chip.state_after(1500);
        assert!(state.flags.has(flag), "{wires}: {state:?}");
        assert_eq!((state.mass, state.indication), (None, None), "{wires}");
        hold(&chip.rig).wires("whole");
        let state = chip.state_after(1500);
        assert!(
            !state.flags.any(Flags::ADC_SILENT.with(Flags::ADC_STUCK)),
            "after {wires}: {state:?}"
        );
        assert!(state.mass.is_some(), "after {wires}: {state:?}");
    }
    hold(&chip.rig).world.bridge_open = true;
    let state = chip.state_after(1000);
    assert!(state.flags.has(Flags::SATURATED.with(Flags::OVERLOAD)));
    assert_eq!(state.indication, None, "no number at the end of the range");
    hold(&chip.rig).world.bridge_open = false;
    let state = chip.state_after(1500);
    assert!(!state.flags.has(Flags::SATURATED) && state.mass.is_some());
}

fn a_hung_loop_is_ended_and_the_table_is_there(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(5));
    chip.store(settings(10), 7, &table(8)).expect("stored");
    let before = chip.table();
    hold(&chip.rig).emulator.command(&json!({"do": "hang"}));
    let ran = hold(&chip.rig).run(10_000_000, false);
    assert_eq!(ran.stop, Stop::Watchdog);
    chip.restart("watchdog");
    chip.hello();
    assert_eq!(chip.table(), before);
    assert_eq!(chip.knots(), table(8));
    assert!(chip.state_after(2000).mass.is_some(), "and it weighs");
}

fn the_display_shows_and_the_keys_act(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(6));
    chip.state_after(2000);
    assert_eq!(trouble(board, &look(&chip)), "not calibrated");
    // A table through the cell's own zero and load.
    let zero_q8 = i64::from(chip.state().smooth_q8);
    hold(&chip.rig).place_g(3000.0);
    let load_q8 = i64::from(chip.state_after(8000).smooth_q8);
    let net = i32::try_from((load_q8 - zero_q8) / 256).expect("counts");
    let line = [
        Knot { counts: 0, mass: 0 },
        Knot {
            counts: net,
            mass: 1_500_000,
        },
        Knot {
            counts: 2 * net + net / 8,
            mass: 3_187_500,
        },
    ];
    let zero_counts = i32::try_from(zero_q8 / 256).expect("counts");
    chip.store(FACTORY, zero_counts, &line).expect("stored");
    chip.state_after(3000);
    match board {
        Board::Atmega328p => panel_acts(&mut chip),
        Board::Rp2040 => indicator_acts(&mut chip),
    }
}

fn look(chip: &Chip) -> Screen {
    let rows = hold(&chip.rig).emulator.screen();
    Screen::of(&rows)
}

/// What stands in place of a mass.
fn trouble(board: Board, screen: &Screen) -> String {
    match board {
        Board::Atmega328p => screen.small(7),
        // In tall letters from row 8 on, each row of a letter twice.
        Board::Rp2040 => screen.tall(8),
    }
}

fn press(chip: &mut Chip, keys: [bool; 3]) {
    hold(&chip.rig).keys(keys);
    chip.state_after(100);
    hold(&chip.rig).keys([false; 3]);
    chip.state_after(400);
}

/// 3 kg on the pan of a scale of the small panel.
fn panel_acts(chip: &mut Chip) {
    let screen = look(chip);
    let shown: i64 = screen.large().parse().expect("a number");
    assert!((2994..=3006).contains(&shown), "{shown} g");
    assert_eq!(screen.small(5), "g");
    assert_eq!(screen.small(7), "Max 6000 d = 2");
    assert_eq!(screen.small(0), "at rest");

    press(chip, [false, true, false]);
    assert_eq!(look(chip).small(7), "tare set");
    assert!(chip.state().flags.has(Flags::NET));
    assert_eq!(chip.state().indication, Some(0));
    assert_eq!(look(chip).large(), "0");
    press(chip, [true, false, false]);
    assert_eq!(look(chip).small(7), "outside zero range");
    press(chip, [false, true, false]);
    assert!(!chip.state().flags.has(Flags::NET));
    press(chip, [false, false, true]);
    assert!(look(chip).small(7).starts_with("gross "));
}

/// The same on the indicator; then through its menu to another unit, which is there
/// again after the power was cut.
fn indicator_acts(chip: &mut Chip) {
    const LEFT: [bool; 3] = [true, false, false];
    const MIDDLE: [bool; 3] = [false, true, false];
    const RIGHT: [bool; 3] = [false, false, true];
    let screen = look(chip);
    let shown: i64 = screen.indication().parse().expect("a number");
    assert!((2994..=3006).contains(&shown), "{shown} g");
    assert_eq!(screen.words(0), "at rest");
    assert_eq!(screen.words(38), "Max 6000 g d 2 g");
    assert_eq!(screen.keys(), ["zero", "tare", "menu"]);

    press(chip, MIDDLE);
    assert_eq!(look(chip).words(47), "tare set");
    assert!(chip.state().flags.has(Flags::NET));
    assert_eq!(chip.state().indication, Some(0));
    assert_eq!(look(chip).indication(), "0");
    assert_eq!(look(chip).keys()[1], "no tare");
    press(chip, LEFT);
    assert_eq!(look(chip).words(47), "too much: use tare");
    press(chip, MIDDLE);
    assert!(!chip.state().flags.has(Flags::NET));

    press(chip, RIGHT);
    assert_eq!(look(chip).words(0), "menu 1 of 10");
    press(chip, MIDDLE);
    assert_eq!(look(chip).words(0), "units 1 of 4");
    press(chip, LEFT);
    press(chip, MIDDLE);
    let shown = look(chip).indication();
    assert!(
        shown.starts_with("2.99") || shown.starts_with("3.00"),
        "{shown} kg"
    );
    // What was chosen is in the notebook.
    chip.restart("power");
    chip.hello();
    chip.state_after(3000);
    let screen = look(chip);
    assert_eq!(screen.words(38), "Max 6.000 kg d 0.002 kg");
    assert_eq!(screen.indication(), shown);
}

/// A line at another speed reads as noise; a cut frame as well.
fn garbage_on_the_line_costs_nothing(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(8));
    chip.store(settings(10), 0, &table(5)).expect("stored");
    let before = chip.table();
    let mut noise = Chance::new(0x2545_F491);
    for round in 0..40 {
        let bytes: Vec<u8> = (0..round * 7).map(|_| noise.below(256) as u8).collect();
        hold(&chip.rig).emulator.input(&bytes);
        hold(&chip.rig).pass(60_000);
        assert_eq!(chip.hello().board.as_str(), board.name());
    }
    assert_eq!(chip.table(), before);
}

/// Some 400 requests, many of them wrong: each reply and every sample between
/// must be what the host's build of the same core says.
fn requests_at_random_are_answered_as_by_the_bench_core(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(13));
    chip.client.line_mut().twin = Some(Twin::new(identity(board)));
    chip.ask(&Ask::Stream { every: 1 });
    chip.state_after(1500);
    let mut chance = Chance::new(0x9E37_79B9);
    let (mut done, mut refused) = (0, 0);
    while done + refused < 400 {
        for ask in chance.asks() {
            match chip.try_ask(&ask) {
                Ok(_) => done += 1,
                Err(LinkFault::Refused(_)) => refused += 1,
                Err(fault) => panic!("{ask:?}: {fault}"),
            }
        }
    }
    let twin = chip.client.line_mut().twin.take().expect("the twin");
    let compared = twin.compared;
    assert!(refused > 60 && done > 150, "{done} done, {refused} refused");
    assert!(
        compared.states > 80 && compared.samples > 400,
        "{compared:?}"
    );
}

fn decayed_memory_falls_back_and_says_so(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(9));
    chip.store(settings(10), 0, &table(4)).expect("stored");
    chip.store(settings(10), 0, &table(7)).expect("stored");
    let mut memory = hold(&chip.rig).emulator.memory();
    let newest = memory
        .windows(4)
        .rposition(|bytes| bytes == b"kiln")
        .expect("a record");
    // One bit of the first knot's counts, and another of the quantum.
    for at in [newest + 20, newest + 192] {
        memory[at] ^= 0x10;
        let hex: String = memory.iter().map(|byte| format!("{byte:02x}")).collect();
        hold(&chip.rig)
            .emulator
            .command(&json!({"do": "set_memory", "hex": hex}));
        chip.restart("power");
        assert_eq!(chip.knots(), table(4), "the record before");
        assert!(chip.state().flags.has(Flags::FELL_BACK));
        memory[at] ^= 0x10;
    }
    // Nothing sound at all: factory settings, no table, and it can be stored to.
    let hex = "5a".repeat(memory.len());
    hold(&chip.rig)
        .emulator
        .command(&json!({"do": "set_memory", "hex": hex}));
    chip.restart("power");
    assert!(chip.knots().is_empty());
    assert!(chip.state_after(500).flags.has(Flags::NOT_CALIBRATED));
    chip.store(settings(10), 0, &table(7)).expect("stored");
    chip.restart("power");
    assert_eq!(chip.knots(), table(7));
}

/// A short run of what `tests/figures chips` measures over 10,000 samples. The
/// twin gets every code that was read: one lost between interrupt and loop would
/// show in all samples after it.
fn no_sample_is_lost_while_a_table_is_stored(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(10));
    chip.client.line_mut().twin = Some(Twin::new(identity(board)));
    chip.ask(&Ask::Stream { every: 1 });
    chip.state_after(1500);
    chip.store(settings(80), 0, &table(4)).expect("stored");
    let mut last = None;
    let mut seen = 0;
    let mut corrected = 0;
    for round in 0..6 {
        // Something to remember, for the twin to compare.
        hold(&chip.rig).place_g(f64::from(round % 3) * 1500.0);
        let knots = table(5 + round % 3);
        let asks = storing(settings(80), 0, &knots);
        for ask in asks.iter().chain(&[Ask::Wait { up_to_ms: 900 }]) {
            let mut on_sample = |sample: &Sample| {
                if let Some(last) = last.replace(sample.sequence) {
                    assert_eq!(sample.sequence, last + 1, "after {ask:?}");
                }
                seen += 1;
            };
            match chip.client.ask(ask, &mut on_sample) {
                Ok(Answer::State(state)) => corrected += usize::from(state.correction != 0),
                Ok(Answer::Done | Answer::Stored { .. }) => {}
                other => panic!("{ask:?}: {other:?}"),
            }
        }
    }
    assert!(seen > 200, "{seen} samples");
    assert!(corrected > 3, "{corrected} states");
    let lost = hold(&chip.rig).emulator.meter()["codes_lost"].as_u64();
    assert_eq!(lost, Some(0), "codes that were not read in time");
    let meter = hold(&chip.rig).emulator.meter();
    let used = |name: &str| meter[name].as_u64().expect("a number of bytes");
    let ram = used("static_ram_bytes") + used("stack_deepest_bytes");
    let limit = budget(board, "ram_bytes").expect("a limit");
    assert!(ram <= limit, "{ram} bytes of RAM");
}

fn a_scale_without_a_display_weighs_on(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(11));
    hold(&chip.rig)
        .emulator
        .command(&json!({"do": "display", "plugged": false}));
    chip.store(settings(80), 0, &table(4)).expect("stored");
    let samples = chip.samples(3000);
    assert!(
        samples
            .windows(2)
            .all(|p| p[1].sequence == p[0].sequence + 1)
    );
    assert!(samples.len() > 200);
    // Plugged in again, it is painted anew.
    hold(&chip.rig)
        .emulator
        .command(&json!({"do": "display", "plugged": true}));
    chip.state_after(6000);
    // This table knows nothing of the cell: what lies there is too much for it.
    let told = match board {
        Board::Atmega328p => look(&chip).small(7),
        Board::Rp2040 => look(&chip).words(27),
    };
    let wanted = match board {
        Board::Atmega328p => "above Max",
        Board::Rp2040 => "take load off",
    };
    assert_eq!(told, wanted);
}

fn the_log_reads_back(board: Board) {
    let mut chip = Chip::switched_on(board, &BenchSpec::studio_factory(14));
    for rate_sps in [10, 80] {
        chip.store(settings(rate_sps), 0, &table(4))
            .expect("stored");
        chip.state_after(200);
    }
    let elf = std::fs::read(image(board)).expect("the image");
    let book = Book::read(&elf).expect("texts");
    let mut reader = book.reader();
    let lines = reader.take(&chip.client.line_mut().logged);
    assert_eq!(reader.broken(), 0);
    let texts: Vec<&str> = lines.iter().map(|line| line.text.as_str()).collect();
    assert!(
        texts.ends_with(&["10 conversions per second", "80 conversions per second"]),
        "{texts:?}"
    );
    let last = lines.last().expect("a line");
    assert_eq!(last.level, Some("info"));
    let place = last.place.as_deref().unwrap_or_default();
    assert!(place.starts_with("src/main.rs:"), "{place}");
    // Of device time, which began a moment ago.
    let seconds: f64 = last.time.as_deref().unwrap_or("").parse().expect("a time");
    assert!((0.01..60.0).contains(&seconds), "{seconds} s");
}

/// As a user has it: the built command, a serial port, and somebody who puts on
/// what it asks for. Virtual time runs while a request is unanswered.
fn the_command_calibrates_the_board_over_its_port(board: Board) {
    let mut spec = BenchSpec::studio_factory(12);
    spec.habits.reaction_s = (0.3, 0.6);
    spec.habits.handling_s = (0.3, 0.5);
    let mut chip = Chip::switched_on(board, &spec);
    let hello = chip.hello();
    let rig = chip.rig.clone();
    let folder = Folder::new();
    // Few loads: the guided calibration above has them all.
    let mut weights = hold(&rig).weights().to_vec();
    weights.retain(|weight| weight.nominal_g >= 500.0);
    let file = folder.with("weights.toml", weights_file(&weights));
    let port = chip_port(rig.clone());
    let found = run(folder.path(), &["find", "--port", port.path(), "--json"]);
    assert_eq!(found.code, 0, "{found:#?}");
    let found: serde_json::Value = serde_json::from_str(&found.out).expect("one object");
    assert_eq!(found["board"], board.name());
    assert_eq!(found["max_points"], u64::from(hello.max_knots));
    let tracking = |on| {
        let words = ["zero", "--tracking", on, "--port", port.path()];
        run(folder.path(), &words)
    };
    match board {
        Board::Rp2040 => {
            let on = tracking("on");
            assert!(on.out.contains("follows drift      on"), "{on:#?}");
        }
        Board::Atmega328p => {
            tracking("on").is_problem(3, "no zero-tracking");
        }
    }
    assert_eq!(tracking("off").code, 0);
    let (code, out, err) = with_hands(
        &folder,
        &weights,
        &mut |ids| hold(&rig).put_on(ids),
        &[
            "calibrate",
            "--max",
            "6kg",
            "--e",
            "2g",
            "--weights",
            &file,
            "--port",
            port.path(),
            "--yes",
        ],
    );
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(folder.file("calibration.html").exists());
    drop(port);
    let mut chip = Chip::over(rig);
    assert!(chip.table().knots > 2);
}

/// The chip's line as a serial port of this machine.
fn chip_port(rig: Shared) -> Stranger {
    let mut asks: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
    let mut reports: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
    let mut unanswered = false;
    Stranger::new(move |heard| {
        let mut rig = hold(&rig);
        for byte in heard {
            unanswered |= matches!(asks.push(*byte), Some(Event::Payload(_)));
        }
        rig.emulator.input(heard);
        let mut said = Vec::new();
        let began = Instant::now();
        while unanswered && began.elapsed() < Duration::from_millis(50) {
            for byte in rig.run(50_000, true).output {
                said.push(byte);
                if let Some(Event::Payload(payload)) = reports.push(byte) {
                    // Samples and pieces of the log are no replies.
                    let tag = payload.first().copied();
                    unanswered &= matches!(tag, Some(report::SAMPLE | report::LOG));
                }
            }
        }
        Some(said)
    })
}

/// Runs one of the checks of the RP2040's image beside the emulator.
fn checked_by(script: &str, more: &[&str]) {
    let output = Command::new("node")
        .arg(root().join("tests/chips").join(script))
        .arg(image(Board::Rp2040))
        .args(more)
        .current_dir(root())
        .output()
        .expect("node runs");
    assert!(output.status.success(), "{output:#?}");
}

/// Flash against `budget.toml`; RAM is looked at where the stack is used most.
fn the_image_keeps_its_budget(board: Board) {
    let flash = footprint(board).expect("the image").flash;
    let limit = budget(board, "flash_bytes").expect("a limit");
    assert!(flash <= limit, "{flash} bytes of flash");
}
