//! A table on trial, a sealed scale, and what is remembered of changes.

mod common;

use common::*;
use scalewright_protocol::message::{Answer, Ask, Event, EventKind, Flags, Refusal, Stage};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::{Knot, knots_checksum};

/// Twice as heavy as [`knots`] at all loads.
fn doubled() -> Vec<Knot> {
    let twice = |knot: Knot| Knot {
        mass: knot.mass * 2,
        ..knot
    };
    knots().into_iter().map(twice).collect()
}

fn on_trial() -> (Scale, Laptop) {
    let (mut scale, mut laptop) = calibrated();
    load(&mut scale, 0, ZERO + 30_000, 40);
    laptop
        .stage(&mut scale, kitchen(), ZERO, &doubled())
        .expect("staged");
    assert_eq!(laptop.ask(&mut scale, 0, Ask::StageTry), Ok(Answer::Done));
    (scale, laptop)
}

#[test]
fn a_trial_weighs_and_is_gone_at_a_restart() {
    let (scale, _) = on_trial();
    let state = scale.state(0);
    assert_eq!(state.mass, Some(602_000), "the new table");
    assert!(state.flags.has(Flags::TRIAL));
    let again = start(scale.into_storage());
    assert_eq!(again.table().expect("a table").knots(), knots());
    let flags = again.state(0).flags;
    assert!(!flags.any(Flags::TRIAL.with(Flags::FELL_BACK)));
}

#[test]
fn a_trial_is_accepted_or_dropped() {
    let (mut scale, mut laptop) = on_trial();
    assert_eq!(
        laptop.ask(&mut scale, 0, Ask::StageCommit),
        Ok(Answer::Stored { sequence: 2 })
    );
    assert!(!scale.state(0).flags.has(Flags::TRIAL));
    assert_eq!(scale.state(0).mass, Some(602_000));
    let again = start(scale.into_storage());
    assert_eq!(again.table().expect("a table").knots(), doubled());

    let (mut scale, mut laptop) = on_trial();
    assert_eq!(laptop.ask(&mut scale, 0, Ask::StageAbort), Ok(Answer::Done));
    assert_eq!(scale.state(0).mass, Some(301_000));
    assert!(!scale.state(0).flags.has(Flags::TRIAL));
    assert_eq!(
        laptop.ask(&mut scale, 0, Ask::StageCommit),
        Err(Refusal::NotStaging)
    );
}

/// What else ends a trial: it must never come in force by a way round.
#[test]
fn any_other_change_ends_a_trial() {
    let (mut scale, mut laptop) = on_trial();
    let settings = Settings {
        smoothing: 1,
        ..kitchen()
    };
    laptop
        .ask(&mut scale, 0, Ask::SetSettings(settings))
        .expect("stored");
    assert_eq!(scale.table().expect("a table").knots(), knots());
    assert_eq!(*scale.settings(), settings);
    assert!(!scale.state(0).flags.has(Flags::TRIAL));

    let (mut scale, mut laptop) = on_trial();
    assert_eq!(
        laptop.ask(&mut scale, 0, Ask::RollBack),
        Err(Refusal::NothingToRollBack),
        "its place was taken by what was staged"
    );
    assert_eq!(scale.table().expect("a table").knots(), knots());

    let (mut scale, mut laptop) = on_trial();
    laptop
        .stage(&mut scale, kitchen(), ZERO, &doubled())
        .expect("staged");
    assert_eq!(scale.table().expect("a table").knots(), knots());
}

