//! Error of a small weight on top of a big load, over that load, with what is
//! permitted of the small one.

use super::{Key, Panel, Room, one_panel, range};
use crate::record::outcome::{Outcome, VerificationRow};
use crate::report::svg::{Anchor, Mark, Sheet};
use crate::report::together::small::{Read, rows, sentences, several};

/// The picture as inline SVG; `id` must be unique on the page.
pub fn small(outcome: &Outcome, id: &str, room: Room) -> String {
    let e_g = outcome.scale.e;
    let found = outcome.together.as_ref();
    let mut rows = found.map_or_else(Vec::new, |found| rows(found, e_g));
    rows.retain(|row| row.error.load_g.is_finite() && row.error.error_e.is_finite());
    rows.sort_by(|a, b| a.error.load_g.total_cmp(&b.error.load_g));
    let reach = |row: &VerificationRow| {
        let u = if row.expanded_u_e.is_finite() {
            row.expanded_u_e.abs()
        } else {
            0.0
        };
        (row.error_e.abs() + u).max(if row.mpe_e.is_finite() {
            row.mpe_e
        } else {
            0.0
        })
    };
    let Some((_, half)) = range(rows.iter().map(|row| reach(&row.error))) else {
        let title = "A small load on a big one";
        return super::empty(id, title, "No small load was put on a big one.", room);
    };
    let half = 1.15 * half.max(0.1);
    let loads = rows.iter().map(|row| row.error.load_g);
    let max_g = range(loads.chain([outcome.scale.max])).map_or(1.0, |(_, high)| high);

    let title = found
        .map_or_else(Vec::new, |found| sentences(found, e_g))
        .join(" ");
    let about = "Horizontal: the load below. Vertical: error of the small load in e, and in g on \
                 the right.";
    let entries = legend_entries(&rows);
    let panel_px = room.pick(190.0, 180.0);
    let (mut sheet, place) = one_panel(id, &title, about, room, &entries, panel_px);
    let panel = Panel::new(place, (0.0, max_g), (-half, half), room);
    let head = place.top - 17.0;
    sheet.text(
        "label",
        Anchor::Start,
        0.0,
        head,
        "error of the small load, e",
    );
    sheet.text("label", Anchor::End, room.width(), head, "g");
    let (upper, lower) = (limit(&panel, &rows, 1.0), limit(&panel, &rows, -1.0));
    let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
    panel.clip(&mut sheet);
    sheet.area("band", &outline);
    sheet.unclip();
    panel.grid_y(&mut sheet);
    panel.other_unit_y(&mut sheet, e_g);
    panel.frame(&mut sheet);
    panel.loads_x(&mut sheet);
    panel.clip(&mut sheet);
    sheet.path("limit", &upper);
    sheet.path("limit", &lower);
    sheet.unclip();
    let named = several(&rows);
    for row in &rows {
        let (_, mark, class) = look(row);
        let Some(point) = panel.at(row.error.load_g, row.error.error_e) else {
            continue;
        };
        bar(&mut sheet, &panel, &row.error, class);
        sheet.mark(mark, class, point, 4.0);
        if named {
            let beside = (point.0 + 8.0, point.1 - 6.0);
            sheet.text("tick", Anchor::Start, beside.0, beside.1, &row.small_mass);
        }
    }
    sheet.finish()
}

/// Words, shape and class of a row.
fn look(row: &Read) -> (&'static str, Mark, &'static str) {
    match row.error.pass {
        true => ("error, with U (k = 2)", Mark::Disc, "after"),
        false => ("beyond the limits", Mark::Diamond, "before"),
    }
}

fn bar(sheet: &mut Sheet, panel: &Panel, row: &VerificationRow, class: &str) {
    let Some(x) = panel.x.at(row.load_g) else {
        return;
    };
    let end = |e: f64| {
        let y = panel.y.at(e)?;
        Some(y.clamp(panel.place.top, panel.place.foot()))
    };
    let u = row.expanded_u_e;
    if let (Some(low), Some(high)) = (end(row.error_e - u), end(row.error_e + u)) {
        sheet.line(class, (x, low), (x, high));
        for end in [low, high] {
            sheet.line(class, (x - 4.0, end), (x + 4.0, end));
        }
    }
}

/// One edge of what is permitted, in px: it steps half way between two loads
/// that had different small weights on top.
fn limit(panel: &Panel, rows: &[Read], sign: f64) -> Vec<(f64, f64)> {
    let mut corners = Vec::new();
    let known = rows.iter().filter(|row| row.error.mpe_e.is_finite());
    let known: Vec<&Read> = known.collect();
    let mut from = panel.x.low;
    for (index, row) in known.iter().enumerate() {
        let to = known.get(index + 1).map_or(panel.x.high, |next| {
            row.error.load_g / 2.0 + next.error.load_g / 2.0
        });
        corners.extend([(from, sign * row.error.mpe_e), (to, sign * row.error.mpe_e)]);
        from = to;
    }
    panel.points(corners)
}

fn legend_entries(rows: &[Read]) -> Vec<(Key, String)> {
    let mut entries: Vec<(Key, String)> = Vec::new();
    for row in rows {
        let (words, mark, class) = look(row);
        if !entries.iter().any(|entry| entry.1 == words) {
            entries.push((Key::MarkWithBar(mark, class), words.to_owned()));
        }
    }
    entries.push((Key::Patch("band key"), "permitted".to_owned()));
    entries
}
