//! Golden frames: the bytes of every message as they stand in
//! `tests/golden/wire-v3.txt` are what this crate writes and reads.
//!
//! A changed byte is a changed wire format and needs a new wire version; the
//! file of a released version is never rewritten. While version 1 is not
//! released, `cargo test -p scalewright-protocol --test golden -- --ignored`
//! writes the file anew; look at the difference before it is committed.

mod support;

use std::collections::BTreeSet;
use std::path::PathBuf;

use scalewright_protocol::codec::{MAX_FRAME, MAX_PAYLOAD};
use scalewright_protocol::message::*;
use scalewright_protocol::settings::{Class, Input, Settings, SettingsFault};
use scalewright_protocol::table::TableFault;
use support::{Message, Received, hex, receive, unhex, vectors};

const HEADER: &str = "\
# Scalewright wire version 3: the bytes of every message.
# One message a line: name | payload | frame | what Rust prints of the value | note.
# Compared by protocol/tests/golden.rs, which also tells how to write it anew;
# protocol/WIRE.md explains the bytes.
";

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../tests/golden/wire-v3.txt")
}

fn line(vector: &vectors::Vector) -> String {
    let payload = hex(&vector.message.payload());
    let frame = hex(&vector.message.frame());
    let text = vector.message.text();
    format!(
        "{} | {payload} | {frame} | {text} | {}",
        vector.name, vector.note
    )
}

/// The file's lines, cut at the bars.
fn recorded() -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(path()).expect("tests/golden/wire-v3.txt is there");
    text.lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .map(|line| line.split(" | ").map(str::to_string).collect())
        .collect()
}

#[test]
fn every_recorded_message_is_read_and_written_as_recorded() {
    let vectors = vectors::all();
    let recorded = recorded();
    let names = |list: &[Vec<String>]| list.iter().map(|l| l[0].clone()).collect::<Vec<_>>();
    let expected: Vec<String> = vectors.iter().map(|v| v.name.to_string()).collect();
    assert_eq!(names(&recorded), expected);

    for (columns, vector) in recorded.iter().zip(&vectors) {
        let name = vector.name;
        let [_, payload, frame, text, note] = columns.as_slice() else {
            panic!("{name}: not five columns");
        };
        let (payload, frame) = (unhex(payload), unhex(frame));
        assert_eq!(
            receive(&frame),
            [Received::Payload(payload.clone())],
            "{name}"
        );
        let read = vector.message.decode_same_way(&payload);
        assert_eq!(read.as_ref(), Ok(&vector.message), "{name}");
        assert_eq!(vector.message.frame(), frame, "{name}");
        assert_eq!(*text, vector.message.text(), "{name}");
        assert_eq!(note, vector.note, "{name}");
    }
}

/// The limits are stated as numbers in the documentation of `codec`.
#[test]
fn the_longest_message_is_the_widest_state() {
    let longest = vectors::all()
        .into_iter()
        .max_by_key(|v| v.message.payload().len())
        .expect("there are vectors");
    assert_eq!(longest.name, "answer.state.widest");
    assert_eq!(longest.message.payload().len(), 76);
    assert!(longest.message.payload().len() <= MAX_PAYLOAD);
    assert!(longest.message.frame().len() <= MAX_FRAME);
}

#[test]
fn names_are_used_once() {
    let names: BTreeSet<&str> = vectors::all().iter().map(|v| v.name).collect();
    assert_eq!(names.len(), vectors::all().len());
}

/// Makes, from one list, the name of a value's variant and the set of all names:
/// a new variant fails to compile until it is listed, and once it is listed the
/// test fails until a vector shows it.
macro_rules! variants {
    ($of:ident, $all:ident, $type:ident: $($variant:ident),+ $(,)?) => {
        const $all: &[&str] = &[$(concat!(stringify!($type), "::", stringify!($variant))),+];
        fn $of(value: &$type) -> &'static str {
            match value {
                $($type::$variant { .. } => {
                    concat!(stringify!($type), "::", stringify!($variant))
                })+
            }
        }
    };
}

variants!(ask_variant, ASKS, Ask:
    Hello, State, Wait, Stream, Settings, SetSettings, Table, Knots, StageBegin, StageKnots,
    StageCommit, StageAbort, RollBack, SetZero, Tare, ClearTare, Capture, CaptureCancel,
    StageTry, Note, Event, HoldZero);
