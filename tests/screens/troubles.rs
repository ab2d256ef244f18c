//! What stands in place of digits.

use scalewright_core::FACTORY;
use scalewright_protocol::checksum::crc32;
use scalewright_protocol::message::Ask;
use scalewright_tests::chip::Board;
use scalewright_tests::chip::front::{Front, cell};
use scalewright_tests::chip::rig::hold;
use scalewright_tests::chip::session::storing;
use scalewright_tests::chip::sheet::Sheet;

use crate::{MESSAGE_MS, set};

/// Everything that can be wrong.
pub fn troubles() -> Sheet {
    let mut sheet = Sheet::new("What is wrong, in words, on the RP2040's display");
    let mut front = Front::new(Board::Rp2040, cell(0.0));
    sheet.add(front.look(), "A new scale");
    drop(front);
    let mut front = set(Board::Rp2040);
    front.load(6100.0);
    sheet.add(front.look(), "Beyond Max + 9 e");
    front.load(-500.0);
    sheet.add(front.look(), "The pan is off");
    front.put(0.0);
    hold(&front.chip.rig).world.bridge_open = true;
    front.settle();
    sheet.add(front.look(), "The converter at its upper end");
    hold(&front.chip.rig).world.bridge_open = false;
    front.load(-30_000.0);
    sheet.add(front.look(), "At its lower end");
    front.load(0.0);
    for (wires, said) in [
        ("unplugged", "The converter is silent"),
        ("data_low", "Its data line does not move"),
    ] {
        hold(&front.chip.rig).wires(wires);
        front.pass(2000);
        sheet.add(front.look(), said);
    }
    hold(&front.chip.rig).wires("whole");
    front.chip.restart("power");
    let settling = front.wait_for(|screen| screen.words(27) == "the signal settles");
    sheet.add(settling, "Just switched on");
    front.settle();
    front.put(1000.0);
    front.wait_for(|screen| screen.indication() == "1000");
    front.press(1);
    sheet.add(front.look(), "A key pressed too soon");
    front.load(0.0);
    front.pass(MESSAGE_MS);
    let table = front.chip.knots();
    let zero_counts = front.chip.table().zero_counts;
    let mut asks = storing(FACTORY, zero_counts, &table);
    asks.pop();
    asks.push(Ask::StageTry);
    for ask in &asks {
        front.chip.ask(ask);
    }
    front.settle();
    sheet.add(front.look(), "A laptop tries a table");
    // Two records, the newer one with a bit that flipped; then both of another layout.
    front
        .chip
        .store(FACTORY, zero_counts, &table)
        .expect("stored");
    let sound = hold(&front.chip.rig).emulator.memory();
    let records: Vec<usize> = (0..sound.len())
        .filter(|at| sound[*at..].starts_with(b"kiln"))
        .collect();
    let mut decayed = sound.clone();
    decayed[records[records.len() - 1] + 20] ^= 0x10;
    let mut foreign = sound;
    for at in records {
        foreign[at + 4] += 1;
        let sum = crc32(&foreign[at..at + 43]);
        foreign[at + 43..at + 47].copy_from_slice(&sum.to_le_bytes());
    }
    for (memory, said) in [
        (decayed, "Damaged: the table before is used"),
        (foreign, "Stored by another version"),
    ] {
        hold(&front.chip.rig).emulator.set_memory(&memory);
        front.chip.restart("power");
        front.settle();
        sheet.add(front.look(), said);
    }
    sheet
}
