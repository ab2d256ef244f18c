//! Transfers of a record: order, checks, and what is in force meanwhile.

mod common;

use common::*;
use scalewright_core::bridge::Conversion;
use scalewright_core::instrument::Event;
use scalewright_protocol::message::{
    Answer, Ask, CaptureOrder, CaptureState, Flags, Refusal, Report, Stage,
};
use scalewright_protocol::settings::{Input, Settings, SettingsFault};
use scalewright_protocol::table::{Knot, TableFault, knots_checksum};
use scalewright_protocol::units::CODE_MAX;

fn stage(knots: &[Knot]) -> Stage {
    Stage {
        settings: kitchen(),
        zero_counts: ZERO + 7,
        knots: knots.len() as u8,
        checksum: knots_checksum(knots),
    }
}

fn piece(from: u8, knots: &[Knot]) -> Ask {
    Ask::StageKnots {
        from,
        knots: heapless::Vec::from_slice(knots).unwrap(),
    }
}

/// Sixteen knots, slightly curved.
fn many() -> Vec<Knot> {
    (0..16)
        .map(|n| Knot {
            counts: n * 4000,
            mass: n * 40_000 - n * (15 - n),
        })
        .collect()
}

#[test]
fn a_table_is_adopted_whole_and_reads_back() {
    let (mut scale, mut laptop) = calibrated();
    let stored = laptop.transfer(&mut scale, kitchen(), ZERO + 7, &many());
    assert_eq!(stored, Ok(Answer::Stored { sequence: 2 }));
    let Ok(Answer::Table(header)) = laptop.ask(&mut scale, 0, Ask::Table) else {
        panic!()
    };
    assert_eq!(
        (header.sequence, header.knots, header.previous),
        (2, 16, true)
    );
    assert_eq!(header.checksum, knots_checksum(&many()));
    assert_eq!(header.zero_counts, ZERO + 7);
    let mut read = Vec::new();
    for from in [0, 6, 12, 18] {
        match laptop.ask(&mut scale, 0, Ask::Knots { from }) {
            Ok(Answer::Knots { from: f, knots }) if f == from => read.extend(knots),
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(read, many());
    assert_eq!(laptop.state(&mut scale, 0).zero_counts, ZERO + 7);
}

#[test]
fn the_record_survives_a_restart() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .transfer(&mut scale, kitchen(), ZERO + 7, &many())
        .unwrap();
    let scale = start(scale.into_storage());
    assert_eq!(scale.table().unwrap().knots(), many());
    assert_eq!(scale.settings(), &kitchen());
    assert_eq!(scale.state(0).zero_counts, ZERO + 7);
    assert!(!scale.state(0).flags.has(Flags::FELL_BACK));
}

#[test]
fn nothing_staged_touches_the_table_in_force() {
    let (mut scale, mut laptop) = calibrated();
    let before = laptop.ask(&mut scale, 0, Ask::Knots { from: 0 });
    laptop
        .ask(&mut scale, 0, Ask::StageBegin(stage(&many())))
        .unwrap();
    laptop.ask(&mut scale, 0, piece(0, &many()[..6])).unwrap();
    assert_eq!(laptop.ask(&mut scale, 0, Ask::Knots { from: 0 }), before);
    let restarted = start(scale.into_storage());
    assert_eq!(restarted.table().unwrap().knots(), knots());
    assert!(!restarted.state(0).flags.has(Flags::FELL_BACK));
}

#[test]
fn each_mistake_has_its_refusal() {
    let (mut scale, mut laptop) = calibrated();
    let mut ask = |ask| laptop.ask(&mut scale, 0, ask);
    let all = many();
    assert_eq!(ask(piece(0, &all[..2])), Err(Refusal::NotStaging));
    assert_eq!(ask(Ask::StageCommit), Err(Refusal::NotStaging));
    assert_eq!(ask(Ask::StageAbort), Ok(Answer::Done));
    let mut wrong = stage(&all);
    wrong.knots = 17;
    let fault = TableFault::TooMany { knots: 17, fit: 16 };
    assert_eq!(ask(Ask::StageBegin(wrong)), Err(Refusal::Table(fault)));
    wrong.knots = 1;
    let fault = TableFault::TooFew { knots: 1 };
    assert_eq!(ask(Ask::StageBegin(wrong)), Err(Refusal::Table(fault)));
    let mut wrong = stage(&all);
    wrong.zero_counts = CODE_MAX + 1;
    assert_eq!(
        ask(Ask::StageBegin(wrong)),
        Err(Refusal::Range { field: 1 })
    );
    let mut wrong = stage(&all);
    wrong.settings.smoothing = 7;
    let fault = SettingsFault::Smoothing;
    assert_eq!(ask(Ask::StageBegin(wrong)), Err(Refusal::Settings(fault)));
    assert_eq!(ask(Ask::StageBegin(stage(&all))), Ok(Answer::Done));
    assert_eq!(
        ask(piece(6, &all[6..8])),
        Err(Refusal::StageOrder { expected: 0 })
    );
    assert_eq!(ask(piece(0, &[])), Err(Refusal::Range { field: 1 }));
    assert_eq!(ask(piece(0, &all[..6])), Ok(Answer::Done));
    assert_eq!(
        ask(Ask::StageCommit),
        Err(Refusal::StageIncomplete { received: 6 })
    );
    assert_eq!(ask(piece(6, &all[6..12])), Ok(Answer::Done));
    assert_eq!(
        ask(piece(12, &all[10..16])),
        Err(Refusal::Range { field: 1 })
    );
    assert_eq!(ask(piece(12, &all[12..])), Ok(Answer::Done));
    assert_eq!(ask(Ask::StageCommit), Ok(Answer::Stored { sequence: 2 }));
    assert_eq!(ask(Ask::StageCommit), Err(Refusal::NotStaging));
}

#[test]
fn a_wrong_checksum_or_table_is_refused_at_the_commit() {
    let (mut scale, mut laptop) = calibrated();
    let mut wrong = stage(&knots());
    wrong.checksum ^= 1;
    laptop.ask(&mut scale, 0, Ask::StageBegin(wrong)).unwrap();
    laptop.ask(&mut scale, 0, piece(0, &knots())).unwrap();
    let commit = laptop.ask(&mut scale, 0, Ask::StageCommit);
    assert_eq!(commit, Err(Refusal::StageChecksum));
    let mut falling = knots();
    falling[2].mass = 10;
    let commit = laptop.transfer(&mut scale, kitchen(), ZERO, &falling);
    assert_eq!(commit, Err(Refusal::Table(TableFault::MassOrder { at: 2 })));
    let restarted = start(scale.into_storage());
    assert_eq!(restarted.table().unwrap().knots(), knots());
    assert!(!restarted.state(0).flags.has(Flags::FELL_BACK));
}

#[test]
fn no_knots_return_to_the_state_without_a_table() {
    let (mut scale, mut laptop) = calibrated();
    let stored = laptop.transfer(&mut scale, kitchen(), 0, &[]);
    assert_eq!(stored, Ok(Answer::Stored { sequence: 2 }));
    assert!(laptop.state(&mut scale, 0).flags.has(Flags::NOT_CALIBRATED));
    let mut scale = start(scale.into_storage());
    assert!(scale.table().is_none());
    // And roll-back brings it back.
    let stored = Laptop::new().ask(&mut scale, 0, Ask::RollBack);
    assert_eq!(stored, Ok(Answer::Stored { sequence: 3 }));
    assert_eq!(scale.table().unwrap().knots(), knots());
}

#[test]
fn settings_change_and_the_table_stays() {
    let (mut scale, mut laptop) = calibrated();
    let mut settings = kitchen();
    settings.d = 200;
    settings.rate_sps = 80;
    let now = load(&mut scale, 0, ZERO + 100, 30);
    laptop.ask(&mut scale, now, Ask::SetZero).unwrap();
    let stored = laptop.ask(&mut scale, now, Ask::SetSettings(settings));
    assert_eq!(stored, Ok(Answer::Stored { sequence: 2 }));
    assert_eq!(scale.adc(), (Input::A128, 80));
    // The zero in use stays; the one stored is still that of the calibration.
    let state = laptop.state(&mut scale, now);
    assert_eq!(state.zero_counts, ZERO + 100);
    assert!(
        state.flags.has(Flags::SETTLING),
        "another rate, another signal"
    );
    let scale = start(scale.into_storage());
    assert_eq!(scale.settings(), &settings);
    assert_eq!(scale.table().unwrap().knots(), knots());
    assert_eq!(scale.state(0).zero_counts, ZERO);
}

#[test]
fn roll_back_goes_to_and_fro_while_places_last() {
    let (mut scale, mut laptop) = calibrated();
    let roll = laptop.ask(&mut scale, 0, Ask::RollBack);
    assert_eq!(roll, Err(Refusal::NothingToRollBack));
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    // Each of the two records can be brought back three times.
    for n in 0..6u32 {
        let roll = laptop.ask(&mut scale, 0, Ask::RollBack);
        assert_eq!(roll, Ok(Answer::Stored { sequence: 3 + n }));
        let expected = if n % 2 == 0 { knots() } else { many() };
        assert_eq!(scale.table().unwrap().knots(), expected);
        let restarted = start(scale.into_storage());
        assert_eq!(restarted.table().unwrap().knots(), expected);
        scale = restarted;
        laptop
            .ask(&mut scale, 0, Ask::Hello { wire_version: 1 })
            .unwrap();
    }
    let Ok(Answer::Table(header)) = laptop.ask(&mut scale, 0, Ask::Table) else {
        panic!()
    };
    assert!(!header.previous);
    let roll = laptop.ask(&mut scale, 0, Ask::RollBack);
    assert_eq!(roll, Err(Refusal::NothingToRollBack));
    // New records begin with fresh places.
    for table in [knots(), many()] {
        laptop
            .transfer(&mut scale, kitchen(), ZERO, &table)
            .unwrap();
    }
    assert!(laptop.ask(&mut scale, 0, Ask::RollBack).is_ok());
    assert_eq!(scale.table().unwrap().knots(), knots());
}

#[test]
fn a_failing_memory_costs_nothing_in_force() {
    for fault in 0..3 {
        for ask in [Ask::SetSettings(kitchen()), Ask::RollBack, Ask::StageCommit] {
            let (mut scale, mut laptop) = calibrated();
            laptop
                .transfer(&mut scale, kitchen(), ZERO, &many())
                .unwrap();
            let mut flash = scale.into_storage();
            flash.refuse_writes = fault == 0;
            flash.forget_writes = fault == 1;
            flash.refuse_erase = fault == 2;
            let mut scale = start(flash);
            let refused = match ask {
                Ask::StageCommit => laptop.transfer(&mut scale, kitchen(), ZERO, &knots()),
                ask => laptop.ask(&mut scale, 0, ask),
            };
            // Roll-back needs no erase; knots that were not written show in
            // their checksum.
            match refused {
                Err(Refusal::Storage | Refusal::StageChecksum) => {
                    assert_eq!(scale.table().unwrap().knots(), many());
                }
                Ok(_) if fault == 2 => continue,
                other => panic!("{other:?}"),
            }
            let mut flash = scale.into_storage();
            (flash.refuse_writes, flash.forget_writes, flash.refuse_erase) = (false, false, false);
            let mut scale = start(flash);
            assert_eq!(scale.table().unwrap().knots(), many());
            // And the next try works.
            let mut again = Laptop::new();
            again
                .ask(&mut scale, 0, Ask::Hello { wire_version: 1 })
                .unwrap();
            again
                .transfer(&mut scale, kitchen(), ZERO, &knots())
                .unwrap();
            assert_eq!(scale.table().unwrap().knots(), knots());
        }
    }
}

#[test]
fn a_broken_record_falls_back_and_says_so() {
    // Flip each byte of the newest record in turn: header and knots.
    let (mut scale, mut laptop) = calibrated();
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    let flash = scale.into_storage();
    // Where the record in force stands: the first went to A, this one to B.
    let length = 192 + 16 * 8;
    let mut silent = 0;
    for at in 0..length {
        let used = flash.slots[1][at] != 0xFF || !(48..192).contains(&at);
        if !used {
            continue;
        }
        let mut broken = flash.clone();
        broken.slots[1][at] ^= 0x04;
        let mut scale = start(broken);
        assert_eq!(scale.table().unwrap().knots(), knots(), "byte {at}");
        let said = scale.state(0).flags.has(Flags::FELL_BACK);
        silent += u32::from(!said);
        // The next record mends it, with a number above all seen.
        let mut again = Laptop::new();
        let Ok(Answer::Stored { sequence }) = again.transfer(&mut scale, kitchen(), ZERO, &many())
        else {
            panic!()
        };
        assert!(sequence >= 2);
        let scale = start(scale.into_storage());
        assert_eq!(scale.table().unwrap().knots(), many());
        assert!(!scale.state(0).flags.has(Flags::FELL_BACK));
    }
    // Unsaid only where the decay looks like a write that was cut: mark (4
    // bytes) and end mark (1) gone; or where it hit the number itself (4).
    assert!(silent <= 9, "{silent} of {length}");
}

#[test]
fn numbers_wrap_and_leave_out_zero() {
    // A record with the last number there is, made by hand from a true one.
    let (mut scale, mut laptop) = calibrated();
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    let mut flash = scale.into_storage();
    for slot in 0..2u32 {
        let bytes = &mut flash.slots[slot as usize];
        bytes[8..12].copy_from_slice(&(u32::MAX - 1 + slot).to_le_bytes());
        check_anew(bytes);
    }
    let mut scale = start(flash);
    assert_eq!(scale.table().unwrap().knots(), many());
    let stored = laptop.transfer(&mut scale, kitchen(), ZERO, &knots());
    assert_eq!(stored, Ok(Answer::Stored { sequence: 1 }));
    let mut scale = start(scale.into_storage());
    assert_eq!(scale.table().unwrap().knots(), knots());
    scale.handle(0, Event::Tick);
}

/// An EEPROM erases a few bytes at a time; between the pieces the scale weighs.
#[test]
fn samples_are_worked_on_while_a_slow_memory_erases() {
    let (scale, _) = calibrated();
    let mut flash = scale.into_storage();
    flash.erase_step = 8;
    let mut scale = start(flash);
    let mut now = load(&mut scale, 0, ZERO + 1000, 30);
    let asks = [
        Ask::StageBegin(stage(&many())),
        Ask::SetSettings(Settings {
            d: 200,
            ..kitchen()
        }),
    ];
    for (id, ask) in (1..).zip(asks) {
        scale.handle(now, Event::Bytes(&frame_of(id, ask)));
        let before = scale.state(now).sequence;
        let mut pieces = 0u32;
        while scale.is_storing() {
            assert!(scale.output().is_empty(), "no reply before the last piece");
            let due = scale.next_deadline_ms().expect("a piece is due");
            assert!(due <= now, "at once");
            assert_eq!(scale.settings(), &kitchen(), "nothing in force changes");
            now = load(&mut scale, now, ZERO + 1000, 1);
            scale.handle(now, Event::Tick);
            pieces += 1;
        }
        assert!(pieces > 20, "{pieces} pieces of 8 bytes");
        assert_eq!(scale.state(now).sequence - before, pieces);
        let told = Laptop::new().hear(&mut scale);
        assert!(matches!(told[..], [Report::Answer { id: to, .. }] if to == id));
    }
    assert_eq!(scale.settings().d, 200);
    assert_eq!(scale.table().unwrap().knots(), knots());
}

/// What arrives meanwhile is carried out after it, in order.
#[test]
fn requests_wait_while_storing_is_under_way() {
    let (scale, _) = calibrated();
    let mut flash = scale.into_storage();
    flash.erase_step = 8;
    let mut scale = start(flash);
    scale.handle(
        0,
        Event::Bytes(&frame_of(1, Ask::StageBegin(stage(&knots())))),
    );
    scale.handle(0, Event::Bytes(&frame_of(2, piece(0, &knots()))));
    assert!(scale.is_storing() && scale.output().is_empty());
    // Begun again while it is at work: nothing is done twice.
    let told = Laptop::new().hear(&mut scale);
    assert!(matches!(
        told[..],
        [
            Report::Answer {
                id: 1,
                answer: Answer::Done
            },
            Report::Answer {
                id: 2,
                answer: Answer::Done
            }
        ]
    ));
}

/// A sample that was read while storage was busy is older than the last event;
/// a capture ordered meanwhile does not run out of patience by it.
#[test]
fn time_never_runs_backwards() {
    let (mut scale, mut laptop) = calibrated();
    let now = load(&mut scale, 0, ZERO, 30);
    let order = CaptureOrder {
        samples: 4,
        rest_counts: 0,
        patience_ms: 5000,
    };
    laptop.ask(&mut scale, now, Ask::Capture(order)).unwrap();
    scale.handle(now - 90, Event::Sample(Ok(Conversion::settled(ZERO))));
    let state = laptop.state(&mut scale, now - 90);
    assert!(matches!(
        state.capture,
        CaptureState::Averaging { done: 1, .. }
    ));
    assert_eq!(state.at_ms, now);
}

/// A header that was changed by hand, with a CRC that fits again.
fn check_anew(slot: &mut [u8]) {
    let crc = scalewright_protocol::checksum::crc32(&slot[..43]);
    slot[43..47].copy_from_slice(&crc.to_le_bytes());
}

/// A header as another version of the firmware would write it: mark, number, CRC and
/// end mark stay where they are, the layout version differs.
fn in_another_layout(slot: &mut [u8]) {
    slot[4] = 9;
    check_anew(slot);
}

#[test]
fn a_record_in_another_layout_is_known_and_left_alone() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    let mut flash = scale.into_storage();
    for slot in &mut flash.slots {
        in_another_layout(slot);
    }
    let older = flash.slots[0].clone();
    let newer = flash.slots[1].clone();
    let mut scale = start(flash);
    let flags = scale.state(0).flags;
    assert!(flags.has(Flags::OTHER_LAYOUT.with(Flags::NOT_CALIBRATED)));
    assert!(!flags.has(Flags::FELL_BACK), "nothing is broken");
    // A new record takes the place of the older; the newer is still there for
    // whoever goes back to the other version.
    Laptop::new()
        .transfer(&mut scale, kitchen(), ZERO, &knots())
        .unwrap();
    assert!(!scale.state(0).flags.has(Flags::OTHER_LAYOUT));
    assert_eq!(scale.changes(), 3, "nothing turns the number back");
    let flash = scale.into_storage();
    assert_ne!(flash.slots[0], older);
    assert_eq!(flash.slots[1], newer);
    let scale = start(flash);
    assert_eq!(scale.table().unwrap().knots(), knots());
    let flags = scale.state(0).flags;
    assert!(!flags.any(Flags::OTHER_LAYOUT.with(Flags::FELL_BACK)));
}

/// A newer firmware stored its table in another layout, and the older one is back on
/// the chip: it weighs with what it can read, and says so.
#[test]
fn an_older_record_beside_a_newer_one_in_another_layout_is_told() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    let mut flash = scale.into_storage();
    let old_knots = knots();
    in_another_layout(&mut flash.slots[1]);
    let mut scale = start(flash);
    assert_eq!(scale.table().unwrap().knots(), old_knots);
    assert!(scale.state(0).flags.has(Flags::FELL_BACK));
    Laptop::new()
        .transfer(&mut scale, kitchen(), ZERO, &many())
        .unwrap();
    assert_eq!(scale.changes(), 3);
    let scale = start(scale.into_storage());
    assert_eq!(scale.table().unwrap().knots(), many());
    assert!(!scale.state(0).flags.has(Flags::FELL_BACK));
}
