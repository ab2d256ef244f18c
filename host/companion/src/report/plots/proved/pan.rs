//! Errors of one load on several places, as a map of the pan seen from above:
//! the front at the foot. Filled: it reads too much, open: too little; as large
//! as the dashed circle is as much as is permitted.

use super::{CROSS, told};
use crate::record::proof::{Proof, ProofRow, TestOutcome, Verdict};
use crate::report::plots::{Key, Room, empty, legend, legend_px};
use crate::report::proof::words;
use crate::report::svg::{Anchor, Mark, Sheet};

/// Radius of what is permitted, and most of what is drawn, as shares of the pan.
const PERMITTED: f64 = 0.1;
const MOST: f64 = 0.145;

/// Where a row's load stood, in shares of the pan from the far left.
fn spot(row: &ProofRow) -> Option<(f64, f64)> {
    let name = row.what.to_lowercase();
    let any = |words: &[&str]| words.iter().any(|word| name.contains(word));
    let across = match (any(&["left"]), any(&["right"])) {
        (true, false) => Some(0.23),
        (false, true) => Some(0.77),
        _ => None,
    };
    let down = match (any(&["far", "back"]), any(&["front", "near"])) {
        (true, false) => Some(0.21),
        (false, true) => Some(0.79),
        _ => None,
    };
    match (across, down) {
        (Some(across), Some(down)) => Some((across, down)),
        (None, None) if any(&["middle", "centre"]) => Some((0.5, 0.5)),
        _ => None,
    }
}

/// The picture as inline SVG; `id` must be unique on the page.
pub fn pan(proof: &Proof, test: &TestOutcome, id: &str, room: Room) -> String {
    let title = words::title(test);
    let shown = test.rows.iter().filter(|row| words::is_sound(row));
    let mut spots: Vec<((f64, f64), Vec<&ProofRow>)> = Vec::new();
    for row in shown {
        let Some(spot) = spot(row) else { continue };
        match spots.iter_mut().find(|(at, _)| *at == spot) {
            Some((_, rows)) => rows.push(row),
            None => spots.push((spot, vec![row])),
        }
    }
    if spots.is_empty() {
        return empty(
            id,
            &title,
            "No place on the pan has an error to show.",
            room,
        );
    }
    let rows = || spots.iter().flat_map(|(_, rows)| rows.iter().copied());
    let about = format!(
        "The pan from above, the front at the foot. {}",
        told(rows(), proof)
    );
    let mut entries = Vec::new();
    if rows().any(|row| row.value_g > 0.0) {
        entries.push((Key::Mark(Mark::Disc, "after"), "reads too much".to_owned()));
    }
    if rows().any(|row| row.value_g < 0.0) {
        entries.push((
            Key::Mark(Mark::Ring, "after"),
            "reads too little".to_owned(),
        ));
    }
    entries.push((
        Key::Mark(Mark::Ring, "allowed"),
        "so large where the limit is reached".to_owned(),
    ));
    let side = room.pick(360.0, 320.0);
    let left = room.pick(0.0, (room.width() - side) / 2.0);
    let beside = room.pick(left + side + 40.0, 0.0);
    let legend_px = legend_px(room, beside, &entries);
    let top = room.pick(24.0, legend_px + 26.0);
    let height = top + side + 30.0;
    let mut sheet = Sheet::new(id, &title, &about, room.width(), height);
    match room {
        Room::Narrow => {
            legend(&mut sheet, room, 0.0, &entries);
        }
        // One below the other, beside the pan.
        Room::Wide => {
            for (index, (key, text)) in entries.iter().enumerate() {
                let y = top + 20.0 + 26.0 * index as f64;
                if let Key::Mark(mark, class) = *key {
                    sheet.mark(mark, class, (beside + 8.0, y - 4.5), 5.5);
                }
                sheet.text("label", Anchor::Start, beside + 28.0, y, text);
            }
        }
    }
    sheet.rect("pan", left, top, side, side);
    let (middle, foot) = (left + side / 2.0, top + side);
    sheet.line("grid", (middle, top), (middle, foot));
    sheet.line(
        "grid",
        (left, top + side / 2.0),
        (left + side, top + side / 2.0),
    );
    sheet.text("tick", Anchor::Middle, middle, top - 8.0, "far");
    sheet.text("tick", Anchor::Middle, middle, foot + 19.0, "front");
    for ((across, down), rows) in &spots {
        let centre = (left + across * side, top + down * side);
        place(&mut sheet, proof, rows, centre, side);
    }
    sheet.finish()
}

/// One place with its circles and numbers; of several values the largest is
/// drawn and all are written.
fn place(sheet: &mut Sheet, proof: &Proof, rows: &[&ProofRow], (x, y): (f64, f64), side: f64) {
    let share = |row: &ProofRow| (row.value_g / row.limit_g).abs();
    let largest = rows.iter().max_by(|a, b| share(a).total_cmp(&share(b)));
    let y = y - 0.03 * side;
    sheet.mark(Mark::Ring, "allowed", (x, y), PERMITTED * side);
    if let Some(row) = largest {
        let size = share(row);
        let size = if size.is_finite() { size } else { f64::MAX };
        let r = (PERMITTED * size).min(MOST) * side;
        let mark = match row.value_g < 0.0 {
            true => Mark::Ring,
            false => Mark::Disc,
        };
        sheet.mark(mark, "after", (x, y), r.max(2.0));
        // A disc beyond the limit would hide it.
        if r > PERMITTED * side && mark == Mark::Disc {
            sheet.mark(Mark::Ring, "rim", (x, y), PERMITTED * side);
        }
    }
    let each = rows.iter().map(|row| words::value(row.value_g, proof));
    let each = each.collect::<Vec<_>>().join(", ").replace('-', "\u{2212}");
    let fails = rows.iter().any(|row| row.verdict == Verdict::Fails);
    let (class, text) = match fails {
        true => ("label strong", format!("{CROSS} {each} g")),
        false => ("label", format!("{each} g")),
    };
    let foot = y + MOST.mul_add(side, 17.0);
    sheet.text(class, Anchor::Middle, x, foot, &text);
}
