//! How large the uncertainty of a reading is by the load itself, both in powers
//! of ten, with the accuracies that may be wanted.

use crate::record::proof::{MinimumLine, Proof};
use crate::report::number;
use crate::report::plots::{Key, Panel, Place, Room, empty, legend, legend_px};
use crate::report::proof::in_use::{curve, from};
use crate::report::svg::{Anchor, Mark, Sheet};

/// The picture as inline SVG; `id` must be unique on the page.
pub fn relative(proof: &Proof, id: &str, room: Room) -> String {
    let title = "Uncertainty of a reading by the load";
    let found = proof.in_use.as_ref();
    let points = found.map_or_else(Vec::new, curve);
    let (Some(found), Some(first), Some(last)) = (found, points.first(), points.last()) else {
        return empty(id, title, "The uncertainty in use is not known.", room);
    };
    let log = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        points
            .iter()
            .map(|(load_g, share)| (load_g.log10(), share.log10()))
            .collect()
    };
    let wanted: Vec<&MinimumLine> = found
        .minimum
        .iter()
        .filter(|one| one.relative.is_finite() && one.relative > 0.0)
        .collect();
    let lowest = wanted.iter().map(|one| one.relative).fold(last.1, f64::min);
    let entries = [
        (Key::Line("after"), "U by the load".to_owned()),
        (Key::Line("limit"), "accuracy wanted".to_owned()),
        (
            Key::Mark(Mark::Disc, "after"),
            "weigh at least so much".to_owned(),
        ),
    ];
    let top = legend_px(room, 0.0, &entries) + 34.0;
    let panel_px = room.pick(240.0, 230.0);
    let about = format!(
        "Horizontal: load from {} to {}. Vertical: expanded uncertainty in percent of the load, \
         which falls from {} % to {} %.",
        number::mass(first.0, first.0 / 100.0),
        number::mass(last.0, last.0 / 100.0),
        number::significant(100.0 * first.1, 2),
        number::significant(100.0 * last.1, 2),
    );
    let mut sheet = Sheet::new(id, title, &about, room.width(), top + panel_px + 48.0);
    legend(&mut sheet, room, 0.0, &entries);
    let left = room.pick(64.0, 52.0);
    let place = Place {
        left,
        top,
        width: room.width() - left - room.pick(24.0, 12.0),
        height: panel_px,
    };
    let x = (first.0.log10(), last.0.log10());
    let y = (lowest.log10() - 0.25, first.1.log10());
    let panel = Panel::new(place, x, y, room);
    sheet.text("label", Anchor::Start, 0.0, top - 17.0, "U, % of the load");
    grid(&mut sheet, &panel);
    panel.frame(&mut sheet);
    panel.clip(&mut sheet);
    for one in &wanted {
        let level = one.relative.log10();
        sheet.path("limit", &panel.points([(x.0, level), (x.1, level)]));
    }
    sheet.path("after", &panel.points(log(&points)));
    sheet.unclip();
    for one in &wanted {
        let at = one.load_g.filter(|load_g| *load_g >= first.0);
        let Some((px, py)) = at.and_then(|load_g| panel.at(load_g.log10(), one.relative.log10()))
        else {
            continue;
        };
        sheet.mark(Mark::Disc, "after", (px, py), 4.5);
        let text = from(one.load_g);
        // Below the curve, which falls to the right, there is room.
        sheet.text("tick", Anchor::End, px - 9.0, py + 16.0, &text);
    }
    sheet.finish()
}

/// Powers of ten and their halves upwards, powers of ten along the foot.
fn grid(sheet: &mut Sheet, panel: &Panel) {
    let tens = |low: f64, high: f64| (low.ceil() as i32)..=(high.floor() as i32);
    for power in tens(panel.y.low, panel.y.high) {
        if let Some(y) = panel.y.at(f64::from(power)) {
            let place = panel.place;
            sheet.line("grid", (place.left, y), (place.right(), y));
            let label = number::trimmed(100.0 * 10f64.powi(power), 6);
            sheet.text("tick", Anchor::End, place.left - 8.0, y + 4.5, &label);
        }
    }
    let kilo = panel.x.high > 3.0;
    for power in tens(panel.x.low, panel.x.high) {
        let load_g = 10f64.powi(power);
        let shown = if kilo { load_g / 1000.0 } else { load_g };
        panel.foot_tick(sheet, f64::from(power), &number::trimmed(shown, 6));
    }
    panel.foot_title(sheet, if kilo { "load, kg" } else { "load, g" });
}
