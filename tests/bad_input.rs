//! Files and arguments that are wrong: an error that says what to do next, an exit code
//! that is not zero, nothing lost, and never a panic.

mod support;

use std::fs;
use std::path::Path;

use scalewright::record::journal;
use support::{Folder, GOOD_WEIGHTS, RICH_WEIGHTS, Run, run, session_text};

/// Exit codes as `scalewright --help` lists them.
const USAGE: i32 = 2;
const SCALE: i32 = 3;
const DATA: i32 = 4;

const ABSENT: &str = "/dev/no-such-scale";

// ---- weights and plan ------------------------------------------------------

/// The options of a scale.
fn scale<'a>(max: &'a str, e: &'a str, class: &'a str) -> [&'a str; 6] {
    ["--max", max, "--e", e, "--class", class]
}

fn calibrate_with(folder: &Folder, weights: &str, scale: [&str; 6]) -> Run {
    let rest = ["--weights", weights, "--port", ABSENT];
    run(folder.path(), &[&["calibrate"], &scale[..], &rest].concat())
}

fn calibrate(weights: &str) -> Run {
    let folder = Folder::new();
    let file = folder.with("weights.toml", weights);
    let run = calibrate_with(&folder, &file, scale("6kg", "2g", "III"));
    assert!(!folder.file("calibration.session.jsonl").exists());
    run
}

#[test]
fn a_folder_without_a_calibration_has_none_to_go_on_with() {
    let folder = Folder::new();
    run(folder.path(), &["resume"]).is_problem(DATA, "no calibration in this folder");
    run(folder.path(), &["resume", "other.jsonl"]).is_problem(DATA, "other.jsonl");
}

#[test]
fn a_good_weights_file_gets_as_far_as_the_port() {
    calibrate(GOOD_WEIGHTS).is_problem(SCALE, "there is no port /dev/no-such-scale");
}

/// `weights check` finds what `calibrate` finds, in the same words.
fn check(weights: &str) -> Run {
    let folder = Folder::new();
    let file = folder.with("weights.toml", weights);
    run(folder.path(), &["weights", "check", &file])
}

/// Refused by both commands that read it.
fn refused(weights: &str, cause: &str) {
    for found in [calibrate(weights), check(weights)] {
        found.is_problem(DATA, cause);
        assert_eq!(found.out, "");
        assert!(!found.err.contains('\u{1b}'), "{found:#?}");
    }
}

/// Every change of a file in order with what is said of it.
fn refused_when_changed(file: &str, changes: &[(&str, &str, &str)]) {
    check_is_good(file);
    for (from, to, cause) in changes {
        assert!(file.contains(from), "no {from}");
        refused(&file.replacen(from, to, 1), cause);
    }
}

fn check_is_good(file: &str) {
    let good = check(file);
    assert_eq!((good.code, good.err.as_str()), (0, ""), "{good:#?}");
}

