//! What one table shows less what another shows, over the load, with the
//! permissible band, in g and in e.

use super::{Key, Panel, Room, one_panel, range};
use crate::record::table::{ShownLine, TablesRecord, Why};
use crate::report::band::Band;
use crate::report::number;
use crate::report::svg::{Anchor, Mark};

/// The picture as inline SVG; `id` must be unique on the page.
pub fn tables(record: &TablesRecord, id: &str, room: Room) -> String {
    let title = "The difference of two tables over the load";
    if record.curve.len() < 2 {
        return super::empty(id, title, "The two tables have no load in common.", room);
    }
    let e_g = record.scale.e;
    let band: Vec<(f64, f64, f64)> = Band::of(&record.scale).map_or_else(Vec::new, |band| {
        let stretches = band.stretches(record.scale.max);
        let corner = |one: &crate::report::band::Stretch| (one.from_g, one.to_g, one.mpe_e * e_g);
        stretches.iter().map(corner).collect()
    });
    let mut entries = vec![(Key::Line("after"), "change".to_owned())];
    let marked = |why: Why| record.loads.iter().filter(move |line| line.why == why);
    if marked(Why::Adjusted).next().is_some() {
        entries.push((Key::Mark(Mark::Disc, "after"), "put right".to_owned()));
    }
    if marked(Why::Kept).next().is_some() {
        entries.push((Key::Mark(Mark::Diamond, "before"), "kept".to_owned()));
    }
    if !band.is_empty() {
        entries.push((Key::Patch("band key"), "permitted".to_owned()));
    }
    let high_px = room.pick(320.0, 250.0);
    let about = about(record);
    let (mut sheet, place) = one_panel(id, title, &about, room, &entries, high_px);
    let changes = record.curve.iter().map(|corner| corner.change_g.abs());
    let most_g = range(changes).map_or(0.0, |(_, high)| high);
    let permitted_g = range(band.iter().map(|one| one.2)).map_or(e_g, |(_, high)| high);
    let reach_g = (1.1 * most_g).max(1.25 * permitted_g);
    let panel = Panel::new(place, (0.0, record.scale.max), (-reach_g, reach_g), room);
    let head = place.top - 17.0;
    sheet.text("label", Anchor::Start, 0.0, head, "change, g");
    sheet.text("label", Anchor::End, room.width(), head, "e");
    let edge = |sign: f64| {
        let ends = (band.iter())
            .flat_map(|(from_g, to_g, mpe_g)| [(*from_g, sign * mpe_g), (*to_g, sign * mpe_g)]);
        panel.points(ends)
    };
    let (upper, lower) = (edge(1.0), edge(-1.0));
    let outline: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
    panel.clip(&mut sheet);
    sheet.area("band", &outline);
    sheet.unclip();
    panel.grid_y(&mut sheet);
    panel.other_unit_y(&mut sheet, 1.0 / e_g);
    panel.frame(&mut sheet);
    panel.clip(&mut sheet);
    sheet.path("limit", &upper);
    sheet.path("limit", &lower);
    let curve = record.curve.iter().map(|one| (one.load_g, one.change_g));
    sheet.path("after", &panel.points(curve));
    sheet.unclip();
    let mut put = |line: &ShownLine, mark: Mark, class: &str| {
        if let Some(at) = panel.at(line.one_g, line.change_g) {
            sheet.mark(mark, class, at, 4.5);
        }
    };
    for line in marked(Why::Kept) {
        put(line, Mark::Diamond, "before");
    }
    for line in marked(Why::Adjusted) {
        put(line, Mark::Disc, "after");
    }
    panel.loads_x(&mut sheet);
    sheet.finish()
}

fn about(record: &TablesRecord) -> String {
    let most = record.most.map_or_else(
        || "Nothing changes.".to_owned(),
        |line| {
            format!(
                "Most at {}: {} g.",
                number::mass(line.one_g, number::resolution_g(record.scale.e)),
                number::error_g(line.change_g, record.scale.e)
            )
        },
    );
    format!(
        "Horizontal: load. Vertical: what the second table shows less what the first shows, in g, \
         and in e on the right. {most}"
    )
}
