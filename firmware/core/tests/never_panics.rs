//! Whatever arrives, in whatever order: no panic, one reply to each request,
//! and a scale that still answers afterwards.

mod common;

use common::*;
use proptest::prelude::*;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::instrument::Event;
use scalewright_protocol::message::{Ask, CaptureOrder, Report, Stage};
use scalewright_protocol::settings::{Class, Conduct, Input, Settings};
use scalewright_protocol::table::Knot;

fn settings() -> impl Strategy<Value = Settings> {
    let sound = (
        1i32..=600,
        100i32..2000,
        0u8..=6,
        1u8..,
        1u16..=10_000,
        0u16..=100,
        // Not sealed: nothing could be stored any more.
        0u8..=3,
    )
        .prop_map(
            |(n, e, smoothing, rest_tenths_d, rest_ms, loop_gain, conduct)| Settings {
                quantum_ug: 10_000,
                max: n.saturating_mul(100).saturating_mul(e),
                e,
                d: (e / 2).max(1),
                smoothing,
                rest_tenths_d,
                rest_ms,
                loop_gain,
                conduct: Conduct(conduct),
                ..kitchen()
            },
        );
    let wild = (
        (any::<u32>(), any::<i32>(), any::<i32>(), any::<i32>()),
        (
            any::<u16>(),
            any::<u8>(),
            any::<u8>(),
            any::<u16>(),
            any::<(u16, u8)>(),
        ),
    )
        .prop_map(
            |(
                (quantum_ug, max, e, d),
                (rate_sps, smoothing, rest_tenths_d, rest_ms, (loop_gain, conduct)),
            )| Settings {
                quantum_ug,
                max,
                e,
                d,
                class: Class::II,
                rate_sps,
                input: Input::B32,
                smoothing,
                rest_tenths_d,
                rest_ms,
                loop_gain,
                conduct: Conduct(conduct),
            },
        );
    prop_oneof![sound, wild]
}

fn knot() -> impl Strategy<Value = Knot> {
    (any::<i32>(), any::<i32>()).prop_map(|(counts, mass)| Knot { counts, mass })
}

fn ask() -> impl Strategy<Value = Ask> {
    let stage = (settings(), any::<i32>(), 0u8..20, any::<u32>()).prop_map(
        |(settings, zero_counts, knots, checksum)| {
            Ask::StageBegin(Stage {
                settings,
                zero_counts: zero_counts >> 8,
                knots,
                checksum,
            })
        },
    );
    let knots =
        (0u8..18, prop::collection::vec(knot(), 0..=6)).prop_map(|(from, knots)| Ask::StageKnots {
            from,
            knots: heapless::Vec::from_slice(&knots).unwrap(),
        });
    let order = (0u16..1100, any::<u32>(), any::<u32>()).prop_map(|(samples, rest, patience)| {
        Ask::Capture(CaptureOrder {
            samples,
            rest_counts: rest >> 4,
            patience_ms: patience >> 8,
        })
    });
    prop_oneof![
        any::<u16>().prop_map(|wire_version| Ask::Hello { wire_version }),
        Just(Ask::State),
        (0u16..11_000).prop_map(|up_to_ms| Ask::Wait { up_to_ms }),
        any::<u8>().prop_map(|every| Ask::Stream { every }),
        Just(Ask::Settings),
        settings().prop_map(Ask::SetSettings),
        Just(Ask::Table),
        any::<u8>().prop_map(|from| Ask::Knots { from }),
        stage,
        knots,
        Just(Ask::StageCommit),
        Just(Ask::StageAbort),
        Just(Ask::RollBack),
        Just(Ask::SetZero),
        Just(Ask::Tare),
        Just(Ask::ClearTare),
        order,
        Just(Ask::CaptureCancel),
        Just(Ask::StageTry),
        (any::<u32>(), "\\PC{0,12}").prop_map(|(when_s, text)| Ask::Note {
            when_s,
            text: text.chars().filter(char::is_ascii).collect(),
        }),
        any::<u8>().prop_map(|back| Ask::Event { back }),
        any::<u16>().prop_map(|for_s| Ask::HoldZero { for_s }),
    ]
}

