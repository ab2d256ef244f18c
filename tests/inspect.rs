//! `inspect` at the bench: wiring broken, noise, load, line, a finger. What the
//! bench cannot do is tested beside the rules (`inspect/rules/tests.rs`).
#![cfg(unix)]

mod support;
#[path = "support/terminal.rs"]
mod terminal;

use scalewright_bench::{
    AdcTrouble, AdcTroubleSpan, BenchSpec, CellSpec, LineFaults, Pace, pty,
    setup::class_iii_settings,
};
use serde_json::Value;
use support::port::Stranger;
use support::{Folder, Run, run, too_wide};

/// Inspects a bench made to `spec`; `trouble` is there from the beginning.
fn inspected(spec: BenchSpec, trouble: Option<AdcTrouble>, more: &[&str]) -> Run {
    let bench = pty::open(spec).expect("a bench");
    bench.desk().adc_trouble(trouble);
    let folder = Folder::new();
    let arguments = [&["inspect", "--port", bench.path()], more].concat();
    let mut run = run(folder.path(), &arguments);
    run.out = run.out.replace(bench.path(), "PORT");
    run
}

fn value(run: &Run) -> Value {
    serde_json::from_str(&run.out).unwrap_or_else(|fault| panic!("{fault}: {run:#?}"))
}

/// The finding about `topic`.
fn about<'a>(all: &'a Value, topic: &str) -> &'a Value {
    all["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .find(|one| one["topic"] == topic)
        .unwrap_or_else(|| panic!("nothing about {topic} in {all:#}"))
}

fn says(finding: &Value, words: &str) {
    let whole = format!(
        "{} {} {}",
        finding["seen"], finding["means"], finding["try"]
    );
    assert!(whole.contains(words), "no \"{words}\" in {finding:#}");
}

fn noted(count: &str, spec: BenchSpec) -> Value {
    value(&inspected(spec, None, &["--json", "--seconds", count]))
}

#[test]
fn a_sound_scale_is_healthy_and_its_figures_are_those_of_its_cell() {
    for seed in 1..=12 {
        let spec = BenchSpec::studio(seed);
        let cell = spec.cell.clone();
        let run = inspected(spec, None, &["--json", "--seconds", "60"]);
        let all = value(&run);
        assert_eq!(
            (run.code, &all["verdict"]),
            (0, &"healthy".into()),
            "{all:#}"
        );
        let measured = &all["measured"];
        let output = measured["output_mv_per_v"].as_f64().expect("an output");
        // Drift, walk and slow noise of the cell: well within 1 g in a minute.
        let off_g = (output - cell.settled_mv_per_v(0.0)) / cell.mv_per_v_per_g();
        assert!(off_g.abs() < 1.0, "seed {seed}: {off_g} g");
        // 600 samples: the standard deviation is known to 3 % (1/sqrt(2 n)); the
        // cell's slow noise, a tenth of the variance or less, comes on top.
        let sd_g = measured["noise"]["sd_g"].as_f64().expect("a noise");
        let ratio = sd_g / cell.noise_g;
        assert!((0.88..=1.15).contains(&ratio), "seed {seed}: {ratio}");
        assert_eq!(measured["lost"], 0);
        let rate = measured["rate_sps"].as_f64().expect("a rate");
        assert!((rate - 10.0).abs() < 0.05, "{rate}");
        for finding in all["findings"].as_array().expect("findings") {
            assert_eq!(finding["level"], "good", "seed {seed}: {finding:#}");
        }
    }
}

#[test]
fn it_reads_in_80_columns_without_colour_into_a_pipe() {
    for (spec, trouble, code) in [
        (BenchSpec::studio(3), None, 0),
        (BenchSpec::studio(3), Some(AdcTrouble::BridgeOpen), 1),
        (BenchSpec::studio_factory(3), Some(AdcTrouble::HeldHigh), 3),
    ] {
        let run = inspected(spec, trouble, &["--seconds", "4"]);
        assert_eq!((run.code, run.err.as_str()), (code, ""), "{run:#?}");
        assert_eq!(too_wide(&run.out), [""; 0]);
        assert!(!run.out.contains('\x1b'), "colour into a pipe");
        let verdict = match code {
            0 => "healthy: ready for calibration (which way it moves was not tried)",
            1 => "not healthy. Mend this first: range, a bridge wire is open",
            _ => "nothing could be measured: the ADC has no supply",
        };
        assert!(run.out.contains(verdict), "{run:#?}");
    }
}

