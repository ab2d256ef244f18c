//! Files and arguments that are wrong: an error that says what to do next, an exit code
//! that is not zero, nothing lost, and never a panic.

mod support;

use std::fs;
use std::path::Path;

use scalewright::record::journal;
use support::{Folder, GOOD_WEIGHTS, Run, run, session_text};

/// Exit codes as `scalewright --help` lists them.
const USAGE: i32 = 2;
const SCALE: i32 = 3;
const DATA: i32 = 4;

const ABSENT: &str = "/dev/no-such-scale";

// ---- weights and plan ------------------------------------------------------

fn calibrate(weights: &str) -> Run {
    let folder = Folder::new();
    let file = folder.with("weights.toml", weights);
    let run = run(
        folder.path(),
        &[
            "calibrate",
            "--max",
            "6kg",
            "--e",
            "2g",
            "--weights",
            &file,
            "--port",
            ABSENT,
        ],
    );
    assert!(!folder.file("calibration.session.jsonl").exists());
    run
}

#[test]
fn a_good_weights_file_gets_as_far_as_the_port() {
    calibrate(GOOD_WEIGHTS).is_problem(SCALE, "there is no port /dev/no-such-scale");
}

#[test]
fn a_weights_file_is_refused_with_its_line() {
    for (from, to, cause) in [
        (
            "2 kg",
            "2 lb",
            "line 2: nominal of W1: \"lb\" is no mass unit",
        ),
        (
            "2 kg",
            "2000",
            "line 2: nominal of W1: \"2000\" has no unit",
        ),
        (
            "2 kg",
            "2,5 kg",
            "line 2: nominal of W1: \"2,5\" is no number",
        ),
        (
            "2 kg",
            "-2 kg",
            "line 2: nominal of W1: \"-2 kg\" is not a mass above zero",
        ),
        (
            "\"jar\"",
            "\"W1\"",
            "line 12: weight W1 stands here again, first in line 2",
        ),
        ("\"W2\"", "\" \"", "line 7: a weight without a name"),
        ("id = \"jar\"", "label = \"jar\"", "line 13: unknown field"),
        ("0.2 g", "20 %", "line 12: uncertainty of jar"),
        (
            "\"M1\"",
            "\"Q7\"",
            "line 2: weight W1: Q7 is no class of OIML R 111",
        ),
        (
            "2 kg",
            "2.3 kg",
            "line 2: weight W1: OIML R 111 has no 2300 g weight",
        ),
        ("id = \"W1\"", "id = 7", "line 3: "),
    ] {
        assert!(GOOD_WEIGHTS.contains(from));
        let changed = GOOD_WEIGHTS.replacen(from, to, 1);
        calibrate(&changed).is_problem(DATA, cause);
    }
}

#[test]
fn a_weights_file_without_weights_is_refused() {
    calibrate("").is_problem(DATA, "holds no [[weight]] at all");
    calibrate("[[weight]\nid=").is_problem(DATA, "weights.toml, line ");
}

#[test]
fn weights_that_do_not_suit_the_scale_are_refused() {
    let heavy = GOOD_WEIGHTS.replace("2 kg", "20 kg");
    calibrate(&heavy).is_problem(DATA, "weight W1 (20000 g) is above Max (6000 g)");
    let lone = &GOOD_WEIGHTS[..GOOD_WEIGHTS.find("[[weight]]\nid = \"W2\"").expect("W2")];
    calibrate(lone).is_problem(DATA, "only 1 different loads");
    let both = GOOD_WEIGHTS.replacen("\"M1\"", "\"M1\"\nuncertainty = \"1 g\"", 1);
    calibrate(&both).is_problem(DATA, "has a class and an uncertainty");
}

#[test]
fn a_list_of_weights_is_refused_with_its_reason() {
    let folder = Folder::new();
    for (list, cause) in [
        ("2kg,1", "has no unit"),
        (" , ", "the list of weights is empty"),
        ("2kg,1kg,9kg", "is above Max"),
        ("absent.toml", "cannot be read"),
    ] {
        run(
            folder.path(),
            &[
                "calibrate",
                "--max",
                "6kg",
                "--e",
                "2g",
                "--weights",
                list,
                "--port",
                ABSENT,
            ],
        )
        .is_problem(DATA, cause);
    }
}

