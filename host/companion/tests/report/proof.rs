//! The report of a verification: page, pictures and terminal.

mod pictures;

use crate::fixture::{HOSTILE, proof as fixture};
use crate::page::{parsed, words};
use crate::pictures::{any_number, check};
use crate::shows_no_broken_number;
use crate::terminal::columns;
use proptest::prelude::*;
use scalewright::record::proof::{Proof, TestOutcome, Verdict};
use scalewright::report::plots::{Room, proved};
use scalewright::report::{Style, proof_page, proof_table};

type Draw = fn(&Proof, &TestOutcome, &str, Room) -> String;

const PICTURES: [Draw; 5] = [
    proved::errors,
    proved::small_on_big,
    proved::repeated,
    proved::pan,
    proved::in_time,
];

fn all() -> Vec<(&'static str, Proof)> {
    let wild = [
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::MAX,
        f64::MIN,
        f64::MIN_POSITIVE,
        -1.0,
        0.0,
    ];
    let mut all = vec![
        ("pottery", fixture::pottery()),
        ("bare", fixture::bare()),
        ("without rows", fixture::without_rows()),
        ("hostile", fixture::hostile()),
    ];
    all.extend(wild.map(|number| ("one number", fixture::with_number(number))));
    all
}

/// The one of its tests with a name.
fn of<'a>(proof: &'a Proof, name: &str) -> &'a TestOutcome {
    let found = proof.tests.iter().find(|test| test.test == name);
    found.expect("a test of that name")
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What holds for every record: page, pictures, and terminal in every style.
fn holds(name: &str, proof: &Proof) {
    let page = proof_page(proof);
    shows_no_broken_number(name, &page);
    let document = parsed(&page);
    let mut ids = std::collections::HashSet::new();
    for node in document.descendants().filter(|node| node.is_element()) {
        let tag = node.tag_name().name();
        assert!(!["script", "link", "img", "iframe", "object"].contains(&tag));
        if let Some(id) = node.attribute("id") {
            assert!(ids.insert(id.to_owned()), "{name}: {id} twice");
        }
    }
    for room in [Room::Wide, Room::Narrow] {
        for test in &proof.tests {
            for draw in PICTURES {
                check(name, &draw(proof, test, "p", room));
            }
        }
        check(name, &proved::shares(proof, "p", room));
    }
    for most in [40, 52, 64, 72, 80, 100, 132, 200] {
        for (colour, ascii) in [(false, false), (true, false), (false, true), (true, true)] {
            let style = Style {
                colour,
                ascii,
                columns: most,
            };
            let text = proof_table(proof, style);
            shows_no_broken_number(name, &text);
            for line in text.lines() {
                let wide = columns(line);
                assert!(wide <= usize::from(most), "{name} at {most}: {line:?}");
                assert!(!ascii || line.is_ascii(), "{name}: {line:?}");
                assert!(colour || !line.contains('\u{1b}'), "{name}: {line:?}");
            }
        }
    }
}

#[test]
fn every_report_is_well_formed_and_fits() {
    for (name, proof) in all() {
        holds(name, &proof);
    }
}

#[test]
fn the_page_tells_the_whole_story() {
    let proof = fixture::pottery();
    let page = proof_page(&proof);
    let words = words(&page);
    for expected in [
        "Judged by R 76 class III, initial verification, this scale fails 1 of 9 tests \
         (Eccentricity).",
        "Its error of indication nearest to the limit is \u{2212}0.88 g at 1 kg, where ±1 g is \
         permitted.",
        "6 of 9",
        "Eccentricity: far right",
        "seed 7: no real scale was tried",
        "Max 6 kg, e = 2 g, d = 1 g, class III",
        "checksum (CRC-32) 9c41d07e, change number 3, 11 points, a hysteresis of 0.58 g taken off",
        "OIML R 76-1:2006, table 6",
        "simple acceptance",
        "2026-05-04 11:02 UTC+02:00",
        "Not complete: 4 minutes of 30",
        "Discrimination, left out: the small weights were not at hand at Max.",
        "K1 2 kg M1 within 0.1 g",
        "buoyancy of the air",
        "21.5 °C, 48 %, 986 hPa, air of 1.161 kg/m³, ±0.01 g for warm or cold weights",
        "is right within 1.7 g plus 0.0060 % of the reading",
        "not in proportion to the load",
        "very many",
        "Medicine.",
    ] {
        assert!(words.contains(expected), "missing: {expected}");
    }
    let document = parsed(&page);
    let tables = document
        .descendants()
        .filter(|node| node.has_tag_name(("http://www.w3.org/1999/xhtml", "tbody")));
    let rows: Vec<usize> = tables
        .map(|body| {
            body.children()
                .filter(|node| node.tag_name().name() == "tr")
                .count()
        })
        .collect();
    let tested: Vec<usize> = proof.tests.iter().map(|test| test.rows.len()).collect();
    assert_eq!(rows[..9], tested[..], "one row each");
    let rest = &rows[9..];
    assert_eq!(rest[0], proof.budgets.len());
    assert!(rest[1..7].iter().all(|rows| *rows == 1 + 9), "{rest:?}");
    // Two tests have captures, each under a line with its name.
    let captures: usize = rest[rest.len() - 2..].iter().sum();
    assert_eq!(captures, proof.captures.len() + 2);
    // Six tests have a picture, the budget and readings in use, each in two sizes.
    assert_eq!(page.matches("<svg ").count(), 2 * 8);
}

