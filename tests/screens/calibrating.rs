//! A calibration without a laptop; a sealed scale.

use scalewright_core::FACTORY;
use scalewright_protocol::settings::{Conduct, Settings};
use scalewright_tests::chip::Board;
use scalewright_tests::chip::front::{Front, cell};
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::screen::Screen;
use scalewright_tests::chip::sheet::Sheet;

use crate::set;

/// The last entry of the menu.
const CALIBRATE: usize = 9;

/// To the choice of the first load.
fn begin(front: &mut Front) {
    front.choose(CALIBRATE);
    front.all(&["choose", "choose", "done"]);
    chosen(front);
}

/// Waits until a load is to be chosen.
fn chosen(front: &mut Front) {
    front.wait_for(|screen| screen.keys()[1] == "take it");
}

/// Takes the load offered, so much.
fn take(front: &mut Front, g: f64) {
    front.say("take it");
    front.put(g);
    front.pass(500);
    chosen(front);
}

/// Puts so much on, waits, and says this of it.
fn left_on(front: &mut Front, g: f64, word: &str) {
    front.put(g);
    front.pass(1500);
    front.say(word);
}

/// Whether a load is being weighed, and more than half of that is done.
fn weighing(screen: &Screen) -> bool {
    screen.words(29).ends_with("weighing") && screen.dot(70, 50)
}

/// From a new scale to one that weighs.
pub fn calibrating() -> Sheet {
    let mut sheet = Sheet::new("Calibrating at the scale, with the RP2040's display");
    let mut front = Front::new(Board::Rp2040, cell(0.0008));
    front.say("menu");
    front.times(0, CALIBRATE);
    sheet.add(front.look(), "Last in the menu");
    front.say("choose");
    sheet.add(front.look(), "Max is chosen");
    front.say("choose");
    sheet.add(front.look(), "Then d");
    front.say("choose");
    sheet.add(front.look(), "The pan is emptied");
    front.say("done");
    let taking = front.wait_for(weighing);
    sheet.add(taking, "Zero is taken");
    chosen(&mut front);
    sheet.add(front.look(), "The first load is chosen");
    front.say("take it");
    sheet.add(front.look(), "It is waited for");
    front.put(2000.0);
    let taking = front.wait_for(weighing);
    sheet.add(taking, "It came, and is weighed");
    chosen(&mut front);
    sheet.add(front.look(), "The next load; other turns through");
    front.say("other");
    take(&mut front, 4000.0);
    front.say("other");
    take(&mut front, 6000.0);
    front.say("more");
    sheet.add(front.look(), "Under more: all taken");
    front.say("choose");
    sheet.add(front.look(), "Empty once more");
    left_on(&mut front, 0.0, "done");
    front.wait_for(|screen| screen.keys()[1] == "accept");
    sheet.add(front.look(), "The result");
    front.say("details");
    sheet.add(front.look(), "More of it");
    front.all(&["back", "accept"]);
    front.pass(500);
    sheet.add(front.look(), "The new table is in use");
    front.say("leave");
    front.load(2000.0);
    sheet.add(front.look(), "It weighs");
    sheet
}

/// What comes otherwise than planned.
pub fn otherwise() -> Sheet {
    let mut sheet = Sheet::new("Calibrating at the scale: what comes otherwise than planned");
    let mut front = Front::new(Board::Rp2040, cell(0.0008));
    begin(&mut front);
    front.say("take it");
    front.put(-500.0);
    front.wait_for(|screen| screen.keys()[0] == "anew");
    sheet.add(front.look(), "Wires exchanged, or no empty pan");
    front.put(0.0);
    front.all(&["anew", "done"]);
    chosen(&mut front);
    take(&mut front, 2000.0);
    // 3 kg is said, 5 kg put on.
    front.say("take it");
    front.put(5000.0);
    front.wait_for(|screen| screen.keys()[1] == "keep it");
    sheet.add(front.look(), "Not what was said");
    front.say("other");
    front.all(&["more", "next"]);
    sheet.add(front.look(), "Under more: any mass");
    front.say("choose");
    front.times(0, 2);
    sheet.add(front.look(), "It is entered digit by digit");
    front.times(1, 5);
    sheet.add(front.look(), "It is offered now");
    take(&mut front, 5000.0);
    front.all(&["more", "next", "next"]);
    sheet.add(front.look(), "Under more: undo the last");
    front.say("choose");
    sheet.add(front.look(), "It is offered again");
    front.say("take it");
    hold(&front.chip.rig).wires("unplugged");
    front.wait_for(|screen| screen.words(38).starts_with("no signal"));
    sheet.add(front.look(), "The converter is silent");
    hold(&front.chip.rig).wires("whole");
    front.put(-500.0);
    front.wait_for(|screen| screen.keys()[1] == "again");
    sheet.add(front.look(), "With a load taken: no wires");
    front.say("stop");
    sheet.add(front.look(), "Stop asks first");
    front.say("go on");
    front.chip.restart("power");
    front.pass(1000);
    sheet.add(front.look(), "The power was off meanwhile");
    front.put(0.0);
    front.say("go on");
    front.pass(1500);
    front.say("done");
    chosen(&mut front);
    sheet.add(front.look(), "Zero anew; the loads are there");
    // 4 kg is said, 3.9 kg put on, and kept.
    front.all(&["other", "take it"]);
    front.put(3900.0);
    front.wait_for(|screen| screen.keys()[1] == "keep it");
    front.say("keep it");
    front.all(&["more", "choose"]);
    left_on(&mut front, 1000.0, "done");
    front.wait_for(|screen| screen.keys()[0] == "empty");
    sheet.add(front.look(), "A load was left on");
    left_on(&mut front, 0.0, "again");
    front.wait_for(|screen| screen.keys()[1] == "accept");
    sheet.add(front.look(), "No cell is bent so much");
    sheet
}

/// A sealed scale.
pub fn sealed() -> Sheet {
    let mut sheet = Sheet::new("A sealed scale, with the RP2040's display");
    let mut front = set(Board::Rp2040);
    let table = front.chip.table();
    let knots = front.chip.knots();
    let sealed = Settings {
        conduct: FACTORY.conduct.with(Conduct::SEALED),
        ..FACTORY
    };
    front
        .chip
        .store(sealed, table.zero_counts, &knots)
        .expect("sealed");
    front.settle();
    front.say("menu");
    front.times(0, CALIBRATE);
    sheet.add(front.look(), "The menu says so");
    front.say("choose");
    sheet.add(front.look(), "And how it is opened");
    sheet
}
