//! Ports that are absent, silent, foreign, too new or broken: what is wrong is
//! named, with what to try, under exit code 3. The strangers are
//! pseudo-terminals, so all of this needs a Unix.
#![cfg(unix)]

mod support;

use std::fs;
use std::sync::{PoisonError, RwLock};

use scalewright::link::LinkFault;
use scalewright_bench::{BenchSpec, pty};
use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::message::Ask;
use support::port::{Stranger, framed, framed_payload, greeting};
use support::{Folder, Run, run};

/// Exit code for the scale and its port, as `scalewright --help` lists it.
const SCALE: i32 = 3;

const ABSENT: &str = "/dev/no-such-scale";

#[test]
fn an_absent_port_is_named() {
    let _shared = CHILDREN.read().unwrap_or_else(PoisonError::into_inner);
    let folder = Folder::new();
    for command in [["find"], ["table"]] {
        let arguments = [&command[..], &["--port", ABSENT]].concat();
        run(folder.path(), &arguments).is_problem(SCALE, "there is no port /dev/no-such-scale");
    }
    run(folder.path(), &["find", "--port", ""]).is_problem(SCALE, "");
}

fn find(port: &str) -> Run {
    let _shared = CHILDREN.read().unwrap_or_else(PoisonError::into_inner);
    run(Folder::new().path(), &["find", "--port", port])
}

#[test]
fn a_file_is_no_port() {
    let folder = Folder::new();
    let file = folder.with("notes.txt", "glaze 14");
    find(&file).is_problem(SCALE, "notes.txt is no serial port");
    for no_port in ["/dev/null", "/tmp"] {
        find(no_port).is_problem(SCALE, &format!("{no_port} is no serial port"));
    }
    assert_eq!(fs::read_to_string(&file).expect("still there"), "glaze 14");
}

#[test]
fn silence_is_called_silence() {
    let stranger = Stranger::silent();
    find(stranger.path()).is_problem(SCALE, "nothing answers on");
}

#[test]
fn babble_is_no_scale() {
    // A linear congruential generator (Knuth, TAOCP vol. 2, 3.3.4, the
    // multiplier of line 26, from memory): every byte value occurs.
    let mut state = 1u64;
    let stranger = Stranger::new(move |_| {
        let mut bytes = Vec::new();
        for _ in 0..64 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            bytes.push((state >> 56) as u8);
        }
        Some(bytes)
    });
    find(stranger.path()).is_problem(SCALE, "it is no scale of ours");
}

#[test]
fn an_echo_is_no_scale() {
    let stranger = Stranger::new(|heard| Some(heard.to_vec()));
    find(stranger.path()).is_problem(SCALE, "it is no scale of ours");
}

#[test]
fn replies_that_stop_half_way_are_no_answer() {
    let stranger = Stranger::answering(|request| {
        let whole = framed(&greeting(request, WIRE_VERSION)?);
        Some(whole[..whole.len() / 2].to_vec())
    });
    find(stranger.path()).is_problem(SCALE, "it is no scale of ours");
}

/// What is said of a scale of the next wire version.
fn other_version() -> String {
    let next = WIRE_VERSION + 1;
    format!("speaks wire version {next}, this program version {WIRE_VERSION}")
}

#[test]
fn another_wire_version_is_named() {
    let stranger =
        Stranger::answering(|request| Some(framed(&greeting(request, WIRE_VERSION + 1)?)));
    find(stranger.path()).is_problem(SCALE, &other_version());
}

#[test]
fn another_wire_version_is_named_though_its_greeting_is_longer() {
    // Wire format: only the first fields of a greeting stay for ever.
    let stranger = Stranger::answering(|request| {
        let report = greeting(request, WIRE_VERSION + 1)?;
        let frame = framed(&report);
        let mut payload = Vec::new();
        let mut decoder: scalewright_protocol::frame::Decoder<100> = Default::default();
        for byte in &frame {
            if let Some(scalewright_protocol::frame::Event::Payload(found)) = decoder.push(*byte) {
                payload = found.to_vec();
            }
        }
        payload.extend_from_slice(&[7, 7, 7]);
        Some(framed_payload(&payload))
    });
    find(stranger.path()).is_problem(SCALE, &other_version());
}

/// A child inherits what this process holds open, pseudo-terminals too, and a
/// port held anywhere is not unplugged: children run apart from that test.
static CHILDREN: RwLock<()> = RwLock::new(());

#[test]
fn a_device_that_leaves_after_its_greeting_is_missed() {
    let _alone = CHILDREN.write().unwrap_or_else(PoisonError::into_inner);
    let stranger = Stranger::answering(|request| Some(framed(&greeting(request, WIRE_VERSION)?)));
    let mut found = scalewright::link::find::open(stranger.path(), 1).expect("its greeting");
    // At this question the plug comes out.
    let fault = found
        .client
        .ask(&Ask::Settings, &mut |_| {})
        .expect_err("nobody is there");
    assert!(matches!(fault, LinkFault::Unplugged { .. }), "{fault}");
}

#[test]
fn a_device_that_answers_beside_the_point_is_refused() {
    let stranger = Stranger::answering(|request| {
        let greeted = greeting(request, WIRE_VERSION);
        Some(framed(&greeted.unwrap_or(
            scalewright_protocol::message::Report::Answer {
                id: request.id,
                answer: scalewright_protocol::message::Answer::Done,
            },
        )))
    });
    find(stranger.path()).is_problem(SCALE, "answered something else than was asked");
}

#[test]
fn a_few_replies_cut_in_half_do_no_harm() {
    let mut spec = BenchSpec::studio(2);
    spec.line_out.cut = vec![(0, 5), (1, 9), (4, 3)];
    let bench = pty::open(spec).expect("a bench");
    let found = find(bench.path());
    assert_eq!((found.code, found.err.as_str()), (0, ""), "{found:#?}");
    assert!(found.out.contains("holds") || found.out.contains("points"));
}

#[test]
fn a_port_in_use_is_called_so() {
    let bench = pty::open(BenchSpec::studio(2)).expect("a bench");
    let held = serialport::new(bench.path(), 115_200).open().expect("ours");
    find(bench.path()).is_problem(SCALE, "another program is using it");
    drop(held);
}
