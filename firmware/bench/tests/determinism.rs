//! Same seed, same requests: same bytes, whichever way the bench is reached.

mod common;

use common::{Laptop, Link, in_process};
use scalewright_bench::{BenchSpec, LoadOrder, Pace, Pan, ReadBy, Settling};
use scalewright_protocol::message::{Ask, CaptureOrder};
use scalewright_protocol::settings::Input;

/// A conversation that touches streams, waits, loads, a capture, a new input
/// and a new rate; every byte the device said.
fn converse<L: Link>(mut laptop: Laptop<L>, pan: &dyn Pan) -> Vec<u8> {
    laptop.ask(Ask::Hello { wire_version: 1 });
    laptop.ask(Ask::Stream { every: 1 });
    laptop.pass(3000);
    pan.ask(LoadOrder::of(["W1", "W4", "W7"]));
    laptop.pass(12_000);
    laptop.ask(Ask::Capture(CaptureOrder {
        samples: 16,
        rest_counts: 0,
        patience_ms: 30_000,
    }));
    laptop.pass(8000);
    pan.ask(LoadOrder::nothing());
    laptop.pass(9000);
    let mut settings = BenchSpec::studio_factory(3).settings;
    settings.input = Input::A64;
    laptop.ask(Ask::SetSettings(settings));
    laptop.pass(3000);
    settings.rate_sps = 80;
    laptop.ask(Ask::SetSettings(settings));
    laptop.pass(2000);
    settings.input = Input::A128;
    laptop.ask(Ask::SetSettings(settings));
    laptop.pass(2000);
    assert!(laptop.samples.len() > 500, "{}", laptop.samples.len());
    laptop.transcript
}

fn transcript(spec: BenchSpec) -> Vec<u8> {
    let laptop = in_process(spec);
    let desk = laptop.link.desk();
    converse(laptop, &desk)
}

#[test]
fn the_same_seed_says_the_same_bytes_and_another_does_not() {
    let first = transcript(BenchSpec::studio_factory(3));
    assert_eq!(first, transcript(BenchSpec::studio_factory(3)));
    assert_ne!(first, transcript(BenchSpec::studio_factory(4)));
}

#[test]
fn pins_and_codes_say_the_same_bytes() {
    for settling in [Settling::Smeared, Settling::Withheld] {
        let mut spec = BenchSpec::studio_factory(3);
        spec.settling = settling;
        assert_eq!(spec.read_by, ReadBy::Pins);
        let pins = transcript(spec.clone());
        spec.read_by = ReadBy::Codes;
        assert!(pins == transcript(spec), "{settling:?}");
    }
}

#[test]
fn a_slower_pace_changes_nothing_that_is_said() {
    let mut spec = BenchSpec::studio_factory(3);
    let fast = transcript(spec.clone());
    spec.pace = Pace::Real { speed: 400.0 };
    assert!(fast == transcript(spec));
}

#[cfg(unix)]
#[test]
fn a_pseudo_terminal_says_the_same_bytes() {
    let spec = BenchSpec::studio_factory(3);
    let bench = scalewright_bench::pty::open(spec.clone()).expect("a pseudo-terminal");
    let port = serialport::new(bench.path(), 115_200)
        .timeout(std::time::Duration::from_secs(5))
        .open()
        .expect("opens like any port");
    let over_terminal = converse(Laptop::new(port), &bench);
    bench.stop();
    assert!(over_terminal == transcript(spec));
}

#[test]
fn time_stands_still_without_a_wait() {
    let mut laptop = in_process(BenchSpec::studio(1));
    let before = laptop.state().at_ms;
    laptop.link.desk().ask(LoadOrder::of(["W3"]));
    std::thread::sleep(std::time::Duration::from_millis(20));
    assert_eq!(laptop.state().at_ms, before);
    let mut chunk = [0; 8];
    assert_eq!(laptop.link.receive(&mut chunk), 0);
    laptop.wait(500);
    assert!(laptop.state().at_ms > before);
}
