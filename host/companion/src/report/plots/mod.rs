//! The pictures of a report, each a function from the outcome to one
//! inline SVG, and what they share: sizes, the framed panel, the legend.
//!
//! Guarantees: no series is told by colour alone; every picture has a title
//! and a description that carry its message; an outcome with gaps gives a
//! picture that says what is missing.

mod candidates;
mod comparison;
mod error;
mod noise;
pub mod proved;
mod residuals;
mod small;
mod tables;
mod weights;

pub use candidates::candidates;
pub use comparison::comparison;
pub use error::error;
pub use noise::noise;
pub use residuals::residuals;
pub use small::small;
pub use tables::tables;
pub use weights::weights;

use super::svg::{Anchor, Axis, Mark, Sheet, text_width, tick_label};

/// How much room a picture has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// A desk or a sheet of paper.
    Wide,
    /// A telephone held upright.
    Narrow,
}

impl Room {
    /// Width of the sheet, px.
    pub fn width(self) -> f64 {
        match self {
            Room::Wide => 860.0,
            Room::Narrow => 360.0,
        }
    }

    /// Class of the sheet's frame, which sets the size of its text.
    pub fn class(self) -> &'static str {
        match self {
            Room::Wide => "wide",
            Room::Narrow => "narrow",
        }
    }

    fn text_px(self) -> f64 {
        match self {
            Room::Wide => 14.0,
            Room::Narrow => 12.0,
        }
    }

    /// The wide value or the narrow one.
    fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Room::Wide => wide,
            Room::Narrow => narrow,
        }
    }
}

/// Place of a panel on the sheet, px.
#[derive(Clone, Copy, Debug)]
struct Place {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
}

impl Place {
    fn right(self) -> f64 {
        self.left + self.width
    }

    fn foot(self) -> f64 {
        self.top + self.height
    }
}

/// A framed panel with its two axes.
#[derive(Clone, Copy, Debug)]
struct Panel {
    place: Place,
    x: Axis,
    y: Axis,
    room: Room,
}

impl Panel {
    fn new(place: Place, x: (f64, f64), y: (f64, f64), room: Room) -> Self {
        Self {
            place,
            x: Axis::new(x.0, x.1, place.left, place.right()),
            y: Axis::new(y.0, y.1, place.foot(), place.top),
            room,
        }
    }

    fn at(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        Some((self.x.at(x)?, self.y.at(y)?))
    }

    fn points(&self, values: impl IntoIterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
        values
            .into_iter()
            .filter_map(|(x, y)| self.at(x, y))
            .collect()
    }

    /// Labels and grid of the upright axis on the left.
    fn grid_y(&self, sheet: &mut Sheet) {
        let (ticks, step) = self.y.ticks((self.place.height / 38.0) as usize);
        for tick in ticks {
            let Some(y) = self.y.at(tick) else { continue };
            let class = if tick == 0.0 { "zero" } else { "grid" };
            sheet.line(class, (self.place.left, y), (self.place.right(), y));
            let x = self.place.left - 8.0;
            sheet.text("tick", Anchor::End, x, y + 4.5, &tick_label(tick, step));
        }
    }

    /// Labels on the right for the same axis in another unit.
    fn other_unit_y(&self, sheet: &mut Sheet, factor: f64) {
        if !factor.is_finite() || factor <= 0.0 {
            return;
        }
        let other = Axis::new(
            self.y.low * factor,
            self.y.high * factor,
            self.place.foot(),
            self.place.top,
        );
        let (ticks, step) = other.ticks((self.place.height / 38.0) as usize);
        for tick in ticks {
            let Some(y) = other.at(tick) else { continue };
            let x = self.place.right();
            sheet.line("frame", (x, y), (x + 4.0, y));
            sheet.text(
                "tick",
                Anchor::Start,
                x + 8.0,
                y + 4.5,
                &tick_label(tick, step),
            );
        }
    }

    /// Loads along the foot, in the unit that suits the range, and their unit.
    fn loads_x(&self, sheet: &mut Sheet) {
        let kilo = self.x.high >= 1000.0;
        let (divisor, unit) = if kilo { (1000.0, "kg") } else { (1.0, "g") };
        let (ticks, step) = self.x.ticks(self.room.pick(8, 4));
        for tick in ticks {
            self.foot_tick(sheet, tick, &tick_label(tick / divisor, step / divisor));
        }
        self.foot_title(sheet, &format!("load, {unit}"));
    }

