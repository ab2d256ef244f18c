//! The report in the terminal and the small text graphics.

use crate::{all, fixture, shows_no_broken_number};
use scalewright::record::outcome::Outcome;
use scalewright::report::{Style, error_curve, sparkline, table};

/// Columns of a line as a terminal counts them. Colour codes count nothing and
/// wide scripts two; written apart from the code under test.
pub fn columns(line: &str) -> usize {
    let mut seen = 0;
    let mut letters = line.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\u{1b}' => {
                let end = letters
                    .by_ref()
                    .find(|c| !(c.is_ascii_digit() || *c == '['));
                assert_eq!(end, Some('m'), "an escape that is not a colour: {line:?}");
            }
            '\u{3000}'..='\u{ffdc}' => seen += 2,
            _ => seen += 1,
        }
    }
    seen
}

/// What holds for every outcome in every style.
pub fn check(name: &str, outcome: &Outcome) {
    for most in [20, 40, 72, 80, 120] {
        for (colour, ascii) in [(false, false), (true, false), (false, true), (true, true)] {
            let style = Style {
                colour,
                ascii,
                columns: most,
            };
            let text = table(outcome, style);
            shows_no_broken_number(name, &text);
            for line in text.lines() {
                assert!(
                    columns(line) <= usize::from(most),
                    "{name} at {most}: {line:?}"
                );
                assert!(!ascii || line.is_ascii(), "{name}: {line:?}");
                assert!(colour || !line.contains('\u{1b}'), "{name}: {line:?}");
            }
        }
    }
}

#[test]
fn no_line_is_too_wide_in_any_style() {
    for (name, outcome) in all() {
        check(name, &outcome);
    }
}

#[test]
fn the_studio_report_has_it_all_in_eighty_columns() {
    let text = table(&fixture::studio(), Style::PLAIN);
    let row = text
        .lines()
        .find(|line| line.trim_start().starts_with("4 kg"))
        .unwrap();
    for cell in [
        "-9.87", "-19.73", "✗ fail", "+0.31", "+0.62", "✓ pass", "0.15",
    ] {
        assert!(row.contains(cell), "{cell}: {row}");
    }
    assert_eq!(text.matches("✗ fail").count(), 7);
    assert_eq!(text.matches("✓ pass").count(), 13 + 3);
    let chosen = text.lines().find(|line| line.ends_with("chosen")).unwrap();
    assert!(chosen.contains("▶ all captures together") && chosen.contains("0.088"));
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("at 7 of 10 loads; with the new table it keeps them at all 10 loads"));
    assert!(flat.contains("Creep: a load left on"));
}

#[test]
fn without_colour_the_same_words_are_there() {
    let colour = Style {
        colour: true,
        ..Style::PLAIN
    };
    let mut bare = table(&fixture::studio(), colour);
    for code in ["0", "1", "2", "31", "32", "36"] {
        bare = bare.replace(&format!("\u{1b}[{code}m"), "");
    }
    let trimmed: Vec<&str> = bare.lines().map(str::trim_end).collect();
    let plain = table(&fixture::studio(), Style::PLAIN);
    let plain: Vec<&str> = plain.lines().map(str::trim_end).collect();
    assert_eq!(trimmed, plain);
}

/// With ASCII every dot is a cell, so the places can be checked by hand: nine
/// rows from +1.18 e to -2.18 e (6 % beyond what is shown), 21 columns.
#[test]
fn the_curve_is_where_it_should_be() {
    let style = Style {
        colour: false,
        ascii: true,
        columns: 31,
    };
    let rows = [(0.0, 0.0), (1000.0, -1.0), (2000.0, -2.0)];
    let picture = error_curve(&rows, &|_| 1.0, style);
    let lines: Vec<&str> = picture.lines().collect();
    assert_eq!(lines.len(), 11);
    let at = |row: usize, column: usize| lines[row].chars().nth(9 + column).unwrap_or(' ');
    // Limits one row from the top and at row five: (1.18 + 1) / 3.36 * 8 = 5.2.
    assert_eq!(at(0, 10), '-', "{picture}");
    assert_eq!(at(5, 2), '-', "{picture}");
    // Points: zero at (1.18 - 0) / 3.36 * 8 = 2.8, the last at 7.6.
    assert_eq!(at(3, 0), 'o', "{picture}");
    assert_eq!(at(5, 10), 'o', "{picture}");
    assert_eq!(at(8, 20), 'o', "{picture}");
    assert!(lines[3].starts_with("      0 +"), "{picture}");
    assert!(
        lines[10].contains("1 kg") && lines[10].ends_with("2 kg"),
        "{picture}"
    );
}

#[test]
fn curves_of_nothing_are_still_pictures() {
    let nan = f64::NAN;
    for rows in [
        vec![],
        vec![(0.0, 0.0)],
        vec![(nan, nan), (f64::INFINITY, 1.0)],
        vec![(5.0, 1e308), (5.0, -1e308)],
        vec![(1e308, 1.0), (-1e308, 2.0)],
    ] {
        for limit in [1.0, 0.0, nan, f64::INFINITY] {
            for columns in [0, 5, 80] {
                let style = Style {
                    columns,
                    ..Style::PLAIN
                };
                let picture = error_curve(&rows, &|_| limit, style);
                assert_eq!(picture.lines().count(), 11);
                shows_no_broken_number("curve", &picture);
                assert!(
                    picture
                        .lines()
                        .all(|line| super::terminal::columns(line) <= columns.into())
                );
            }
        }
    }
}

#[test]
fn a_sparkline_shows_the_newest_and_skips_what_is_no_number() {
    let style = Style {
        columns: 4,
        ..Style::PLAIN
    };
    assert_eq!(sparkline(&[9.0, 0.0, f64::NAN, 7.0, 3.5], style), "▁ █▅");
    assert_eq!(sparkline(&[], style), "");
    assert_eq!(sparkline(&[2.0, 2.0], style), "▁▁");
    assert_eq!(sparkline(&[f64::MIN, f64::MAX], style), "▁█");
}
