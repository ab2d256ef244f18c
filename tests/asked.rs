//! `rehearse --ask` with typed answers: what people do at a prompt, mistakes
//! included, as a newcomer found them.

mod support;

use std::io::Write;
use std::process::Stdio;

use support::{Folder, command};

/// What a rehearsal shows when these lines are typed.
fn typed(lines: &str) -> String {
    answered(&["rehearse", "--ask"], lines)
}

/// What a command shows when these lines are typed.
fn answered(arguments: &[&str], lines: &str) -> String {
    let folder = Folder::new();
    let mut child = command(folder.path(), arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    child
        .stdin
        .take()
        .expect("piped")
        .write_all(lines.as_bytes())
        .expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let err = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!err.contains("panicked"), "{err}");
    String::from_utf8_lossy(&output.stdout).into_owned() + &err
}

/// What is typed at the bench is answered, whatever it is.
#[cfg(unix)]
#[test]
fn the_bench_answers_what_is_typed() {
    let lines = "help\n250 g\n\nW1+W4 front left\n1kg+37.5g\n\n99kg\nhlep\n0\nq\n";
    let shown = answered(&["bench"], lines);
    for part in [
        "export SCALEWRIGHT_PORT=/dev/",
        "Enter alone             says what lies there",
        "on the pan: 250 g exactly",
        "going on the pan: W1 + W4 front left",
        "on the pan: 1.0375 kg exactly",
        "99 kg would break the cell",
        "\"hlep\" is no (other) weight here",
        "taking everything off",
    ] {
        assert!(shown.contains(part), "no \"{part}\" in {shown}");
    }
    assert_eq!(support::too_wide(&shown), [""; 0]);
}

#[test]
fn the_same_wrong_load_twice_is_named_twice_and_then_put_right() {
    // Empty, the heaviest load, empty, then the first of the others.
    let shown = typed("\n\n\n\n200g\n200g\n\nq\n");
    assert_eq!(
        shown.matches("looks like 199 g, not 10 g").count(),
        2,
        "{shown}"
    );
    assert!(shown.contains("10 g  W11"), "{shown}");
}

#[test]
fn after_an_undo_the_load_still_lying_there_is_not_taken() {
    let shown = typed("\n\n\n\n\nu\nW3\n\nq\n");
    assert!(shown.contains("taken back: W11"), "{shown}");
    assert!(shown.contains("looks like 997 g, not 10 g"), "{shown}");
    assert_eq!(shown.matches("10 g  W11").count(), 2, "{shown}");
}

#[test]
fn a_load_far_from_the_one_asked_for_cannot_be_insisted_on() {
    let shown = typed("\n\n\nt\nq\n");
    assert!(shown.contains("it would spoil the table"), "{shown}");
    assert!(!shown.contains("10 g  W11"), "{shown}");
}

#[test]
fn a_loaded_pan_is_no_empty_pan() {
    let shown = typed("2kg\n\nq\n");
    assert!(shown.contains("not the empty pan"), "{shown}");
    assert!(shown.contains("it could be W1 (2 kg)"), "{shown}");
}