#[test]
fn broken_wiring_is_named() {
    for (trouble, code, topic, words) in [
        (AdcTrouble::BridgeOpen, 1, "range", "a bridge wire is open"),
        (
            AdcTrouble::HeldHigh,
            3,
            "converter",
            "the data wire is open",
        ),
        (AdcTrouble::NoPower, 3, "converter", "has no supply"),
        (AdcTrouble::HeldLow, 3, "converter", "shorted to ground"),
    ] {
        let run = inspected(BenchSpec::studio(5), Some(trouble), &["--json"]);
        let all = value(&run);
        assert_eq!(run.code, code, "{trouble:?}: {all:#}");
        assert_eq!(about(&all, topic)["level"], "bad");
        says(about(&all, topic), words);
        // What does not exist is not judged.
        let text = all["findings"].to_string();
        assert!(
            !text.contains("\"noise\"") && !text.contains("\"drift\""),
            "{text}"
        );
    }
}

#[test]
fn an_adc_that_falls_silent_at_times_is_noticed() {
    let mut spec = BenchSpec::studio(5);
    spec.adc_troubles = vec![AdcTroubleSpan {
        from_s: 4.0,
        until_s: 5.5,
        trouble: AdcTrouble::NoPower,
    }];
    let all = noted("10", spec);
    assert_eq!(all["mend_first"], "converter");
    says(about(&all, "converter"), "1 pause");
    assert_eq!(all["measured"]["pauses"], 1);
    assert_eq!(all["measured"]["lost"], 0, "a pause is no loss of the line");
}

#[test]
fn a_noisy_cell_is_refused_by_its_own_d() {
    let mut spec = BenchSpec::studio(5);
    spec.cell.noise_g = 2.0;
    let all = noted("20", spec);
    assert_eq!(all["mend_first"], "noise", "{all:#}");
    says(about(&all, "noise"), "the last digit will flicker");
    // 6.6 · 2 g / sqrt(8) = 4.7 g, so d = 5 g; with 15 % luck it is 10 g.
    let d = all["measured"]["noise"]["supports_d_g"].as_f64();
    assert!(matches!(d, Some(5.0 | 10.0)), "{d:?}");
}

#[test]
fn without_a_table_it_says_mv_per_v_and_with_a_cell_grams() {
    let all = noted("5", BenchSpec::studio_factory(5));
    assert_eq!(all["verdict"], "healthy", "{all:#}");
    assert!(all["scale"].is_null() && all["measured"]["noise"]["sd_g"].is_null());
    says(about(&all, "noise"), "uV/V");
    let more = ["--json", "--cell", "2mV/V", "--capacity", "10kg"];
    let all = value(&inspected(BenchSpec::studio_factory(5), None, &more));
    // 429.4967 counts a gram: see `subject.rs`.
    let slope = all["measured"]["counts_per_g"].as_f64().expect("a slope");
    assert!((slope - 429.4967).abs() < 1e-3);
    says(about(&all, "noise"), "supports d = ");
    // A cell of twice the capacity cannot be the one the table was made with.
    let more = ["--json", "--cell", "2mV/V", "--capacity", "20kg"];
    let all = value(&inspected(BenchSpec::studio(5), None, &more));
    assert_eq!(about(&all, "bridge")["level"], "good");
    assert!(
        all["findings"]
            .to_string()
            .contains("times as steep as this cell")
    );
}

#[test]
fn a_signal_that_is_none_is_not_called_quiet() {
    let settings = class_iii_settings(6000.0, 2.0, 1000);
    let all = noted("4", BenchSpec::plain(1, CellSpec::ideal(), settings));
    assert_eq!(all["mend_first"], "bridge");
    says(about(&all, "bridge"), "never moves");
}

