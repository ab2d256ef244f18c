//! `scalewright verify` as people call it.

mod support;

use serde_json::Value;
use support::{Folder, GOOD_WEIGHTS, run, too_wide};

const USAGE: i32 = 2;
const SCALE: i32 = 3;
const DATA: i32 = 4;

#[test]
fn a_rehearsal_ends_with_every_test_and_its_report() {
    let folder = Folder::new();
    let said = run(folder.path(), &["rehearse", "--verify"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{}", said.out);
    assert_eq!(too_wide(&said.out), [""; 0]);
    for part in [
        "Repeatability",
        "front left",
        "Creep and return to zero",
        "passes so far",
        "Not a legal verification",
        "coverage factor",
    ] {
        assert!(said.out.contains(part), "no \"{part}\" in {}", said.out);
    }
    let page = std::fs::read_to_string(folder.file("rehearsal/verification.html"));
    let page = page.expect("the report");
    assert!(page.contains("<svg") && page.contains("OIML R 76"));

    // The file alone gives the same again, without a scale.
    let file = "rehearsal/verification.session.jsonl";
    let again = run(folder.path(), &["verify", "--again", file, "--json"]);
    assert_eq!((again.code, again.err.as_str()), (0, ""));
    let found: Value = serde_json::from_str(&again.out).expect("one object");
    assert_eq!(found["verdict"], "passes_so_far");
    assert_eq!(found["tests"].as_array().map(Vec::len), Some(7));
    let rewritten = std::fs::read_to_string(folder.file("rehearsal/verification.html"));
    assert_eq!(rewritten.expect("the report"), page);

    // A calibration's file is none of a verification, and the other way round.
    let file = "rehearsal/rehearsal.session.jsonl";
    run(folder.path(), &["verify", "--again", file]).is_problem(DATA, "makes no sense");
    let file = "rehearsal/verification.session.jsonl";
    run(folder.path(), &["resume", file]).is_problem(DATA, "makes no sense");
}

#[test]
fn what_cannot_be_is_said_before_anything_happens() {
    let folder = Folder::new();
    let weights = folder.with("weights.toml", GOOD_WEIGHTS);
    let unknown = run(folder.path(), &["verify", "tilt", "--weights", &weights]);
    assert_eq!(unknown.code, USAGE);
    assert!(unknown.err.contains("eccentricity"), "{}", unknown.err);
    let none = run(folder.path(), &["verify"]);
    assert_eq!(none.code, USAGE);
    assert!(none.err.contains("--weights"), "{}", none.err);
    run(folder.path(), &["verify", "--go-on"]).is_problem(DATA, "verification.session.jsonl");
    let port = ["--port", "/dev/no-such-port"];
    let call = ["verify", "--weights", &weights, port[0], port[1]];
    run(folder.path(), &call).is_problem(SCALE, "no-such-port");
    run(folder.path(), &["verify", "--again", "nothing.jsonl"]).is_problem(DATA, "nothing.jsonl");
}
