//! Errors of two scales over the load, with their uncertainties and the
//! permissible band, in g.
//!
//! Told apart without colour: ours is a full line with discs, theirs a broken
//! line with open diamonds.

use super::{Key, Panel, Room, one_panel, range, shortened};
use crate::record::comparison::{BandCorner, ComparedLoad, ComparisonRecord, ErrorLine};
use crate::report::number;
use crate::report::svg::{Anchor, Mark, Sheet};

/// How far the marks of one load stand to either side of it, px.
const BESIDE_PX: f64 = 3.5;

/// Largest multiple of the band that is drawn; beyond it a mark at the edge says
/// which way.
const MOST: f64 = 6.0;

struct Series {
    of: fn(&ComparedLoad) -> &ErrorLine,
    mark: Mark,
    class: &'static str,
    bar: &'static str,
    beside_px: f64,
}

const SERIES: [Series; 2] = [
    Series {
        of: |row| &row.ours,
        mark: Mark::Disc,
        class: "after",
        bar: "after",
        beside_px: -BESIDE_PX,
    },
    Series {
        of: |row| &row.theirs,
        mark: Mark::Diamond,
        class: "before",
        bar: "other-u",
        beside_px: BESIDE_PX,
    },
];

/// The picture as inline SVG; `id` must be unique on the page.
pub fn comparison(record: &ComparisonRecord, id: &str, room: Room) -> String {
    let title = "Errors of indication of two scales on the same loads";
    if record.rows.is_empty() {
        return super::empty(id, title, "No load is common to both scales.", room);
    }
    let names = [&record.ours.name, &record.theirs.name];
    let mut entries: Vec<(Key, String)> = (SERIES.iter().zip(names))
        .map(|(series, name)| {
            let name = shortened(name, room.pick(40, 26));
            (
                Key::MarkOnLine(series.mark, series.class),
                format!("{name}, with U"),
            )
        })
        .collect();
    if !record.band.is_empty() {
        entries.push((Key::Patch("band key"), "permitted".to_owned()));
    }
    if !record.their_band.is_empty() {
        entries.push((Key::Line("table-u"), "permitted, the other".to_owned()));
    }
    let high_px = room.pick(380.0, 290.0);
    let about = about(record);
    let (mut sheet, place) = one_panel(id, title, &about, room, &entries, high_px);
    let reach_g = reach_g(record);
    let loads = record
        .rows
        .iter()
        .map(|row| row.load_g)
        .chain([record.scale.max]);
    let max_g = range(loads).map_or(1.0, |(_, high)| high);
    let panel = Panel::new(place, (0.0, max_g), (-reach_g, reach_g), room);
    let head = place.top - 17.0;
    sheet.text("label", Anchor::Start, 0.0, head, "error, g");
    sheet.text("label", Anchor::End, room.width(), head, "e");
    band(&mut sheet, &panel, record);
    panel.grid_y(&mut sheet);
    panel.other_unit_y(&mut sheet, 1.0 / record.scale.e);
    panel.frame(&mut sheet);
    panel.clip(&mut sheet);
    for sign in [1.0, -1.0] {
        sheet.path("limit", &edge(&panel, &record.band, sign));
        sheet.path("table-u", &edge(&panel, &record.their_band, sign));
    }
    for series in &SERIES {
        let points = record
            .rows
            .iter()
            .map(|row| (row.load_g, (series.of)(row).error_g));
        let shifted = panel
            .points(points)
            .into_iter()
            .map(|(x, y)| (x + series.beside_px, y));
        let class = match series.class {
            "after" => "rising",
            other => other,
        };
        sheet.path(class, &shifted.collect::<Vec<_>>());
    }
    sheet.unclip();
    for series in &SERIES {
        for row in &record.rows {
            mark(&mut sheet, &panel, series, row.load_g, (series.of)(row));
        }
    }
    panel.loads_x(&mut sheet);
    sheet.finish()
}

/// Half the height of the picture, g.
fn reach_g(record: &ComparisonRecord) -> f64 {
    let corners = record.band.iter().chain(&record.their_band);
    let permitted = corners.map(|corner| corner.permitted_g);
    let permitted_g = range(permitted).map_or(record.scale.e, |(_, high)| high);
    let ends = record.rows.iter().flat_map(|row| {
        [&row.ours, &row.theirs].map(|line| line.error_g.abs() + line.expanded_u_g.abs())
    });
    let needed_g = range(ends).map_or(0.0, |(_, high)| high);
    let reach_g = (1.08 * needed_g).min(MOST * permitted_g);
    reach_g.max(1.25 * permitted_g)
}

fn edge(panel: &Panel, band: &[BandCorner], sign: f64) -> Vec<(f64, f64)> {
    panel.points(band.iter().map(|one| (one.load_g, sign * one.permitted_g)))
}

fn band(sheet: &mut Sheet, panel: &Panel, record: &ComparisonRecord) {
    let (upper, lower) = [1.0, -1.0]
        .map(|sign| edge(panel, &record.band, sign))
        .into();
    let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
    panel.clip(sheet);
    sheet.area("band", &outline);
    sheet.unclip();
}

fn mark(sheet: &mut Sheet, panel: &Panel, series: &Series, load_g: f64, line: &ErrorLine) {
    let Some((x, y)) = panel.at(load_g, line.error_g) else {
        return;
    };
    let x = x + series.beside_px;
    let (top, foot) = (panel.place.top, panel.place.foot());
    // Beyond the picture a triangle at its edge says which way.
    if line.error_g > panel.y.high {
        let corners = [(x, top + 1.0), (x + 5.0, top + 10.0), (x - 5.0, top + 10.0)];
        return sheet.area(&format!("{} full", series.class), &corners);
    }
    if line.error_g < panel.y.low {
        let corners = [
            (x, foot - 1.0),
            (x + 5.0, foot - 10.0),
            (x - 5.0, foot - 10.0),
        ];
        return sheet.area(&format!("{} full", series.class), &corners);
    }
    let end = |g: f64| panel.y.at(g).map(|y| y.clamp(top, foot));
    let u = line.expanded_u_g;
    if let (Some(low), Some(high)) = (end(line.error_g - u), end(line.error_g + u)) {
        sheet.line(series.bar, (x, low), (x, high));
        for at in [low, high] {
            sheet.line(series.bar, (x - 4.0, at), (x + 4.0, at));
        }
    }
    sheet.mark(series.mark, series.class, (x, y), 4.0);
}

fn about(record: &ComparisonRecord) -> String {
    let worst = |of: fn(&ComparedLoad) -> &ErrorLine| {
        let found = record.rows.iter().max_by(|a, b| {
            let share = |row: &ComparedLoad| (of(row).error_g / of(row).permitted_g).abs();
            share(a).total_cmp(&share(b))
        });
        found.map_or_else(String::new, |row| {
            let at = number::mass(row.load_g, number::resolution_g(record.scale.e));
            format!(
                "{} g at {at}",
                number::error_g(of(row).error_g, record.scale.e)
            )
        })
    };
    format!(
        "Horizontal: load. Vertical: error of indication in g, and in e on the right. Worst error \
         against the limit of {}: {}; of {}: {}.",
        record.ours.name,
        worst(|row| &row.ours),
        record.theirs.name,
        worst(|row| &row.theirs)
    )
}