#[test]
fn a_row_shows_the_numbers_of_the_record() {
    let page = proof_page(&fixture::pottery());
    let document = parsed(&page);
    let row = document
        .descendants()
        .filter(|node| node.tag_name().name() == "tr")
        .map(|row| {
            row.descendants()
                .filter_map(|node| node.text())
                .collect::<Vec<_>>()
                .join("|")
        })
        .find(|row| row.contains("4\u{a0}kg ↓"))
        .expect("the row of 4 kg from above");
    for cell in [
        "+1.11",
        "+0.56",
        "|2|",
        "0.38",
        "2.02",
        "> 99.9 %",
        "✓ passes",
    ] {
        assert!(row.contains(cell), "{cell}: {row}");
    }
}

#[test]
fn each_verdict_has_its_sentence_and_its_mark() {
    for (verdict, sentence, mark) in [
        (
            Verdict::Passes,
            "this scale passes all 9 tests made.",
            "✓ passes",
        ),
        (
            Verdict::PassesSoFar,
            "passes so far: nothing speaks against it, but 9 of 9 tests were not complete",
            "(✓) passes so far",
        ),
        (
            Verdict::Open,
            "it can't be told whether this scale passes: what was captured allows both in Errors",
            "? can't be told",
        ),
        (Verdict::Fails, "this scale fails 9 of 9 tests", "✗ fails"),
    ] {
        let proof = fixture::all(verdict);
        let page = words(&proof_page(&proof));
        let text = flat(&proof_table(&proof, Style::PLAIN));
        assert!(page.contains(sentence), "{sentence}");
        assert!(text.contains(sentence), "{sentence}: {text}");
        assert!(page.contains(mark), "{mark}");
        assert!(text.contains(mark.split(' ').next().unwrap()));
    }
}

#[test]
fn the_whole_is_never_shown_better_than_its_worst_test() {
    let mut proof = fixture::all(Verdict::Passes);
    proof.tests[4].verdict = Verdict::Fails;
    let words = words(&proof_page(&proof));
    assert!(words.contains("fails 1 of 9 tests (Warm-up)"), "{words}");
}

#[test]
fn what_is_missing_is_called_unknown() {
    let broken = words(&proof_page(&fixture::with_number(f64::NAN)));
    assert!(broken.contains("? unknown"));
    let mut proof = fixture::with_number(f64::NAN);
    for test in &mut proof.tests {
        test.verdict = Verdict::Fails;
    }
    assert!(
        !words(&proof_page(&proof)).contains("✓ passes"),
        "no number, no pass"
    );
    let bare = words(&proof_page(&fixture::bare()));
    for expected in [
        "No test was made, so what this scale is worth by unknown can't be told",
        "No test is on record",
        "that means unknown, not small",
        "That means unknown, not everything tested",
        "No point of it is on record",
    ] {
        assert!(bare.contains(expected), "missing: {expected}");
    }
    let empty = words(&proof_page(&fixture::without_rows()));
    assert_eq!(empty.matches("Nothing was observed").count(), 9);
}

