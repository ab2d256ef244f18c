//! Requests and replies over real frames: numbers, waits, back-pressure,
//! weighing, zero, tare, capture, faults.

mod common;

use common::*;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::instrument::{Event, QUEUE_BYTES};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::codec::decode;
use scalewright_protocol::frame;
use scalewright_protocol::message::{
    Answer, Ask, CaptureFault, CaptureOrder, CaptureState, Flags, Refusal, Report, State,
};
use scalewright_protocol::settings::{Input, SettingsFault};
use scalewright_protocol::units::CODE_MAX;

fn state_of(report: &Report) -> (u16, State) {
    match report {
        Report::Answer {
            id,
            answer: Answer::State(state),
        } => (*id, *state),
        other => panic!("no state: {other:?}"),
    }
}

#[test]
fn hello_tells_identity_and_limits() {
    let mut scale = start(Flash::new(512));
    let Ok(Answer::Hello(hello)) =
        Laptop::new().ask(&mut scale, 0, Ask::Hello { wire_version: 99 })
    else {
        panic!()
    };
    assert_eq!(hello.wire_version, WIRE_VERSION);
    assert_eq!(hello.device_id, 0x4F2A);
    assert_eq!(hello.board.as_str(), "test board");
    assert_eq!((hello.max_knots, hello.slot_bytes), (16, 512));
    assert_eq!(hello.rates_sps.as_slice(), &[10, 80]);
}

#[test]
fn a_small_slot_announces_fewer_knots() {
    let mut scale = start(Flash::new(192 + 5 * 8));
    let hello = Laptop::new().ask(&mut scale, 0, Ask::Hello { wire_version: 1 });
    assert!(matches!(hello, Ok(Answer::Hello(h)) if h.max_knots == 5));
}

#[test]
fn a_factory_scale_has_no_mass_never_zero() {
    let mut scale = start(Flash::new(512));
    let mut laptop = Laptop::new();
    let state = laptop.state(&mut scale, 0);
    assert!(state.flags.has(Flags::NOT_CALIBRATED.with(Flags::SETTLING)));
    let now = load(&mut scale, 0, 1234, 30);
    let state = laptop.state(&mut scale, now);
    assert_eq!((state.mass, state.indication), (None, None));
    assert!(state.flags.has(Flags::NOT_CALIBRATED.with(Flags::STABLE)));
    assert!(!state.flags.any(Flags::AT_ZERO.with(Flags::SETTLING)));
    for ask in [Ask::SetZero, Ask::Tare] {
        assert_eq!(
            laptop.ask(&mut scale, now, ask),
            Err(Refusal::NotCalibrated)
        );
    }
}

#[test]
fn the_same_number_repeats_the_reply_and_does_nothing_else() {
    let (mut scale, _) = calibrated();
    let mut line = Laptop::new();
    let frame = frame_of(900, Ask::RollBack);
    scale.handle(5, Event::Bytes(&frame));
    let first = line.hear(&mut scale);
    assert!(matches!(first[..], [Report::Refusal { id: 900, .. }]));
    // Asked to do something else under the same number, it still only repeats.
    scale.handle(6, Event::Bytes(&frame_of(900, Ask::SetSettings(kitchen()))));
    assert_eq!(line.hear(&mut scale), first);
    let header = line.ask(&mut scale, 7, Ask::Table);
    assert!(matches!(header, Ok(Answer::Table(t)) if t.sequence == 1));
    // A change is made once, however often it is sent.
    let change = frame_of(901, Ask::SetSettings(kitchen()));
    for _ in 0..3 {
        scale.handle(8, Event::Bytes(&change));
        assert_eq!(
            line.hear(&mut scale),
            [Report::Answer {
                id: 901,
                answer: Answer::Stored { sequence: 2 }
            }]
        );
    }
}

#[test]
fn hello_is_answered_afresh_and_clears_the_memory() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    for _ in 0..2 {
        scale.handle(0, Event::Bytes(&frame_of(7, Ask::State)));
        line.hear(&mut scale);
        scale.handle(
            0,
            Event::Bytes(&frame_of(7, Ask::Hello { wire_version: 1 })),
        );
        let told = line.hear(&mut scale);
        assert!(matches!(
            told[..],
            [Report::Answer {
                answer: Answer::Hello(_),
                ..
            }]
        ));
    }
    scale.handle(33, Event::Bytes(&frame_of(7, Ask::State)));
    assert_eq!(state_of(&line.hear(&mut scale)[0]).1.at_ms, 33);
}

