//! Weighings of one load as deviations from their mean, in the order they were
//! made, with how far apart the extremes may be.

use super::{Unit, cross, place, told};
use crate::record::proof::{Proof, ProofRow, TestOutcome};
use crate::report::plots::{Key, Panel, Room, empty, legend, legend_px, range};
use crate::report::proof::words;
use crate::report::svg::{Anchor, Mark, Sheet};

/// A row that rests on more captures than a load and its zero before and after
/// tells of a series, not of one weighing.
const CAPTURES_OF_ONE: usize = 3;

/// Most weighings that are numbered one by one.
const MOST_NUMBERED: usize = 12;

/// The picture as inline SVG; `id` must be unique on the page.
pub fn repeated(proof: &Proof, test: &TestOutcome, id: &str, room: Room) -> String {
    let unit = Unit::of(proof);
    let title = words::title(test);
    let single = |row: &&ProofRow| row.captures.len() <= CAPTURES_OF_ONE;
    let (weighings, of_all): (Vec<&ProofRow>, Vec<&ProofRow>) = test.rows.iter().partition(single);
    let values = weighings.iter().map(|row| unit.of_g(row.value_g));
    let values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    let Some((low, high)) = range(values.iter().copied()) else {
        return empty(id, &title, "No weighing has a value to show.", room);
    };
    // Divided first, so that the largest numbers do not overflow.
    let mean: f64 = values.iter().map(|value| value / values.len() as f64).sum();
    let (low, high) = (low - mean, high - mean);
    let middle = low / 2.0 + high / 2.0;
    let apart = of_all.iter().map(|row| unit.of_g(row.limit_g).abs());
    let apart = range(apart).map(|(_, limit)| limit);
    let reach = apart.map_or(0.0, |apart| middle.abs() + apart / 2.0);
    let half = low.abs().max(high.abs()).max(reach);
    let half = if half > 0.0 { 1.15 * half } else { 0.1 };

    let about = format!(
        "Horizontal: weighings in their order. Vertical: deviation from their mean in {}. {}",
        unit.name(),
        told(test.rows.iter(), proof)
    );
    let mut entries = vec![
        (Key::Mark(Mark::Disc, "after"), "one weighing".to_owned()),
        (Key::Line("zero"), "mean".to_owned()),
    ];
    if apart.is_some() {
        let text = "so far apart they may be".to_owned();
        entries.push((Key::Patch("band key"), text));
    }
    let top = legend_px(room, 0.0, &entries) + 34.0;
    let panel_px = room.pick(180.0, 170.0);
    let mut sheet = Sheet::new(id, &title, &about, room.width(), top + panel_px + 48.0);
    legend(&mut sheet, room, 0.0, &entries);
    let many = weighings.len();
    let across = (0.5, many as f64 + 0.5);
    let panel = Panel::new(place(room, top, panel_px), across, (-half, half), room);
    unit.heads(&mut sheet, room, top, "deviation from the mean");
    let edge = |sign: f64, apart: f64| {
        let y = middle + sign * apart / 2.0;
        panel.points([(across.0, y), (across.1, y)])
    };
    if let Some(apart) = apart {
        let (upper, lower) = (edge(1.0, apart), edge(-1.0, apart));
        let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
        sheet.area("band", &outline);
    }
    panel.grid_y(&mut sheet);
    unit.right_axis(&mut sheet, &panel);
    panel.frame(&mut sheet);
    if let Some(apart) = apart {
        sheet.path("limit", &edge(1.0, apart));
        sheet.path("limit", &edge(-1.0, apart));
    }
    for (index, row) in weighings.iter().enumerate() {
        let number = index + 1;
        if many <= MOST_NUMBERED || number % many.div_ceil(MOST_NUMBERED) == 0 {
            panel.foot_tick(&mut sheet, number as f64, &number.to_string());
        }
        let deviation = unit.of_g(row.value_g) - mean;
        let Some(point) = panel.at(number as f64, deviation) else {
            continue;
        };
        if let Some(foot) = panel.y.at(0.0) {
            sheet.line("after", (point.0, foot), point);
        }
        sheet.mark(Mark::Disc, "after", point, 4.5);
        cross(&mut sheet, row, point);
    }
    let y = panel.place.foot() + 38.0;
    sheet.text("label", Anchor::End, panel.place.right(), y, "weighing");
    sheet.finish()
}
