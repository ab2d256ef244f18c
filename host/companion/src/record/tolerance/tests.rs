//! Tables of permitted errors that can be used, and what is said of the others.

use proptest::prelude::*;
use scalewright_metrology::tolerance::{Intervals, Scheme};

use super::{Tolerance, parse};

/// Line 5 holds the first load, line 9 the second.
const GOOD: &str = r#"name = "glaze kitchen"
source = "house rule of 2026"

[[step]]
up_to = "500 g"
permitted = "0.7 g"

[[step]]
up_to = "6 kg"
permitted = "0.2 %"
"#;

fn told(text: &str) -> String {
    let fault = parse(text, "own.toml").expect_err(text);
    assert!(!fault.try_this.is_empty() && !fault.to_string().contains('\n'));
    format!("{fault} | {}", fault.try_this)
}

#[test]
fn all_that_a_file_says_is_written_out() {
    let read = parse(GOOD, "own.toml").expect("a table");
    let text = "table \"glaze kitchen\" after \"house rule of 2026\": up to 500 g: 0.7 g; up to 6000 g: 0.2 % of load";
    assert_eq!(read.scheme().to_string(), text);
    let noted = Tolerance::noted(text, "--judge").expect("the same");
    assert_eq!(noted.scheme(), read.scheme());
    let intervals = Intervals::new(1.0, 1.0).expect("intervals");
    let at = |load_g| read.scheme().permitted_g(load_g, &intervals).expect("g");
    assert_eq!((at(500.0), at(3000.0)), (0.7, 6.0));
    // Decimal numbers as they were meant.
    let small = GOOD.replace("0.7 g", "700 mg").replace("6 kg", "6.1 kg");
    let small = parse(&small, "own.toml").expect("a table");
    let written = small.scheme().to_string();
    assert!(
        written.ends_with("500 g: 0.7 g; up to 6100 g: 0.2 % of load"),
        "{written}"
    );
}

#[test]
fn what_is_wrong_is_named_with_line_key_and_remedy() {
    for (from, to, said) in [
        (
            "permitted = \"0.7 g\"",
            "allowed = \"0.7 g\"",
            "own.toml, line 6: the key \"allowed\" is not known here | a table has",
        ),
        (
            "name =",
            "title =",
            "line 1: the key \"title\" is not known here",
        ),
        (
            "name = \"glaze kitchen\"",
            "",
            "own.toml: name is missing | write what you call",
        ),
        (
            "source = \"house rule of 2026\"",
            "",
            "own.toml: source is missing | write where",
        ),
        ("glaze kitchen", " ", "line 1: name: it is empty"),
        (
            "of 2026",
            "\\\"x\\\"",
            "line 2: source: it holds a double quotation mark",
        ),
        (
            "of 2026",
            "\\u001b[2J",
            "line 2: source: it holds a character that can't be shown (U+001B)",
        ),
        (
            "up_to = \"500 g\"\n",
            "",
            "line 4: step 1 has no up_to | add up_to = \"500 g\"",
        ),
        (
            "permitted = \"0.2 %\"",
            "",
            "line 8: step 2 has no permitted | add permitted",
        ),
        (
            "\"500 g\"",
            "500",
            "line 5: up_to: it is not in quotes | write a text with its unit",
        ),
        (
            "500 g",
            "500",
            "line 5: up_to of step 1: \"500\" has no unit",
        ),
        (
            "0.7 g",
            "0,7 g",
            "line 6: permitted of step 1: \"0,7\" has a decimal comma: write 0.7 | write a mass",
        ),
        (
            "0.2 %",
            "0,2 %",
            "line 10: permitted of step 2: \"0,2\" has a decimal comma: write 0.2",
        ),
        (
            "0.7 g",
            "0 g",
            "line 6: permitted of step 1: \"0 g\" is not a mass above zero",
        ),
        (
            "0.7 g",
            "-1 g",
            "line 6: permitted of step 1: \"-1 g\" is not a mass above zero",
        ),
        (
            "0.2 %",
            "0 %",
            "line 10: permitted of step 2: \"0 %\" is no share of the load",
        ),
        (
            "0.2 %",
            "-1 %",
            "line 10: permitted of step 2: \"-1 %\" is no share",
        ),
        (
            "0.2 %",
            "nan %",
            "line 10: permitted of step 2: \"nan %\" is no share",
        ),
        (
            "6 kg",
            "500 g",
            "line 9: up_to of step 2: 500 g stands here again, first in line 5 | take one",
        ),
        (
            "6 kg",
            "0.4 kg",
            "line 9: up_to of step 2: 400 g is below the step before (500 g) | list the steps",
        ),
        (
            "0.2 %",
            "0.1 %",
            "line 10: permitted of step 2: it permits 500 mg where it begins, the lighter step before it 700 mg | a heavier",
        ),
        (
            "0.7 g",
            "0.1 %",
            "line 6: permitted of step 1: a share of the load is nothing at zero | let the first",
        ),
        (
            "0.7 g",
            "5 kg",
            "line 6: permitted of step 1: 5 kg is as much as the load of 500 g itself | check",
        ),
        (
            "[[step]]\nup_to = \"500 g\"",
            "[step]\nup_to = \"500 g\"",
            "own.toml, line ",
        ),
        ("\"6 kg\"", "\"6 kg", "own.toml, line 9: "),
        ("0.7 g\"", "0.7 g\"\npermitted = \"1 g\"", "line 7: "),
    ] {
        assert!(GOOD.contains(from), "no {from}");
        let found = told(&GOOD.replacen(from, to, 1));
        assert!(found.contains(said), "{found}\nnot {said}");
    }
    let no_step = GOOD.split("[[step]]").next().expect("a head");
    assert!(told(no_step).contains("holds no [[step]] at all | write one"));
    let mut many = no_step.to_owned();
    for at in 1..=51 {
        many += &format!("[[step]]\nup_to = \"{at} kg\"\npermitted = \"{at} g\"\n");
    }
    assert!(
        told(&many).contains("line 154: step: there are more than 50"),
        "{}",
        told(&many)
    );
}