#[test]
fn a_repeat_before_the_reply_is_out_is_answered_after_it() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    let frame = frame_of(3, Ask::Settings);
    scale.handle(0, Event::Bytes(&frame));
    scale.sent(3);
    scale.handle(1, Event::Bytes(&frame));
    let whole = scale.output().to_vec();
    assert!(!whole.is_empty());
    // The first three bytes were taken by hand above: give them to the laptop.
    let mut again = start(Flash::new(512));
    again.handle(0, Event::Bytes(&frame));
    let head = again.output()[..3].to_vec();
    assert_eq!([&head[..], &whole[..]].concat(), again.output());
    scale.sent(whole.len());
    assert_eq!(scale.output(), again.output(), "the repeat follows, whole");
    line.hear(&mut scale);
}

#[test]
fn a_wait_ends_at_its_deadline_of_device_time() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    let begin = u32::MAX - 100; // across the wrap
    // Time runs forward, so that it has to pass on the way there.
    for quarter in 1..4 {
        scale.handle(quarter << 30, Event::Tick);
    }
    scale.handle(
        begin,
        Event::Bytes(&frame_of(1, Ask::Wait { up_to_ms: 300 })),
    );
    assert!(scale.waiting() && scale.output().is_empty());
    assert_eq!(scale.next_deadline_ms(), Some(begin.wrapping_add(300)));
    scale.handle(begin.wrapping_add(299), Event::Tick);
    // The same request again keeps waiting.
    scale.handle(
        begin.wrapping_add(299),
        Event::Bytes(&frame_of(1, Ask::Wait { up_to_ms: 300 })),
    );
    assert!(scale.waiting() && scale.output().is_empty());
    scale.handle(begin.wrapping_add(300), Event::Tick);
    assert!(!scale.waiting());
    let told = line.hear(&mut scale);
    assert_eq!(state_of(&told[0]).0, 1);
    assert_eq!(state_of(&told[0]).1.at_ms, begin.wrapping_add(300));
    // And the same number after the answer repeats it.
    scale.handle(500, Event::Bytes(&frame_of(1, Ask::Wait { up_to_ms: 300 })));
    assert_eq!(line.hear(&mut scale), told);
    assert!(!scale.waiting());
}

#[test]
fn another_request_has_the_wait_answered_first() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    let mut bytes = frame_of(1, Ask::Wait { up_to_ms: 9000 });
    bytes.extend(frame_of(2, Ask::Settings));
    scale.handle(10, Event::Bytes(&bytes));
    let told = line.hear(&mut scale);
    assert_eq!(state_of(&told[0]).0, 1);
    assert!(matches!(
        told[1],
        Report::Answer {
            id: 2,
            answer: Answer::Settings(_)
        }
    ));
    assert_eq!(told.len(), 2);
}

#[test]
fn hello_under_the_number_of_a_wait_is_answered_alone() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    scale.handle(0, Event::Bytes(&frame_of(1, Ask::Wait { up_to_ms: 9000 })));
    scale.handle(
        0,
        Event::Bytes(&frame_of(1, Ask::Hello { wire_version: 1 })),
    );
    let told = line.hear(&mut scale);
    assert!(matches!(
        told[..],
        [Report::Answer {
            id: 1,
            answer: Answer::Hello(_)
        }]
    ));
    assert!(!scale.waiting());
}

#[test]
fn a_wait_ends_when_rest_begins_and_ends() {
    let (mut scale, mut laptop) = calibrated();
    let mut line = Laptop::new();
    laptop.state(&mut scale, 0);
    scale.handle(
        0,
        Event::Bytes(&frame_of(500, Ask::Wait { up_to_ms: 10_000 })),
    );
    let mut now = 0;
    while scale.waiting() {
        now = load(&mut scale, now, ZERO, 1);
    }
    let (_, state) = state_of(&line.hear(&mut scale)[0]);
    assert!(state.flags.has(Flags::STABLE));
    // The sixth sample tells the noise, and four are enough for rest.
    assert_eq!(state.at_ms, 500);
    scale.handle(
        now,
        Event::Bytes(&frame_of(501, Ask::Wait { up_to_ms: 10_000 })),
    );
    while scale.waiting() {
        now = load(&mut scale, now, ZERO + 20_000, 1);
    }
    let (_, state) = state_of(&line.hear(&mut scale)[0]);
    assert!(!state.flags.has(Flags::STABLE));
    // What happened between two waits is not missed.
    now = load(&mut scale, now, ZERO + 20_000, 30);
    scale.handle(
        now,
        Event::Bytes(&frame_of(502, Ask::Wait { up_to_ms: 10_000 })),
    );
    let (id, state) = state_of(&line.hear(&mut scale)[0]);
    assert!(id == 502 && state.flags.has(Flags::STABLE));
}