    fn foot_tick(&self, sheet: &mut Sheet, value: f64, label: &str) {
        if let Some(x) = self.x.at(value) {
            let foot = self.place.foot();
            sheet.line("frame", (x, foot), (x, foot + 4.0));
            sheet.text("tick", Anchor::Middle, x, foot + 19.0, label);
        }
    }

    fn foot_title(&self, sheet: &mut Sheet, title: &str) {
        let y = self.place.foot() + 38.0;
        sheet.text("label", Anchor::End, self.place.right(), y, title);
    }

    fn frame(&self, sheet: &mut Sheet) {
        let place = self.place;
        let foot = place.foot();
        sheet.line("frame", (place.left, foot), (place.right(), foot));
    }

    fn clip(&self, sheet: &mut Sheet) {
        let place = self.place;
        sheet.clip(place.left, place.top, place.width, place.height);
    }
}

/// What stands beside a legend's text.
#[derive(Clone, Copy, Debug)]
enum Key {
    /// A mark on a line of the same class.
    MarkOnLine(Mark, &'static str),
    /// A mark with an upright bar.
    MarkWithBar(Mark, &'static str),
    /// A mark alone.
    Mark(Mark, &'static str),
    /// A line alone.
    Line(&'static str),
    /// A filled patch.
    Patch(&'static str),
}

/// Draws a legend from the top left, wrapping at the sheet's width; returns
/// the height it took, px.
fn legend(sheet: &mut Sheet, room: Room, left: f64, entries: &[(Key, String)]) -> f64 {
    const KEY_PX: f64 = 34.0;
    let row_px = room.text_px() + 9.0;
    let (mut x, mut y) = (left, row_px - 6.0);
    for (key, text) in entries {
        let width = KEY_PX + text_width(text, room.text_px()) + 22.0;
        if x > left && x + width > room.width() {
            x = left;
            y += row_px;
        }
        let middle = (x + 13.0, y - 4.5);
        match *key {
            Key::MarkOnLine(mark, class) => {
                sheet.line(class, (x, middle.1), (x + 26.0, middle.1));
                sheet.mark(mark, class, middle, 4.0);
            }
            Key::MarkWithBar(mark, class) => {
                sheet.line(class, (middle.0, y - 12.0), (middle.0, y + 3.0));
                sheet.mark(mark, class, middle, 4.0);
            }
            Key::Mark(mark, class) => sheet.mark(mark, class, middle, 4.5),
            Key::Line(class) => sheet.line(class, (x, middle.1), (x + 26.0, middle.1)),
            Key::Patch(class) => sheet.rect(class, x, y - 10.0, 26.0, 11.0),
        }
        sheet.text("label", Anchor::Start, x + KEY_PX, y, text);
        x += width;
    }
    y + 10.0
}

/// Height that a legend takes, px: it is known only once it is drawn.
fn legend_px(room: Room, left: f64, entries: &[(Key, String)]) -> f64 {
    let mut trial = Sheet::new("", "", "", room.width(), 0.0);
    legend(&mut trial, room, left, entries)
}

/// A sheet with its legend and, below, the room for one panel `high_px` high
/// with labels on both sides.
fn one_panel(
    id: &str,
    title: &str,
    about: &str,
    room: Room,
    entries: &[(Key, String)],
    high_px: f64,
) -> (Sheet, Place) {
    let top = legend_px(room, 0.0, entries) + 34.0;
    let mut sheet = Sheet::new(id, title, about, room.width(), top + high_px + 48.0);
    legend(&mut sheet, room, 0.0, entries);
    let left = room.pick(56.0, 46.0);
    let place = Place {
        left,
        top,
        width: room.width() - left - room.pick(58.0, 42.0),
        height: high_px,
    };
    (sheet, place)
}

/// A picture that only says why it is empty.
fn empty(id: &str, title: &str, why: &str, room: Room) -> String {
    let mut sheet = Sheet::new(id, title, why, room.width(), 48.0);
    sheet.text("label", Anchor::Start, 0.0, 28.0, why);
    sheet.finish()
}

/// Smallest and largest of the finite values; `None` when there is none.
fn range(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values
        .into_iter()
        .filter(|value| value.is_finite())
        .fold(None, |seen, value| match seen {
            None => Some((value, value)),
            Some((low, high)) => Some((low.min(value), high.max(value))),
        })
}

/// A text of at most `most` characters, shortened with an ellipsis.
fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}\u{2026}", kept.trim_end())
}
