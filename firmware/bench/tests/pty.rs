//! The pseudo-terminal behaves like a port that people open, leave and reopen.
#![cfg(unix)]

mod common;

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use common::{Laptop, Link};
use scalewright_bench::{BenchSpec, Pace, Pan, pty};
use scalewright_protocol::message::{Answer, Ask};
use serialport::SerialPort;

fn open_port(path: &str) -> Box<dyn SerialPort> {
    serialport::new(path, 115_200)
        .timeout(Duration::from_secs(5))
        .open()
        .expect("opens like any port")
}

#[test]
fn it_answers_every_host_that_opens_it() {
    let bench = pty::open(BenchSpec::studio(5)).expect("a pseudo-terminal");
    for _ in 0..3 {
        let mut laptop = Laptop::new(open_port(bench.path()));
        match laptop.ask(Ask::Hello { wire_version: 1 }) {
            Answer::Hello(hello) => assert_eq!(hello.board.as_str(), "bench"),
            other => panic!("{other:?}"),
        }
        laptop.wait(3000);
        drop(laptop);
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_eq!(bench.weights().len(), 11);
    bench.stop();
}

#[test]
fn a_long_burst_comes_through_whole() {
    let bench = pty::open(BenchSpec::studio(5)).expect("a pseudo-terminal");
    let mut laptop = Laptop::new(open_port(bench.path()));
    laptop.ask(Ask::Stream { every: 1 });
    // 60 s of samples said in one go: more than the terminal's buffer holds.
    for _ in 0..6 {
        laptop.pass(10_000);
    }
    let sequences: Vec<u32> = laptop.samples.iter().map(|s| s.sequence).collect();
    assert!(sequences.len() > 550, "{}", sequences.len());
    assert!(sequences.windows(2).all(|pair| pair[1] == pair[0] + 1));
    assert_eq!(laptop.broken, 0);
    bench.stop();
}

#[test]
fn a_host_that_does_not_read_for_a_while_loses_nothing() {
    let mut spec = BenchSpec::studio(5);
    spec.settings.rate_sps = 80;
    spec.stored = None;
    let bench = pty::open(spec).expect("a pseudo-terminal");
    let mut laptop = Laptop::new(open_port(bench.path()));
    laptop.ask(Ask::Stream { every: 1 });
    laptop.pass(5000);
    let heard = laptop.samples.len();
    // Ten waits of 10 s asked at once: 8000 samples, some 200 KB, unread.
    for id in 40_000u16..40_010 {
        let mut bytes = [0; scalewright_protocol::codec::MAX_FRAME];
        let request = scalewright_protocol::message::Request {
            id,
            ask: Ask::Wait { up_to_ms: 10_000 },
        };
        let length = scalewright_protocol::codec::encode(&request, &mut bytes).expect("fits");
        laptop.link.send(&bytes[..length]);
        std::thread::sleep(Duration::from_millis(60));
    }
    laptop.pass(1000);
    let sequences: Vec<u32> = laptop.samples.iter().map(|s| s.sequence).collect();
    assert!(sequences.len() > heard + 1000, "{}", sequences.len());
    assert!(sequences.windows(2).all(|pair| pair[1] == pair[0] + 1));
    bench.stop();
}

#[test]
fn it_stops_at_once_whether_or_not_somebody_holds_the_port() {
    for held in [false, true] {
        let bench = pty::open(BenchSpec::studio(5)).expect("a pseudo-terminal");
        let port = held.then(|| open_port(bench.path()));
        std::thread::sleep(Duration::from_millis(20));
        let began = Instant::now();
        bench.stop();
        assert!(began.elapsed() < Duration::from_millis(500));
        drop(port);
    }
}

#[test]
fn at_free_pace_time_runs_by_itself() {
    let mut spec = BenchSpec::studio(5);
    spec.pace = Pace::Free;
    let bench = pty::open(spec).expect("a pseudo-terminal");
    let mut laptop = Laptop::new(open_port(bench.path()));
    let before = laptop.state().at_ms;
    std::thread::sleep(Duration::from_millis(300));
    let after = laptop.state().at_ms;
    assert!(after - before >= 250, "{before} to {after} ms");
    bench.stop();
}

#[test]
fn garbage_is_swallowed_and_the_next_request_answered() {
    let bench = pty::open(BenchSpec::studio(5)).expect("a pseudo-terminal");
    let mut port = open_port(bench.path());
    let garbage: Vec<u8> = (0..20_000u32)
        .map(|i| (i.wrapping_mul(7919) >> 5) as u8)
        .collect();
    port.write_all(&garbage).expect("taken");
    let mut laptop = Laptop::new(port);
    laptop.ask(Ask::State);
    let mut rest = [0; 16];
    let _ = laptop.link.set_timeout(Duration::from_millis(20));
    assert!(laptop.link.read(&mut rest).is_err(), "nothing unasked");
    bench.stop();
}