#[test]
fn values_out_of_range_are_named_by_their_field() {
    let (mut scale, mut laptop) = calibrated();
    let order = CaptureOrder {
        samples: 0,
        rest_counts: 0,
        patience_ms: 1,
    };
    let mut refused = |ask| laptop.ask(&mut scale, 0, ask).unwrap_err();
    assert_eq!(
        refused(Ask::Wait { up_to_ms: 10_001 }),
        Refusal::Range { field: 0 }
    );
    assert_eq!(refused(Ask::Capture(order)), Refusal::Range { field: 0 });
    let mut settings = kitchen();
    settings.rate_sps = 20;
    assert_eq!(
        refused(Ask::SetSettings(settings)),
        Refusal::Settings(SettingsFault::Rate)
    );
    let mut settings = kitchen();
    settings.quantum_ug = 5_000;
    assert_eq!(refused(Ask::SetSettings(settings)), Refusal::QuantumInUse);
    let mut settings = kitchen();
    settings.input = Input::A64;
    assert_eq!(
        refused(Ask::SetSettings(settings)),
        Refusal::Range { field: 6 }
    );
}

#[test]
fn what_is_not_understood_is_refused_by_its_number_and_noise_is_ignored() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    let mut out = [0u8; 64];
    // Number 300 as a varint, then an ask that does not exist.
    let length = frame::encode(&[0xAC, 0x02, 0x7F, 1, 2], &mut out).unwrap();
    scale.handle(0, Event::Bytes(&out[..length]));
    assert_eq!(
        line.hear(&mut scale),
        [Report::Refusal {
            id: 300,
            refusal: Refusal::Unknown
        }]
    );
    // No number can be read.
    let length = frame::encode(&[0xFF, 0xFF, 0xFF, 0xFF], &mut out).unwrap();
    scale.handle(0, Event::Bytes(&out[..length]));
    // A broken frame, and plain noise.
    let mut broken = frame_of(9, Ask::State);
    broken[3] ^= 0x10;
    scale.handle(0, Event::Bytes(&broken));
    scale.handle(0, Event::Bytes(&[1, 2, 3, 0, 200, 7, 0, 0]));
    assert!(scale.output().is_empty());
    assert_eq!(line.state(&mut scale, 4).at_ms, 4);
}

#[test]
fn requests_in_a_row_are_answered_in_order_as_far_as_the_queue_reaches() {
    let mut scale = start(Flash::new(512));
    let mut line = Laptop::new();
    let one = frame_of(1, Ask::State).len();
    let mut bytes = Vec::new();
    // The first is worked on at once, the others wait in the queue.
    let fit = 1 + QUEUE_BYTES / one;
    for id in 1..=fit as u16 {
        bytes.extend(frame_of(id, Ask::State));
    }
    assert_eq!(scale.room(), QUEUE_BYTES);
    scale.handle(0, Event::Bytes(&bytes));
    assert!(scale.room() < one);
    let ids: Vec<u16> = line
        .hear(&mut scale)
        .iter()
        .map(|r| state_of(r).0)
        .collect();
    assert_eq!(ids, (1..=fit as u16).collect::<Vec<u16>>());
    // Far too much: some requests are lost, none is answered twice or out of
    // turn, and the scale goes on.
    let mut bytes = Vec::new();
    for id in 100..200 {
        bytes.extend(frame_of(id, Ask::State));
    }
    scale.handle(0, Event::Bytes(&bytes));
    let ids: Vec<u16> = line
        .hear(&mut scale)
        .iter()
        .map(|r| state_of(r).0)
        .collect();
    assert!(
        ids.len() >= fit && ids.is_sorted_by(|a, b| a < b),
        "{ids:?}"
    );
    assert_eq!(line.state(&mut scale, 9).at_ms, 9);
}