#[test]
fn a_load_on_the_pan_and_a_bent_cell_are_told() {
    let bench = pty::open(BenchSpec::studio(8)).expect("a bench");
    bench.desk().place_g(500.0);
    let folder = Folder::new();
    let run = run(
        folder.path(),
        &["inspect", "--json", "--port", bench.path()],
    );
    let all = value(&run);
    assert_eq!((run.code, &all["mend_first"]), (1, &"bridge".into()));
    says(about(&all, "bridge"), "something lies on the pan");

    let mut spec = BenchSpec::studio_factory(8);
    spec.cell.zero_balance_mv_per_v = 2.5;
    says(about(&noted("4", spec), "bridge"), "bent by an overload");
    let mut spec = BenchSpec::studio_factory(8);
    spec.cell.sensitivity_mv_per_v *= -1.0;
    says(about(&noted("4", spec), "bridge"), "below zero");
}

#[test]
fn jumps_drift_and_a_bad_line_are_told() {
    let mut spec = BenchSpec::studio(6);
    spec.spikes = (0.05, 60_000);
    let all = noted("60", spec);
    assert_eq!(about(&all, "jumps")["level"], "heed");
    assert_eq!(about(&all, "noise")["level"], "good", "jumps are no noise");

    let mut spec = BenchSpec::studio(6);
    spec.cell.drift_g_per_h = 600.0;
    let all = noted("60", spec);
    assert_eq!(about(&all, "drift")["level"], "heed");
    let per_min = all["measured"]["drift"]["g_per_min"].as_f64();
    assert!(
        per_min.is_some_and(|g| (g - 10.0).abs() < 0.5),
        "{per_min:?}"
    );

    let mut spec = BenchSpec::studio(6);
    spec.line_out = LineFaults {
        garble: 0.001,
        ..LineFaults::default()
    };
    let run = inspected(spec, None, &["--json", "--seconds", "15"]);
    let all = value(&run);
    assert_eq!(run.code, 0, "{all:#}");
    assert!(all["measured"]["lost"].as_u64() > Some(0), "{all:#}");
    says(about(&all, "line"), "not quite clean");
}

#[test]
fn garbage_is_no_scale() {
    let mut beat = 0u8;
    let noise = Stranger::new(move |_| {
        beat = beat.wrapping_mul(29).wrapping_add(71);
        Some(vec![beat, 0, beat ^ 0x55, 13, 10])
    });
    let folder = Folder::new();
    run(folder.path(), &["inspect", "--port", noise.path()]).is_problem(3, "no scale of ours");
}

#[test]
fn figures_of_a_cell_that_make_no_sense_are_refused() {
    let folder = Folder::new();
    for (cell, capacity, words) in [
        ("2", "10kg", "write it as 2mV/V"),
        ("900mV/V", "10kg", "no rated output of a load cell"),
        ("2mV/V", "10", "has no unit"),
    ] {
        let arguments = ["inspect", "--cell", cell, "--capacity", capacity];
        run(folder.path(), &arguments).is_problem(2, words);
    }
    for wrong in [&["--cell", "2mV/V"][..], &["--seconds", "0"]] {
        assert_eq!(run(folder.path(), &[&["inspect"], wrong].concat()).code, 2);
    }
}

#[test]
fn the_rate_can_be_chosen_and_stays() {
    let bench = pty::open(BenchSpec::studio(3)).expect("a bench");
    let folder = Folder::new();
    let asked = |more: &[&str]| {
        let arguments = [
            "inspect",
            "--port",
            bench.path(),
            "--json",
            "--seconds",
            "20",
        ];
        run(folder.path(), &[&arguments[..], more].concat())
    };
    asked(&["--rate", "40"]).is_problem(2, "makes no 40 conversions a second");
    for (more, wanted) in [
        (&["--rate", "80"][..], 80.0),
        (&[], 80.0),
        (&["--rate", "10"], 10.0),
    ] {
        let all = value(&asked(more));
        let rate = all["measured"]["rate_sps"].as_f64().expect("a rate");
        assert!((rate - wanted).abs() < 0.01 * wanted, "{more:?}: {rate}");
    }
}