#[test]
fn a_scale_that_cannot_be_is_refused() {
    let folder = Folder::new();
    let weights = folder.with("weights.toml", GOOD_WEIGHTS);
    for (max, e, class, code, cause) in [
        ("6", "2g", "III", USAGE, "--max: \"6\" has no unit"),
        ("6kg", "two", "III", USAGE, "--e: "),
        ("6kg", "2g", "V", USAGE, "there is no accuracy class V"),
        ("6kg", "1kg", "III", USAGE, "Max/e is 6"),
        // OIML R 76-1:2006 table 3: class III has at most 10 000 e.
        ("6kg", "0.1g", "III", USAGE, "10"),
    ] {
        run(
            folder.path(),
            &[
                "calibrate",
                "--max",
                max,
                "--e",
                e,
                "--class",
                class,
                "--weights",
                &weights,
                "--port",
                ABSENT,
            ],
        )
        .is_problem(code, cause);
    }
}

// ---- session files ---------------------------------------------------------

fn resume(folder: &Path, content: impl AsRef<[u8]>) -> Run {
    let file = folder.join("kiln.session.jsonl");
    fs::write(&file, content).expect("write");
    run(folder, &["resume", "kiln.session.jsonl", "--port", ABSENT])
}

#[test]
fn a_session_cut_at_any_byte_of_its_last_line_goes_on() {
    let text = session_text();
    let start = text.trim_end().rfind('\n').expect("lines") + 1;
    let lines = text.lines().count();
    for cut in start..text.len() {
        let contents = journal::parse(&text[..cut], "it").expect("the rest is whole");
        // Without its line feed alone, the last line is still complete.
        let whole = cut + 1 == text.len();
        let kept = if whole { lines } else { lines - 1 };
        assert_eq!(contents.entries.len(), kept, "cut at {cut}");
        assert_eq!(contents.cut_short, !whole && cut > start, "cut at {cut}");
    }
    let folder = Folder::new();
    let run = resume(folder.path(), &text[..text.len() - 20]);
    run.is_problem(SCALE, "there is no port");
    assert!(run.out.contains("the last line was cut short"), "{run:#?}");
    let left = fs::read_to_string(folder.file("kiln.session.jsonl")).expect("still there");
    assert_eq!(left, text[..start], "what was whole is still there");
}

#[test]
fn a_session_changed_by_hand_is_refused_with_its_line_and_left_alone() {
    let text = session_text();
    let captured = text
        .lines()
        .position(|line| line.contains("mean_counts"))
        .expect("a capture");
    let changed: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(index, line)| {
            if index == captured {
                line.replacen("\"mean_counts\":", "\"mean_counts\":1", 1)
            } else {
                line.into()
            }
        })
        .collect();
    let changed = changed.join("\n") + "\n";
    let folder = Folder::new();
    resume(folder.path(), &changed).is_problem(
        DATA,
        &format!("line {}: does not fit its checksum", captured + 1),
    );
    let left = fs::read_to_string(folder.file("kiln.session.jsonl")).expect("still there");
    assert_eq!(left, changed);
}

#[test]
fn lines_lost_moved_or_foreign_are_refused() {
    let text = session_text();
    let lines: Vec<&str> = text.lines().collect();
    let folder = Folder::new();
    let without = |index: usize| {
        let mut left = lines.clone();
        left.remove(index);
        left.join("\n") + "\n"
    };
    resume(folder.path(), without(2)).is_problem(DATA, "line 3: calls itself number 4");
    resume(folder.path(), without(0)).is_problem(DATA, "line 1: calls itself number 2");
    let mut moved = lines.clone();
    moved.swap(3, 4);
    resume(folder.path(), moved.join("\n") + "\n").is_problem(DATA, "line 4: ");
    let other = text.replacen("\"scalewright_session\":1", "\"scalewright_session\":2", 1);
    resume(folder.path(), other).is_problem(DATA, "line 1: is of session format 2");
    resume(folder.path(), "").is_problem(DATA, "line 1: is not the beginning of a session");
    resume(folder.path(), "{}\n").is_problem(DATA, "line 1: is no session entry");
    resume(folder.path(), GOOD_WEIGHTS).is_problem(DATA, "line 1: is no session entry");
    resume(folder.path(), [0xFF, 0xFE, 0, 10]).is_problem(DATA, "kiln.session.jsonl");
    let deep = "[".repeat(100_000);
    resume(folder.path(), deep).is_problem(DATA, "line 1");
    run(folder.path(), &["resume", "absent.jsonl", "--port", ABSENT])
        .is_problem(DATA, "absent.jsonl");
}

#[test]
fn an_older_session_is_never_written_over() {
    let folder = Folder::new();
    let old = folder.with("bench.session.jsonl", "the only copy");
    let mut journal = journal::Journal::create(Path::new(&old)).expect("another name");
    journal
        .write(&scalewright::session::event::Entry::Undone)
        .expect("write");
    assert_eq!(fs::read_to_string(&old).expect("there"), "the only copy");
    assert_eq!(journal.path(), folder.file("bench-2.session.jsonl"));
}