#[test]
fn samples_stream_and_a_loss_is_seen_in_the_sequence() {
    let (mut scale, mut laptop) = calibrated();
    let now = load(&mut scale, 0, ZERO, 10);
    laptop
        .ask(&mut scale, now, Ask::Stream { every: 3 })
        .unwrap();
    let mut now = now;
    for _ in 0..12 {
        now = load(&mut scale, now, ZERO + 3000, 1);
        laptop.hear(&mut scale);
    }
    let steps: Vec<u32> = laptop
        .samples
        .windows(2)
        .map(|w| w[1].sequence - w[0].sequence)
        .collect();
    assert_eq!(steps, [3, 3, 3]);
    assert_eq!(laptop.samples[3].raw_counts, ZERO + 3000);
    assert_eq!(laptop.samples[3].mass, Some(30_100));
    // Nobody reads for 9 samples: one is kept, two are dropped.
    laptop.samples.clear();
    now = load(&mut scale, now, ZERO, 9);
    laptop.hear(&mut scale);
    now = load(&mut scale, now, ZERO, 3);
    laptop.hear(&mut scale);
    let gap = laptop.samples[1].sequence - laptop.samples[0].sequence;
    assert_eq!((laptop.samples.len(), gap), (2, 9));
    laptop
        .ask(&mut scale, now, Ask::Stream { every: 0 })
        .unwrap();
    load(&mut scale, now, ZERO, 9);
    assert!(scale.output().is_empty());
}

#[test]
fn a_frame_once_begun_is_finished_before_a_reply() {
    let (mut scale, mut laptop) = calibrated();
    laptop.ask(&mut scale, 0, Ask::Stream { every: 1 }).unwrap();
    let now = load(&mut scale, 0, CODE_MAX, 5);
    let mut bytes = scale.output()[..2].to_vec();
    scale.sent(2);
    scale.handle(now, Event::Bytes(&frame_of(77, Ask::State)));
    while !scale.output().is_empty() {
        bytes.push(scale.output()[0]);
        scale.sent(1);
    }
    let mut decoder: frame::Decoder<100> = frame::Decoder::new();
    let mut told = Vec::new();
    for byte in bytes {
        match decoder.push(byte) {
            Some(frame::Event::Payload(payload)) => told.push(decode::<Report>(payload)),
            Some(broken) => panic!("{broken:?}"),
            None => {}
        }
    }
    assert!(matches!(
        told[..],
        [Ok(Report::Sample(_)), Ok(Report::Answer { id: 77, .. })]
    ));
}

#[test]
fn load_zero_tare_and_blanking() {
    let (mut scale, mut laptop) = calibrated();
    let mut now = load(&mut scale, 0, ZERO, 30);
    let mut weigh = |scale: &mut Scale, counts: i32| {
        now = load(scale, now, ZERO + counts, 30);
        (laptop.state(scale, now), now)
    };
    // Table: 30 000 counts are 3010 g; 0.1003 g a count.
    let (state, at) = weigh(&mut scale, 15_000);
    assert_eq!(
        (state.mass, state.indication),
        (Some(150_500), Some(150_500))
    );
    assert!(state.flags.has(Flags::STABLE) && !state.flags.has(Flags::AT_ZERO));
    let mut other = Laptop::new();
    assert_eq!(
        other.ask(&mut scale, at, Ask::SetZero),
        Err(Refusal::ZeroRange)
    );
    assert_eq!(other.ask(&mut scale, at, Ask::Tare), Ok(Answer::Done));
    let (state, at) = weigh(&mut scale, 18_000);
    assert_eq!(
        (state.mass, state.indication),
        (Some(180_600), Some(30_100))
    );
    assert!(state.flags.has(Flags::NET));
    other.state(&mut scale, at);
    assert_eq!(other.ask(&mut scale, at, Ask::ClearTare), Ok(Answer::Done));
    // 2 % of Max either way: 120 g, 1196 counts.
    let (_, at) = weigh(&mut scale, 1190);
    assert_eq!(
        other.ask(&mut scale, at, Ask::SetZero),
        Ok(Answer::Zeroed {
            zero_counts: ZERO + 1190
        })
    );
    let (state, _) = weigh(&mut scale, 1190);
    assert!(state.mass == Some(0) && state.flags.has(Flags::AT_ZERO));
    assert_eq!(state.zero_counts, ZERO + 1190);
    // The range is counted from the reference at calibration, not from here.
    let (_, at) = weigh(&mut scale, 2000);
    assert_eq!(
        other.ask(&mut scale, at, Ask::SetZero),
        Err(Refusal::ZeroRange)
    );
    // Max + 9 e = 6018 g; overload is judged on the gross mass.
    let (state, _) = weigh(&mut scale, 63_500);
    assert!(state.flags.has(Flags::OVERLOAD) && state.indication.is_none());
    assert!(state.mass.is_some());
    // Below −20 d = −20 g.
    let (state, at) = weigh(&mut scale, 900);
    assert!(state.flags.has(Flags::UNDERLOAD.with(Flags::CONTINUED)));
    assert_eq!(state.indication, None);
    assert_eq!(
        other.ask(&mut scale, at, Ask::Tare),
        Err(Refusal::TareRange)
    );
    let (state, _) = weigh(&mut scale, CODE_MAX - ZERO);
    assert!(state.flags.has(Flags::SATURATED.with(Flags::OVERLOAD)));
    assert_eq!(state.indication, None);
}