/// Inspects on a terminal; whoever is asked presses with so many grams, or
/// stands by, and lets go when told.
fn pressed(mut spec: BenchSpec, load_g: f64) -> (i32, String) {
    spec.pace = Pace::Real { speed: 10.0 };
    let bench = pty::open(spec).expect("a bench");
    let desk = bench.desk();
    let folder = Folder::new();
    let arguments = ["inspect", "--seconds", "3", "--port", bench.path()];
    let (mut on, mut off) = (false, false);
    let (code, shown) = terminal::at_a_terminal(folder.path(), &arguments, &[], |shown| {
        if !on && shown.contains("Press the pan") {
            on = true;
            desk.place_g(load_g);
        } else if !off && shown.contains("let go") {
            off = true;
            desk.place_g(0.0);
        }
        None::<&str>
    });
    assert_eq!(too_wide(&shown.replace(bench.path(), "PORT")), [""; 0]);
    // Words are broken over lines where they must be.
    let words: Vec<&str> = shown.split_whitespace().collect();
    (code, words.join(" "))
}

#[test]
fn a_finger_shows_the_direction() {
    let (code, shown) = pressed(BenchSpec::studio(4), 400.0);
    assert_eq!(code, 0, "{shown}");
    // 400 g on a cell of 10 kg and 1.9 to 2.1 mV/V, nearly all of it smoothed.
    assert!(shown.contains("reads higher under load: +0.07") || shown.contains("+0.08"));
    assert!(shown.contains("g, and back"), "{shown}");
    assert!(
        shown.contains("healthy: ready for calibration next")
            || shown.contains("ready for calibration\x1b")
    );

    let mut swapped = BenchSpec::studio_factory(4);
    swapped.cell.sensitivity_mv_per_v *= -1.0;
    let (code, shown) = pressed(swapped, 400.0);
    assert_eq!(code, 1, "{shown}");
    assert!(shown.contains("reads lower under load"), "{shown}");
    assert!(shown.contains("swap the two signal wires"), "{shown}");
    assert!(shown.contains("Mend this first: direction"), "{shown}");

    let (code, shown) = pressed(BenchSpec::studio(4), 0.0);
    assert_eq!(code, 1, "{shown}");
    assert!(shown.contains("nothing moved under the finger"), "{shown}");
}

/// Listens on a terminal for 10 s of the scale's time, with a finger on the pan
/// from 7 s to 5 s before the end, each time or only the first time.
fn touched(each_time: bool) -> (i32, String) {
    let mut spec = BenchSpec::studio(4);
    spec.pace = Pace::Real { speed: 5.0 };
    let bench = pty::open(spec).expect("a bench");
    let desk = bench.desk();
    let folder = Folder::new();
    let arguments = ["inspect", "--port", bench.path()];
    let (code, shown) = terminal::at_a_terminal(folder.path(), &arguments, &[], |shown| {
        let now = shown.rsplit(" s left").nth(1).unwrap_or_default();
        let left_s = now.rsplit(' ').next().and_then(|s| s.parse::<u32>().ok());
        let again = shown.contains("Once more");
        match left_s {
            Some(5..7) if each_time || !again => desk.place_g(400.0),
            _ => desk.place_g(0.0),
        }
        None::<&str>
    });
    let words: Vec<&str> = shown.split_whitespace().collect();
    (code, words.join(" "))
}

/// A bad finding about noise, as a terminal gets it.
const BAD_NOISE: &str = "✗\x1b[0m noise";

#[test]
fn a_touch_while_it_listens_is_no_fault_of_the_wiring() {
    let (_, shown) = touched(false);
    assert!(shown.contains("The pan was touched after"), "{shown}");
    assert!(!shown.contains("left its place"), "{shown}");
    assert!(!shown.contains(BAD_NOISE), "{shown}");

    let (code, shown) = touched(true);
    assert_eq!(code, 1, "{shown}");
    assert!(shown.contains(BAD_NOISE), "{shown}");
    let by = shown.split("left its place by +").nth(1);
    let by_g = by.and_then(|rest| rest.split(' ').next()?.parse::<f64>().ok());
    // The bench's table is that of a poor scale.
    assert!(by_g.is_some_and(|g| (390.0..410.0).contains(&g)), "{shown}");
    assert!(shown.contains("Mend this first: noise, the pan was touched"));
    assert!(!shown.contains("Press the pan"), "{shown}");
}
