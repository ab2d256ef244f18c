//! All ways of fitting side by side: the root mean square of their
//! leave-one-out errors as bars on a logarithmic axis, the chosen one marked.

use super::{Room, shortened};
use crate::record::outcome::{CandidateLine, Outcome};
use crate::report::band::Band;
use crate::report::svg::{Anchor, Axis, Sheet};
use crate::report::{number, words};

/// Errors below this are drawn as this, in e: a logarithm has no zero.
const LEAST_E: f64 = 1e-4;

/// The picture as inline SVG; `id` must be unique on the page.
pub fn candidates(outcome: &Outcome, id: &str, room: Room) -> String {
    let title = "Ways of fitting, by the error at loads left out of the fit";
    let known = |line: &CandidateLine| line.leave_one_out_error_e.filter(|v| v.is_finite());
    let values = || outcome.candidates.iter().filter_map(known);
    let Some((low, high)) = super::range(values().map(|v| v.abs().max(LEAST_E))) else {
        return super::empty(id, title, "No way of fitting could be judged.", room);
    };
    let limit = Band::of(&outcome.scale).map(|band| band.mpe_e(0.0));
    let low = limit.map_or(low, |limit| low.min(limit));
    let high = limit.map_or(high, |limit| high.max(limit));
    let (low, high) = ((low / 1.5).log10().floor(), (high * 1.1).log10().ceil());

    let row_px = room.pick(30.0, 46.0);
    let left = room.pick(190.0, 0.0);
    let height = 30.0 + row_px * outcome.candidates.len() as f64 + 50.0;
    let mut sheet = Sheet::new(id, title, &about(outcome), room.width(), height);
    let axis = Axis::new(low, high, left, room.width() - room.pick(150.0, 86.0));
    let (top, foot) = (26.0, height - 46.0);
    // Absurd values span hundreds of decades; no more than ten are marked.
    let stride = ((high - low) / 10.0).ceil().max(1.0) as usize;
    for decade in (low as i32..=high as i32).step_by(stride) {
        let Some(x) = axis.at(f64::from(decade)) else {
            continue;
        };
        sheet.line("grid", (x, top), (x, foot));
        let anchor = if x < 10.0 {
            Anchor::Start
        } else {
            Anchor::Middle
        };
        let value = number::trimmed(10f64.powi(decade), 9);
        sheet.text("tick", anchor, x, foot + 17.0, &value);
    }
    let axis_title = "error at the load left out, rms, e";
    sheet.text("label", Anchor::Start, left, foot + 37.0, axis_title);
    if let Some((limit, x)) = limit.and_then(|v| Some((v, axis.at(v.log10())?))) {
        sheet.line("limit", (x, top - 6.0), (x, foot));
        let text = format!(
            "smallest permissible error, {} e",
            number::trimmed(limit, 2)
        );
        sheet.text("label", Anchor::Middle, x, top - 11.0, &text);
    }

    for (i, line) in outcome.candidates.iter().enumerate() {
        let row = top + row_px * i as f64;
        let name_class = if line.chosen { "label strong" } else { "label" };
        let bar_top = row + room.pick(6.0, 20.0);
        let bar_px = 17.0;
        let text_y = bar_top + 13.0;
        let name = shortened(&words::name(&line.name), room.pick(26, 44));
        match room {
            Room::Wide => sheet.text(name_class, Anchor::End, left - 12.0, text_y, &name),
            Room::Narrow => sheet.text(name_class, Anchor::Start, 0.0, row + 14.0, &name),
        }
        match known(line) {
            Some(value) => {
                let end = axis.at(value.abs().max(LEAST_E).log10()).unwrap_or(left);
                let class = if line.chosen { "bar chosen" } else { "bar" };
                sheet.rect(class, left, bar_top, (end - left).max(2.0), bar_px);
                let mut text = format!("{} e", number::significant(value.abs(), 2));
                if line.chosen {
                    text.push_str(room.pick("  \u{25c0} chosen", " \u{25c0} chosen"));
                }
                sheet.text(name_class, Anchor::Start, end + 8.0, text_y, &text);
            }
            None => {
                let note = line.note.as_deref().unwrap_or("not formed");
                let note = shortened(note, room.pick(64, 50));
                sheet.text("tick", Anchor::Start, left + 8.0, text_y, &note);
            }
        }
    }
    sheet.finish()
}

fn about(outcome: &Outcome) -> String {
    let mut parts = Vec::new();
    for line in &outcome.candidates {
        let value = match line.leave_one_out_error_e {
            Some(value) if value.is_finite() => format!("{} e", number::significant(value, 2)),
            _ => "not formed".to_owned(),
        };
        let chosen = if line.chosen { ", chosen" } else { "" };
        let name = words::name(&line.name);
        parts.push(format!("{name}: {value}{chosen}."));
    }
    parts.join(" ")
}
