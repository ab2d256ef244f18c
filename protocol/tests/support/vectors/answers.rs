//! Every answer but the state.

use heapless::String as Text;
use scalewright_protocol::message::*;

use super::{KITCHEN, Vector, WIDEST, WIDEST_KNOT, answer, knot, knots};

/// Answers, in the order of [`Answer`].
pub fn all() -> Vec<Vector> {
    let hello = Hello {
        wire_version: 2,
        firmware: (0, 1, 0),
        device_id: 0x0000_4F2A,
        board: Text::try_from("bench").expect("short"),
        max_knots: 32,
        rates_sps: heapless::Vec::from_slice(&[10, 80]).expect("two"),
        slot_bytes: 512,
        max_payload: 96,
    };
    let hello_widest = Hello {
        wire_version: u16::MAX,
        firmware: (u8::MAX, u8::MAX, u8::MAX),
        device_id: u32::MAX,
        board: Text::try_from("sixteen-letters!").expect("sixteen"),
        max_knots: u8::MAX,
        rates_sps: heapless::Vec::from_slice(&[u16::MAX; 5]).expect("five"),
        slot_bytes: u16::MAX,
        max_payload: u16::MAX,
    };
    let hello_bare = Hello {
        board: Text::new(),
        rates_sps: heapless::Vec::new(),
        ..hello.clone()
    };
    let header = TableHeader {
        sequence: 7,
        knots: 3,
        checksum: 0x39D6_70B5,
        zero_counts: -84_211,
        previous: true,
    };
    let header_factory = TableHeader {
        sequence: 0,
        knots: 0,
        checksum: 0,
        zero_counts: 0,
        previous: false,
    };
    let header_widest = TableHeader {
        sequence: u32::MAX,
        knots: u8::MAX,
        checksum: u32::MAX,
        zero_counts: i32::MIN,
        previous: true,
    };
    let two = knots(&[knot(0, 0), knot(-1, 1)]);
    let full = knots(&[WIDEST_KNOT; KNOTS_PER_MESSAGE]);
    let top = u16::MAX;
    vec![
        answer("answer.done", 4, Answer::Done, "carried out"),
        answer(
            "answer.hello",
            1,
            Answer::Hello(hello),
            "scale 4F2A on the bench",
        ),
        answer(
            "answer.hello.bare",
            1,
            Answer::Hello(hello_bare),
            "empty text, empty list",
        ),
        answer(
            "answer.hello.widest",
            top,
            Answer::Hello(hello_widest),
            "every field at its widest",
        ),
        answer(
            "answer.settings",
            6,
            Answer::Settings(KITCHEN),
            "Max 6 kg, e = 2 g, class III",
        ),
        answer(
            "answer.settings.widest",
            top,
            Answer::Settings(WIDEST),
            "every field at its widest",
        ),
        answer(
            "answer.table",
            8,
            Answer::Table(header),
            "three knots, one record before",
        ),
        answer(
            "answer.table.factory",
            8,
            Answer::Table(header_factory),
            "not calibrated",
        ),
        answer(
            "answer.table.widest",
            top,
            Answer::Table(header_widest),
            "every field at its widest",
        ),
        answer(
            "answer.knots",
            9,
            Answer::Knots {
                from: 0,
                knots: two,
            },
            "zigzag: −1 is 1, 1 is 2",
        ),
        answer(
            "answer.knots.end",
            9,
            Answer::Knots {
                from: 12,
                knots: knots(&[]),
            },
            "past the end",
        ),
        answer(
            "answer.knots.widest",
            top,
            Answer::Knots {
                from: u8::MAX,
                knots: full,
            },
            "six at their widest",
        ),
        answer(
            "answer.stored",
            12,
            Answer::Stored { sequence: 8 },
            "the eighth record",
        ),
        answer(
            "answer.stored.widest",
            top,
            Answer::Stored { sequence: u32::MAX },
            "before the wrap",
        ),
        answer(
            "answer.zeroed",
            15,
            Answer::Zeroed {
                zero_counts: -84_198,
            },
            "a zero below code 0",
        ),
        answer(
            "answer.zeroed.widest",
            top,
            Answer::Zeroed {
                zero_counts: i32::MIN,
            },
            "lowest number",
        ),
        answer(
            "answer.event",
            23,
            Answer::Event(Some(Event {
                counter: 8,
                kind: EventKind::Settings,
                checksum: 0x8F3A_6B21,
                when_s: 1_764_158_400,
                text: "Ida: moved to the loft".try_into().expect("short"),
            })),
            "the eighth change",
        ),
        answer(
            "answer.event.widest",
            top,
            Answer::Event(Some(Event {
                counter: u32::MAX,
                kind: EventKind::MadeHere,
                checksum: u32::MAX,
                when_s: u32::MAX,
                text: "thirty-two bytes, which is all.."
                    .try_into()
                    .expect("short"),
            })),
            "every field at its widest",
        ),
        answer(
            "answer.event.table",
            23,
            Answer::Event(Some(Event {
                counter: 1,
                kind: EventKind::Table,
                checksum: 1,
                when_s: 0,
                text: "Ida: first calibration".try_into().expect("short"),
            })),
            "the first",
        ),
        answer(
            "answer.event.rolled-back",
            23,
            Answer::Event(Some(Event {
                counter: 1,
                kind: EventKind::RolledBack,
                checksum: 1,
                when_s: 0,
                text: "".try_into().expect("short"),
            })),
            "nobody said why",
        ),
        answer(
            "answer.event.none",
            23,
            Answer::Event(None),
            "no change so far back",
        ),
    ]
}
