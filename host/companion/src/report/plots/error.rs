//! Error of indication over load, before and after, with the permissible band.
//!
//! When the old setting is so far off that the band would vanish, the picture
//! has two panels: the whole view, and a close-up of twice the band.

use super::{Key, Panel, Place, Room, legend, legend_px, range, shortened};
use crate::record::outcome::{Outcome, VerificationRow};
use crate::report::band::{Band, Stretch};
use crate::report::svg::{Anchor, Mark, Sheet};
use crate::report::{number, words};

/// From this multiple of the close-up on, the whole view gets its own panel.
const TWO_PANELS_FROM: f64 = 1.8;

/// Name of the panel that shows everything, where there are two.
const WHOLE: &str = "whole view";

/// The picture as inline SVG; `id` must be unique on the page.
pub fn error(outcome: &Outcome, id: &str, room: Room) -> String {
    let title = "Error of indication before and after, with the permissible error";
    let series = Series::of(outcome);
    if series.is_empty() {
        return super::empty(
            id,
            title,
            "No load was verified, so there is no error to show.",
            room,
        );
    }
    let close = series.close_up();
    let (low, high) = series.whole();
    let two = low.min(-close) < -close * TWO_PANELS_FROM || high > close * TWO_PANELS_FROM;
    let entries = legend_entries(outcome, &series, room);

    // The legend's height is known only once it is drawn, on a sheet that
    // needs its height first: draw it twice.
    let top = legend_px(room, 0.0, &entries) + 34.0;
    let (whole_px, close_px) = match two {
        true => (room.pick(170.0, 150.0), room.pick(300.0, 250.0)),
        false => (0.0, room.pick(360.0, 280.0)),
    };
    let gap = if two { 48.0 } else { 0.0 };
    let height = top + whole_px + gap + close_px + 48.0;

    let mut sheet = Sheet::new(id, title, &about(outcome, &series), room.width(), height);
    legend(&mut sheet, room, 0.0, &entries);
    let left = room.pick(56.0, 42.0);
    let place = |top: f64, height: f64| Place {
        left,
        top,
        width: room.width() - left - room.pick(58.0, 42.0),
        height,
    };
    let x = (0.0, series.max_g);
    let y = if two {
        (-close, close)
    } else {
        series.padded(close)
    };
    if two {
        let panel = Panel::new(place(top, whole_px), x, series.padded(close), room);
        draw(&mut sheet, &panel, &series, outcome.scale.e, WHOLE);
    }
    let panel = Panel::new(place(top + whole_px + gap, close_px), x, y, room);
    draw(
        &mut sheet,
        &panel,
        &series,
        outcome.scale.e,
        if two { "close up" } else { "" },
    );
    panel.loads_x(&mut sheet);
    sheet.finish()
}

/// What is drawn, with what cannot be drawn taken out.
struct Series<'a> {
    max_g: f64,
    stretches: Vec<Stretch>,
    curve: Vec<(f64, f64)>,
    table_u: Vec<(f64, f64)>,
    before: &'a [VerificationRow],
    after: &'a [VerificationRow],
}

impl<'a> Series<'a> {
    fn of(outcome: &'a Outcome) -> Self {
        let finite = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
            let sound = |(x, y): &(f64, f64)| x.is_finite() && y.is_finite();
            points.iter().copied().filter(sound).collect()
        };
        let rows = outcome.before.rows.iter().chain(&outcome.after.rows);
        let loads = rows.map(|row| row.load_g).chain([outcome.scale.max]);
        let max_g = range(loads).map_or(1.0, |(_, high)| high);
        Self {
            max_g,
            stretches: Band::of(&outcome.scale).map_or_else(Vec::new, |band| band.stretches(max_g)),
            curve: finite(&outcome.before_curve),
            table_u: finite(&outcome.after_band),
            before: &outcome.before.rows,
            after: &outcome.after.rows,
        }
    }

    fn is_empty(&self) -> bool {
        let rows = self.before.iter().chain(self.after);
        self.curve.is_empty() && !rows.into_iter().any(|row| row.error_e.is_finite())
    }

    /// Largest permissible error in the picture, in e.
    fn mpe_e(&self) -> f64 {
        let rows = self.before.iter().chain(self.after).map(|row| row.mpe_e);
        let stretches = self.stretches.iter().map(|stretch| stretch.mpe_e);
        range(rows.chain(stretches)).map_or(1.0, |(_, high)| high.max(0.5))
    }

    /// Half height of the close-up, in e: twice the band, or what the new
    /// table's points need.
    fn close_up(&self) -> f64 {
        let reach = |row: &VerificationRow| row.error_e.abs() + finite_or_zero(row.expanded_u_e);
        let after = range(self.after.iter().map(reach)).map_or(0.0, |(_, high)| high);
        (2.0 * self.mpe_e()).max(1.08 * after)
    }

    fn whole(&self) -> (f64, f64) {
        let rows = self.before.iter().chain(self.after).map(|row| row.error_e);
        let curve = self.curve.iter().map(|point| point.1);
        range(rows.chain(curve)).unwrap_or((0.0, 0.0))
    }

    fn padded(&self, close: f64) -> (f64, f64) {
        let (low, high) = self.whole();
        let (low, high) = (low.min(-close), high.max(close));
        let margin = 0.04 * (high - low);
        (low - margin, high + margin)
    }
}