variants!(report_variant, REPORTS, Report: Answer, Refusal, Sample, Log);
variants!(answer_variant, ANSWERS, Answer:
    Done, Hello, State, Settings, Table, Knots, Stored, Zeroed, Event);
variants!(event_kind, EVENT_KINDS, EventKind: Table, Settings, RolledBack, MadeHere);
variants!(capture_variant, CAPTURES, CaptureState: Idle, Settling, Averaging, Captured, Failed);
variants!(capture_fault, CAPTURE_FAULTS, CaptureFault: Restless, NoSamples, Cancelled);
variants!(class_variant, CLASSES, Class: I, II, III, IIII);
variants!(input_variant, INPUTS, Input: A128, B32, A64);
variants!(refusal_variant, REFUSALS, Refusal:
    Unknown, Range, NotStaging, StageOrder, StageIncomplete, StageChecksum, Table, Settings,
    QuantumInUse, NothingToRollBack, NotAtRest, ZeroRange, NotCalibrated, AdcFault, Storage,
    TareRange, Sealed, Busy);
variants!(table_fault, TABLE_FAULTS, TableFault:
    TooFew, TooMany, CountsOrder, MassOrder, CountsRange, MassRange, NoZero, Slope);
variants!(settings_fault, SETTINGS_FAULTS, SettingsFault:
    Quantum, ScaleInterval, Capacity, Rate, Smoothing, Rest, Conduct);

fn note_settings(seen: &mut BTreeSet<&'static str>, settings: &Settings) {
    seen.insert(class_variant(&settings.class));
    seen.insert(input_variant(&settings.input));
}

fn note_capture(seen: &mut BTreeSet<&'static str>, capture: &CaptureState) {
    seen.insert(capture_variant(capture));
    if let CaptureState::Failed(fault) = capture {
        seen.insert(capture_fault(fault));
    }
}

fn note_refusal(seen: &mut BTreeSet<&'static str>, refusal: &Refusal) {
    seen.insert(refusal_variant(refusal));
    match refusal {
        Refusal::Table(fault) => seen.insert(table_fault(fault)),
        Refusal::Settings(fault) => seen.insert(settings_fault(fault)),
        _ => true,
    };
}

fn note_message(seen: &mut BTreeSet<&'static str>, message: &Message) {
    match message {
        Message::Request(request) => {
            seen.insert(ask_variant(&request.ask));
            match &request.ask {
                Ask::SetSettings(settings) => note_settings(seen, settings),
                Ask::StageBegin(stage) => note_settings(seen, &stage.settings),
                _ => {}
            }
        }
        Message::Report(report) => {
            seen.insert(report_variant(report));
            match report {
                Report::Refusal { refusal, .. } => note_refusal(seen, refusal),
                Report::Sample(_) | Report::Log { .. } => {}
                Report::Answer { answer, .. } => {
                    seen.insert(answer_variant(answer));
                    match answer {
                        Answer::State(state) => note_capture(seen, &state.capture),
                        Answer::Settings(settings) => note_settings(seen, settings),
                        Answer::Event(Some(event)) => {
                            seen.insert(event_kind(&event.kind));
                        }
                        _ => {}
                    }
                }
            }
        }
    }
}

#[test]
fn every_variant_has_a_vector() {
    let mut seen = BTreeSet::new();
    for vector in vectors::all() {
        note_message(&mut seen, &vector.message);
    }
    let all: BTreeSet<&str> = [
        ASKS,
        REPORTS,
        ANSWERS,
        CAPTURES,
        CAPTURE_FAULTS,
        CLASSES,
        INPUTS,
        REFUSALS,
        TABLE_FAULTS,
        SETTINGS_FAULTS,
        EVENT_KINDS,
    ]
    .concat()
    .into_iter()
    .collect();
    let missing: Vec<&&str> = all.difference(&seen).collect();
    assert!(missing.is_empty(), "without a vector: {missing:?}");
}

#[test]
#[ignore = "writes tests/golden/wire-v3.txt anew"]
fn write_the_golden_file() {
    let mut text = HEADER.to_string();
    for vector in vectors::all() {
        text.push_str(&line(&vector));
        text.push('\n');
    }
    std::fs::write(path(), text).expect("tests/golden can be written");
}
