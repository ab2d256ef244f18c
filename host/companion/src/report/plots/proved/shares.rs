//! What the uncertainty is made of: one bar a load, divided as the variance is.
//! A letter in each part stands in the legend and the tables.

use crate::record::proof::{LoadBudget, Proof};
use crate::report::number;
use crate::report::plots::{Key, Room, empty, legend, legend_px, shortened};
use crate::report::proof::shares::{NAMED, letter, names, share};
use crate::report::svg::{Anchor, Axis, Sheet};

/// Shades of the named parts and of the rest; dark and light take turns.
const SHADES: [&str; NAMED] = [
    "part a", "part b", "part c", "part d", "part f", "part g", "part h",
];
const REST: &str = "part rest";

/// Below this width a part has no letter, px.
const LEAST_PX: f64 = 16.0;

/// Most bars; of more loads every so many.
const MOST_BARS: usize = 14;

/// The picture as inline SVG; `id` must be unique on the page.
pub fn shares(proof: &Proof, id: &str, room: Room) -> String {
    let title = "What the uncertainty is made of, load by load";
    let drawable =
        |budget: &&LoadBudget| budget.contributions.iter().any(|one| share(one).is_some());
    let budgets: Vec<&LoadBudget> = proof.budgets.iter().filter(drawable).collect();
    if budgets.is_empty() {
        return empty(id, title, "No load has an uncertainty budget.", room);
    }
    let every = budgets.len().div_ceil(MOST_BARS);
    let budgets: Vec<&LoadBudget> = budgets.into_iter().step_by(every).collect();
    let names = names(&proof.budgets);
    let mut entries: Vec<(Key, String)> = names
        .iter()
        .zip(SHADES)
        .map(|(name, shade)| {
            let letter = letter(&names, name).unwrap_or("");
            let text = format!("{letter}  {}", shortened(name, room.pick(46, 40)));
            (Key::Patch(shade), text)
        })
        .collect();
    if names.len() > NAMED {
        let more = names.len() - NAMED;
        entries.push((Key::Patch(REST), format!("{more} more")));
    }
    let top = legend_px(room, 0.0, &entries) + 24.0;
    let row_px = room.pick(27.0, 26.0);
    let foot = top + row_px * budgets.len() as f64;
    let mut sheet = Sheet::new(
        id,
        title,
        &about(&budgets, proof),
        room.width(),
        foot + 42.0,
    );
    legend(&mut sheet, room, 0.0, &entries);
    let (left, right) = (room.pick(84.0, 62.0), room.width() - room.pick(96.0, 76.0));
    let axis = Axis::new(0.0, 1.0, left, right);
    sheet.text("label", Anchor::End, left - 10.0, top - 8.0, "load");
    sheet.text("label", Anchor::End, room.width(), top - 8.0, "U, g");
    for (index, budget) in budgets.iter().enumerate() {
        let y = top + row_px * index as f64;
        bar(&mut sheet, budget, &names, &axis, (y, row_px - 6.0));
        let load = number::mass(budget.load_g, number::resolution_g(proof.scale.e));
        sheet.text("tick", Anchor::End, left - 10.0, y + 15.5, &load);
        let u = number::significant(budget.expanded_u_g, 2);
        sheet.text("label", Anchor::End, room.width(), y + 15.5, &u);
    }
    for tick in [0.0, 0.25, 0.5, 0.75, 1.0] {
        if let Some(x) = axis.at(tick) {
            let text = format!("{} %", number::trimmed(100.0 * tick, 0));
            sheet.line("frame", (x, foot), (x, foot + 4.0));
            sheet.text("tick", Anchor::Middle, x, foot + 19.0, &text);
        }
    }
    let axis_title = "share of the variance";
    sheet.text("label", Anchor::End, right, foot + 38.0, axis_title);
    sheet.finish()
}

fn bar(
    sheet: &mut Sheet,
    budget: &LoadBudget,
    names: &[&str],
    axis: &Axis,
    (y, height): (f64, f64),
) {
    let mut from = 0.0;
    for (index, name) in names.iter().enumerate() {
        let lines = budget.contributions.iter().filter(|one| one.name == **name);
        let part: f64 = lines.filter_map(share).sum();
        let to = f64::min(from + part, 1.0);
        if let (Some(left), Some(right)) = (axis.at(from), axis.at(to)) {
            let shade = SHADES.get(index).copied().unwrap_or(REST);
            sheet.rect(shade, left, y, right - left, height);
            let letter = letter(names, name).filter(|_| right - left >= LEAST_PX);
            if let Some(letter) = letter {
                let x = left.midpoint(right);
                sheet.text("label strong", Anchor::Middle, x, y + 15.5, letter);
            }
        }
        from = to;
    }
}

fn about(budgets: &[&LoadBudget], proof: &Proof) -> String {
    let fine = number::resolution_g(proof.scale.e);
    let each = budgets.iter().map(|budget| {
        let sound = budget
            .contributions
            .iter()
            .filter(|one| share(one).is_some());
        let most = sound.max_by(|a, b| a.share.total_cmp(&b.share));
        let most = most.map_or("", |one| one.name.as_str());
        format!("{}: mostly {most}.", number::mass(budget.load_g, fine))
    });
    format!(
        "One bar a load, divided as the variance is. {}",
        each.collect::<Vec<_>>().join(" ")
    )
}