#[test]
fn a_weights_file_is_refused_with_its_line() {
    refused_when_changed(
        GOOD_WEIGHTS,
        &[
            (
                "2 kg",
                "2 stone",
                "line 4: nominal of W1: \"stone\" is no mass unit: write g, kg, mg, t, lb or oz",
            ),
            (
                "2 kg",
                "2000",
                "line 4: nominal of W1: \"2000\" has no unit",
            ),
            (
                "2 kg",
                "2,5 kg",
                "line 4: nominal of W1: \"2,5\" has a decimal comma: write 2.5",
            ),
            (
                "2 kg",
                "2:5 kg",
                "line 4: nominal of W1: \"2:5\" is no number",
            ),
            (
                "2 kg",
                "-2 kg",
                "line 4: nominal of W1: \"-2 kg\" is not a mass above zero",
            ),
            (
                "\"jar\"",
                "\"W1\"",
                "line 13: weight W1 stands here again, first in line 3",
            ),
            (
                "\"jar\"",
                "\" w 1\"",
                "line 13: weight w 1 stands here again, first as W1 in line 3",
            ),
            ("\"W2\"", "\" \"", "line 8: a weight without a name"),
            (
                "\"W2\"",
                "\"W\\u001b[2J\"",
                "line 8: the name \"W [2J\" holds a character that cannot be shown",
            ),
            (
                "id = \"jar\"",
                "label = \"jar\"",
                "line 13: unknown field `label`",
            ),
            (
                "[[weight]]\nid = \"jar\"",
                "[[weights]]\nid = \"jar\"",
                "line 12: unknown field `weights`",
            ),
            (
                "0.2 g",
                "20 %",
                "line 15: uncertainty of jar: \"%\" is no mass unit",
            ),
            (
                "\"M1\"",
                "\"Q7\"",
                "line 5: weight W1: Q7 is no class of OIML R 111",
            ),
            (
                "2 kg",
                "2.3 kg",
                "line 4: weight W1: OIML R 111 has no 2300 g weight",
            ),
            ("id = \"W1\"", "id = 7", "line 3: "),
            (
                "\"2 kg\"",
                "2000",
                "line 4: invalid type: integer `2000`, expected a string: put it in quotes",
            ),
            (
                "\"W2\"",
                "\"a+b\"",
                "line 8: the name \"a+b\" holds a + or a comma",
            ),
            (
                "\"W2\"",
                "\"U\"",
                "line 8: the name \"U\" is a key while you calibrate",
            ),
            (
                "class = \"M1\"",
                "class = \"M1\"\nuncertainty = \"1 g\"",
                "line 6: weight W1 has a class and an uncertainty: give one",
            ),
        ],
    );
}

#[test]
fn certificates_densities_and_substitution_loads_are_held_to_reason() {
    refused_when_changed(
        RICH_WEIGHTS,
        &[
            (
                "uncertainty = \"0.4 mg\"",
                "",
                "line 5: weight W1 has a certificate without its uncertainty: add uncertainty",
            ),
            (
                "1000.012 g",
                "1100.012 g",
                "line 5: certificate of W1: 1.100012 kg is more than 2 % from the nominal 1 kg",
            ),
            // M1 leaves a kilogram 50 mg (OIML R 111-1:2004, table 1), U 0.4 mg.
            (
                "1000.012 g",
                "999.9495 g",
                "line 5: certificate of W1: 999.9495 g is 50.5 mg from the nominal 1 kg, but \
                 class M1 and the uncertainty allow 50.4 mg",
            ),
            (
                "uncertainty = \"0.4 mg\"",
                "uncertainty = \"0.4 mg\"\ndrift = \"30 g\"",
                "line 7: drift of W1: 30 g is more than 2 % of 1 kg, which is probably a typing \
                 error",
            ),
            (
                "nominal = \"500 g\"",
                "nominal = \"500 g\"\ndrift = \"1 mg\"",
                "line 13: weight W2 has a drift and neither certificate nor uncertainty",
            ),
            (
                "7950 kg/m3",
                "7.95 kg/m3",
                "line 7: density of W1: \"7.95 kg/m3\" is no density of a weight (500 to 23000 \
                 kg/m3): is 7.95 g/cm3 meant?",
            ),
            (
                "7950 kg/m3",
                "7950 g/cm3",
                "line 7: density of W1: \"7950 g/cm3\" is no density of a weight (500 to 23000 \
                 kg/m3): is 7950 kg/m3 meant?",
            ),
            (
                "7950 kg/m3",
                "7.95",
                "line 7: density of W1: \"7.95\" has no unit: is 7.95 g/cm3 meant?",
            ),
            (
                "7950 kg/m3",
                "steel",
                "line 7: density of W1: \"steel\" is no density unit",
            ),
            (
                "note = \"from the lab\"",
                "note = 7",
                "line 8: invalid type: integer",
            ),
            (
                "\"jug\"",
                "\"w3\"",
                "line 19: weight w3 stands here again, first as W3 in line 15",
            ),
            (
                "about = \"4 kg\"",
                "about = \"4\"",
                "line 20: about of jug: \"4\" has no unit",
            ),
            (
                "about = \"4 kg\"",
                "nominal = \"4 kg\"",
                "line 20: unknown field `nominal`, expected one of `id`, `about`, `note`",
            ),
            ("about = \"4 kg\"", "", "line 18: missing field `about`"),
            (
                "about = \"4 kg\"",
                "about = []",
                "line 20: about of jug is an empty list",
            ),
            (
                "about = \"4 kg\"",
                "about = [\"4 kg\", \"2 kg\"]",
                "line 20: the fillings of jug must rise",
            ),
            (
                "about = \"4 kg\"",
                "about = [\"2 kg\", \"4\"]",
                "line 20: about of jug filling 2: \"4\" has no unit",
            ),
            ("about = \"4 kg\"", "about = 4", "line 20: a mass as"),
        ],
    );
    check_is_good(&RICH_WEIGHTS.replace("about = \"4 kg\"", "about = [\"2 kg\", \"4 kg\"]"));
    // At the very limits it is good: 2 % without a class, mpe + U with one.
    for (from, to) in [
        ("1000.012 g", "999.9496 g"),
        (
            "class = \"M1\"\ncertificate = \"1000.012 g\"",
            "certificate = \"1020 g\"",
        ),
    ] {
        assert!(RICH_WEIGHTS.contains(from));
        check_is_good(&RICH_WEIGHTS.replacen(from, to, 1));
    }
}