#[test]
fn zero_stays_through_a_trial_at_the_same_reference_only() {
    let (mut scale, mut laptop) = calibrated();
    let now_ms = load(&mut scale, 0, ZERO + 500, 40);
    let zeroed = laptop.ask(&mut scale, now_ms, Ask::SetZero);
    let kept = ZERO + 500;
    assert_eq!(zeroed, Ok(Answer::Zeroed { zero_counts: kept }));
    laptop
        .stage(&mut scale, kitchen(), ZERO, &doubled())
        .expect("staged");
    laptop.ask(&mut scale, 0, Ask::StageTry).expect("tried");
    assert_eq!(scale.state(0).zero_counts, kept);
    laptop.ask(&mut scale, 0, Ask::StageAbort).expect("dropped");
    assert_eq!(scale.state(0).zero_counts, kept);
    laptop
        .stage(&mut scale, kitchen(), ZERO + 9, &doubled())
        .expect("staged");
    laptop.ask(&mut scale, 0, Ask::StageTry).expect("tried");
    assert_eq!(scale.state(0).zero_counts, ZERO + 9);
}

#[test]
fn what_is_no_table_is_not_tried_and_nothing_without_one_to_go_back_to() {
    let (mut scale, mut laptop) = calibrated();
    assert_eq!(
        laptop.ask(&mut scale, 0, Ask::StageTry),
        Err(Refusal::NotStaging)
    );
    let bad = [(0, 0), (10, 100), (5, 200)].map(|(counts, mass)| Knot { counts, mass });
    laptop
        .stage(&mut scale, kitchen(), ZERO, &bad)
        .expect("arrived");
    assert!(matches!(
        laptop.ask(&mut scale, 0, Ask::StageTry),
        Err(Refusal::Table(_))
    ));
    assert_eq!(scale.table().expect("a table").knots(), knots());
    assert!(!scale.state(0).flags.has(Flags::TRIAL));

    let mut bare = start(Flash::new(512));
    let mut laptop = Laptop::new();
    laptop
        .stage(&mut bare, kitchen(), ZERO, &knots())
        .expect("staged");
    assert_eq!(
        laptop.ask(&mut bare, 0, Ask::StageTry),
        Err(Refusal::NotCalibrated)
    );
    // It can still be stored.
    assert_eq!(
        laptop.ask(&mut bare, 0, Ask::StageCommit),
        Ok(Answer::Stored { sequence: 1 })
    );
}

#[test]
fn a_sealed_scale_is_written_only_after_a_start_with_the_key() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .ask(&mut scale, 0, Ask::SetSettings(sealed()))
        .expect("sealing is a change like others");
    for restarted in [false, true] {
        if restarted {
            scale = start(scale.into_storage());
        }
        assert!(scale.is_sealed());
        let begin = Ask::StageBegin(Stage {
            settings: kitchen(),
            zero_counts: ZERO,
            knots: 3,
            checksum: knots_checksum(&knots()),
        });
        for ask in [
            Ask::SetSettings(kitchen()),
            begin,
            Ask::StageCommit,
            Ask::StageTry,
            Ask::RollBack,
        ] {
            let refused = laptop.ask(&mut scale, 0, ask.clone());
            assert_eq!(refused, Err(Refusal::Sealed), "{ask:?}");
        }
        // Weighing goes on.
        let now_ms = load(&mut scale, 0, ZERO + 100, 40);
        laptop
            .ask(&mut scale, now_ms, Ask::SetZero)
            .expect("zero-setting is for everybody");
    }
    let mut scale = start(scale.into_storage());
    scale.unlock();
    assert!(!scale.is_sealed());
    laptop
        .transfer(&mut scale, sealed(), ZERO, &doubled())
        .expect("unlocked");
    // Still sealed, and still unlocked until it is switched off.
    laptop
        .ask(&mut scale, 0, Ask::RollBack)
        .expect("still unlocked");
    assert!(start(scale.into_storage()).is_sealed());
}

/// A trial with other settings is no way round the seal, nor into it.
#[test]
fn a_trial_neither_seals_nor_unseals() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .stage(&mut scale, sealed(), ZERO, &doubled())
        .expect("staged");
    laptop.ask(&mut scale, 0, Ask::StageTry).expect("tried");
    assert!(!scale.is_sealed());
    laptop.ask(&mut scale, 0, Ask::StageCommit).expect("stored");
    assert!(scale.is_sealed());
}

