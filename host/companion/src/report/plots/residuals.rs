//! Residuals of the captures the curve was fitted to, over load: rising and
//! falling told apart by shape. A load may have been captured more than once,
//! and not in order; the means of each load are joined, so that a loop shows as
//! a loop. Captures that were left out of the table as wrong are not shown.

use super::{Key, Panel, Place, Room, legend, range};
use crate::record::outcome::{Outcome, Purpose};
use crate::report::number;
use crate::report::svg::{Anchor, Mark, Sheet};
use crate::report::together::left_out;

/// Least half height of the picture, in e: below it there is only noise.
const LEAST_E: f64 = 0.05;

/// The picture as inline SVG; `id` must be unique on the page.
pub fn residuals(outcome: &Outcome, id: &str, room: Room) -> String {
    let title = "Residuals of the fit, rising and falling loads";
    let wrong = left_out(outcome);
    let of = |purpose: Purpose| -> Vec<(f64, f64)> {
        let used = outcome.loads.iter().enumerate();
        let used = used.filter(|(index, _)| !wrong.contains(index));
        let same = used.filter(|(_, load)| load.purpose == purpose);
        same.filter_map(|(_, load)| Some((load.mass_g, load.residual_g? / outcome.scale.e)))
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .collect()
    };
    let (zero, rising, falling) = (of(Purpose::Zero), of(Purpose::Rising), of(Purpose::Falling));
    let all = || zero.iter().chain(&rising).chain(&falling);
    let Some((low, high)) = range(all().map(|point| point.1)) else {
        return super::empty(id, title, "No capture has a residual to show.", room);
    };
    let half = 1.15 * low.abs().max(high.abs()).max(LEAST_E);
    let loads = all().map(|point| point.0).chain([outcome.scale.max]);
    let max_g = range(loads).map_or(1.0, |(_, high)| high);

    let about = format!(
        "Horizontal: load. Vertical: residual in e. {} rising and {} falling captures; \
         residuals from {} e to {} e.",
        rising.len(),
        falling.len(),
        number::error_e(low),
        number::error_e(high)
    );
    let entries = [
        (Key::MarkOnLine(Mark::Up, "rising"), "rising"),
        (Key::MarkOnLine(Mark::Down, "falling"), "falling"),
        (Key::Mark(Mark::Ring, "at-zero"), "zero"),
    ]
    .map(|(key, text)| (key, text.to_owned()));
    let shown = if zero.is_empty() {
        &entries[..2]
    } else {
        &entries[..]
    };

    let panel_px = room.pick(200.0, 180.0);
    let mut sheet = Sheet::new(id, title, &about, room.width(), panel_px + 100.0);
    legend(&mut sheet, room, 0.0, shown);
    let left = room.pick(56.0, 46.0);
    let place = Place {
        left,
        top: 52.0,
        width: room.width() - left - room.pick(58.0, 42.0),
        height: panel_px,
    };
    let panel = Panel::new(place, (0.0, max_g), (-half, half), room);
    sheet.text("label", Anchor::Start, 0.0, 43.0, "residual, e");
    sheet.text("label", Anchor::End, room.width(), 43.0, "g");
    panel.grid_y(&mut sheet);
    panel.other_unit_y(&mut sheet, outcome.scale.e);
    panel.frame(&mut sheet);
    panel.loads_x(&mut sheet);
    for (class, mark, points) in [
        ("rising", Mark::Up, &rising),
        ("falling", Mark::Down, &falling),
        ("at-zero", Mark::Ring, &zero),
    ] {
        if class != "at-zero" {
            sheet.path(class, &panel.points(means(points, outcome.scale.e)));
        }
        for point in panel.points(points.iter().copied()) {
            sheet.mark(mark, class, point, 4.5);
        }
    }
    sheet.finish()
}

/// The mean of each load, lightest first; loads closer than `near_g` are one.
fn means(points: &[(f64, f64)], near_g: f64) -> Vec<(f64, f64)> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let near = near_g / 2.0;
    sorted
        .chunk_by(|a, b| b.0 - a.0 <= near)
        .map(|same| {
            let many = same.len() as f64;
            // Divided first, so that the largest numbers do not overflow.
            same.iter().fold((0.0, 0.0), |(load, residual), point| {
                (load + point.0 / many, residual + point.1 / many)
            })
        })
        .collect()
}
