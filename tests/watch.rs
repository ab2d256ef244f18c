//! `watch`: lines, JSON, the log, the screen, and a scale that goes and comes.
#![cfg(unix)]

mod support;
#[path = "support/terminal.rs"]
mod terminal;

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use scalewright_bench::{AdcTrouble, BenchHandle, BenchSpec, Pace, pty};
use serde_json::Value;
use support::{Folder, command, plain, run, too_wide};

const HEADER: &str =
    "time_utc,connection,sequence,device_ms,raw_counts,smooth_counts,gross_g,conditions";

fn studio(seed: u64, speed: Option<f64>) -> BenchHandle {
    let mut spec = BenchSpec::studio(seed);
    if let Some(speed) = speed {
        spec.pace = Pace::Real { speed };
    }
    pty::open(spec).expect("a bench")
}

/// Rows of a log without its header, cell by cell.
fn rows(path: &Path) -> Vec<Vec<String>> {
    let text = fs::read_to_string(path).expect("the log");
    let mut lines = text.split_terminator("\r\n");
    assert_eq!(lines.next(), Some(HEADER));
    lines
        .map(|line| line.split(',').map(ToString::to_string).collect())
        .collect()
}

fn rows_so_far(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_default()
}

#[test]
fn json_and_log_hold_the_same_samples() {
    let folder = Folder::new();
    let bench = studio(2, None);
    bench.desk().place_g(1234.0);
    let log = folder.file("w.csv").display().to_string();
    let arguments = [
        "watch",
        "--port",
        bench.path(),
        "--seconds",
        "6",
        "--json",
        "--log",
        &log,
    ];
    let run = run(folder.path(), &arguments);
    assert_eq!(run.code, 0, "{run:#?}");
    let lines: Vec<Value> = run
        .out
        .lines()
        .map(|line| serde_json::from_str(line).expect("one object a line"))
        .collect();
    // Ten a second, less what settles at the beginning.
    assert!((50..=61).contains(&lines.len()), "{}", lines.len());
    let rows = rows(Path::new(&log));
    assert_eq!(rows.len(), lines.len());
    for (row, line) in rows.iter().zip(&lines) {
        let [
            time,
            connection,
            sequence,
            device_ms,
            raw,
            smooth,
            gross,
            conditions,
        ] = &row[..]
        else {
            panic!("eight columns in {row:?}");
        };
        assert!(time.ends_with('Z') && time.len() == 20, "{time}");
        for (cell, name) in [
            (connection, "connection"),
            (sequence, "sequence"),
            (device_ms, "device_ms"),
            (raw, "raw_counts"),
        ] {
            assert_eq!(cell.parse::<i64>().ok(), line[name].as_i64(), "{name}");
        }
        // Three decimals in the log, all of them in JSON.
        let near = |cell: &str, name: &str| {
            let (cell, value) = (cell.parse::<f64>().ok(), line[name].as_f64());
            cell.zip(value)
                .is_some_and(|(a, b)| (a - b).abs() <= 5.1e-4)
        };
        assert!(
            near(smooth, "smooth_counts") && near(gross, "gross_g"),
            "{row:?} {line}"
        );
        let words: Vec<&str> = conditions
            .split('+')
            .filter(|word| !word.is_empty())
            .collect();
        assert_eq!(serde_json::json!(words), line["conditions"]);
    }
    let last = lines.last().expect("samples");
    let gross = last["gross_g"].as_f64().expect("a mass");
    assert!(
        (gross - 1234.0).abs() < 5.0,
        "as wrong as the studio's scale is: {gross}"
    );
    assert!(
        run.err
            .contains(&format!("{} samples in 6 s, none lost", lines.len())),
        "{}",
        run.err
    );
}

#[test]
fn help_says_what_to_type_in_80_columns() {
    let folder = Folder::new();
    for name in ["inspect", "watch"] {
        let help = run(folder.path(), &[name, "--help"]);
        assert_eq!(help.code, 0);
        assert!(help.out.contains("Examples:"), "{name}: {}", help.out);
        assert_eq!(too_wide(&help.out), [""; 0], "{name}");
    }
}

#[test]
fn every_third_sample_is_no_loss() {
    let folder = Folder::new();
    let bench = studio(2, None);
    let arguments = [
        "watch",
        "--port",
        bench.path(),
        "--seconds",
        "9",
        "--json",
        "--every",
        "3",
    ];
    let run = run(folder.path(), &arguments);
    let count = run.out.lines().count();
    assert!((27..=31).contains(&count), "{count}");
    assert!(run.err.contains("none lost"), "{}", run.err);
}

