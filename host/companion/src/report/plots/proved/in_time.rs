//! Values over the time since something happened (a load came, the power came),
//! with their limits: creep, the return to zero, warming up.

use super::{Unit, band, band_edges, bar, cross, place, told};
use crate::record::proof::{Proof, ProofRow, TestOutcome};
use crate::report::number;
use crate::report::plots::{Key, Panel, Room, empty, legend, legend_px, range, shortened};
use crate::report::proof::words;
use crate::report::svg::{Mark, Sheet, tick_label};

/// Loads closer than this share of e are one.
const SAME_LOAD_E: f64 = 0.5;

/// From here on the axis is in minutes.
const IN_MINUTES_FROM_S: f64 = 120.0;

/// Shapes and classes of the series, in the order of their loads; further loads
/// have the last.
const LOOKS: [(Mark, &str); 3] = [
    (Mark::Disc, "after"),
    (Mark::Down, "falling"),
    (Mark::Diamond, "doubted"),
];

/// The picture as inline SVG; `id` must be unique on the page.
pub fn in_time(proof: &Proof, test: &TestOutcome, id: &str, room: Room) -> String {
    let unit = Unit::of(proof);
    let title = words::title(test);
    let mut rows: Vec<(f64, &ProofRow)> = test
        .rows
        .iter()
        .filter_map(|row| Some((row.at_s.filter(|at| at.is_finite() && *at >= 0.0)?, row)))
        .filter(|(_, row)| unit.of_g(row.value_g).is_finite() && row.load_g.is_finite())
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(half) = unit.half(rows.iter().map(|(_, row)| *row)) else {
        return empty(id, &title, "No value has a time to be shown at.", room);
    };
    let last_s = range(rows.iter().map(|row| row.0)).map_or(1.0, |(_, last)| last);
    let (divisor, time) = match last_s >= IN_MINUTES_FROM_S {
        true => (60.0, "min"),
        false => (1.0, "s"),
    };
    // The last mark does not stand on the edge.
    let end_s = if last_s > 0.0 { 1.03 * last_s } else { 1.0 };

    let near_g = SAME_LOAD_E * unit.e_g.unwrap_or(0.0);
    let mut loads: Vec<f64> = Vec::new();
    for (_, row) in &rows {
        if !loads.iter().any(|load| (load - row.load_g).abs() <= near_g) {
            loads.push(row.load_g);
        }
    }
    let look = |load_g: f64| {
        let at = loads
            .iter()
            .position(|load| (load - load_g).abs() <= near_g);
        let at = at.unwrap_or(0).min(LOOKS.len() - 1);
        LOOKS.get(at).copied().unwrap_or((Mark::Ring, "at-zero"))
    };
    let corners: Vec<(f64, f64)> = rows
        .iter()
        .map(|(at_s, row)| (*at_s, unit.of_g(row.limit_g).abs()))
        .filter(|(_, limit)| limit.is_finite())
        .collect();
    let corners = stepped(&corners, end_s);

    let about = format!(
        "Horizontal: time in {time}. Vertical: change in {}. {}",
        unit.name(),
        told(rows.iter().map(|(_, row)| *row), proof)
    );
    let mut entries: Vec<(Key, String)> = loads
        .iter()
        .take(LOOKS.len())
        .map(|load_g| {
            let (mark, class) = look(*load_g);
            let load = number::mass(*load_g, number::resolution_g(proof.scale.e));
            let text = match *load_g == 0.0 {
                true => "unloaded".to_owned(),
                false => format!("with {load} on the pan"),
            };
            (Key::MarkOnLine(mark, class), shortened(&text, 40))
        })
        .collect();
    if !corners.is_empty() {
        entries.push((Key::Patch("band key"), "permitted".to_owned()));
    }
    let top = legend_px(room, 0.0, &entries) + 34.0;
    let panel_px = room.pick(200.0, 180.0);
    let mut sheet = Sheet::new(id, &title, &about, room.width(), top + panel_px + 48.0);
    legend(&mut sheet, room, 0.0, &entries);
    let panel = Panel::new(
        place(room, top, panel_px),
        (0.0, end_s),
        (-half, half),
        room,
    );
    unit.heads(&mut sheet, room, top, "change");
    band(&mut sheet, &panel, &corners);
    panel.grid_y(&mut sheet);
    unit.right_axis(&mut sheet, &panel);
    panel.frame(&mut sheet);
    band_edges(&mut sheet, &panel, &corners);
    let axis = crate::report::svg::Axis::new(0.0, end_s / divisor, 0.0, 1.0);
    let (ticks, step) = axis.ticks(room.pick(8, 5));
    for tick in ticks {
        panel.foot_tick(&mut sheet, tick * divisor, &tick_label(tick, step));
    }
    panel.foot_title(&mut sheet, &format!("time, {time}"));
    for load_g in &loads {
        let same = rows
            .iter()
            .filter(|(_, row)| (row.load_g - load_g).abs() <= near_g);
        let line = same.map(|(at_s, row)| (*at_s, unit.of_g(row.value_g)));
        sheet.path(look(*load_g).1, &panel.points(line));
    }
    for (at_s, row) in &rows {
        let (mark, class) = look(row.load_g);
        let value = unit.of_g(row.value_g);
        let Some(point) = panel.at(*at_s, value) else {
            continue;
        };
        let u = row.expanded_u_g.map(|u_g| unit.of_g(u_g));
        bar(&mut sheet, &panel, class, point.0, value, u);
        sheet.mark(mark, class, point, 4.5);
        cross(&mut sheet, row, point);
    }
    sheet.finish()
}

/// Limits as steps: each holds from the value before up to its own.
fn stepped(limits: &[(f64, f64)], end_s: f64) -> Vec<(f64, f64)> {
    let mut corners = Vec::new();
    let mut from_s = 0.0;
    for (at_s, limit) in limits {
        corners.extend([(from_s, *limit), (*at_s, *limit)]);
        from_s = *at_s;
    }
    corners.extend(limits.last().map(|(_, limit)| (end_s, *limit)));
    corners
}