#[test]
fn a_weights_file_without_weights_is_refused() {
    refused("", "holds no [[weight]] at all");
    refused("[[weight]\nid=", "weights.toml, line ");
    let jug = &RICH_WEIGHTS[RICH_WEIGHTS.find("[[substitution]]").expect("it")..];
    refused(jug, "holds no [[weight]] at all");
    let folder = Folder::new();
    for absent in ["absent.toml", "."] {
        run(folder.path(), &["weights", "check", absent]).is_problem(DATA, "cannot be read");
    }
}

#[test]
fn weights_that_do_not_suit_the_scale_are_refused() {
    let heavy = GOOD_WEIGHTS.replace("2 kg", "20 kg");
    let lone = &GOOD_WEIGHTS[..GOOD_WEIGHTS.find("[[weight]]\nid = \"W2\"").expect("W2")];
    let folder = Folder::new();
    for (weights, cause) in [
        (heavy.as_str(), "weight W1 (20000 g) is above Max (6000 g)"),
        (lone, "make up to Max are too few (1)"),
    ] {
        calibrate(weights).is_problem(DATA, cause);
        let file = folder.with("weights.toml", weights);
        let scale = scale("6kg", "2g", "III");
        let all = [&["weights", "check", &file], &scale[..]].concat();
        let text = run(folder.path(), &all);
        text.is_problem(DATA, cause);
        assert!(text.out.contains("Sum "), "the list is shown: {text:#?}");
        let json = run(folder.path(), &[&all[..], &["--json"]].concat());
        json.is_problem(DATA, cause);
        assert_eq!(json.out, "");
    }
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
        calibrate_with(&folder, list, scale("6kg", "2g", "III")).is_problem(DATA, cause);
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
        let scale = scale(max, e, class);
        calibrate_with(&folder, &weights, scale).is_problem(code, cause);
        let all = [&["weights", "check", &weights], &scale[..]].concat();
        let checked = run(folder.path(), &all);
        checked.is_problem(code, cause);
        assert_eq!(checked.out, "");
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
        let contents = journal::parse::<scalewright::session::event::Entry>(&text[..cut], "it")
            .expect("the rest is whole");
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
    resume(folder.path(), "").is_problem(DATA, "line 1: is not the beginning of a calibration");
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