#[test]
fn hostile_text_stays_text() {
    let page = proof_page(&fixture::hostile());
    assert!(!page.contains("<script") && !page.contains("<!--"));
    assert!(!page.chars().any(|c| c.is_control() && c != '\n'));
    assert!(!page.contains('\u{202e}'));
    assert!(
        words(&page).contains("<script>alert(1)</script>"),
        "shown, not swallowed"
    );
    // A kind of test that is not known is told all the same.
    let mut proof = fixture::pottery();
    proof.tests[0].test = HOSTILE.into();
    holds("unknown test", &proof);
    assert!(words(&proof_page(&proof)).contains("−0.88"));
}

#[test]
fn the_terminal_has_it_all_in_eighty_columns() {
    let proof = fixture::pottery();
    let text = proof_table(&proof, Style::PLAIN);
    let row = text
        .lines()
        .find(|line| line.contains("✓ 4 kg ↓"))
        .expect("a row");
    for cell in ["+1.11", "+0.56", "2", "0.38", "2.02", "> 99.9 %", "passes"] {
        assert!(row.contains(cell), "{cell}: {row}");
    }
    let flat = flat(&text);
    for expected in [
        "✗ Eccentricity: fails",
        "(✓) Creep and return to zero: passes so far",
        "! not complete: 4 minutes of 30",
        "Standard uncertainties in g at some of 6 loads",
        "20 g 2 kg 6 kg",
        "Discrimination, left out",
        "Not for dosing medicine",
        "this scale fails 1 of 9 tests (Eccentricity)",
    ] {
        assert!(flat.contains(expected), "missing: {expected}\n{text}");
    }
}

#[test]
fn a_narrow_terminal_keeps_mark_name_and_value() {
    let style = Style {
        ascii: true,
        columns: 40,
        ..Style::PLAIN
    };
    let text = proof_table(&fixture::pottery(), style);
    let row = text
        .lines()
        .find(|line| line.contains("x far right"))
        .expect("a row");
    assert!(row.contains("+2.36"), "{row}");
}

#[test]
fn without_colour_the_same_words_are_there() {
    let colour = Style {
        colour: true,
        ..Style::PLAIN
    };
    let mut bare = proof_table(&fixture::pottery(), colour);
    for code in ["0", "1", "2", "31", "32", "33", "36"] {
        bare = bare.replace(&format!("\u{1b}[{code}m"), "");
    }
    let plain = proof_table(&fixture::pottery(), Style::PLAIN);
    let trimmed = |text: &str| {
        text.lines()
            .map(|line| line.trim_end().to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(trimmed(&bare), trimmed(&plain));
}

proptest! {
    #[test]
    fn no_numbers_break_a_report(
        max in any_number(),
        e in any_number(),
        rows in proptest::collection::vec((any_number(), any_number(), any_number(), any_number()), 1..6),
    ) {
        let mut proof = fixture::pottery();
        (proof.scale.max, proof.scale.e) = (max, e);
        for test in &mut proof.tests {
            for (row, (load, value, limit, u)) in test.rows.iter_mut().zip(&rows) {
                (row.load_g, row.value_g, row.limit_g) = (*load, *value, *limit);
                row.expanded_u_g = Some(*u);
                row.at_s = row.at_s.map(|_| *u);
            }
        }
        for (budget, (load, share, u, k)) in proof.budgets.iter_mut().zip(&rows) {
            (budget.load_g, budget.expanded_u_g, budget.k) = (*load, *u, *k);
            budget.contributions[0].share = *share;
        }
        holds("any", &proof);
    }
}

/// Writes the pottery's report as files, to look at it:
/// `SCALEWRIGHT_PROOF_TO=folder cargo test -p scalewright --test report -- --ignored shown`.
#[test]
#[ignore = "writes files for the eye"]
fn shown() {
    let Ok(folder) = std::env::var("SCALEWRIGHT_PROOF_TO") else {
        panic!("SCALEWRIGHT_PROOF_TO names no folder: set it to one that exists");
    };
    let to = |name: &str, text: String| std::fs::write(format!("{folder}/{name}"), text).unwrap();
    for (index, (_, proof)) in all().into_iter().enumerate().take(5) {
        to(&format!("proof-{index}.html"), proof_page(&proof));
        to(
            &format!("proof-{index}.txt"),
            proof_table(&proof, Style::PLAIN),
        );
    }
    to("passes.html", proof_page(&fixture::all(Verdict::Passes)));
    let narrow = Style {
        columns: 40,
        ..Style::PLAIN
    };
    to("narrow.txt", proof_table(&fixture::pottery(), narrow));
}
