//! `scalewright seal` and `scalewright zero` against the bench on a port.

#![cfg(unix)]

mod support;

use scalewright_bench::pty;
use serde_json::Value;
use support::bench::calibrated;
use support::{Folder, Run, command, run};

fn said(folder: &Folder, port: &str, words: &[&str]) -> Run {
    run(folder.path(), &[words, &["--port", port]].concat())
}

fn json(folder: &Folder, port: &str, words: &[&str]) -> Value {
    let run = said(folder, port, &[words, &["--json"]].concat());
    assert_eq!(run.code, 0, "{run:#?}");
    serde_json::from_str(&run.out).expect("one object")
}

#[test]
fn a_sealed_scale_is_opened_by_its_key_only() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let port = bench.path();
    let sealed = said(&folder, port, &["seal"]);
    assert_eq!(sealed.code, 0, "{sealed:#?}");
    assert!(sealed.out.contains("is sealed now"), "{}", sealed.out);
    assert!(sealed.out.contains("no scale legal"), "{}", sealed.out);
    assert!(said(&folder, port, &["seal"]).out.contains("already"));
    // Whoever would put loads on is told first, and nothing is begun.
    let weights = "2kg,2kg,1kg,500g,200g,200g,100g";
    for words in [
        &["seal", "--open"][..],
        &["zero", "--tracking", "on"],
        &[
            "calibrate",
            "--max",
            "6kg",
            "--e",
            "2g",
            "--weights",
            weights,
        ],
        &["table", "adjust", "2kg"],
        &["table", "roll-back", "--yes"],
        &[
            "moved",
            "--from",
            "48.1,520m",
            "--to",
            "53.6,10m",
            "--correct",
        ],
    ] {
        let refused = said(&folder, port, words);
        assert_eq!(refused.code, 3, "{refused:#?}");
        let told = refused.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains("sealed"), "{told}");
        assert!(told.contains("right key (VIEW) held"), "{told}");
        assert!(!refused.out.contains("[y/N]"), "{}", refused.out);
    }
    assert!(!folder.file("calibration.session.jsonl").exists());
    let foretold = ["table", "adjust", "2kg", "--too-much", "2g", "--predict"];
    assert_eq!(said(&folder, port, &foretold).code, 0);
    let found = json(&folder, port, &["find"]);
    assert_eq!(found["sealed"], true);
    assert!(
        found["conditions"][0]
            .as_str()
            .is_some_and(|told| told.contains("sealed"))
    );
    // That off and on is not enough is tested in the core.
    bench.desk().restart_with(1 << 2);
    let found = said(&folder, port, &["find"]);
    assert!(found.out.contains("but open until"), "{}", found.out);
    let opened = json(&folder, port, &["seal", "--open"]);
    assert_eq!(opened["sealed"], false);
    assert!(opened["change"].as_u64() > Some(1));
    assert!(
        said(&folder, port, &["seal", "--open"])
            .out
            .contains("was not sealed")
    );
}

/// A change of settings takes the place of the table before in the scale; the laptop
/// kept it.
#[test]
fn rolling_back_goes_past_a_change_of_settings() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let port = bench.path();
    let checksum = |told: &Value| told["checksum"].as_str().map(str::to_owned);
    let first = checksum(&json(&folder, port, &["table"]));
    let adjusted = ["table", "adjust", "2kg", "--too-much", "2g", "--yes"];
    assert_eq!(said(&folder, port, &adjusted).code, 0);
    let second = checksum(&json(&folder, port, &["table"]));
    assert_ne!(first, second);
    json(&folder, port, &["zero", "--tracking", "on"]);
    let back = said(&folder, port, &["table", "roll-back", "--yes"]);
    assert_eq!(back.code, 0, "{back:#?}");
    let told = back.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("of settings alone"), "{told}");
    assert_eq!(checksum(&json(&folder, port, &["table"])), first);
    assert_eq!(
        json(&folder, port, &["zero"])["tracking"],
        true,
        "settings stay"
    );
    // From a laptop that never read the one before it can't be had.
    let other = Folder::new();
    json(&other, port, &["zero", "--tracking", "off"]);
    let none = said(&other, port, &["table", "roll-back", "--yes"]);
    none.is_problem(4, "the scale holds no other table");
    assert_eq!(checksum(&json(&folder, port, &["table"])), first);
}

