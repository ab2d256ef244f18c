//! `scalewright seal` and `scalewright zero` against the bench on a port.

#![cfg(unix)]

mod support;

use scalewright_bench::pty;
use serde_json::Value;
use support::bench::calibrated;
use support::{Folder, Run, run};

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
    for words in [&["seal", "--open"][..], &["zero", "--tracking", "on"]] {
        let refused = said(&folder, port, words);
        assert_eq!(refused.code, 3, "{refused:#?}");
        let told = refused.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains("key VIEW held"), "{told}");
    }
    // That off and on is not enough is tested in the core.
    bench.desk().restart_with(1 << 2);
    let opened = json(&folder, port, &["seal", "--open"]);
    assert_eq!(opened["sealed"], false);
    assert!(opened["change"].as_u64() > Some(1));
    assert!(
        said(&folder, port, &["seal", "--open"])
            .out
            .contains("was not sealed")
    );
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
