//! Every kind of state, and samples.

use scalewright_protocol::message::*;
use scalewright_protocol::units::CODE_MAX;

use super::{Vector, answer, report};

/// A state of the kitchen scale with 1.5 kg on the pan.
fn loaded(capture: CaptureState) -> State {
    State {
        at_ms: 61_250,
        sequence: 612,
        smooth_q8: 30_921_400,
        spread_q8: 1_900,
        zero_counts: -84_211,
        mass: Some(150_013),
        indication: Some(150_000),
        flags: Flags::STABLE,
        capture,
        correction: -13,
    }
}

/// States, with the capture at every stage.
pub fn all() -> Vec<Vector> {
    let captured = Captured {
        mean_q8: 30_921_377,
        sd_q8: 2_816,
        samples: 32,
        began_ms: 58_100,
        ended_ms: 61_200,
        restarts: 1,
        saturated: false,
    };
    let captured_widest = Captured {
        mean_q8: i32::MIN,
        sd_q8: u32::MAX,
        samples: u16::MAX,
        began_ms: u32::MAX,
        ended_ms: u32::MAX,
        restarts: u8::MAX,
        saturated: true,
    };
    let widest = State {
        at_ms: u32::MAX,
        sequence: u32::MAX,
        smooth_q8: i32::MIN,
        spread_q8: u32::MAX,
        zero_counts: i32::MIN,
        mass: Some(i32::MIN),
        indication: Some(i32::MAX),
        flags: Flags(u16::MAX),
        capture: CaptureState::Captured(captured_widest),
        correction: i32::MIN,
    };
    let factory = State {
        at_ms: 0,
        sequence: 0,
        smooth_q8: 0,
        spread_q8: 0,
        zero_counts: 0,
        mass: None,
        indication: None,
        flags: Flags::NOT_CALIBRATED.with(Flags::ADC_SILENT),
        capture: CaptureState::Idle,
        correction: 0,
    };
    let averaging = CaptureState::Averaging { done: 7, of: 32 };
    let averaging_widest = CaptureState::Averaging {
        done: u16::MAX,
        of: u16::MAX,
    };
    let restless = CaptureState::Failed(CaptureFault::Restless);
    let silent = CaptureState::Failed(CaptureFault::NoSamples);
    let cancelled = CaptureState::Failed(CaptureFault::Cancelled);
    let done = CaptureState::Captured(captured);
    let state = |name, capture, note| answer(name, 2, Answer::State(loaded(capture)), note);
    vec![
        answer(
            "answer.state.factory",
            2,
            Answer::State(factory),
            "no table, no ADC, so no mass",
        ),
        state("answer.state.idle", CaptureState::Idle, "1.5 kg on the pan"),
        state(
            "answer.state.settling",
            CaptureState::Settling,
            "not at rest yet",
        ),
        state("answer.state.averaging", averaging, "7 of 32"),
        state(
            "answer.state.averaging.widest",
            averaging_widest,
            "highest numbers",
        ),
        state("answer.state.captured", done, "mean, deviation, times"),
        state("answer.state.restless", restless, "patience ran out"),
        state("answer.state.no-samples", silent, "the ADC gave nothing"),
        state("answer.state.cancelled", cancelled, "by request"),
        answer(
            "answer.state.widest",
            u16::MAX,
            Answer::State(widest),
            "the longest message of all",
        ),
    ]
}

/// Samples.
pub fn samples() -> Vec<Vector> {
    let sample = Sample {
        sequence: 613,
        at_ms: 61_350,
        raw_counts: 120_790,
        smooth_q8: 30_921_600,
        mass: Some(150_014),
        flags: Flags::STABLE,
    };
    let empty = Sample {
        sequence: 0,
        at_ms: 0,
        raw_counts: 0,
        smooth_q8: 0,
        mass: None,
        flags: Flags::NOT_CALIBRATED,
    };
    let widest = Sample {
        sequence: u32::MAX,
        at_ms: u32::MAX,
        raw_counts: i32::MIN,
        smooth_q8: i32::MIN,
        mass: Some(i32::MIN),
        flags: Flags(u16::MAX),
    };
    let saturated = Sample {
        raw_counts: CODE_MAX,
        smooth_q8: CODE_MAX * 256,
        mass: None,
        flags: Flags::SATURATED.with(Flags::OVERLOAD),
        ..sample
    };
    vec![
        report("sample", Report::Sample(sample), "1.5 kg, one sample later"),
        report(
            "sample.not-calibrated",
            Report::Sample(empty),
            "no table: no mass, never 0 g",
        ),
        report(
            "sample.saturated",
            Report::Sample(saturated),
            "highest code of the converter",
        ),
        report(
            "sample.widest",
            Report::Sample(widest),
            "every field at its widest",
        ),
    ]
}

/// Pieces of the log.
pub fn logs() -> Vec<Vector> {
    let log = |bytes: &[u8]| Report::Log {
        bytes: heapless::Vec::from_slice(bytes).expect("no more than travel in a message"),
    };
    vec![
        report(
            "log",
            log(&[0x0F, 0x00, 0x2A]),
            "three bytes, a zero inside",
        ),
        report("log.empty", log(&[]), "nothing to say"),
        report(
            "log.widest",
            log(&[0xFF; LOG_BYTES]),
            "as long as a piece gets",
        ),
    ]
}
