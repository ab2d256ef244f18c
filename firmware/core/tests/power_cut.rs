//! Power cuts, enumerated: after every single byte of every erase and write the
//! scale is switched off and on, and must hold the record from before or the
//! one from after, nothing else. Then the same again with a second cut while
//! the interrupted work is repeated.

mod common;

use common::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use scalewright_core::notebook::ENTRY_BYTES;
use scalewright_protocol::message::{Answer, Ask, Flags, Refusal};
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

/// A slot just large enough for the tables used here, so that every cut of
/// every cut can be tried.
const SLOT: usize = 192 + 4 * 8;

/// A record as it is told over the line.
type Told = (Settings, i32, Vec<Knot>);

fn told(scale: &Scale) -> Told {
    let knots = scale.table().map_or(Vec::new(), |t| t.knots().to_vec());
    (*scale.settings(), scale.state(0).zero_counts, knots)
}

fn other_settings() -> Settings {
    Settings {
        d: 200,
        rest_ms: 2000,
        loop_gain: 99,
        ..kitchen()
    }
}

fn second_table() -> Vec<Knot> {
    vec![
        Knot {
            counts: -100,
            mass: -1000,
        },
        Knot { counts: 0, mass: 0 },
        Knot {
            counts: 33_000,
            mass: 331_000,
        },
        Knot {
            counts: 66_000,
            mass: 660_000,
        },
    ]
}

#[derive(Clone, Copy, Debug)]
enum Work {
    Transfer,
    Settings,
    RollBack,
}

const ALL: [Work; 3] = [Work::Transfer, Work::Settings, Work::RollBack];

impl Work {
    fn run(self, scale: &mut Scale) -> Result<Answer, Refusal> {
        let mut laptop = Laptop::new();
        match self {
            Self::Transfer => {
                let settings = Settings {
                    e: 500,
                    // Both bytes differ from any number beside them.
                    loop_gain: 0x1A5,
                    ..kitchen()
                };
                laptop.transfer(scale, settings, ZERO - 9, &second_table())
            }
            Self::Settings => laptop.ask(scale, 0, Ask::SetSettings(other_settings())),
            Self::RollBack => laptop.ask(scale, 0, Ask::RollBack),
        }
    }
}

/// Random content, then two records: so there is one to roll back to.
fn prepared(seed: u64) -> Flash {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut random = || (0..SLOT).map(|_| rng.random()).collect::<Vec<u8>>();
    let flash = Flash::with(random(), random());
    let mut scale = start(flash);
    assert!(scale.table().is_none(), "noise is no record");
    assert!(!scale.state(0).flags.has(Flags::FELL_BACK));
    let mut laptop = Laptop::new();
    laptop
        .transfer(&mut scale, kitchen(), ZERO, &knots())
        .unwrap();
    laptop
        .transfer(&mut scale, kitchen(), ZERO + 5, &second_table())
        .unwrap();
    scale.into_storage()
}

/// Records before and after, and the bytes of fuel the work takes.
fn ends(flash: &Flash, work: Work) -> (Told, Told, usize) {
    let mut flash = flash.clone();
    flash.used = 0;
    let mut scale = start(flash);
    let before = told(&scale);
    work.run(&mut scale).unwrap();
    let after = told(&scale);
    assert_ne!(before, after);
    (before, after, scale.into_storage().used)
}

/// Does the work with power for `fuel` bytes, and what a restart finds.
fn cut(flash: &Flash, work: Work, fuel: usize, before: &Told, after: &Told) -> Flash {
    let mut flash = flash.clone();
    flash.fuel = Some(fuel);
    let mut scale = start(flash);
    // With fuel for nothing at all even reading is over.
    let reply = (fuel > 0).then(|| work.run(&mut scale));
    let scale = start(scale.into_storage().revived());
    let found = told(&scale);
    if matches!(reply, Some(Ok(_))) {
        assert_eq!(&found, after, "{work:?} said stored, cut at {fuel}");
    } else {
        assert!(
            found == *before || found == *after,
            "{work:?} cut at {fuel} left {found:?}"
        );
    }
    assert!(
        !scale.state(0).flags.has(Flags::FELL_BACK),
        "{work:?} cut at {fuel}: a cut is no decay"
    );
    scale.into_storage()
}

#[test]
fn old_or_new_after_a_cut_at_every_byte_whatever_stood_there() {
    for seed in 0..6 {
        for order in [EraseOrder::Rising, EraseOrder::Falling, EraseOrder::Strided] {
            let mut flash = prepared(seed);
            flash.order = order;
            // All at once, as a flash does, or a few bytes at a time.
            flash.erase_step = if seed % 2 == 0 { usize::MAX } else { 8 };
            for work in ALL {
                let (before, after, bytes) = ends(&flash, work);
                assert!(bytes >= 48, "the header at least");
                let mut kept = 0;
                for fuel in 0..=bytes + 1 {
                    let left = cut(&flash, work, fuel, &before, &after);
                    kept += usize::from(told(&start(left)) == before);
                }
                // Only with the last byte of the record, or not at all, is it the
                // new one. The notebook's entry on it comes after.
                assert_eq!(kept, bytes - ENTRY_BYTES, "{work:?}, {order:?}");
            }
        }
    }
}

#[test]
fn a_second_cut_while_the_work_is_repeated_changes_nothing() {
    for order in [EraseOrder::Rising, EraseOrder::Falling, EraseOrder::Strided] {
        let mut flash = prepared(11);
        flash.order = order;
        for work in ALL {
            let (before, after, bytes) = ends(&flash, work);
            // From the header's last byte on the work is done; doing it again would
            // be something else.
            for first in (0..bytes - ENTRY_BYTES).step_by(3) {
                let left = cut(&flash, work, first, &before, &after);
                for second in (first % 5..=bytes).step_by(5) {
                    let left = cut(&left, work, second, &before, &after);
                    let mut scale = start(left);
                    if told(&scale) == before {
                        // Third time without a cut; whoever rolled back so often
                        // that no place is left is told so.
                        match work.run(&mut scale) {
                            Ok(_) => assert_eq!(told(&scale), after),
                            other => panic!("{work:?}: {other:?}"),
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn a_roll_back_cut_three_times_leaves_no_place_and_says_so() {
    let flash = prepared(12);
    let (before, after, bytes) = ends(&flash, Work::RollBack);
    let mut left = flash;
    for _ in 0..3 {
        left = cut(
            &left,
            Work::RollBack,
            bytes - ENTRY_BYTES - 1,
            &before,
            &after,
        );
    }
    let mut scale = start(left);
    assert_eq!(told(&scale), before);
    assert_eq!(
        Work::RollBack.run(&mut scale),
        Err(Refusal::NothingToRollBack)
    );
}

#[test]
fn the_first_record_of_a_new_scale_is_there_or_not() {
    for seed in 0..4 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut random = || (0..SLOT).map(|_| rng.random()).collect::<Vec<u8>>();
        let flash = Flash::with(random(), random());
        let (before, after, bytes) = ends(&flash, Work::Transfer);
        assert!(before.2.is_empty());
        for fuel in 0..=bytes {
            cut(&flash, Work::Transfer, fuel, &before, &after);
        }
    }
}
