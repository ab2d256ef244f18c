//! What the indicator does beside weighing.

use scalewright_tests::chip::Board;
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::sheet::Sheet;

use crate::{MESSAGE_MS, set};

/// What the spread of a reading is after this, it stays.
const QUIET_MS: u64 = 5000;

/// Other units; the highest load.
pub fn units_and_holding() -> Sheet {
    let mut sheet = Sheet::new("Units and hold highest on the RP2040's display");
    let mut front = set(Board::Rp2040);
    front.load(3010.0);
    for said in ["Kilograms", "Pounds", "Ounces"] {
        front.choose(0);
        front.choose_here(1);
        sheet.add(front.look(), said);
    }
    front.choose(0);
    front.choose_here(1);
    front.choose(2);
    front.choose_here(1);
    front.say("reset");
    front.load(2260.0);
    front.load(840.0);
    sheet.add(front.look(), "Highest at rest, and what lies there");
    front.put(900.0);
    front.wait_for(|screen| screen.words(38) == "now 900 g");
    front.press(0);
    let moving = front.wait_for(|screen| screen.tall(12) == "nothing held yet");
    sheet.add(moving, "After reset, until something rests");
    front.settle();
    front.say("tare");
    front.load(2260.0);
    front.load(1500.0);
    sheet.add(front.look(), "Likewise net");
    sheet
}

/// Counting pieces.
pub fn counting() -> Sheet {
    let mut sheet = Sheet::new("Counting pieces on the RP2040's display");
    let mut front = set(Board::Rp2040);
    front.choose(3);
    front.choose_here(1);
    sheet.add(front.look(), "A sample of ten is asked for");
    front.load(123.0);
    front.say("take");
    let weighing = front.wait_for(|screen| screen.dot(70, 50));
    sheet.add(weighing, "It is weighed");
    front.wait_for(|screen| screen.keys()[2] == "menu");
    sheet.add(front.look(), "Counting begins");
    front.load(12.3 * 25.0);
    front.pass(MESSAGE_MS);
    sheet.add(front.look(), "Sure; renew makes them the sample");
    front.say("renew");
    front.wait_for(|screen| screen.keys()[2] == "menu");
    front.load(12.3 * 400.0);
    front.pass(MESSAGE_MS);
    sheet.add(front.look(), "Many, of the better sample");
    // A signal that is not quiet, and light pieces.
    hold(&front.chip.rig).world.ripple = 80;
    front.load(0.0);
    front.choose(3);
    // The list opens at the ten pieces of before.
    front.choose_here(0);
    front.load(15.0);
    front.pass(QUIET_MS);
    front.say("take");
    front.wait_for(|screen| screen.keys()[2] == "menu");
    front.load(1.5 * 120.0);
    front.pass(QUIET_MS);
    sheet.add(front.look(), "Unsure: what would make it sure");
    sheet
}

/// Limits.
pub fn limits() -> Sheet {
    let mut sheet = Sheet::new("Checking limits on the RP2040's display");
    let mut front = set(Board::Rp2040);
    front.load(100.0);
    front.choose(4);
    front.all(&["change", "next", "change"]);
    sheet.add(front.look(), "The lower limit, digit by digit");
    // 0096: two places on, nine up; on, three steps of d up.
    front.all(&["onward", "onward"]);
    front.times(0, 9);
    front.say("onward");
    front.times(0, 3);
    sheet.add(front.look(), "The last digit goes in steps of d");
    front.all(&[
        "done", "next", "change", "onward", "up", "onward", "up", "onward", "done",
    ]);
    sheet.add(front.look(), "Both limits, and checking is on");
    front.all(&["back", "back"]);
    for (g, said) in [(90.0, "Too little"), (100.0, "Within"), (112.0, "Too much")] {
        front.load(g);
        sheet.add(front.look(), said);
    }
    sheet
}

/// A tare that is known.
pub fn preset_tare() -> Sheet {
    let mut sheet = Sheet::new("Preset tare on the RP2040's display");
    let mut front = set(Board::Rp2040);
    front.load(1250.0);
    front.choose(5);
    front.say("onward");
    front.times(0, 2);
    front.say("onward");
    front.times(0, 5);
    sheet.add(front.look(), "The container's mass is entered");
    front.all(&["onward", "done"]);
    sheet.add(front.look(), "It is in use");
    front.pass(MESSAGE_MS);
    sheet.add(front.look(), "It is called what it is");
    sheet
}
