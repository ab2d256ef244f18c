//! What a scale does with the gain of a hysteresis loop: nothing without one,
//! and with one what the protocol's own memory says.

mod common;

use common::*;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::instrument::Event;
use scalewright_protocol::hysteresis::{Plays, gain};
use scalewright_protocol::message::{Answer, Ask, Flags, Refusal, Sample};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Table;
use scalewright_protocol::units::CODE_MIN;

/// The loop's greatest width, quanta, and what tells it.
const WIDTH: u32 = 180;
const GAIN: u16 = gain(WIDTH, 600_000);

fn with_gain(loop_gain: u16) -> Settings {
    Settings {
        loop_gain,
        ..kitchen()
    }
}

/// A scale with the common table and this gain, its samples streaming.
fn streaming(loop_gain: u16) -> (Scale, Laptop) {
    let mut scale = start(Flash::new(512));
    let mut laptop = Laptop::new();
    laptop
        .transfer(&mut scale, with_gain(loop_gain), ZERO, &knots())
        .expect("stored");
    laptop
        .ask(&mut scale, 0, Ask::Stream { every: 1 })
        .expect("streams");
    (scale, laptop)
}

fn table() -> Table<KNOTS> {
    Table::new(&knots()).expect("a table")
}

fn net_q8(smooth_q8: i32, zero_counts: i32) -> i64 {
    i64::from(smooth_q8) - (i64::from(zero_counts) << 8)
}

/// Up to Max and back, with a smaller loop on the way, below zero at the end.
const WALK: [i32; 12] = [
    0, 15_000, 30_000, 20_000, 30_000, 45_000, 60_000, 40_000, 22_000, 5_000, -300, 0,
];

/// As [`load`], with every sample heard as it comes.
fn stand(scale: &mut Scale, laptop: &mut Laptop, from_ms: u32, counts: i32) -> u32 {
    let mut now = from_ms;
    for _ in 0..30 {
        now = load(scale, now, counts, 1);
        laptop.hear(scale);
    }
    now
}

/// Samples of the walk, with what the scale was asked between.
fn walked(loop_gain: u16) -> (Vec<Sample>, Vec<Result<Answer, Refusal>>) {
    let (mut scale, mut laptop) = streaming(loop_gain);
    let mut now = 0;
    let mut answers = Vec::new();
    for counts in WALK {
        now = stand(&mut scale, &mut laptop, now, ZERO + counts);
        for ask in [Ask::Tare, Ask::State, Ask::ClearTare, Ask::SetZero] {
            answers.push(laptop.ask(&mut scale, now, ask));
        }
    }
    (laptop.samples, answers)
}

#[test]
fn without_a_gain_every_mass_is_the_tables() {
    let (mut scale, mut laptop) = streaming(0);
    let mut now = 0;
    for counts in WALK {
        now = stand(&mut scale, &mut laptop, now, ZERO + counts);
        let state = laptop.state(&mut scale, now);
        let said = table().lookup_q8(net_q8(state.smooth_q8, ZERO)).mass;
        assert_eq!((state.mass, state.correction), (Some(said), 0));
    }
    assert!(laptop.samples.len() > 300);
    for sample in &laptop.samples {
        let said = table().lookup_q8(net_q8(sample.smooth_q8, ZERO)).mass;
        assert_eq!(sample.mass, Some(said));
    }
}

/// With a gain all is as without but for mass and what follows from it.
#[test]
fn a_gain_touches_nothing_but_the_mass() {
    let (plain, plain_answers) = walked(0);
    let (corrected, answers) = walked(GAIN);
    assert_eq!(plain.len(), corrected.len());
    let mut changed = 0;
    for (a, b) in plain.iter().zip(&corrected) {
        let off = a.mass.expect("a mass") - b.mass.expect("a mass");
        assert!(off.unsigned_abs() <= WIDTH / 2 + 1, "{off}");
        changed += usize::from(off != 0);
        assert_eq!(Sample { mass: a.mass, ..*b }, *a);
    }
    assert!(changed > 200, "{changed} samples corrected");
    for (a, b) in plain_answers.iter().zip(&answers) {
        match (a, b) {
            (Ok(Answer::State(a)), Ok(Answer::State(b))) => {
                assert_eq!(
                    a.mass.expect("a mass"),
                    b.mass.expect("a mass") + b.correction
                );
                assert_eq!(a.smooth_q8, b.smooth_q8);
            }
            _ => assert_eq!(a, b),
        }
    }
}

/// Sample by sample, to the quantum.
#[test]
fn every_sample_is_corrected_as_the_contract_says() {
    let (mut scale, mut laptop) = streaming(GAIN);
    let mut now = 0;
    for counts in WALK {
        now = stand(&mut scale, &mut laptop, now, ZERO + counts);
    }
    let mut plays = Plays::exercised();
    for sample in &laptop.samples {
        let said = table().lookup_q8(net_q8(sample.smooth_q8, ZERO)).mass;
        let correction = plays.follow(said, kitchen().max, GAIN);
        assert_eq!(sample.mass, Some(said - correction));
    }
    let state = laptop.state(&mut scale, now);
    assert_eq!(state.mass, laptop.samples.last().expect("samples").mass);
}