#[test]
fn a_pipe_gets_one_plain_line_a_second() {
    let folder = Folder::new();
    for trouble in [
        None,
        Some(AdcTrouble::HeldHigh),
        Some(AdcTrouble::BridgeOpen),
    ] {
        let bench = studio(2, None);
        bench.desk().adc_trouble(trouble);
        let arguments = ["watch", "--port", bench.path(), "--seconds", "8"];
        let run = run(folder.path(), &arguments);
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{run:#?}");
        assert!(!run.out.contains('\x1b'), "{run:#?}");
        assert_eq!(too_wide(&run.out), [""; 0]);
        let seconds = run
            .out
            .lines()
            .filter(|line| line.contains(" s ") && line.starts_with(' '));
        assert_eq!(seconds.count(), 8, "{run:#?}");
        let words = match trouble {
            None => "0 g  at rest, zero; last",
            Some(AdcTrouble::HeldHigh) => {
                "- - - g  the ADC is silent: check its supply and data wire"
            }
            Some(_) => "a bridge wire may be open",
        };
        assert!(run.out.contains(words), "{run:#?}");
    }
    let bench = pty::open(BenchSpec::studio_factory(2)).expect("a bench");
    let arguments = ["watch", "--port", bench.path(), "--seconds", "3"];
    let run = support::run(folder.path(), &arguments);
    assert!(
        run.out.contains(" counts  at rest; not calibrated, 0.1"),
        "{run:#?}"
    );
}

#[test]
fn a_log_is_never_written_over() {
    let folder = Folder::new();
    let bench = studio(2, None);
    let log = folder.with("old.csv", "precious");
    let watch = ["watch", "--port", bench.path(), "--seconds", "1", "--log"];
    run(folder.path(), &[&watch[..], &[&log]].concat()).is_problem(4, "never written over");
    assert_eq!(fs::read_to_string(&log).expect("still there"), "precious");
    run(
        folder.path(),
        &[&watch[..], &["no/such/folder/w.csv"]].concat(),
    )
    .is_problem(4, "cannot write no/such/folder/w.csv");
    if Path::new("/dev/full").exists() {
        // A device that takes a name and nothing else; it exists, so it is kept.
        run(folder.path(), &[&watch[..], &["/dev/full"]].concat())
            .is_problem(4, "never written over");
    }
}

#[test]
fn a_terminal_is_redrawn_within_80_columns_and_given_back() {
    let folder = Folder::new();
    for (settings, ascii) in [
        (&[("NO_COLOR", "1")][..], false),
        (&[("LC_ALL", "C"), ("NO_COLOR", "1")], true),
    ] {
        let bench = studio(2, Some(5.0));
        let desk = bench.desk();
        let arguments = ["watch", "--port", bench.path()];
        // Loads the pan, sees it move and rest, tares, sees that, and ends.
        let steps = ["at rest, zero", "  moving", "  at rest", "at rest, net"];
        let mut done = 0;
        let (code, shown) = terminal::at_a_terminal(folder.path(), &arguments, settings, |shown| {
            let newest = shown.rsplit("\x1b[H").next().unwrap_or_default();
            if !steps.get(done).is_some_and(|words| newest.contains(words)) {
                return None;
            }
            done += 1;
            match done {
                1 => desk.place_g(777.0),
                3 => return Some("t\n"),
                4 => return Some("q\n"),
                _ => {}
            }
            None
        });
        assert_eq!(code, 0, "{shown}");
        assert!(shown.contains("tare is set"), "{shown}");
        assert!(
            shown.contains("none lost on the line, one connection"),
            "{shown}"
        );
        assert!(shown.contains("\x1b[?1049h") && shown.contains("\x1b[?1049l"));
        // Save and restore of the cursor are no text; after the screen is given
        // back the cursor stands where it was before.
        let text = shown.replace("\x1b7", "").replace("\x1b8", "");
        let text = text.replace("\x1b[?1049l", "\n");
        assert_eq!(too_wide(&text.replace(bench.path(), "PORT")), [""; 0]);
        assert!(
            !text.contains("\x1b[1m") && !text.contains("\x1b[33m"),
            "NO_COLOR"
        );
        let text = plain(&text);
        assert_eq!(text.is_ascii(), ascii);
        assert_eq!(text.contains('*'), ascii, "stars instead of dots");
        assert_eq!(
            text.contains('\u{2809}') || text.contains('\u{2824}'),
            !ascii
        );
    }
}

/// Reads lines from a child until one says `words`.
fn until(lines: &mut impl Iterator<Item = std::io::Result<String>>, words: &str) -> Vec<String> {
    let mut seen = Vec::new();
    for line in lines {
        let line = line.expect("UTF-8");
        let found = line.contains(words);
        seen.push(line);
        if found {
            return seen;
        }
    }
    panic!("never \"{words}\" in {seen:#?}");
}

fn ends(mut child: Child) -> (i32, String) {
    let began = Instant::now();
    loop {
        if let Some(status) = child.try_wait().expect("its state") {
            let mut out = String::new();
            if let Some(mut rest) = child.stdout.take() {
                rest.read_to_string(&mut out).expect("UTF-8");
            }
            return (status.code().unwrap_or(-1), out);
        }
        if began.elapsed() > Duration::from_secs(20) {
            let _ = child.kill();
            let _ = child.wait();
            panic!("it does not end");
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn it_survives_a_pulled_plug_and_another_scale() {
    let folder = Folder::new();
    let port = folder.file("port").display().to_string();
    let plug = |bench: &BenchHandle| {
        let _ = fs::remove_file(&port);
        std::os::unix::fs::symlink(bench.path(), &port).expect("a link");
    };
    let bench = studio(2, Some(10.0));
    plug(&bench);
    let log = folder.file("w.csv");
    let name = log.display().to_string();
    // It ends by itself should the test go wrong.
    let arguments = ["watch", "--port", &port, "--log", &name, "--seconds", "600"];
    let mut child = command(folder.path(), &arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut typed = child.stdin.take().expect("piped");
    let mut errors = BufReader::new(child.stderr.take().expect("piped")).lines();
    while rows_so_far(&log).lines().count() < 30 {
        std::thread::sleep(Duration::from_millis(5));
    }
    bench.stop();
    until(&mut errors, "trying until it is back");
    let before = rows(&log);
    let other = studio(3, Some(10.0));
    plug(&other);
    until(&mut errors, "another scale");
    other.stop();
    let bench = studio(2, Some(10.0));
    plug(&bench);
    until(&mut errors, "the scale is back");
    // A scale just switched on is not at rest yet.
    while !rows_so_far(&log).contains(",2,40,") {
        std::thread::sleep(Duration::from_millis(5));
    }
    // Its keys work as before, also from a pipe.
    typed.write_all(b"z\n").expect("it listens");
    until(&mut errors, "zero is set");
    typed.write_all(b"q\n").expect("it listens");
    let (code, out) = ends(child);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("2 connections"), "{out}");
    let after = rows(&log);
    assert_eq!(after[..before.len()], before[..]);
    assert!(after.len() > before.len() + 30, "it went on");
    assert!(before.iter().all(|row| row[1] == "1"));
    assert!(after[before.len()..].iter().all(|row| row[1] == "2"));
}

#[test]
fn time_goes_on_while_the_scale_is_gone() {
    let folder = Folder::new();
    let bench = studio(2, Some(10.0));
    let arguments = ["watch", "--port", bench.path(), "--seconds", "12"];
    let mut child = command(folder.path(), &arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines();
    until(&mut lines, "     9 s ");
    bench.stop();
    let (mut code, mut out) = (0, String::new());
    if let Ok(status) = child.wait() {
        code = status.code().unwrap_or(-1);
        out = until(&mut lines, "gone at the end").join("\n");
    }
    assert_eq!(code, 3, "{out}");
}

#[test]
fn a_restart_of_the_scale_is_told_and_watched_on() {
    let folder = Folder::new();
    let bench = studio(2, Some(10.0));
    let arguments = ["watch", "--port", bench.path(), "--seconds", "30", "--json"];
    let mut child = command(folder.path(), &arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines();
    for _ in 0..40 {
        lines.next().expect("a line").expect("UTF-8");
    }
    bench.desk().restart();
    let seen = until(&mut lines, "\"connection\":2");
    assert!(!seen.is_empty());
    drop(lines);
    // Nobody reads any more: that ends it.
    let (code, _) = ends(child);
    assert_eq!(code, 0);
}
