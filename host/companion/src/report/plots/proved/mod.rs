//! The pictures of a verification: one for each test that a picture helps, and
//! one of the uncertainty budget.
//!
//! Guarantees as all pictures here do: nothing is told by colour alone, and what
//! is not a number is left out.

mod in_time;
mod over_load;
mod pan;
mod relative;
mod repeated;
mod shares;

pub use in_time::in_time;
pub use over_load::{errors, small_on_big};
pub use pan::pan;
pub use relative::relative;
pub use repeated::repeated;
pub use shares::shares;

use super::{Panel, Place, Room, range};
use crate::record::proof::{Proof, ProofRow, Verdict};
use crate::report::proof::words;
use crate::report::svg::{Anchor, Sheet};

/// What a failed value carries beside its mark.
const CROSS: &str = "\u{2717}";

/// In what the upright axis counts: e, or g where e is not known.
#[derive(Clone, Copy, Debug)]
struct Unit {
    e_g: Option<f64>,
}

impl Unit {
    fn of(proof: &Proof) -> Self {
        let e_g = proof.scale.e;
        let usable = e_g.is_finite() && e_g > 0.0 && (1.0 / e_g).is_finite();
        Self {
            e_g: usable.then_some(e_g),
        }
    }

    fn name(self) -> &'static str {
        self.e_g.map_or("g", |_| "e")
    }

    fn of_g(self, value_g: f64) -> f64 {
        value_g / self.e_g.unwrap_or(1.0)
    }

    /// Half height that shows all values with their bars and limits.
    fn half<'a>(self, rows: impl Iterator<Item = &'a ProofRow>) -> Option<f64> {
        let reach = |row: &ProofRow| {
            let bar = row.expanded_u_g.filter(|u| u.is_finite());
            let value_g = row.value_g.abs() + bar.unwrap_or(0.0).abs();
            let limit_g = if row.limit_g.is_finite() {
                row.limit_g.abs()
            } else {
                0.0
            };
            self.of_g(value_g).max(self.of_g(limit_g))
        };
        let (_, half) = range(rows.map(reach))?;
        Some(if half > 0.0 { 1.15 * half } else { 0.1 })
    }

    /// What stands over the upright axes.
    fn heads(self, sheet: &mut Sheet, room: Room, top: f64, what: &str) {
        let head = format!("{what}, {}", self.name());
        sheet.text("label", Anchor::Start, 0.0, top - 17.0, &head);
        if self.e_g.is_some() {
            sheet.text("label", Anchor::End, room.width(), top - 17.0, "g");
        }
    }

    fn right_axis(self, sheet: &mut Sheet, panel: &Panel) {
        if let Some(e_g) = self.e_g {
            panel.other_unit_y(sheet, e_g);
        }
    }
}

/// The place of a panel below a legend.
fn place(room: Room, top: f64, height: f64) -> Place {
    let left = room.pick(62.0, 50.0);
    Place {
        left,
        top,
        width: room.width() - left - room.pick(62.0, 48.0),
        height,
    }
}

/// The permitted area between plus and minus the corners, values of the panel.
fn band(sheet: &mut Sheet, panel: &Panel, corners: &[(f64, f64)]) {
    let edge = |sign: f64| panel.points(corners.iter().map(|(x, y)| (*x, sign * y)));
    let (upper, lower) = (edge(1.0), edge(-1.0));
    let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
    panel.clip(sheet);
    sheet.area("band", &outline);
    sheet.unclip();
}

/// Its edges, so that it survives without colour.
fn band_edges(sheet: &mut Sheet, panel: &Panel, corners: &[(f64, f64)]) {
    panel.clip(sheet);
    for sign in [1.0, -1.0] {
        let edge = panel.points(corners.iter().map(|(x, y)| (*x, sign * y)));
        sheet.path("limit", &edge);
    }
    sheet.unclip();
}

/// A bar of U around a value, at a place across in px.
fn bar(sheet: &mut Sheet, panel: &Panel, class: &str, x: f64, value: f64, u: Option<f64>) {
    let end = |value: f64| {
        let y = panel.y.at(value)?;
        Some(y.clamp(panel.place.top, panel.place.foot()))
    };
    let Some(u) = u.filter(|u| u.is_finite()) else {
        return;
    };
    if let (Some(low), Some(high)) = (end(value - u), end(value + u)) {
        sheet.line(class, (x, low), (x, high));
        for end in [low, high] {
            sheet.line(class, (x - 4.0, end), (x + 4.0, end));
        }
    }
}

/// A cross beside the mark of a value that is not kept.
fn cross(sheet: &mut Sheet, row: &ProofRow, (x, y): (f64, f64)) {
    if row.verdict == Verdict::Fails {
        sheet.text("label strong", Anchor::Start, x + 7.0, y - 6.0, CROSS);
    }
}

/// All values in words, for those who cannot see the picture.
fn told<'a>(rows: impl Iterator<Item = &'a ProofRow>, proof: &Proof) -> String {
    let each = rows.map(|row| {
        format!(
            "{}: {} g, {}.",
            words::what(row, true),
            words::value(row.value_g, proof),
            words::row_marked(row, true)
        )
    });
    each.collect::<Vec<_>>().join(" ")
}