#[derive(Clone, Debug)]
enum Step {
    Ask(Ask),
    Noise(Vec<u8>),
    Samples(i32, u16),
    Settling(i32),
    Fault(bool),
    Pass(u32),
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        6 => ask().prop_map(Step::Ask),
        1 => prop::collection::vec(any::<u8>(), 0..200).prop_map(Step::Noise),
        3 => (any::<i32>(), 0u16..60).prop_map(|(c, n)| Step::Samples(c >> 7, n)),
        1 => any::<i32>().prop_map(Step::Settling),
        1 => any::<bool>().prop_map(Step::Fault),
        1 => any::<u32>().prop_map(Step::Pass),
    ]
}

/// A capture's or a scale's clock may stand anywhere when it starts.
fn drive(mut scale: Scale, begin_ms: u32, steps: Vec<Step>) -> Result<(), TestCaseError> {
    let mut line = Laptop::new();
    let mut now = begin_ms;
    let mut open = Vec::new();
    let mut id = 0u16;
    for step in steps {
        match step {
            Step::Ask(ask) => {
                id += 1;
                open.push(id);
                // A delimiter first: noise may have begun a frame.
                scale.handle(now, Event::Bytes(&frame_of(id, ask)));
            }
            Step::Noise(bytes) => scale.handle(now, Event::Bytes(&bytes)),
            Step::Samples(counts, n) => {
                for k in 0..n {
                    now = now.wrapping_add(100);
                    let code = counts.wrapping_add(i32::from(k % 3));
                    scale.handle(now, Event::Sample(Ok(Conversion::settled(code))));
                }
            }
            Step::Settling(counts) => {
                let settling = Conversion {
                    settling: true,
                    ..Conversion::settled(counts)
                };
                scale.handle(now, Event::Sample(Ok(settling)));
            }
            Step::Fault(silent) => {
                let fault = if silent {
                    BridgeFault::Silent
                } else {
                    BridgeFault::Stuck
                };
                scale.handle(now, Event::Sample(Err(fault)));
            }
            Step::Pass(ms) => {
                now = now.wrapping_add(ms);
                scale.handle(now, Event::Tick);
            }
        }
        let _ = scale.state(now);
        let _ = scale.next_deadline_ms();
        for report in line.hear(&mut scale) {
            let to = match report {
                Report::Answer { id, .. } | Report::Refusal { id, .. } => id,
                Report::Sample(_) | Report::Log { .. } => continue,
            };
            // Each in its turn, none twice, none unasked.
            prop_assert_eq!(open.first().copied(), Some(to));
            open.remove(0);
        }
        // Only a wait may be open, and only one.
        prop_assert_eq!(open.len(), usize::from(scale.waiting()));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_requests_samples_and_noise(
        begin_ms in any::<u32>(),
        steps in prop::collection::vec(step(), 0..60),
    ) {
        let (scale, mut laptop) = calibrated();
        let mut scale = scale;
        laptop.ask(&mut scale, begin_ms, Ask::Hello { wire_version: 1 }).unwrap();
        drive(scale, begin_ms, steps)?;
    }

    #[test]
    fn any_flash_and_any_requests(
        a in prop::collection::vec(any::<u8>(), 0..400),
        steps in prop::collection::vec(step(), 0..20),
    ) {
        let b = a.iter().rev().copied().collect();
        drive(start(Flash::with(a, b)), 0, steps)?;
    }

    #[test]
    fn any_bytes_in_any_pieces(pieces in prop::collection::vec(
        prop::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 0..300), 0..20,
    )) {
        let mut scale = start(Flash::new(512));
        for piece in pieces {
            scale.handle(0, Event::Bytes(&piece));
            scale.sent(3);
        }
        let mut line = Laptop::new();
        while !scale.output().is_empty() {
            scale.sent(scale.output().len());
        }
        line.state(&mut scale, 1);
    }

    #[test]
    fn factory_settings_without_sense(settings in settings(), codes in prop::collection::vec(any::<i32>(), 0..50)) {
        let mut scale: Scale = scalewright_core::instrument::Instrument::new(
            IDENTITY, Flash::new(512), settings, 0,
        );
        for (n, code) in codes.iter().enumerate() {
            let conversion = Conversion { counts: *code, saturated: n % 5 == 0, settling: n % 11 == 0 };
            scale.handle(n as u32 * 100, Event::Sample(Ok(conversion)));
            let _ = scale.state(n as u32 * 100);
        }
    }
}
