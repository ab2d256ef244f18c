//! Each weight's deviation from what is stated of it, a row each, with what is
//! stated as a band.
//!
//! A weight that is wrong by far more than the others may be would press these
//! to a line: it gets an arrow at the edge instead, and its number beside it.

use super::{Key, Room, legend, legend_px, shortened};
use crate::record::outcome::Outcome;
use crate::record::together::{Beforehand, Together, WeightFound};
use crate::report::svg::{Anchor, Axis, Mark, Sheet, tick_label};
use crate::report::together::weights::{Standing, called, deviation_g, headline, off, standing};

/// From this multiple of the others' reach on, a wrong weight gets an arrow.
const ARROW_FROM: f64 = 5.0;

/// Below this half width the axis is in mg.
const IN_MG_BELOW_G: f64 = 0.5;

/// Most rows; of more weights those that stand out are shown.
const MOST_ROWS: usize = 40;

/// One row.
struct Row {
    label: String,
    deviation_g: f64,
    between_g: (f64, f64),
    stated_g: f64,
    off: String,
    standing: Standing,
}

impl Row {
    fn of(found: &Together, one: &WeightFound) -> Option<Self> {
        let deviation = deviation_g(one);
        if one.beforehand == Beforehand::Nothing || !deviation.is_finite() {
            return None;
        }
        let end = |end_g: f64| match (end_g - one.stated_g).is_finite() {
            true => end_g - one.stated_g,
            false => deviation,
        };
        Some(Self {
            label: called(one),
            deviation_g: deviation,
            between_g: (end(one.between_g.0), end(one.between_g.1)),
            stated_g: match one.may_be_off_g.is_finite() {
                true => one.may_be_off_g.abs(),
                false => 0.0,
            },
            off: off(deviation, 2.0 * one.mass_g.u),
            standing: standing(found, one),
        })
    }

    fn reach_g(&self) -> f64 {
        let ends = [self.between_g.0, self.between_g.1, self.stated_g];
        let ends = ends.into_iter().map(f64::abs);
        ends.fold(self.deviation_g.abs(), f64::max)
    }

    /// How much it stands out: what is wrong first, then in parts of the band.
    fn weight(&self) -> f64 {
        match self.standing {
            Standing::Wrong => f64::INFINITY,
            Standing::Doubted => f64::MAX,
            Standing::Fine => self.deviation_g.abs() / self.stated_g.max(f64::MIN_POSITIVE),
        }
    }
}

/// The picture as inline SVG; `id` must be unique on the page.
pub fn weights(outcome: &Outcome, id: &str, room: Room) -> String {
    let rows = outcome.together.as_ref().map_or_else(Vec::new, |found| {
        let rows = found.weights.iter().filter_map(|one| Row::of(found, one));
        rows.collect()
    });
    let left_away = rows.len().saturating_sub(MOST_ROWS);
    let rows = outstanding(rows);
    if rows.is_empty() {
        let title = "Weights as found";
        return super::empty(id, title, "No weight has a mass to be shown.", room);
    }
    let half = half_g(&rows);
    let (factor, unit) = match half < IN_MG_BELOW_G {
        true => (1e3, "mg"),
        false => (1.0, "g"),
    };
    let title = outcome.together.as_ref().map_or_else(String::new, headline);
    let row_px = room.pick(26.0, 42.0);
    let entries = legend_entries(&rows);
    let top = legend_px(room, 0.0, &entries) + 10.0;
    let foot = top + row_px * rows.len() as f64;
    let mut sheet = Sheet::new(id, &title, &about(&rows), room.width(), foot + 46.0);
    legend(&mut sheet, room, 0.0, &entries);

    let left = room.pick(170.0, 8.0);
    let right = room.width() - room.pick(150.0, 82.0);
    let axis = Axis::new(-half * factor, half * factor, left, right);
    // Bands first, so that grid and bars lie over them.
    for (index, row) in rows.iter().enumerate() {
        let band = (row.stated_g * factor).min(half * factor);
        if let (Some(from), Some(to)) = (axis.at(-band), axis.at(band)) {
            let y = top + row_px * index as f64 + room.pick(4.0, 19.0);
            sheet.rect("band key", from, y, (to - from).max(1.0), 18.0);
        }
    }
    let (ticks, step) = axis.ticks(room.pick(7, 4));
    for tick in ticks {
        let Some(x) = axis.at(tick) else { continue };
        let class = if tick == 0.0 { "zero" } else { "grid" };
        sheet.line(class, (x, top), (x, foot));
        let anchor = if x < 12.0 {
            Anchor::Start
        } else {
            Anchor::Middle
        };
        sheet.text("tick", anchor, x, foot + 17.0, &tick_label(tick, step));
    }
    sheet.line("frame", (left, foot), (right, foot));
    let axis_title = format!("as found less as stated, {unit}");
    sheet.text("label", Anchor::End, right, foot + 37.0, &axis_title);
    if left_away > 0 {
        let text = format!("{left_away} more stand out less");
        sheet.text("tick", Anchor::Start, 0.0, foot + 37.0, &text);
    }
    for (index, row) in rows.iter().enumerate() {
        let y = top + row_px * index as f64;
        draw(&mut sheet, &axis, row, factor, y, room);
    }
    sheet.finish()
}

