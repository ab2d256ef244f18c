//! One value or more of every message, with the reason it is there. The golden
//! file holds their bytes; `tests/golden.rs` compares the two.

mod answers;
mod asks;
mod refusals;
mod states;

use scalewright_protocol::message::*;
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::Knot;

use super::Message;

/// A message, its name in the golden file and what it shows.
pub struct Vector {
    /// Kind of message, then what is special about it.
    pub name: &'static str,
    /// The value.
    pub message: Message,
    /// One sentence for a human reader.
    pub note: &'static str,
}

/// The bench scale of the studio's glaze kitchen: Max 6 kg, e = d = 2 g, class
/// III, one quantum 10 mg.
pub const KITCHEN: Settings = Settings {
    quantum_ug: 10_000,
    max: 600_000,
    e: 200,
    d: 200,
    class: Class::III,
    rate_sps: 10,
    input: Input::A128,
    smoothing: 3,
    rest_tenths_d: 5,
    rest_ms: 1_000,
    loop_gain: 40,
    conduct: Conduct::TRACKS_ZERO,
};

/// Every field as wide on the wire as its type allows.
pub const WIDEST: Settings = Settings {
    quantum_ug: u32::MAX,
    max: i32::MIN,
    e: i32::MAX,
    d: i32::MIN,
    class: Class::IIII,
    rate_sps: u16::MAX,
    input: Input::A64,
    smoothing: u8::MAX,
    rest_tenths_d: u8::MAX,
    rest_ms: u16::MAX,
    loop_gain: u16::MAX,
    conduct: Conduct(u8::MAX),
};

/// A knot whose two numbers take five bytes each.
pub const WIDEST_KNOT: Knot = Knot {
    counts: i32::MIN,
    mass: i32::MAX,
};

const fn knot(counts: i32, mass: i32) -> Knot {
    Knot { counts, mass }
}

fn knots(list: &[Knot]) -> heapless::Vec<Knot, KNOTS_PER_MESSAGE> {
    heapless::Vec::from_slice(list).expect("no more knots than travel in a message")
}

fn ask(name: &'static str, id: u16, ask: Ask, note: &'static str) -> Vector {
    let message = Message::Request(Request { id, ask });
    Vector {
        name,
        message,
        note,
    }
}

fn report(name: &'static str, report: Report, note: &'static str) -> Vector {
    let message = Message::Report(report);
    Vector {
        name,
        message,
        note,
    }
}

fn answer(name: &'static str, id: u16, answer: Answer, note: &'static str) -> Vector {
    report(name, Report::Answer { id, answer }, note)
}

fn refusal(name: &'static str, refusal: Refusal, note: &'static str) -> Vector {
    report(name, Report::Refusal { id: 20, refusal }, note)
}

/// All vectors, in the order of the golden file.
pub fn all() -> Vec<Vector> {
    let mut list = asks::all();
    list.extend(answers::all());
    list.extend(states::all());
    list.extend(states::samples());
    list.extend(states::logs());
    list.extend(refusals::all());
    list.extend(refusals::of_tables_and_settings());
    list
}