fn finite_or_zero(value: f64) -> f64 {
    if value.is_finite() { value.abs() } else { 0.0 }
}

fn draw(sheet: &mut Sheet, panel: &Panel, series: &Series, e_g: f64, name: &str) {
    let head = panel.place.top - 17.0;
    let unit = if name.is_empty() {
        "error, e".to_owned()
    } else {
        format!("error, e: {name}")
    };
    sheet.text("label", Anchor::Start, 0.0, head, &unit);
    sheet.text("label", Anchor::End, panel.room.width(), head, "g");

    panel.clip(sheet);
    let (upper, lower) = (limit(panel, series, 1.0), limit(panel, series, -1.0));
    let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
    sheet.area("band", &outline);
    sheet.unclip();
    panel.grid_y(sheet);
    panel.other_unit_y(sheet, e_g);
    panel.frame(sheet);

    panel.clip(sheet);
    // An outline, so that the band survives without colour.
    sheet.path("limit", &upper);
    sheet.path("limit", &lower);
    if name != WHOLE {
        for sign in [2.0, -2.0] {
            let expanded = series.table_u.iter().map(|(x, u)| (*x, sign * u));
            sheet.path("table-u", &panel.points(expanded));
        }
    }
    sheet.path("before", &panel.points(series.curve.iter().copied()));
    sheet.unclip();

    for row in series.before {
        before_mark(sheet, panel, row);
    }
    for row in series.after {
        after_mark(sheet, panel, row);
    }
}

/// One edge of the permitted area in px, stepping where the error steps.
fn limit(panel: &Panel, series: &Series, sign: f64) -> Vec<(f64, f64)> {
    let corners = series
        .stretches
        .iter()
        .flat_map(|s| [(s.from_g, sign * s.mpe_e), (s.to_g, sign * s.mpe_e)]);
    panel.points(corners)
}

fn before_mark(sheet: &mut Sheet, panel: &Panel, row: &VerificationRow) {
    let Some((x, _)) = panel.at(row.load_g, row.error_e) else {
        return;
    };
    let place = panel.place;
    // Beyond the panel an arrow at its edge says which way.
    if row.error_e > panel.y.high {
        sheet.mark(Mark::Up, "before", (x, place.top + 6.0), 4.5);
    } else if row.error_e < panel.y.low {
        sheet.area(
            "before full",
            &[
                (x, place.foot() - 1.0),
                (x + 5.0, place.foot() - 10.0),
                (x - 5.0, place.foot() - 10.0),
            ],
        );
    } else if let Some(point) = panel.at(row.load_g, row.error_e) {
        sheet.mark(Mark::Diamond, "before", point, 4.0);
    }
}

fn after_mark(sheet: &mut Sheet, panel: &Panel, row: &VerificationRow) {
    let Some((x, y)) = panel.at(row.load_g, row.error_e) else {
        return;
    };
    let bar = |e: f64| {
        panel
            .y
            .at(e)
            .map(|y| y.clamp(panel.place.top, panel.place.foot()))
    };
    let u = row.expanded_u_e;
    if let (Some(low), Some(high)) = (bar(row.error_e - u), bar(row.error_e + u)) {
        sheet.line("after", (x, low), (x, high));
        for end in [low, high] {
            sheet.line("after", (x - 4.0, end), (x + 4.0, end));
        }
    }
    sheet.mark(Mark::Disc, "after", (x, y), 4.0);
}

fn legend_entries(outcome: &Outcome, series: &Series, room: Room) -> Vec<(Key, String)> {
    let mut entries = Vec::new();
    if !series.before.is_empty() || !series.curve.is_empty() {
        let title = shortened(&words::or_unknown(&outcome.before.title), room.pick(44, 36));
        entries.push((
            Key::MarkOnLine(Mark::Diamond, "before"),
            format!("before: {title}"),
        ));
    }
    if !series.after.is_empty() {
        let text = "after, with U (k = 2)".to_owned();
        entries.push((Key::MarkWithBar(Mark::Disc, "after"), text));
    }
    if !series.table_u.is_empty() {
        entries.push((Key::Line("table-u"), "U of the table".to_owned()));
    }
    if !series.stretches.is_empty() {
        entries.push((Key::Patch("band key"), "permitted".to_owned()));
    }
    entries
}

fn about(outcome: &Outcome, series: &Series) -> String {
    let e_g = outcome.scale.e;
    let of = |verification| {
        words::largest(verification, e_g).unwrap_or_else(|| number::UNKNOWN.to_owned())
    };
    let mut text = format!(
        "Horizontal: load. Vertical: error of indication in e, and in g on the right. \
         Largest error before: {}. Largest error after: {}.",
        of(&outcome.before),
        of(&outcome.after)
    );
    for stretch in &series.stretches {
        text.push_str(&format!(
            " Permitted up to {}: plus or minus {} e.",
            number::mass(stretch.to_g, number::resolution_g(e_g)),
            number::trimmed(stretch.mpe_e, 2)
        ));
    }
    text
}