/// A table pushed with the same points and another zero is a change like any other.
#[test]
fn a_zero_edited_by_hand_is_told_and_rolled_back() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let port = bench.path();
    assert_eq!(said(&folder, port, &["table", "save", "k.toml"]).code, 0);
    let text = std::fs::read_to_string(folder.file("k.toml")).expect("saved");
    let zero = |value: &str| {
        let lines = text
            .lines()
            .map(|line| match line.starts_with("zero_counts") {
                true => format!("zero_counts = {value}"),
                false => line.to_owned(),
            });
        lines.collect::<Vec<_>>().join("\n") + "\n"
    };
    // Far from the zero in the scale: nothing at the scale would mend that.
    folder.with("far.toml", zero("-4000000"));
    let refused = said(&folder, port, &["table", "push", "far.toml", "--yes"]);
    refused.is_problem(4, "ZERO refuses so much");
    // Near: it is told, and the roll-back after it is an ordinary one.
    let before = json(&folder, port, &["table"]);
    let near = before["zero_counts"].as_i64().expect("told") + 500;
    folder.with("near.toml", zero(&near.to_string()));
    let pushed = said(&folder, port, &["table", "push", "near.toml", "--yes"]);
    assert_eq!(pushed.code, 0, "{pushed:#?}");
    assert!(pushed.out.contains("zero itself moves"), "{}", pushed.out);
    let back = said(&folder, port, &["table", "roll-back", "--yes"]);
    assert_eq!(back.code, 0, "{back:#?}");
    assert!(!back.out.contains("settings alone"), "{}", back.out);
    let after = json(&folder, port, &["table"]);
    for name in ["checksum", "zero_counts"] {
        assert_eq!(after[name], before[name], "{name}");
    }
}

/// A table on trial is not lost to a change of settings, and `find` tells of it.
#[test]
fn a_trial_stands_in_the_way_of_a_seal() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let port = bench.path();
    let tried = [
        "table",
        "adjust",
        "2kg",
        "--too-much",
        "2g",
        "--try",
        "--yes",
    ];
    assert_eq!(said(&folder, port, &tried).code, 0);
    let found = said(&folder, port, &["find"]);
    assert!(found.out.contains("on trial"), "{}", found.out);
    for words in [&["seal"][..], &["zero", "--tracking", "on"]] {
        said(&folder, port, words).is_problem(3, "on trial");
    }
    assert_eq!(said(&folder, port, &["table", "accept", "--yes"]).code, 0);
    // Sealed with the key still in force it is open for now, and that is said.
    assert_eq!(said(&folder, port, &["seal"]).code, 0);
    bench.desk().restart_with(1 << 2);
    assert_eq!(said(&folder, port, &["seal", "--open"]).code, 0);
    let sealed = said(&folder, port, &["seal"]);
    assert!(sealed.out.contains("still open until"), "{}", sealed.out);
}

/// The port in the environment serves where none is named.
#[test]
fn the_port_may_stand_in_the_environment() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let found = |port: &str, words: &[&str]| {
        let mut command = command(folder.path(), words);
        let output = command.env("SCALEWRIGHT_PORT", port).output();
        Run::from(output.expect("it runs"))
    };
    let named = found(bench.path(), &["find"]);
    assert_eq!(named.code, 0, "{named:#?}");
    assert!(named.out.contains(bench.path()), "{}", named.out);
    let wins = found("/dev/no-such-port", &["find", "--port", bench.path()]);
    assert_eq!(wins.code, 0, "{wins:#?}");
    found("/dev/no-such-port", &["find"]).is_problem(3, "/dev/no-such-port");
}

#[test]
fn zero_is_told_and_changed() {
    let folder = Folder::new();
    let bench = pty::open(calibrated(3)).expect("a bench");
    let port = bench.path();
    let before = json(&folder, port, &["zero"]);
    assert_eq!(
        (&before["at_start"], &before["tracking"]),
        (&true.into(), &false.into())
    );
    assert!(before["change"].is_null());
    let after = json(
        &folder,
        port,
        &["zero", "--tracking", "on", "--at-start", "off"],
    );
    assert_eq!(
        (&after["at_start"], &after["tracking"]),
        (&false.into(), &true.into())
    );
    assert!(after["change"].is_u64());
    let told = said(&folder, port, &["zero"]);
    assert!(told.out.contains("follows drift      on"), "{}", told.out);
    let history = said(&folder, port, &["table"]);
    assert!(
        history.out.contains("ida: zero by itself"),
        "{}",
        history.out
    );
    assert_eq!(
        said(&folder, port, &["zero", "--tracking", "maybe"]).code,
        2
    );
}