fn event(scale: &mut Scale, laptop: &mut Laptop, back: u8) -> Option<Event> {
    match laptop.ask(scale, 0, Ask::Event { back }) {
        Ok(Answer::Event(event)) => event,
        other => panic!("{other:?}"),
    }
}

fn note(scale: &mut Scale, laptop: &mut Laptop, when_s: u32, text: &str) {
    let text = text.try_into().expect("short");
    assert_eq!(
        laptop.ask(scale, 0, Ask::Note { when_s, text }),
        Ok(Answer::Done)
    );
}

#[test]
fn every_change_is_remembered_with_who_and_why() {
    let (mut scale, mut laptop) = calibrated();
    assert_eq!(event(&mut scale, &mut laptop, 1), None);
    note(
        &mut scale,
        &mut laptop,
        1_764_158_400,
        "Ida: new glaze kitchen",
    );
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &doubled())
        .expect("stored");
    laptop
        .ask(&mut scale, 0, Ask::SetSettings(sealed()))
        .expect("stored");
    let mut scale = start(scale.into_storage());
    scale.unlock();
    note(&mut scale, &mut laptop, 5, "Ida: was wrong");
    laptop.ask(&mut scale, 0, Ask::RollBack).expect("back");
    let told: Vec<Event> = (0..5)
        .map_while(|back| event(&mut scale, &mut laptop, back))
        .collect();
    let said = |counter, kind, knots: &[Knot], when_s, text: &str| Event {
        counter,
        kind,
        checksum: knots_checksum(knots),
        when_s,
        text: text.try_into().expect("short"),
    };
    assert_eq!(
        told,
        [
            said(4, EventKind::RolledBack, &doubled(), 5, "Ida: was wrong"),
            said(3, EventKind::Settings, &doubled(), 0, ""),
            said(
                2,
                EventKind::Table,
                &doubled(),
                1_764_158_400,
                "Ida: new glaze kitchen"
            ),
            said(1, EventKind::Table, &knots(), 0, ""),
        ]
    );
}

/// More changes than a page holds: the last ones are there, and the counter goes on.
#[test]
fn full_pages_keep_the_last_changes_and_the_counter_never_turns_back() {
    let (mut scale, mut laptop) = calibrated();
    for n in 2..90u32 {
        note(&mut scale, &mut laptop, n, "Ida: once more");
        let settings = Settings {
            smoothing: (n % 3) as u8,
            ..kitchen()
        };
        assert_eq!(
            laptop.ask(&mut scale, 0, Ask::SetSettings(settings)),
            Ok(Answer::Stored { sequence: n })
        );
        // This page has 24 places: of four changes and more something is told.
        let last = event(&mut scale, &mut laptop, 0).expect("the last");
        assert_eq!((last.counter, last.when_s), (n, n));
        let kept = (0..u8::MAX)
            .map_while(|back| event(&mut scale, &mut laptop, back))
            .inspect(|event| assert!(event.counter <= n))
            .count();
        assert!(kept >= 4.min(n as usize), "{kept} after {n}");
        if n % 7 == 0 {
            scale = start(scale.into_storage());
        }
    }
}

#[test]
fn a_note_is_text_and_short() {
    let (mut scale, mut laptop) = calibrated();
    // 0xFF is no text: a frame by hand.
    let mut payload = vec![9u8, 19, 0, 2, 0xFF, 0xFF];
    let crc = scalewright_protocol::checksum::crc32(&payload);
    payload.extend(crc.to_le_bytes());
    let mut frame = vec![0u8];
    for piece in payload.split(|byte| *byte == 0).collect::<Vec<_>>() {
        frame.push(piece.len() as u8 + 1);
        frame.extend(piece);
    }
    frame.push(0);
    scale.handle(0, scalewright_core::instrument::Event::Bytes(&frame));
    let reports = laptop.hear(&mut scale);
    assert!(
        matches!(
            reports[..],
            [scalewright_protocol::message::Report::Refusal {
                id: 9,
                refusal: Refusal::Unknown
            }]
        ),
        "{reports:?}"
    );
}