#[test]
fn zero_and_tare_wait_for_rest() {
    let (mut scale, mut laptop) = calibrated();
    let now = load(&mut scale, 0, ZERO, 5);
    for ask in [Ask::SetZero, Ask::Tare] {
        assert_eq!(laptop.ask(&mut scale, now, ask), Err(Refusal::NotAtRest));
    }
}

#[test]
fn a_capture_runs_to_its_end_and_wakes_the_wait() {
    let (mut scale, mut laptop) = calibrated();
    let order = CaptureOrder {
        samples: 8,
        rest_counts: 0,
        patience_ms: 20_000,
    };
    assert_eq!(
        laptop.ask(&mut scale, 0, Ask::Capture(order)),
        Ok(Answer::Done)
    );
    let mut line = Laptop::new();
    let mut now = 0;
    for id in 600..700 {
        scale.handle(
            now,
            Event::Bytes(&frame_of(id, Ask::Wait { up_to_ms: 5000 })),
        );
        while scale.waiting() {
            now = load(&mut scale, now, ZERO + 5000, 1);
        }
        let (_, state) = state_of(&line.hear(&mut scale)[0]);
        if let CaptureState::Captured(captured) = state.capture {
            assert_eq!(captured.mean_q8, (ZERO + 5000) * 256);
            assert_eq!((captured.samples, captured.sd_q8), (8, 0));
            // The twentieth sample ends two windows, the eighth from there 700 ms later.
            assert_eq!(captured.ended_ms, 2600);
            assert_eq!(state.at_ms, 2600, "the wait ended with the capture");
            return;
        }
    }
    panic!("no capture");
}

#[test]
fn a_capture_ends_by_patience_or_cancel() {
    let (mut scale, mut laptop) = calibrated();
    let order = CaptureOrder {
        samples: 8,
        rest_counts: 0,
        patience_ms: 3000,
    };
    laptop.ask(&mut scale, 0, Ask::Capture(order)).unwrap();
    assert_eq!(scale.next_deadline_ms(), Some(3000));
    scale.handle(3000, Event::Tick);
    let state = laptop.state(&mut scale, 3000);
    assert_eq!(state.capture, CaptureState::Failed(CaptureFault::NoSamples));
    laptop.ask(&mut scale, 3000, Ask::Capture(order)).unwrap();
    laptop.ask(&mut scale, 3000, Ask::CaptureCancel).unwrap();
    let state = laptop.state(&mut scale, 3000);
    assert_eq!(state.capture, CaptureState::Failed(CaptureFault::Cancelled));
}

#[test]
fn a_fault_is_told_and_ends_by_itself() {
    let (mut scale, mut laptop) = calibrated();
    let mut now = load(&mut scale, 0, ZERO + 5000, 30);
    for (fault, flag) in [
        (BridgeFault::Silent, Flags::ADC_SILENT),
        (BridgeFault::Stuck, Flags::ADC_STUCK),
    ] {
        scale.handle(now, Event::Sample(Err(fault)));
        let state = laptop.state(&mut scale, now);
        assert!(state.flags.has(flag) && !state.flags.any(Flags::STABLE.with(Flags::SETTLING)));
        assert_eq!((state.mass, state.indication), (None, None));
        assert_eq!(
            laptop.ask(&mut scale, now, Ask::SetZero),
            Err(Refusal::AdcFault)
        );
        let settling = Conversion {
            settling: true,
            ..Conversion::settled(3)
        };
        scale.handle(now, Event::Sample(Ok(settling)));
        let state = laptop.state(&mut scale, now);
        assert!(state.flags.has(Flags::SETTLING) && !state.flags.has(flag));
        assert_eq!(state.mass, None);
        // The filter starts clean: not a trace of the load before.
        now = load(&mut scale, now, ZERO, 5);
        let state = laptop.state(&mut scale, now);
        assert_eq!(state.smooth_q8, ZERO * 256);
        assert_eq!(state.mass, Some(0));
        now = load(&mut scale, now, ZERO + 5000, 30);
    }
}
