//! Errors over the load with what is permitted: those of indication, and those
//! of a small load on a big one.

use super::{Unit, band, band_edges, bar, cross, place, told};
use crate::record::proof::{Proof, ProofRow, TestOutcome};
use crate::report::plots::{Key, Panel, Room, empty, legend, legend_px, range};
use crate::report::proof::{limits::Limits, words};
use crate::report::svg::{Mark, Sheet};

/// Marks of loads reached from above stand so far beside the others, px.
const ASIDE_PX: f64 = 5.0;

/// Errors of indication as inline SVG; `id` must be unique on the page.
pub fn errors(proof: &Proof, test: &TestOutcome, id: &str, room: Room) -> String {
    draw(proof, test, "error of indication", id, room)
}

/// Errors of a small load over the load below it, likewise.
pub fn small_on_big(proof: &Proof, test: &TestOutcome, id: &str, room: Room) -> String {
    draw(proof, test, "error of the small load", id, room)
}

fn draw(proof: &Proof, test: &TestOutcome, what: &str, id: &str, room: Room) -> String {
    let unit = Unit::of(proof);
    let title = words::title(test);
    let shown = |row: &&ProofRow| row.load_g.is_finite() && unit.of_g(row.value_g).is_finite();
    let rows: Vec<&ProofRow> = test.rows.iter().filter(shown).collect();
    let Some(half) = unit.half(rows.iter().copied()) else {
        return empty(id, &title, "No load has an error to show.", room);
    };
    let loads = rows.iter().map(|row| row.load_g).chain([proof.scale.max]);
    let max_g = range(loads).map_or(1.0, |(_, high)| high);
    let limits = Limits::of_test(proof, test, max_g);
    let corners = limits.corners().iter();
    let corners: Vec<(f64, f64)> = corners.map(|(x, y)| (*x, unit.of_g(*y))).collect();

    let about = format!(
        "Horizontal: load. Vertical: {what} in {}. {}",
        unit.name(),
        told(rows.iter().copied(), proof)
    );
    let entries = legend_entries(&rows, &limits);
    let top = legend_px(room, 0.0, &entries) + 34.0;
    let panel_px = room.pick(300.0, 250.0);
    let mut sheet = Sheet::new(id, &title, &about, room.width(), top + panel_px + 48.0);
    legend(&mut sheet, room, 0.0, &entries);
    let panel = Panel::new(
        place(room, top, panel_px),
        (0.0, max_g),
        (-half, half),
        room,
    );
    unit.heads(&mut sheet, room, top, what);
    band(&mut sheet, &panel, &corners);
    panel.grid_y(&mut sheet);
    unit.right_axis(&mut sheet, &panel);
    panel.frame(&mut sheet);
    panel.loads_x(&mut sheet);
    band_edges(&mut sheet, &panel, &corners);
    for row in rows {
        let (_, mark, class) = look(row);
        let value = unit.of_g(row.value_g);
        let Some((x, y)) = panel.at(row.load_g, value) else {
            continue;
        };
        let x = if row.from_above { x + ASIDE_PX } else { x };
        let u = row.expanded_u_g.map(|u_g| unit.of_g(u_g));
        bar(&mut sheet, &panel, class, x, value, u);
        sheet.mark(mark, class, (x, y), 4.5);
        cross(&mut sheet, row, (x, y));
    }
    sheet.finish()
}

/// Words, shape and class of a row.
fn look(row: &ProofRow) -> (&'static str, Mark, &'static str) {
    match row.from_above {
        false => ("load reached from below", Mark::Disc, "after"),
        true => ("from above", Mark::Down, "falling"),
    }
}

fn legend_entries(rows: &[&ProofRow], limits: &Limits) -> Vec<(Key, String)> {
    let mut entries: Vec<(Key, String)> = Vec::new();
    let bars = rows.iter().any(|row| row.expanded_u_g.is_some());
    let both = rows.iter().any(|row| row.from_above);
    for row in rows {
        let (words, mark, class) = look(row);
        let words = if both { words } else { "error" };
        let words = match bars {
            true => format!("{words}, with U"),
            false => words.to_owned(),
        };
        if !entries.iter().any(|entry| entry.1 == words) {
            let key = match bars {
                true => Key::MarkWithBar(mark, class),
                false => Key::Mark(mark, class),
            };
            entries.push((key, words));
        }
    }
    if !limits.corners().is_empty() {
        entries.push((Key::Patch("band key"), "permitted".to_owned()));
    }
    entries
}
