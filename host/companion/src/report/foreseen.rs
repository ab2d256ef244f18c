//! What a calibration will be worth, in the terminal: the loads in their order,
//! the error expected over the range as a picture and a table, what the weights
//! can't support and what one more would do.
//!
//! Guarantees no line wider than the style's columns.

use super::number;
use super::text_chart::Chart;
use super::text_line::{Ink, Style, pad, paint, set, wrap};
use crate::record::foreseen::{Foreseen, ForeseenStep, MAY_TAKE, StepPurpose};
use crate::record::weights::name;

/// Bars of the picture end at so many permissible errors.
const TALLEST: f64 = 3.0;

/// The forecast as lines of at most `style.columns` columns.
pub fn foreseen(found: &Foreseen, style: Style) -> String {
    let mut lines = Vec::new();
    steps(found, style, &mut lines);
    lines.push(String::new());
    picture(found, style, &mut lines);
    lines.push(String::new());
    table(found, style, &mut lines);
    lines.push(String::new());
    for (ink, mark, text) in remarks(found) {
        let mark = match mark {
            Mark::Good => style.pick("✓", "ok"),
            Mark::Heed => "!",
            Mark::Note => style.pick("·", "-"),
        };
        let head = format!("  {mark} ");
        for (index, line) in wrap(style, &head, &text).into_iter().enumerate() {
            let first = index == 0;
            lines.push(if first && ink == Ink::Heed {
                paint(style, ink, &line)
            } else {
                line
            });
        }
    }
    set(style, &lines)
}

fn steps(found: &Foreseen, style: Style, lines: &mut Vec<String>) {
    let title = format!(
        "{} captures, about {}; then a proof with {} other loads, about {}",
        found.steps.len(),
        minutes(found.seconds),
        found.proof_loads,
        minutes(found.proof_s)
    );
    for line in wrap(style, "", &title) {
        lines.push(paint(style, Ink::Strong, &line));
    }
    for step in &found.steps {
        let load = match step.weights.as_slice() {
            [] => "empty pan".to_owned(),
            weights => weights.join(" + "),
        };
        let mass = if step.weights.is_empty() {
            String::new()
        } else {
            number::mass(step.mass_g, number::resolution_g(found.e_g))
        };
        let head = format!("{:>4}  {}  ", step.number, pad(&mass, 9, true));
        let why = why(step);
        let text = if why.is_empty() {
            load
        } else {
            format!("{load}  ({why})")
        };
        lines.extend(wrap(style, &head, &text));
    }
}

/// A length of time that is a guess.
fn minutes(seconds: f64) -> String {
    format!("{} min", (seconds / 60.0).ceil())
}

fn why(step: &ForeseenStep) -> &'static str {
    match step.purpose {
        StepPurpose::Zero | StepPurpose::Curve | StepPurpose::Substitution => "",
        StepPurpose::Preload => "once, to exercise the cell",
        StepPurpose::Exchange => "tells the weights apart",
        StepPurpose::Repeat => "once more",
        StepPurpose::SmallOnBig => "small on big",
        StepPurpose::WayDown => "coming down",
    }
}

fn picture(found: &Foreseen, style: Style, lines: &mut Vec<String>) {
    let title = "Error of indication to expect, in e over load: 95 of 100 weighings keep to the bars; dotted: the permissible error";
    lines.extend(wrap(style, "", title));
    let points: Vec<(f64, f64, f64)> = found
        .rows
        .iter()
        .map(|row| {
            let tallest = TALLEST * row.permitted_g;
            (row.load_g, 0.0, row.error_g.min(tallest) / found.e_g)
        })
        .collect();
    let steps: Vec<(f64, f64)> = found
        .rows
        .iter()
        .map(|row| (row.load_g, row.permitted_g))
        .collect();
    let mpe = |load_g: f64| {
        let at = steps
            .iter()
            .find(|(to_g, _)| load_g <= *to_g * (1.0 + 1e-9));
        at.or(steps.last())
            .map_or(f64::NAN, |(_, permitted_g)| permitted_g / found.e_g)
    };
    let chart = Chart {
        curve: &[],
        points: &points,
        mpe: &mpe,
        max_g: Some(found.max_g),
        columns: usize::from(style.columns).saturating_sub(12).clamp(8, 60),
        mark: style.pick("●", "O"),
        ink: Some(Ink::After),
    };
    lines.extend(chart.lines(style));
}

