//! Every request.

use scalewright_protocol::message::*;
use scalewright_protocol::settings::{Class, Input, Settings};

use super::{KITCHEN, Vector, WIDEST, WIDEST_KNOT, ask, knot, knots};

/// Requests, in the order of [`Ask`].
pub fn all() -> Vec<Vector> {
    let three = knots(&[knot(0, 0), knot(410_000, 300_000), knot(822_500, 601_800)]);
    let stage = Stage {
        settings: KITCHEN,
        zero_counts: -84_211,
        knots: 3,
        checksum: 0x39D6_70B5,
    };
    let stage_widest = Stage {
        settings: WIDEST,
        zero_counts: i32::MIN,
        knots: u8::MAX,
        checksum: u32::MAX,
    };
    let order = CaptureOrder {
        samples: 32,
        rest_counts: 0,
        patience_ms: 30_000,
    };
    let order_widest = CaptureOrder {
        samples: u16::MAX,
        rest_counts: u32::MAX,
        patience_ms: u32::MAX,
    };
    let middling = Settings {
        class: Class::II,
        input: Input::B32,
        ..KITCHEN
    };
    let special = Settings {
        class: Class::I,
        ..KITCHEN
    };
    let full = knots(&[WIDEST_KNOT; KNOTS_PER_MESSAGE]);
    vec![
        ask(
            "ask.hello",
            1,
            Ask::Hello { wire_version: 2 },
            "the first request of all",
        ),
        ask(
            "ask.hello.widest",
            u16::MAX,
            Ask::Hello {
                wire_version: u16::MAX,
            },
            "highest numbers",
        ),
        ask("ask.state", 2, Ask::State, "state now"),
        ask(
            "ask.wait",
            3,
            Ask::Wait { up_to_ms: 500 },
            "half a second of device time",
        ),
        ask(
            "ask.wait.none",
            0,
            Ask::Wait { up_to_ms: 0 },
            "no wait; request number 0",
        ),
        ask(
            "ask.wait.widest",
            127,
            Ask::Wait { up_to_ms: u16::MAX },
            "longer than any scale allows",
        ),
        ask(
            "ask.stream",
            128,
            Ask::Stream { every: 10 },
            "each tenth sample",
        ),
        ask(
            "ask.stream.stop",
            129,
            Ask::Stream { every: 0 },
            "no samples any more",
        ),
        ask(
            "ask.stream.widest",
            130,
            Ask::Stream { every: u8::MAX },
            "a plain byte, not a varint",
        ),
        ask("ask.settings", 6, Ask::Settings, "settings in force"),
        ask(
            "ask.set-settings",
            7,
            Ask::SetSettings(KITCHEN),
            "Max 6 kg, e = 2 g, class III",
        ),
        ask(
            "ask.set-settings.ii",
            7,
            Ask::SetSettings(middling),
            "class II, input B",
        ),
        ask(
            "ask.set-settings.i",
            7,
            Ask::SetSettings(special),
            "class I",
        ),
        ask(
            "ask.set-settings.widest",
            7,
            Ask::SetSettings(WIDEST),
            "every field at its widest",
        ),
        ask("ask.table", 8, Ask::Table, "header of the table"),
        ask("ask.knots", 9, Ask::Knots { from: 6 }, "the second six"),
        ask(
            "ask.knots.widest",
            9,
            Ask::Knots { from: u8::MAX },
            "past any table",
        ),
        ask(
            "ask.stage-begin",
            10,
            Ask::StageBegin(stage),
            "three knots will follow",
        ),
        ask(
            "ask.stage-begin.widest",
            10,
            Ask::StageBegin(stage_widest),
            "every field at its widest",
        ),
        ask(
            "ask.stage-knots",
            11,
            Ask::StageKnots {
                from: 0,
                knots: three,
            },
            "0 kg, 3 kg, 6.018 kg",
        ),
        ask(
            "ask.stage-knots.empty",
            11,
            Ask::StageKnots {
                from: 3,
                knots: knots(&[]),
            },
            "none",
        ),
        ask(
            "ask.stage-knots.widest",
            11,
            Ask::StageKnots {
                from: u8::MAX,
                knots: full,
            },
            "six at their widest",
        ),
        ask("ask.stage-commit", 12, Ask::StageCommit, "put it in force"),
        ask("ask.stage-abort", 13, Ask::StageAbort, "give it up"),
        ask("ask.roll-back", 14, Ask::RollBack, "the record before"),
        ask("ask.set-zero", 15, Ask::SetZero, "zero-setting"),
        ask("ask.tare", 16, Ask::Tare, "a bowl is on the pan"),
        ask("ask.clear-tare", 17, Ask::ClearTare, "the bowl is gone"),
        ask(
            "ask.capture",
            18,
            Ask::Capture(order),
            "mean of 32 samples at rest",
        ),
        ask(
            "ask.capture.widest",
            18,
            Ask::Capture(order_widest),
            "every field at its widest",
        ),
        ask("ask.capture-cancel", 19, Ask::CaptureCancel, "give up"),
        ask(
            "ask.stage-try",
            21,
            Ask::StageTry,
            "weigh with it, keep the old",
        ),
        ask(
            "ask.note",
            22,
            Ask::Note {
                when_s: 1_764_158_400,
                text: "Ida: moved to the loft".try_into().expect("short"),
            },
            "noon of 2025-11-26 UTC",
        ),
        ask(
            "ask.note.widest",
            22,
            Ask::Note {
                when_s: u32::MAX,
                text: "thirty-two bytes, which is all.."
                    .try_into()
                    .expect("short"),
            },
            "every field at its widest",
        ),
        ask("ask.event", 23, Ask::Event { back: 1 }, "the last but one"),
        ask(
            "ask.hold-zero",
            24,
            Ask::HoldZero { for_s: 1200 },
            "for twenty minutes",
        ),
    ]
}