/// The same code from below and from above: a cell with a loop of this width has
/// the lighter and the heavier of two loads there.
#[test]
fn a_pair_of_loading_and_unloading_is_told_apart() {
    let (mut scale, mut laptop) = streaming(GAIN);
    let half = WIDTH as i32 / 2;
    let now = load(&mut scale, 0, ZERO, 30);
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    let up = laptop.state(&mut scale, now);
    assert_eq!((up.mass, up.correction), (Some(301_000 + half), -half));
    let now = load(&mut scale, now, ZERO + 60_000, 30);
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    let down = laptop.state(&mut scale, now);
    assert_eq!((down.mass, down.correction), (Some(301_000 - half), half));
    // Tared, the corrected mass is the container.
    laptop.ask(&mut scale, now, Ask::Tare).expect("tared");
    assert_eq!(scale.tare(), 301_000 - half);
    assert_eq!(laptop.state(&mut scale, now).indication, Some(0));
}

#[test]
fn zero_setting_begins_anew_and_is_judged_by_the_table() {
    let (mut scale, mut laptop) = streaming(GAIN);
    let now = load(&mut scale, 0, ZERO + 60_000, 30);
    // 2 % of Max is 12 000 quanta. At 1197 counts the table says 12 010; coming
    // down the corrected mass would just do.
    let now = load(&mut scale, now, ZERO + 1_197, 30);
    let state = laptop.state(&mut scale, now);
    let mass = state.mass.expect("a mass");
    assert!(
        mass <= 12_000 && mass + state.correction > 12_000,
        "{state:?}"
    );
    let refused = laptop.ask(&mut scale, now, Ask::SetZero);
    assert_eq!(refused, Err(Refusal::ZeroRange));
    let now = load(&mut scale, now, ZERO + 1_100, 30);
    assert_ne!(laptop.state(&mut scale, now).correction, 0);
    laptop.ask(&mut scale, now, Ask::SetZero).expect("zero");
    let state = laptop.state(&mut scale, now);
    assert_eq!((state.mass, state.correction), (Some(0), 0));
    assert!(state.flags.has(Flags::AT_ZERO));
    // From here on as from the first zero.
    let now = load(&mut scale, now, ZERO + 1_100 + 30_000, 30);
    assert_eq!(laptop.state(&mut scale, now).correction, -90);
}

/// Full load and half of it again; then what ends the memory, or does not.
fn unloaded_to_half() -> (Scale, Laptop, u32) {
    let (mut scale, mut laptop) = streaming(GAIN);
    let now = load(&mut scale, 0, ZERO + 60_000, 30);
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    assert_eq!(laptop.state(&mut scale, now).correction, 90);
    (scale, laptop, now)
}

#[test]
fn each_record_and_each_start_begin_anew() {
    let rising = Some(301_000 + 90);
    let (mut scale, mut laptop, now) = unloaded_to_half();
    let other = Settings {
        rest_tenths_d: 7,
        ..with_gain(GAIN)
    };
    laptop
        .ask(&mut scale, now, Ask::SetSettings(other))
        .expect("stored");
    assert_eq!(laptop.state(&mut scale, now).mass, rising);

    let (mut scale, mut laptop, now) = unloaded_to_half();
    laptop
        .transfer(&mut scale, with_gain(GAIN), ZERO, &knots())
        .expect("stored");
    assert_eq!(laptop.state(&mut scale, now).mass, rising);

    let (scale, ..) = unloaded_to_half();
    let mut scale = start(scale.into_storage());
    let mut laptop = Laptop::new();
    let now = load(&mut scale, 0, ZERO + 30_000, 30);
    assert_eq!(laptop.state(&mut scale, now).mass, rising);
    assert_eq!(scale.settings().loop_gain, GAIN);
}

#[test]
fn a_fault_or_a_signal_at_the_end_of_the_range_is_no_load() {
    let (mut scale, mut laptop, now) = unloaded_to_half();
    let before = laptop.state(&mut scale, now).mass;
    scale.handle(now, Event::Sample(Err(BridgeFault::Silent)));
    assert_eq!(laptop.state(&mut scale, now).correction, 0);
    let now = load(&mut scale, now, ZERO + 30_000, 30);
    assert_eq!(laptop.state(&mut scale, now).mass, before);
    // The end is told by the code itself, which saturation follows from.
    let open = Conversion::settled(CODE_MIN);
    for n in 0..20 {
        scale.handle(now + n * 100, Event::Sample(Ok(open)));
    }
    let state = laptop.state(&mut scale, now + 2_000);
    assert!(state.flags.has(Flags::SATURATED));
    let said = table().lookup_q8(net_q8(state.smooth_q8, ZERO)).mass;
    assert_eq!(state.mass.map(|mass| mass + state.correction), Some(said));
    let now = load(&mut scale, now + 2_000, ZERO + 30_000, 30);
    assert_eq!(laptop.state(&mut scale, now).mass, before);
}