fn table(found: &Foreseen, style: Style, lines: &mut Vec<String>) {
    let e_g = found.e_g;
    lines.push(format!(
        "{:>10}{:>16}{:>20}{:>14}",
        "load", "table, U (k=2)", "error to expect", "permitted"
    ));
    let places = number::decimals(number::resolution_g(e_g));
    for row in &found.rows {
        let clear = row.table_u_g <= MAY_TAKE * row.permitted_g;
        let good = row.error_g <= row.permitted_g;
        let mark = if good { style.pick("✓", "ok") } else { "!" };
        let text = format!(
            "{:>10}{:>14} g{:>13} g {:>5} e{:>12} g  {mark}",
            name((row.load_g * 1e3).round() / 1e3),
            number::fixed(row.table_u_g, places),
            number::fixed(row.error_g, places),
            number::size_e(row.error_g / e_g),
            number::trimmed(row.permitted_g, places),
        );
        lines.push(if good && clear {
            text
        } else {
            paint(style, Ink::Heed, &text)
        });
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Mark {
    Good,
    Heed,
    Note,
}

fn remarks(found: &Foreseen) -> Vec<(Ink, Mark, String)> {
    let mut out = Vec::new();
    let mut say = |mark: Mark, text: String| {
        let ink = if mark == Mark::Heed {
            Ink::Heed
        } else {
            Ink::Soft
        };
        out.push((ink, mark, text));
    };
    let percent = |share: f64| format!("{} %", number::significant(100.0 * share, 2));
    let whole = |stretch: &(f64, f64)| stretch.0 <= 0.0 && stretch.1 >= found.max_g;
    if found.unsupported_g.is_empty() {
        say(
            Mark::Good,
            format!(
                "These weights support the whole range: at worst the table's uncertainty takes {} of the permissible error, at {}.",
                percent(found.worst_share),
                name(found.worst_at_g)
            ),
        );
    } else if found.unsupported_g.iter().any(whole) {
        say(
            Mark::Heed,
            "These weights are too uncertain for this scale: the table's uncertainty takes more than a third of the permissible error everywhere.".into(),
        );
    } else {
        let stretches: Vec<String> = found
            .unsupported_g
            .iter()
            .map(|(from_g, to_g)| {
                if *to_g >= found.max_g {
                    format!("above {}", name(*from_g))
                } else {
                    format!("from {} to {}", name(*from_g), name(*to_g))
                }
            })
            .collect();
        say(
            Mark::Heed,
            format!(
                "These weights don't support the whole range: {} the table's uncertainty takes more than a third of the permissible error.",
                stretches.join(" and ")
            ),
        );
    }
    if found.proof_loads == 0 {
        say(
            Mark::Heed,
            "No load is left for a proof: nothing would show what the calibration is worth.".into(),
        );
    }
    if found.lightest_g > found.min_g {
        say(
            Mark::Heed,
            format!(
                "The lightest weight is {}; nothing checks the scale below it, and Min is {}.",
                name(found.lightest_g),
                name(found.min_g)
            ),
        );
    }
    let unseen: Vec<&str> = found
        .checked
        .iter()
        .filter(|one| one.matters && one.alone_u_g.is_none_or(|u| u > 0.5 * found.e_g))
        .map(|one| one.id.as_str())
        .collect();
    if unseen.is_empty() {
        say(
            Mark::Good,
            "Every weight is set against others: on a cell as expected, one that is off by 2 e is noticed and named."
                .into(),
        );
    } else {
        say(
            Mark::Note,
            format!(
                "Not checked against others, so believed as stated: {}.",
                unseen.join(", ")
            ),
        );
    }
    say(
        Mark::Note,
        format!(
            "Counted with a cell of grade {} and {} of noise a sample, which supports d = {}.",
            found.cell,
            number::spread(found.noise_g, 2),
            name(found.supports_d_g)
        ),
    );
    // Where nothing is missing, the best offer is enough.
    let wanted = if found.worst_share < MAY_TAKE { 1 } else { 3 };
    match found
        .improvements
        .get(..wanted.min(found.improvements.len()))
        .unwrap_or_default()
    {
        [] => say(
            Mark::Note,
            "No single weight more would make the table much better.".into(),
        ),
        better => {
            for one in better {
                let text = if found.worst_share > 2.0 {
                    format!(
                        "With {}: {} of the permissible error at worst, U = {} at Max.",
                        one.what,
                        percent(one.worst_share),
                        number::spread(one.table_u_at_max_g, 2)
                    )
                } else {
                    format!(
                        "With {}: {} of the permissible error at worst instead of {}, U = {} at Max.",
                        one.what,
                        percent(one.worst_share),
                        percent(found.worst_share),
                        number::spread(one.table_u_at_max_g, 2)
                    )
                };
                say(Mark::Note, text);
            }
        }
    }
    out
}
