//! Tables in files: what was written is read, and what is wrong is named.

use proptest::prelude::*;
use scalewright::record::outcome::ScaleLine;
use scalewright::record::table_file::{SavedTable, parse, write};
use scalewright_protocol::table::Knot;

fn saved(knots: Vec<Knot>, quantum_ug: u32) -> SavedTable {
    SavedTable {
        device: Some("4F2A".into()),
        scale: ScaleLine {
            max: 6000.0,
            e: 2.0,
            d: 1.0,
            unit: "g".into(),
            class: "III".into(),
        },
        quantum_ug,
        zero_counts: Some(-84_321),
        hysteresis_g: Some(0.0),
        knots,
        lines: Vec::new(),
        change: Some(7),
        saved: Some("2026-11-26T10:00:00Z".into()),
    }
}

proptest! {
    /// Every digit survives.
    #[test]
    fn what_is_written_is_read(
        steps in prop::collection::vec((20_000..30_000i32, 30_000..45_000i32), 1..31),
        below in 0..3usize, quantum_ug in 1..100_000u32,
    ) {
        let below = below.min(steps.len() - 1);
        let sum = |n: usize| steps[..n].iter().fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        let (c0, m0) = sum(below);
        let knots: Vec<Knot> = (0..=steps.len())
            .map(|n| Knot { counts: sum(n).0 - c0, mass: sum(n).1 - m0 })
            .collect();
        let table = saved(knots, quantum_ug);
        let text = write(&table);
        let read = parse(&text, "table.toml").expect("what was written");
        prop_assert_eq!(&SavedTable { lines: Vec::new(), ..read.clone() }, &table);
        for (line, knot) in read.lines.iter().zip(&table.knots) {
            let line = text.lines().nth(line - 1).expect("a line");
            prop_assert!(line.contains(&knot.counts.to_string()), "{}", line);
        }
        prop_assert!(text.lines().all(|line| line.chars().count() <= 80));
    }

    /// Whatever stands in a file, it is a table or has faults.
    #[test]
    fn any_text_is_a_table_or_has_faults(text in "(\\PC|\n){0,200}", cut in 0..900usize, put in "\\PC{0,8}") {
        let whole = write(&saved(four(), 2000));
        let at = whole.char_indices().map(|(at, _)| at).nth(cut.min(whole.chars().count() - 1)).unwrap_or(0);
        let mended = format!("{}{put}{}", &whole[..at], &whole[at..]);
        for text in [text, mended] {
            if let Err(found) = parse(&text, "x.toml") {
                prop_assert!(!found.faults.is_empty());
                prop_assert!(found.faults.iter().all(|one| !one.cause.contains(char::is_control)));
            }
        }
    }
}

fn four() -> Vec<Knot> {
    [
        (-100_000, -110_000),
        (0, 0),
        (1_000_000, 1_100_000),
        (2_500_000, 2_740_000),
    ]
    .map(|(counts, mass)| Knot { counts, mass })
    .to_vec()
}

/// By hand: what is changed in the file, the line that is named, and the words.
#[test]
fn every_fault_is_named_with_its_line_and_what_to_do() {
    let text = write(&saved(four(), 2000));
    let line_of = |what: &str| {
        1 + text
            .lines()
            .position(|line| line.contains(what))
            .expect(what)
    };
    let zero_line = text.lines().find(|line| line.contains("  0, "));
    let zero_line = zero_line.expect("a point at zero");
    for (was, is, at, words) in [
        (
            "max = \"6 kg\"",
            "",
            0,
            "max is missing: write a mass, as max = \"6 kg\"",
        ),
        (
            "max = \"6 kg\"",
            "max = \"6\"",
            line_of("max ="),
            "has no unit",
        ),
        (
            "max = \"6 kg\"",
            "max = 6",
            line_of("max ="),
            "put it in quotes",
        ),
        (
            "class = \"III\"",
            "class = \"5\"",
            line_of("class"),
            "write I, II, III or IIII",
        ),
        (
            "change = 7",
            "change = 7.5",
            line_of("change ="),
            "not a whole number",
        ),
        (
            "scale = \"4F2A\"",
            "skale = \"4F2A\"",
            line_of("4F2A"),
            "skale is not known here",
        ),
        (
            "step = \"0.002 g\"",
            "step = \"0 g\"",
            line_of("step"),
            "not a mass above zero",
        ),
        (
            "hysteresis = \"0.000 g\"",
            "hysteresis = \"-1 g\"",
            line_of("hysteresis"),
            "below zero",
        ),
        (
            "zero_counts = -84321",
            "zero_counts = 1e9",
            line_of("zero_counts"),
            "-8388608",
        ),
        (
            "1000000, ",
            "1000000.5, ",
            line_of("1000000"),
            "no whole number",
        ),
        (
            "1000000, ",
            "-1000, ",
            line_of("1000000"),
            "counts must rise",
        ),
        (
            "1000000, ",
            "99000000, ",
            line_of("1000000"),
            "no converter delivers",
        ),
        (
            "\"2200.000 g\"",
            "\"-1 g\"",
            line_of("1000000"),
            "not a step above",
        ),
        ("\"2200.000 g\"", "\"2,2 kg\"", line_of("1000000"), "comma"),
        (
            "\"2200.000 g\"",
            "2200.0",
            line_of("1000000"),
            "without quotes and unit",
        ),
        (
            "\"2200.000 g\"",
            "\"2200.000 g\", 3",
            line_of("1000000"),
            "is no pair",
        ),
        (
            "\"2200.000 g\"",
            "\"4400 g\"",
            line_of("1000000"),
            "twice as steep",
        ),
        (
            "\"2200.000 g\"",
            "\"999999 kg\"",
            line_of("1000000"),
            "can't hold",
        ),
        (
            zero_line,
            "",
            line_of("1000000") - 1,
            "point of zero is missing",
        ),
        (
            "points = [",
            "points = 7 # [",
            line_of("points"),
            "is no TOML",
        ),
    ] {
        assert!(text.contains(was), "{was} in {text}");
        let found = parse(&text.replacen(was, is, 1), "x.toml").expect_err(is);
        let fits = |one: &scalewright::record::lab::LabFault| {
            one.cause.contains(words)
                && (at == 0 || one.line.is_some_and(|line| line.abs_diff(at) <= 1))
        };
        assert!(
            found.faults.iter().any(fits),
            "{is}: no \"{words}\" in line {at}: {found}"
        );
    }
}

/// All at once, in the order of lines.
#[test]
fn faults_are_named_together() {
    let text = write(&saved(four(), 2000))
        .replace("class = \"III\"", "class = \"5\"")
        .replace("\"2200.000 g\"", "2200")
        .replace("-100000,", "\"-100000\",");
    let found = parse(&text, "x.toml").expect_err("three faults");
    let lines: Vec<_> = found.faults.iter().map(|one| one.line).collect();
    assert_eq!(found.faults.len(), 3, "{found}");
    assert!(lines.is_sorted() && lines.iter().all(Option::is_some));
    let empty = parse("", "x.toml").expect_err("nothing");
    assert_eq!(empty.faults.len(), 4, "max, e, d, class: {empty}");
    let many: String = (0..40)
        .map(|n| format!("[{}, \"{n} g\"],", n * 1000))
        .collect();
    let head = "max = \"6 kg\"\ne = \"2 g\"\nd = \"2 g\"\nclass = \"III\"\n";
    let found = parse(&format!("{head}points = [{many}]"), "x.toml").expect_err("too many");
    assert!(
        found.to_string().contains("no scale holds more than 32"),
        "{found}"
    );
}