#[test]
fn a_table_that_ends_too_early_is_told() {
    let read = parse(GOOD, "own.toml").expect("a table");
    assert_eq!(read.reaches(6000.0, "Max"), Ok(()));
    let fault = read.reaches(15_000.0, "Max").expect_err("too short");
    assert_eq!(
        fault.to_string(),
        "own.toml, line 9: up_to of the last step: the table ends at 6 kg, below Max (15 kg)"
    );
    assert!(fault.try_this.contains("15 kg"));
    let noted = Tolerance::noted("up to 500 g: 1 g", "--judge").expect("a table");
    let fault = noted.reaches(501.0, "Max").expect_err("too short");
    assert!(
        fault
            .to_string()
            .starts_with("--judge: up_to of the last step")
    );
    let r76 = Tolerance::noted("R76 III initial", "--judge").expect("a scheme");
    assert_eq!(r76.reaches(1e9, "Max"), Ok(()));
    assert!(Tolerance::noted("kindly\u{1b}", "--judge").is_err());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    /// Any file gives a table that reads back as written, or a reason in one line.
    #[test]
    fn any_file_is_answered(
        cuts in prop::collection::vec((0usize..200, "[\\PC\n]{0,6}"), 0..4),
        drop in 0usize..200,
    ) {
        let mut text = GOOD.to_owned();
        for (at, put) in &cuts {
            let at = (0..=*at.min(&text.len())).rev().find(|at| text.is_char_boundary(*at));
            text.insert_str(at.unwrap_or(0), put);
        }
        if !cuts.is_empty() && drop < text.len() && text.is_char_boundary(drop) {
            text.truncate(drop);
        }
        match parse(&text, "own.toml") {
            Ok(read) => {
                let written = read.scheme().to_string();
                prop_assert_eq!(written.parse::<Scheme>(), Ok(read.scheme().clone()));
            }
            Err(fault) => {
                prop_assert!(!fault.to_string().contains(char::is_control));
                prop_assert!(!fault.try_this.is_empty());
            }
        }
    }
}
