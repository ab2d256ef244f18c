//! The weighing screen, and what the menu leads to.

use scalewright_tests::chip::Board;
use scalewright_tests::chip::sheet::Sheet;

use crate::{MESSAGE_MS, set};

/// Loads, tare, zero.
pub fn weighing() -> Sheet {
    let mut sheet = Sheet::new("Weighing with the RP2040's display");
    let mut front = set(Board::Rp2040);
    sheet.add(front.look(), "Empty, within a quarter of e of zero");
    front.load(3010.0);
    sheet.add(front.look(), "A load of half of Max");
    front.put(3400.0);
    let moving = front.wait_for(|screen| screen.indication() == "3400");
    assert_eq!(moving.words(0), "", "no mark");
    sheet.add(moving, "It moves: no mark yet");
    front.load(250.0);
    front.say("tare");
    sheet.add(front.look(), "A jar, and tare pressed");
    front.load(1250.0);
    front.pass(MESSAGE_MS);
    sheet.add(front.look(), "Filled: net, with gross and tare");
    front.load(0.0);
    sheet.add(front.look(), "Lifted off: the tare is left");
    front.say("no tare");
    front.load(1000.0);
    front.say("zero");
    sheet.add(front.look(), "Zero is refused, and why");
    front.pass(MESSAGE_MS);
    front.load(6010.0);
    sheet.add(front.look(), "Beyond Max, up to 9 e");
    front.load(1000.6);
    front.choose(1);
    let finer = front.look();
    assert_eq!(finer.indication(), "1000.6");
    sheet.add(finer, "More digits, for five seconds");
    sheet
}

/// The menu and its lists.
pub fn menu() -> Sheet {
    let mut sheet = Sheet::new("The menu on the RP2040's display");
    let mut front = set(Board::Rp2040);
    front.load(1234.0);
    front.say("menu");
    sheet.add(front.look(), "The menu");
    front.times(0, 9);
    sheet.add(front.look(), "Its end");
    front.say("next");
    for (entry, said) in [
        (0, "Units"),
        (2, "Hold highest"),
        (3, "Count pieces: the sample's size"),
        (4, "Check limits"),
        (6, "Zero by itself"),
        (7, "Screen"),
        (8, "About this scale"),
    ] {
        front.look();
        front.times(0, entry);
        front.say("choose");
        sheet.add(front.look(), said);
        if entry != 8 {
            front.all(&["back", "back", "menu"]);
        }
    }
    front.times(0, 6);
    sheet.add(front.look(), "About this scale, further down");
    sheet
}
