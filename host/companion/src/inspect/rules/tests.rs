//! What the bench cannot do: a strapped RATE input, hum, a restart, noise that
//! grows. Made-up samples go in, findings come out.

use scalewright_protocol::message::{CaptureState, Flags, Sample, State};

use super::*;
use crate::quantise::neutral_settings;

/// What an uncalibrated scale of 10 conversions per second says.
fn subject() -> Subject {
    Subject {
        settings: neutral_settings(),
        knots: Vec::new(),
        zero_counts: 0,
        rates_sps: vec![10, 80],
        cell: None,
    }
}

fn state(at_ms: u32) -> State {
    State {
        at_ms,
        sequence: 0,
        smooth_q8: 0,
        spread_q8: 0,
        zero_counts: 0,
        mass: None,
        indication: None,
        flags: Flags::default(),
        capture: CaptureState::Idle,
        correction: 0,
    }
}

/// Ten seconds of samples at `rate`, with some scatter and `more` on top.
fn made_up(rate: f64, more: impl Fn(f64) -> f64) -> Gathered {
    let mut gathered = Gathered::new();
    let mut dice = 1u64;
    gathered.state(&state(0));
    for k in 0..(10.0 * rate) as u32 {
        dice = dice * 48_271 % 2_147_483_647;
        let t = f64::from(k) / rate;
        let scatter = (dice % 101) as f64 - 50.0;
        let code = (400_000.0 + scatter + more(t)).round() as i32;
        gathered.sample(&Sample {
            sequence: k,
            at_ms: (t * 1000.0) as u32,
            raw_counts: code,
            smooth_q8: code * 256,
            mass: None,
            flags: Flags::NOT_CALIBRATED,
        });
    }
    gathered.state(&state(10_000));
    gathered
}

fn level(examination: &Examination, topic: Topic) -> Option<(Level, String)> {
    examination
        .findings
        .iter()
        .find(|one| one.topic == topic)
        .map(|one| {
            (
                one.level,
                format!("{} {} {}", one.seen, one.means, one.advice),
            )
        })
}

#[test]
fn a_strapped_rate_input_is_recognised() {
    let found = examine(&subject(), &made_up(80.0, |_| 0.0), None);
    assert_eq!(found.verdict, Verdict::Mend(Topic::Rate));
    let (_, words) = level(&found, Topic::Rate).expect("a word about the rate");
    assert!(words.contains("strapped for 80 per second"), "{words}");
    // An oscillator a tenth off is none of that; one at 3 per second is no rate.
    let found = examine(&subject(), &made_up(11.0, |_| 0.0), None);
    assert_eq!(found.verdict, Verdict::Healthy, "{found:#?}");
    let found = examine(&subject(), &made_up(3.0, |_| 0.0), None);
    let (level, words) = level(&found, Topic::Rate).expect("a word about the rate");
    assert!(
        level == Level::Bad && words.contains("clock is off"),
        "{words}"
    );
}

/// At 80 samples a second 50 Hz shows at 30 Hz and 60 Hz at 20 Hz.
#[test]
fn hum_and_shaking_are_told_from_noise() {
    let mut fast = subject();
    fast.settings.rate_sps = 80;
    let sine = |hz: f64| move |t: f64| 60.0 * (std::f64::consts::TAU * hz * t).sin();
    for (hz, words) in [(50.0, "50 Hz mains"), (60.0, "60 Hz mains"), (7.3, "a fan")] {
        let found = examine(&fast, &made_up(80.0, sine(hz)), None);
        let (level, said) = level(&found, Topic::Disturbance).expect("a swing");
        assert!(level == Level::Heed && said.contains(words), "{hz}: {said}");
    }
    let found = examine(&fast, &made_up(80.0, |_| 0.0), None);
    assert_eq!(level(&found, Topic::Disturbance), None);
}

#[test]
fn a_restart_and_growing_noise_are_told() {
    let mut gathered = made_up(10.0, |_| 0.0);
    assert!(
        gathered.state(&state(150)),
        "the stream has to be asked for again"
    );
    let found = examine(&subject(), &gathered, None);
    assert_eq!(found.verdict, Verdict::Mend(Topic::Supply));
    assert_eq!(found.figures.lost, 0);

    let found = examine(
        &subject(),
        &made_up(10.0, |t| {
            30.0 * t
                * if (t * 10.0) as i32 % 2 == 0 {
                    1.0
                } else {
                    -1.0
                }
        }),
        None,
    );
    let (level, words) = level(&found, Topic::Noise).expect("a noise");
    assert!(level == Level::Heed && words.contains("It grew"), "{words}");
}
