//! What all captures tell together, in the page and in the terminal.

use crate::fixture;
use crate::page::words;
use scalewright::record::outcome::Outcome;
use scalewright::report::{Style, json, page, table};

const SECTIONS: [&str; 3] = [
    "Weights and substitution loads",
    "A small load on a big one",
    "Hysteresis and creep",
];

/// Page and terminal report as running text.
fn both(outcome: &Outcome) -> [String; 2] {
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let shown = flat(&words(&page(outcome))).replace('\u{2212}', "-");
    [shown, flat(&table(outcome, Style::PLAIN))]
}

fn all_say(outcome: &Outcome, expected: &[&str]) {
    for text in both(outcome) {
        for words in expected {
            assert!(text.contains(words), "missing: {words}\n{text}");
        }
    }
}

#[test]
fn everything_found_is_told() {
    let outcome = fixture::studio();
    all_say(&outcome, &SECTIONS);
    all_say(
        &outcome,
        &[
            "7 weights agree with what is stated",
            "do not check H4 (200 g) and H5 (20 g): what is stated of them is believed",
            "glaze jug weighs 2281.32 g ± 0.16 g",
            "within 50 mg",
            "U = 30 mg",
            "about 2.27 kg",
            "1999.959 ± 0.088",
            "-41 mg",
            "A 20 g weight added to loads up to 5.5 kg reads 20 g within 0.28 g: permitted are ±1 g.",
            "oming down the scale shows up to 0.78 g ± 0.33 g (0.39 e ± 0.16 e) more than going up",
            "Creep, time constant 1 min",
            "he reading rises by 0.0138 % ± 0.0062 % of the load, at Max by 0.83 g ± 0.37 g",
            "ot seen, 0.000 % ± 0.039 % of the load",
            "53 mg near zero, 0.14 g at Max",
        ],
    );
    let [page, terminal] = both(&outcome);
    assert!(page.contains("not told apart") && page.contains("only 2.8 g"));
    assert!(page.contains("nothing speaks against") || page.contains("Nothing speaks against"));
    let line = terminal.split("H4").nth(2).unwrap_or_default();
    assert!(
        line.starts_with(" 200 g within 10 mg 200.001 ± 0.011 +1 mg 4 no"),
        "{line}"
    );
}

#[test]
fn what_is_wrong_is_said_in_words() {
    let outcome = fixture::bad_weight();
    all_say(
        &outcome,
        &[
            "K3 (1 kg) is 5.60 g ± 0.60 g too light",
            "wrong: 5.60 g ± 0.60 g too light",
            "The capture of K1 + K2 + H1 (4.5 kg) read 38.20 g ± 0.62 g too much",
            "A 20 g weight added to 5.5 kg reads 17.10 g, 2.90 g too little: permitted are ±1 g",
            "beyond that at 2 of 3 loads",
            "ot seen: the loop is -0.12 g ± 0.33 g",
        ],
    );
    let [page, _] = both(&outcome);
    assert!(page.contains("K3 is 5.60 g ± 0.60 g too light; nothing speaks against"));
    assert!(page.contains("left out as wrong"));
    let colour = Style {
        colour: true,
        ..Style::PLAIN
    };
    // Taken away, colour leaves the same words.
    let mut bare = table(&outcome, colour);
    for code in ["0", "1", "2", "31", "32", "33", "36"] {
        bare = bare.replace(&format!("\u{1b}[{code}m"), "");
    }
    let lines = |text: &str| -> Vec<String> {
        let trimmed = text.lines().map(|line| line.trim_end().to_owned());
        trimmed.collect()
    };
    assert_eq!(lines(&bare), lines(&table(&outcome, Style::PLAIN)));
}

#[test]
fn a_doubt_is_told_with_what_would_settle_it() {
    all_say(
        &fixture::undecided(),
        &[
            "K3 (1 kg), K4 (1 kg) or the scale itself",
            "Capture K3 + H1: that tells",
            "in doubt: it may be the one that is off",
            "At 2 of 3 loads the uncertainty reaches beyond that",
            "ot tested: no load was reached from a heavier one",
            "ot determined: too few captures",
        ],
    );
}

#[test]
fn an_outcome_of_old_has_none_of_it() {
    // As it was written then: without the field.
    let text = json(&fixture::studio(), false).unwrap();
    let mut value: serde_json::Value = serde_json::from_str(&text).unwrap();
    value.as_object_mut().unwrap().remove("together");
    let old: Outcome = serde_json::from_value(value).unwrap();
    assert_eq!(old.together, None);
    for text in both(&old) {
        for section in SECTIONS {
            assert!(!text.contains(section), "{section}");
        }
        assert!(
            text.contains("all captures together"),
            "its candidates stay"
        );
    }
}

#[test]
fn nothing_found_is_no_empty_table() {
    let [page, terminal] = both(&fixture::bare());
    for text in [page, terminal] {
        assert!(!text.contains(SECTIONS[0]) && !text.contains(SECTIONS[1]));
        assert!(text.contains("ot determined: too few captures"));
    }
}

#[test]
fn names_from_outside_stay_text() {
    let page = page(&fixture::hostile());
    assert!(words(&page).contains("<script>alert(1)</script>"));
    let mut long = fixture::bad_weight();
    let name = "a name as long as a shelf & \"quoted\" <b>".repeat(9);
    for one in &mut long.together.as_mut().unwrap().weights {
        one.id.clone_from(&name);
    }
    crate::terminal::check("long names", &long);
    assert!(words(&scalewright::report::page(&long)).contains(&name));
}
