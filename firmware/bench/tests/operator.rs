//! The person at the pan, seen through the device's own signal.

mod common;

use common::{Laptop, counts, in_process};
use scalewright_bench::{BenchSpec, BenchStream, CellSpec, Desk, Habits, LoadOrder, Mistake, Pan};

/// The studio's bench with a quiet cell, so that mass is nearly exact.
fn quiet(habits: Habits) -> (Laptop<BenchStream>, Desk) {
    let mut spec = BenchSpec::studio_factory(11);
    spec.cell = CellSpec {
        noise_g: 0.01,
        ..CellSpec::ideal()
    };
    spec.habits = habits;
    let laptop = in_process(spec);
    let desk = laptop.link.desk();
    (laptop, desk)
}

/// 10 kg at 2 mV/V and gain 128.
const COUNTS_PER_G: f64 = 429.496_729_6;

fn weighed_g(laptop: &mut Laptop<BenchStream>) -> f64 {
    counts(&laptop.capture(20, 0)) / COUNTS_PER_G
}

fn planned(mistake: Mistake) -> Habits {
    Habits {
        planned: vec![(1, mistake)],
        ..Habits::default()
    }
}

#[test]
fn a_load_comes_after_a_while_weight_by_weight() {
    let (mut laptop, desk) = quiet(Habits::default());
    laptop.pass(2000);
    desk.ask(LoadOrder::of(["W3", "W4"]));
    let mut seen = Vec::new();
    for _ in 0..80 {
        laptop.pass(100);
        let load_g = desk.true_load_g().round();
        if seen.last() != Some(&load_g) {
            seen.push(load_g);
        }
    }
    assert_eq!(seen, [0.0, 1000.0, 1500.0]);
    let weighed = weighed_g(&mut laptop);
    assert!((weighed - desk.true_load_g()).abs() < 0.1, "{weighed}");
    // From here, only what differs is moved.
    desk.ask(LoadOrder::of(["W4", "W5"]));
    laptop.pass(10_000);
    assert!((desk.true_load_g() - 700.0).abs() < 0.1);
    assert_eq!(desk.mistake(), None);
}

#[test]
fn a_wrong_weight_is_on_the_pan_until_told() {
    let (mut laptop, desk) = quiet(planned(Mistake::WrongWeight));
    desk.ask(LoadOrder::nothing());
    laptop.pass(5000);
    desk.ask(LoadOrder::of(["W3"]));
    laptop.pass(9000);
    let weighed = weighed_g(&mut laptop);
    // 500 g and 2 kg are equally near to 1 kg; the first of them is 2 kg.
    assert!((weighed - 2000.0).abs() < 1.0, "{weighed}");
    assert_eq!(desk.mistake(), Some(Mistake::WrongWeight));
    desk.correct();
    laptop.pass(9000);
    assert!((weighed_g(&mut laptop) - 1000.0).abs() < 1.0);
    assert_eq!(desk.mistake(), None);
}

#[test]
fn a_weight_is_forgotten_until_told() {
    let (mut laptop, desk) = quiet(planned(Mistake::Forgotten));
    desk.ask(LoadOrder::nothing());
    laptop.pass(5000);
    desk.ask(LoadOrder::of(["W3", "W5"]));
    laptop.pass(9000);
    let weighed = weighed_g(&mut laptop);
    assert!(
        (weighed - 1000.0).abs() < 1.0 || (weighed - 200.0).abs() < 1.0,
        "{weighed}"
    );
    desk.correct();
    laptop.pass(9000);
    assert!((weighed_g(&mut laptop) - 1200.0).abs() < 1.0);
}

#[test]
fn a_load_that_touches_something_reads_30_to_300_g_off_until_told() {
    let (mut laptop, desk) = quiet(planned(Mistake::Touching));
    desk.ask(LoadOrder::nothing());
    laptop.pass(5000);
    desk.ask(LoadOrder::of(["W1"]));
    laptop.pass(9000);
    let off = (weighed_g(&mut laptop) - desk.true_load_g()).abs();
    assert!((29.0..=301.0).contains(&off), "{off}");
    desk.correct();
    laptop.pass(9000);
    let off = (weighed_g(&mut laptop) - desk.true_load_g()).abs();
    assert!(off < 0.2, "{off}");
}

#[test]
fn a_bump_disturbs_rest_and_passes() {
    let (mut laptop, desk) = quiet(planned(Mistake::Bump));
    desk.ask(LoadOrder::nothing());
    laptop.pass(5000);
    desk.ask(LoadOrder::of(["W3"]));
    // Long averages from the start: the knock falls into one of them.
    let captured = laptop.capture(80, 0);
    assert!(captured.restarts > 0, "{captured:?}");
    let weighed = counts(&captured) / COUNTS_PER_G;
    assert!((weighed - desk.true_load_g()).abs() < 0.1, "{weighed}");
}

#[test]
fn mistakes_come_as_often_as_ordered_and_never_more_than_one() {
    let (mut laptop, desk) = quiet(Habits {
        mistake: 0.3,
        ..Habits::default()
    });
    let mut erred = 0;
    for round in 0..200 {
        desk.ask(LoadOrder::of([if round % 2 == 0 { "W3" } else { "W4" }]));
        laptop.pass(100);
        erred += usize::from(desk.mistake().is_some());
    }
    // 60 expected; five standard deviations are 32.
    assert!((28..=92).contains(&erred), "{erred}");
}

#[test]
fn unknown_names_are_passed_over_and_a_placed_load_gives_way_to_an_order() {
    let (mut laptop, desk) = quiet(Habits::default());
    desk.place_g(321.0);
    laptop.pass(200);
    assert_eq!(desk.true_load_g(), 321.0);
    desk.ask(LoadOrder::of(["W4", "the cat", "W4"]));
    laptop.pass(9000);
    assert!((desk.true_load_g() - 500.0).abs() < 0.1);
}
