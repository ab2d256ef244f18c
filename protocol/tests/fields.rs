//! What a scale writes and reads field by field against whole messages as serde
//! and the postcard crate (a reference implementation of the format) see them.

mod support;

use proptest::prelude::*;
use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::cursor::Cursor;
use scalewright_protocol::frame::{Decoder, Event};
use scalewright_protocol::message::*;
use scalewright_protocol::pen::Pen;
use scalewright_protocol::tags::{answer, ask, report};
use support::Message;

/// The payload that is written by hand.
fn written(write: impl FnOnce(&mut Pen<'_>)) -> Vec<u8> {
    let mut frame = [0u8; MAX_FRAME];
    let mut pen = Pen::new(&mut frame).expect("room");
    write(&mut pen);
    let length = pen.finish().expect("room");
    let mut decoder: Decoder<{ MAX_PAYLOAD + 4 }> = Decoder::new();
    for byte in &frame[..length] {
        if let Some(Event::Payload(payload)) = decoder.push(*byte) {
            return payload.to_vec();
        }
    }
    panic!("no frame");
}

/// A report field by field, as the firmware writes it.
fn by_hand(message: &Report) -> Vec<u8> {
    written(|pen| match message {
        Report::Answer { id, answer } => {
            pen.u8(report::ANSWER);
            pen.u16(*id);
            by_hand_answer(pen, answer);
        }
        Report::Refusal { id, refusal } => {
            pen.u8(report::REFUSAL);
            pen.u16(*id);
            pen.refusal(*refusal);
        }
        Report::Sample(sample) => {
            pen.u8(report::SAMPLE);
            pen.sample(sample);
        }
        Report::Log { bytes } => {
            pen.u8(report::LOG);
            pen.bytes(bytes);
        }
    })
}

fn by_hand_answer(pen: &mut Pen<'_>, answer: &Answer) {
    match answer {
        Answer::Done => pen.u8(answer::DONE),
        Answer::Hello(hello) => {
            pen.u8(answer::HELLO);
            pen.u16(hello.wire_version);
            pen.u8(hello.firmware.0);
            pen.u8(hello.firmware.1);
            pen.u8(hello.firmware.2);
            pen.u32(hello.device_id);
            pen.bytes(hello.board.as_bytes());
            pen.u8(hello.max_knots);
            pen.u8(hello.rates_sps.len() as u8);
            for rate in &hello.rates_sps {
                pen.u16(*rate);
            }
            pen.u16(hello.slot_bytes);
            pen.u16(hello.max_payload);
        }
        Answer::State(state) => {
            pen.u8(answer::STATE);
            pen.state(state);
        }
        Answer::Settings(settings) => {
            pen.u8(answer::SETTINGS);
            pen.settings(settings);
        }
        Answer::Table(table) => {
            pen.u8(answer::TABLE);
            pen.table(table);
        }
        Answer::Knots { from, knots } => {
            pen.u8(answer::KNOTS);
            pen.u8(*from);
            pen.u8(knots.len() as u8);
            for knot in knots {
                pen.knot(knot);
            }
        }
        Answer::Stored { sequence } => {
            pen.u8(answer::STORED);
            pen.u32(*sequence);
        }
        Answer::Zeroed { zero_counts } => {
            pen.u8(answer::ZEROED);
            pen.i32(*zero_counts);
        }
        Answer::Event(event) => {
            pen.u8(answer::EVENT);
            pen.bool(event.is_some());
            if let Some(event) = event {
                pen.event(event);
            }
        }
    }
}

/// A request read field by field, as the firmware reads it.
fn read_by_hand(payload: &[u8]) -> Option<Request> {
    let mut at = Cursor::new();
    let id = at.u16(payload);
    let ask = match at.tag(payload) {
        ask::HELLO => Ask::Hello {
            wire_version: at.u16(payload),
        },
        ask::STATE => Ask::State,
        ask::WAIT => Ask::Wait {
            up_to_ms: at.u16(payload),
        },
        ask::STREAM => Ask::Stream {
            every: at.u8(payload),
        },
        ask::SETTINGS => Ask::Settings,
        ask::SET_SETTINGS => {
            let mut settings = support::vectors::KITCHEN;
            at.settings(payload, &mut settings);
            Ask::SetSettings(settings)
        }
        ask::TABLE => Ask::Table,
        ask::KNOTS => Ask::Knots {
            from: at.u8(payload),
        },
        ask::STAGE_BEGIN => {
            let mut stage = Stage {
                settings: support::vectors::KITCHEN,
                zero_counts: 0,
                knots: 0,
                checksum: 0,
            };
            at.stage(payload, &mut stage);
            Ask::StageBegin(stage)
        }
        ask::STAGE_KNOTS => {
            let from = at.u8(payload);
            let mut knots = heapless::Vec::new();
            for _ in 0..at.tag(payload) {
                knots.push(at.knot(payload)).ok()?;
            }
            Ask::StageKnots { from, knots }
        }
        ask::STAGE_COMMIT => Ask::StageCommit,
        ask::STAGE_ABORT => Ask::StageAbort,
        ask::ROLL_BACK => Ask::RollBack,
        ask::SET_ZERO => Ask::SetZero,
        ask::TARE => Ask::Tare,
        ask::CLEAR_TARE => Ask::ClearTare,
        ask::CAPTURE => Ask::Capture(at.order(payload)),
        ask::CAPTURE_CANCEL => Ask::CaptureCancel,
        ask::STAGE_TRY => Ask::StageTry,
        ask::NOTE => {
            let when_s = at.u32(payload);
            let bytes = at.bytes(payload);
            let text = std::str::from_utf8(bytes).ok()?.try_into().ok()?;
            Ask::Note { when_s, text }
        }
        ask::EVENT => Ask::Event {
            back: at.u8(payload),
        },
        ask::HOLD_ZERO => Ask::HoldZero {
            for_s: at.u16(payload),
        },
        _ => return None,
    };
    at.is_whole(payload).then_some(Request { id, ask })
}

proptest! {
    #![proptest_config(support::many_cases())]

    #[test]
    fn reports_by_hand_are_the_crates_bytes(message in support::strategies::message()) {
        if let Message::Report(report) = &message {
            let mut buffer = [0u8; 256];
            let theirs = postcard::to_slice(report, &mut buffer).expect("room").to_vec();
            prop_assert_eq!(by_hand(report), theirs);
        }
    }

    #[test]
    fn requests_by_hand_are_what_the_crate_reads(message in support::strategies::message()) {
        if let Message::Request(request) = &message {
            let payload = message.payload();
            prop_assert_eq!(read_by_hand(&payload), Some(request.clone()));
            // Cut anywhere or with a byte more it is none, as for the crate.
            for length in 0..payload.len() {
                prop_assert_eq!(read_by_hand(&payload[..length]), None);
            }
            let mut longer = payload;
            longer.push(0);
            prop_assert_eq!(read_by_hand(&longer), None);
        }
    }

    /// Bytes that anything may have sent: by hand and by the crate the same, or
    /// both nothing.
    #[test]
    fn any_bytes_are_read_alike(payload in prop::collection::vec(any::<u8>(), 0..40)) {
        let theirs = match postcard::take_from_bytes::<Request>(&payload) {
            Ok((request, [])) => Some(request),
            _ => None,
        };
        prop_assert_eq!(read_by_hand(&payload), theirs);
    }

    /// The same with small numbers, which are more often requests.
    #[test]
    fn any_small_bytes_are_read_alike(payload in prop::collection::vec(0u8..20, 0..40)) {
        let theirs = match postcard::take_from_bytes::<Request>(&payload) {
            Ok((request, [])) => Some(request),
            _ => None,
        };
        prop_assert_eq!(read_by_hand(&payload), theirs);
    }
}
