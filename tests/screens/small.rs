//! The ATmega328P's text panel.

use scalewright_tests::chip::Board;
use scalewright_tests::chip::front::{Front, cell};
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::sheet::Sheet;

use crate::set;

const ZERO: usize = 0;
const TARE: usize = 1;
const VIEW: usize = 2;

/// All of it.
pub fn panel() -> Sheet {
    let mut sheet = Sheet::new("The ATmega328P's display");
    let mut front = Front::new(Board::Atmega328p, cell(0.0));
    sheet.add(front.look(), "A new scale");
    drop(front);
    let mut front = set(Board::Atmega328p);
    sheet.add(front.look(), "Empty, within a quarter of e of zero");
    front.load(3010.0);
    sheet.add(front.look(), "A load");
    front.put(3400.0);
    let moving = front.wait_for(|screen| screen.large() == "3400");
    assert_eq!(moving.small(0), "moving");
    sheet.add(moving, "It moves");
    front.load(250.0);
    front.press(TARE);
    sheet.add(front.look(), "A jar, and TARE pressed");
    front.load(1250.0);
    front.pass(2000);
    sheet.add(front.look(), "Filled: net");
    for said in ["VIEW: gross", "VIEW: tare", "VIEW: the device number"] {
        front.press(VIEW);
        sheet.add(front.look(), said);
    }
    front.press(VIEW);
    front.press(TARE);
    front.pass(2000);
    front.press(ZERO);
    sheet.add(front.look(), "ZERO is refused, and why");
    front.load(6100.0);
    // What a key said stands for two seconds.
    front.pass(2000);
    sheet.add(front.look(), "Beyond Max + 9 e");
    hold(&front.chip.rig).wires("unplugged");
    front.pass(2000);
    sheet.add(front.look(), "The converter is silent");
    sheet
}