/// The rows to be shown, in their order.
fn outstanding(mut rows: Vec<Row>) -> Vec<Row> {
    if rows.len() > MOST_ROWS {
        let mut weights: Vec<f64> = rows.iter().map(Row::weight).collect();
        weights.sort_by(|a, b| b.total_cmp(a));
        let least = weights.get(MOST_ROWS - 1).copied().unwrap_or(0.0);
        rows.retain(|row| row.weight() >= least);
        rows.truncate(MOST_ROWS);
    }
    rows
}

/// Half width of the axis, g.
fn half_g(rows: &[Row]) -> f64 {
    let largest = |rows: &mut dyn Iterator<Item = &Row>| rows.map(Row::reach_g).fold(0.0, f64::max);
    let all = largest(&mut rows.iter());
    let near = largest(&mut rows.iter().filter(|row| row.standing != Standing::Wrong));
    // What a wrong weight's own limits are belongs into the picture too.
    let stated = rows.iter().map(|row| row.stated_g).fold(near, f64::max);
    let half = match stated > 0.0 && all > ARROW_FROM * stated {
        true => 1.5 * stated,
        false => 1.08 * all,
    };
    if half > 0.0 { half } else { 1e-3 }
}

fn draw(sheet: &mut Sheet, axis: &Axis, row: &Row, factor: f64, top: f64, room: Room) {
    let middle = top + room.pick(13.0, 28.0);
    let label = shortened(&row.label, room.pick(22, 46));
    let strong = match row.standing {
        Standing::Fine => "label",
        _ => "label strong",
    };
    let word = match row.standing {
        Standing::Fine => "",
        Standing::Doubted => ", in doubt",
        Standing::Wrong => "  \u{25c0} wrong",
    };
    // The word stands where there is room for it.
    match room {
        Room::Wide => sheet.text(strong, Anchor::Start, 0.0, middle + 4.5, &label),
        Room::Narrow => {
            let label = format!("{label}{word}");
            sheet.text(strong, Anchor::Start, 0.0, top + 14.0, &label);
        }
    }
    let (mark, class) = match row.standing {
        Standing::Fine => (Mark::Disc, "after"),
        Standing::Doubted => (Mark::Ring, "doubted"),
        Standing::Wrong => (Mark::Diamond, "before"),
    };
    let edge = |value: f64| {
        let x = axis.at(value * factor)?;
        let (from, to) = (axis.at(axis.low)?, axis.at(axis.high)?);
        Some(x.clamp(from, to))
    };
    let value = row.deviation_g * factor;
    let (Some(x), Some(low), Some(high)) = (
        edge(row.deviation_g),
        edge(row.between_g.0),
        edge(row.between_g.1),
    ) else {
        return;
    };
    if value > axis.high || value < axis.low {
        let tip = if value < 0.0 { x - 4.0 } else { x + 4.0 };
        let back = if value < 0.0 { x + 8.0 } else { x - 8.0 };
        let corners = [(tip, middle), (back, middle - 6.0), (back, middle + 6.0)];
        sheet.area(&format!("{class} full"), &corners);
    } else {
        sheet.line(class, (low, middle), (high, middle));
        for end in [low, high] {
            sheet.line(class, (end, middle - 4.0), (end, middle + 4.0));
        }
        sheet.mark(mark, class, (x, middle), 4.0);
    }
    let off = row.off.replace('-', "\u{2212}");
    let off = match room {
        Room::Wide => format!("{off}{word}"),
        Room::Narrow => off,
    };
    let right = axis.at(axis.high).unwrap_or(0.0) + 12.0;
    sheet.text(strong, Anchor::Start, right, middle + 4.5, &off);
}

fn legend_entries(rows: &[Row]) -> Vec<(Key, String)> {
    let any = |which: Standing| rows.iter().any(|row| row.standing == which);
    let mut entries = vec![(Key::Patch("band key"), "as stated".to_owned())];
    for (which, mark, class, text) in [
        (Standing::Fine, Mark::Disc, "after", "as found, 95 % limits"),
        (Standing::Doubted, Mark::Ring, "doubted", "in doubt"),
        (
            Standing::Wrong,
            Mark::Diamond,
            "before",
            "wrong (arrow: farther out)",
        ),
    ] {
        if any(which) {
            entries.push((Key::MarkOnLine(mark, class), text.to_owned()));
        }
    }
    entries
}

fn about(rows: &[Row]) -> String {
    let each = rows.iter().map(|row| {
        let word = match row.standing {
            Standing::Fine => "",
            Standing::Doubted => ", in doubt",
            Standing::Wrong => ", wrong",
        };
        format!("{}: {}{word}.", row.label, row.off)
    });
    let each: Vec<String> = each.collect();
    format!(
        "One row a weight. Horizontal: mass as found less mass as stated. {}",
        each.join(" ")
    )
}
