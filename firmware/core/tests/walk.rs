//! A calibration at the scale: the way it should go, and all that goes wrong.

mod common;

use common::*;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::instrument::Event;
use scalewright_core::walk::{MOST_LOADS, Stage, Taken, Trouble, Walk, settings_of, table_of};
use scalewright_protocol::message::{Answer, Ask, CaptureOrder, EventKind, Flags, Refusal};
use scalewright_protocol::settings::{Settings, SettingsFault};
use scalewright_protocol::table::{Knot, Table, TableFault};
use scalewright_protocol::units::CODE_MAX;

/// A person with weights before a scale: 420 counts a gram, bent by 4.8 g of 6 kg.
struct Bench {
    scale: Scale,
    walk: Walk,
    now_ms: u32,
    load_g: f64,
    /// Turns the signal round, as exchanged wires do.
    sign: f64,
    zero: f64,
}

/// Settings of Max 6 kg, d = 2 g: quanta of 2 mg.
fn six_kg() -> Settings {
    settings_of(&kitchen(), 2_000_000, 3000)
}

const G: i32 = 500;

impl Bench {
    fn new() -> Self {
        Self::over(start(Flash::new(512)))
    }

    fn over(scale: Scale) -> Self {
        Self {
            scale,
            walk: Walk::new(),
            now_ms: 0,
            load_g: 0.0,
            sign: 1.0,
            zero: 50_000.0,
        }
    }

    fn signal(&self) -> f64 {
        let x = self.load_g / 6000.0;
        self.zero + self.sign * 420.0 * (self.load_g + 4.8 * 4.0 * x * (1.0 - x))
    }

    /// Lets time pass with what lies on the pan; a conversion's noise of a few counts.
    fn pass(&mut self, s: f64) {
        for n in 0..(s * 10.0) as u32 {
            let noise = [1, -2, 1, -1, 2, -1, -1, 1][n as usize % 8];
            let code = self.signal().round() as i32 + noise;
            self.feed(Ok(Conversion::settled(code)));
        }
    }

    fn feed(&mut self, sample: Result<Conversion, BridgeFault>) {
        self.now_ms += 100;
        self.scale.handle(self.now_ms, Event::Sample(sample));
        self.walk.watch(&mut self.scale);
    }

    fn open(&mut self) {
        self.walk.begin(&mut self.scale, six_kg()).expect("begins");
        assert_eq!(self.walk.stage(), Stage::EmptyPan);
    }

    fn begin(&mut self) {
        self.open();
        self.zero();
    }

    fn zero(&mut self) {
        self.call_empty(0.0);
    }

    /// Says that the pan is empty while so much lies there.
    fn call_empty(&mut self, left_g: f64) {
        self.load_g = left_g;
        self.pass(2.0);
        self.walk.pan_is_empty(&mut self.scale);
        self.pass(9.0);
    }

    /// Chooses a load and puts it on.
    fn take(&mut self, said_g: i32, real_g: f64) {
        self.walk.choose(said_g * G);
        assert_eq!(self.walk.stage(), Stage::PutOn(said_g * G));
        self.pass(1.0);
        self.load_g = real_g;
        self.pass(12.0);
    }

    /// The same on a scale whose old table is of another cell.
    fn take_all_the_same(&mut self, load_g: i32) {
        self.take(load_g, f64::from(load_g));
        self.walk.believe(&mut self.scale);
    }

    fn taken_g(&self) -> Vec<i32> {
        self.walk
            .loads()
            .iter()
            .map(|taken| taken.mass / G)
            .collect()
    }

    fn finish(&mut self) {
        self.walk.finish();
        assert_eq!(self.walk.stage(), Stage::EmptyAgain);
        self.zero();
    }

    /// Switched off and on.
    fn restarted(self) -> Self {
        let mut after = Self::over(start(self.scale.into_storage().revived()));
        after.load_g = self.load_g;
        after.zero = self.zero;
        after
    }

    /// Largest error of the scale over its range, g.
    fn worst_g(&mut self) -> f64 {
        let table: Table<16> = self.scale.table().expect("a table").clone();
        let zero = self.scale.state(0).zero_counts;
        (0..=120)
            .map(|n| {
                self.load_g = f64::from(n) * 50.0;
                let net = self.signal().round() as i32 - zero;
                (f64::from(table.lookup(net).mass) / f64::from(G) - self.load_g).abs()
            })
            .fold(0.0, f64::max)
    }
}

#[test]
fn from_zero_to_a_table_in_force() {
    let mut bench = Bench::new();
    bench.begin();
    for load_g in [1000, 2000, 4000, 6000] {
        bench.take(load_g, f64::from(load_g));
        assert_eq!(bench.walk.stage(), Stage::Choose, "{load_g}");
    }
    bench.finish();
    assert_eq!(bench.walk.stage(), Stage::Summary);
    let summary = bench.walk.summary();
    assert_eq!((summary.loads, summary.largest), (4, 6000 * G));
    // 4.8 g in the middle; of these loads 2 kg and 4 kg lie nearest to it, where the
    // cell shows 4.3 g too much.
    assert!(
        (f64::from(summary.off_line) / f64::from(G) + 4.27).abs() < 0.05,
        "{summary:?}"
    );
    assert!([2000 * G, 4000 * G].contains(&summary.off_line_at));
    assert!(summary.zero_moved.abs() < G / 10, "{summary:?}");
    assert!(bench.scale.table().is_none(), "nothing changed so far");
    bench.walk.accept(&mut bench.scale);
    assert_eq!(bench.walk.stage(), Stage::Done);
    let d = f64::from(six_kg().d) / f64::from(G);
    assert!(bench.worst_g() < 0.1 * d, "{} g", bench.worst_g());
    // As it would be after a restart, and counted.
    let told = *bench.scale.settings();
    let knots = bench.scale.table().expect("a table").knots().to_vec();
    let mut again = bench.restarted();
    assert_eq!(again.scale.table().expect("a table").knots(), knots);
    assert_eq!(*again.scale.settings(), told);
    assert_eq!(told, six_kg());
    let event = Laptop::new().ask(&mut again.scale, 0, Ask::Event { back: 0 });
    let Ok(Answer::Event(Some(event))) = event else {
        panic!("{event:?}")
    };
    assert_eq!((event.kind, event.counter), (EventKind::MadeHere, 1));
    assert!(!Walk::is_interrupted(&mut again.scale));
}

#[test]
fn loads_in_any_order_make_the_same_table() {
    let run = |order: [i32; 4]| {
        let mut bench = Bench::new();
        bench.begin();
        for load_g in order {
            bench.take(load_g, f64::from(load_g));
        }
        bench.finish();
        bench.walk.accept(&mut bench.scale);
        bench.scale.table().expect("a table").knots().to_vec()
    };
    let rising = run([500, 2000, 4000, 6000]);
    let falling = run([6000, 4000, 2000, 500]);
    assert_eq!(rising.len(), falling.len());
    for (a, b) in rising.iter().zip(&falling) {
        assert!((a.counts - b.counts).abs() <= 2 && (a.mass - b.mass).abs() <= 4);
    }
}

#[test]
fn a_wrong_load_is_asked_about() {
    let mut bench = Bench::new();
    bench.begin();
    bench.take(2000, 2000.0);
    // 4 kg is said, 5 kg put on.
    bench.take(4000, 5000.0);
    let Stage::LooksLike { said, reads } = bench.walk.stage() else {
        panic!("{:?}", bench.walk.stage())
    };
    assert_eq!(said, 4000 * G);
    assert!((reads - 5000 * G).abs() < 10 * G, "{reads}");
    // It was a slip of the finger: the same load by its right name.
    bench.walk.another(&mut bench.scale);
    bench.walk.choose(5000 * G);
    bench.pass(8.0);
    assert_eq!(bench.taken_g(), [2000, 5000]);
    // Believed all the same, it ruins the table, and that is said.
    bench.take(3000, 500.0);
    assert!(matches!(bench.walk.stage(), Stage::LooksLike { .. }));
    bench.walk.believe(&mut bench.scale);
    assert_eq!(bench.taken_g(), [2000, 5000, 3000]);
    bench.finish();
    assert!(
        matches!(
            bench.walk.stage(),
            Stage::Trouble(Trouble::Table(TableFault::CountsOrder { .. }))
        ),
        "{:?}",
        bench.walk.stage()
    );
    bench.walk.again();
    assert_eq!(bench.walk.stage(), Stage::Choose);
    assert!(bench.walk.undo(&mut bench.scale));
    assert_eq!(bench.taken_g(), [2000, 5000]);
    bench.finish();
    assert_eq!(bench.walk.stage(), Stage::Summary);
}

/// Before the first load there is nothing to go by but the table in force.
#[test]
fn the_first_load_is_held_against_the_table_in_force() {
    let mut bench = Bench::new();
    bench.begin();
    bench.take(2000, 3000.0);
    assert_eq!(bench.taken_g(), [2000], "no table, no doubt");
    let mut bench = Bench::new();
    bench.begin();
    bench.take(6000, 6000.0);
    bench.finish();
    bench.walk.accept(&mut bench.scale);
    bench.begin();
    bench.take(2000, 3000.0);
    assert!(
        matches!(bench.walk.stage(), Stage::LooksLike { reads, .. } if (reads - 3000 * G).abs() < 10 * G),
        "{:?}",
        bench.walk.stage()
    );
}

/// Zero is judged by the table in force before the first load, by the loads after it,
/// and after a power cut by the zero before it; above 5 d it is asked about.
#[test]
fn a_pan_that_is_not_empty_is_asked_about() {
    fn asked_g(bench: &Bench) -> Option<f64> {
        match bench.walk.stage() {
            Stage::NotEmpty(reads) => Some(f64::from(reads) / f64::from(G)),
            _ => None,
        }
    }
    let near = |asked: Option<f64>, g: f64| asked.is_some_and(|it| (it - g).abs() < 5.0);
    let mut bench = Bench::new();
    bench.open();
    bench.call_empty(700.0);
    assert_eq!(bench.walk.stage(), Stage::Choose, "nothing is known of it");
    bench.walk.quit(&mut bench.scale);
    bench.begin();
    bench.take(2000, 2000.0);
    bench.take(6000, 6000.0);
    bench.walk.finish();
    for left_g in [6000.0, 500.0, 12.0] {
        bench.call_empty(left_g);
        assert!(near(asked_g(&bench), left_g), "{left_g}");
        bench.walk.again();
        assert_eq!(bench.walk.stage(), Stage::EmptyAgain);
    }
    // A power cut, and somebody leans on it while zero is taken anew.
    let mut bench = bench.restarted();
    bench.walk.resume(&mut bench.scale).expect("goes on");
    bench.call_empty(300.0);
    assert!(near(asked_g(&bench), 300.0), "{:?}", bench.walk.stage());
    bench.walk.again();
    assert_eq!(bench.walk.stage(), Stage::EmptyPan);
    bench.call_empty(8.0);
    assert_eq!(bench.walk.stage(), Stage::Choose, "it drifted by 4 d");
    bench.walk.finish();
    // It was not quite empty before, and is now.
    bench.call_empty(-8.0);
    assert!(near(asked_g(&bench), -16.0), "{:?}", bench.walk.stage());
    bench.walk.believe_empty(&mut bench.scale);
    assert_eq!(bench.walk.stage(), Stage::Summary);
    let moved_g = f64::from(bench.walk.summary().zero_moved) / f64::from(G);
    assert!((moved_g + 16.0).abs() < 1.0, "{moved_g}");
    bench.walk.accept(&mut bench.scale);
    assert_eq!(bench.walk.stage(), Stage::Done);
    // From now on the table in force knows.
    bench.open();
    bench.call_empty(700.0);
    assert!(near(asked_g(&bench), 708.0), "{:?}", bench.walk.stage());
    bench.walk.believe_empty(&mut bench.scale);
    assert_eq!(bench.walk.stage(), Stage::Choose);
    bench.take(2000, 2700.0);
    assert_eq!(bench.taken_g(), [2000], "above the pan that it was told of");
}

/// What lay there when zero was taken is lifted off: not the wires' fault.
#[test]
fn a_false_zero_is_begun_anew() {
    let mut bench = Bench::new();
    bench.begin();
    bench.take(2000, 2000.0);
    bench.walk.quit(&mut bench.scale);
    bench.open();
    bench.call_empty(900.0);
    bench.take(3000, 3900.0);
    bench.take(1000, 0.0);
    assert_eq!(bench.walk.stage(), Stage::Trouble(Trouble::Falling));
    bench.walk.anew(&mut bench.scale);
    assert_eq!(bench.walk.stage(), Stage::EmptyPan);
    assert!(bench.taken_g().is_empty());
    bench.zero();
    bench.take(2000, 2000.0);
    // A power cut brings back nothing of before.
    let mut bench = bench.restarted();
    bench.walk.resume(&mut bench.scale).expect("goes on");
    assert_eq!(bench.taken_g(), [2000]);
    // Only there: elsewhere it does nothing.
    bench.walk.anew(&mut bench.scale);
    assert_eq!(bench.taken_g(), [2000]);
}

/// 5 d, a fortieth of the load, and a part in 200 of the largest: whichever says so.
#[test]
fn a_load_is_doubted_by_what_a_cell_can_bend() {
    for (said_g, real_g, doubted, too_bent) in [
        (5000, 4900.0, true, true),
        (5000, 4960.0, true, true),
        (5000, 4990.0, false, false),
        (500, 480.0, true, false),
        (500, 495.0, false, false),
        (100, 120.0, true, false),
        (100, 92.0, false, false),
    ] {
        let mut bench = Bench::new();
        bench.begin();
        bench.take(6000, 6000.0);
        bench.take(said_g, real_g);
        let asked = matches!(bench.walk.stage(), Stage::LooksLike { .. });
        assert_eq!(asked, doubted, "{said_g} g said, {real_g} g there");
        bench.walk.believe(&mut bench.scale);
        bench.finish();
        let summary = bench.walk.summary();
        assert_eq!(summary.too_bent, too_bent, "{summary:?}");
    }
}

#[test]
fn a_load_that_goes_while_it_is_taken_is_waited_for_again() {
    let mut bench = Bench::new();
    bench.begin();
    bench.walk.choose(2000 * G);
    bench.load_g = 2000.0;
    while bench.walk.stage() != Stage::Taking(2000 * G) {
        bench.pass(0.1);
    }
    bench.pass(0.6);
    bench.load_g = 0.0;
    bench.pass(10.0);
    assert_eq!(bench.walk.stage(), Stage::PutOn(2000 * G));
    bench.load_g = 2000.0;
    bench.pass(8.0);
    assert_eq!(bench.taken_g(), [2000]);
}

#[test]
fn the_load_before_is_not_taken_twice() {
    let mut bench = Bench::new();
    bench.begin();
    bench.take(2000, 2000.0);
    bench.walk.choose(4000 * G);
    bench.pass(30.0);
    assert_eq!(
        bench.walk.stage(),
        Stage::PutOn(4000 * G),
        "2 kg lie there still"
    );
    bench.load_g = 0.0;
    bench.pass(30.0);
    assert_eq!(
        bench.walk.stage(),
        Stage::PutOn(4000 * G),
        "nor the empty pan"
    );
    bench.load_g = 4000.0;
    bench.pass(8.0);
    assert_eq!(bench.taken_g(), [2000, 4000]);
}

#[test]
fn a_silent_converter_is_waited_for_and_then_told() {
    let mut bench = Bench::new();
    bench.begin();
    bench.take(2000, 2000.0);
    bench.walk.choose(4000 * G);
    bench.load_g = 4000.0;
    bench.pass(2.0);
    for _ in 0..20 {
        bench.feed(Err(BridgeFault::Silent));
    }
    assert!(bench.scale.state(0).flags.has(Flags::ADC_SILENT));
    assert!(bench.taken_g() == [2000], "nothing is made up");
    bench.pass(10.0);
    assert_eq!(bench.taken_g(), [2000, 4000], "it came back");
    // Gone for longer than anybody waits.
    bench.walk.choose(6000 * G);
    bench.load_g = 6000.0;
    while bench.walk.stage() != Stage::Taking(6000 * G) {
        bench.pass(0.1);
    }
    for _ in 0..700 {
        bench.feed(Err(BridgeFault::Silent));
    }
    assert!(
        matches!(bench.walk.stage(), Stage::Trouble(Trouble::Capture(_))),
        "{:?}",
        bench.walk.stage()
    );
    bench.walk.again();
    bench.pass(10.0);
    assert_eq!(bench.taken_g(), [2000, 4000, 6000]);
}

#[test]
fn exchanged_wires_and_the_end_of_the_range_are_named() {
    let mut bench = Bench::new();
    bench.sign = -1.0;
    bench.begin();
    bench.take(2000, 2000.0);
    assert_eq!(bench.walk.stage(), Stage::Trouble(Trouble::Falling));
    let mut bench = Bench::new();
    bench.zero = f64::from(CODE_MAX) - 400_000.0;
    bench.begin();
    bench.walk.choose(6000 * G);
    for _ in 0..100 {
        bench.feed(Ok(Conversion {
            saturated: true,
            ..Conversion::settled(CODE_MAX)
        }));
    }
    assert_eq!(bench.walk.stage(), Stage::Trouble(Trouble::Saturated));
}

#[test]
fn choices_that_make_no_sense_change_nothing() {
    let mut bench = Bench::new();
    bench.walk.choose(1000 * G);
    bench.walk.finish();
    bench.walk.accept(&mut bench.scale);
    bench.walk.again();
    bench.walk.believe(&mut bench.scale);
    assert!(!bench.walk.undo(&mut bench.scale));
    assert_eq!(bench.walk.stage(), Stage::Off);
    bench.begin();
    for mass in [0, -1, i32::MIN, i32::MAX, 6100 * G] {
        bench.walk.choose(mass);
        assert_eq!(bench.walk.stage(), Stage::Choose, "{mass}");
    }
    bench.walk.finish();
    assert_eq!(bench.walk.stage(), Stage::Choose, "no load yet");
    assert!(!bench.walk.undo(&mut bench.scale));
    for n in 1..=MOST_LOADS as i32 {
        bench.take(n * 400, f64::from(n) * 400.0);
    }
    bench.walk.choose(5500 * G);
    assert_eq!(bench.walk.stage(), Stage::Choose, "no room");
    bench.finish();
    assert_eq!(bench.walk.stage(), Stage::Summary);
    let nonsense = Settings { max: 5, ..six_kg() };
    assert_eq!(
        Walk::new().begin(&mut bench.scale, nonsense),
        Err(Refusal::Settings(SettingsFault::Capacity))
    );
}

#[test]
fn the_line_is_refused_what_would_disturb() {
    let mut bench = Bench::new();
    let mut laptop = Laptop::new();
    bench.begin();
    let order = CaptureOrder {
        samples: 4,
        rest_counts: 0,
        patience_ms: 1000,
    };
    for ask in [
        Ask::Capture(order),
        Ask::SetSettings(kitchen()),
        Ask::RollBack,
        Ask::StageCommit,
        Ask::StageTry,
    ] {
        let now_ms = bench.now_ms;
        let refused = laptop.ask(&mut bench.scale, now_ms, ask.clone());
        assert_eq!(refused, Err(Refusal::Busy), "{ask:?}");
    }
    // Reading goes on; and a cancel from there is got over.
    laptop.state(&mut bench.scale, bench.now_ms);
    bench.walk.choose(2000 * G);
    bench.load_g = 2000.0;
    while bench.walk.stage() != Stage::Taking(2000 * G) {
        bench.pass(0.1);
    }
    let now_ms = bench.now_ms;
    laptop
        .ask(&mut bench.scale, now_ms, Ask::CaptureCancel)
        .expect("allowed");
    bench.pass(0.1);
    assert!(matches!(bench.walk.stage(), Stage::Trouble(_)));
    bench.walk.again();
    bench.pass(8.0);
    assert_eq!(bench.taken_g(), [2000]);
    bench.walk.quit(&mut bench.scale);
    let now_ms = bench.now_ms;
    laptop
        .ask(&mut bench.scale, now_ms, Ask::Capture(order))
        .expect("free again");
    assert!(!Walk::is_interrupted(&mut bench.scale));
}

#[test]
fn a_sealed_scale_is_not_calibrated() {
    let (mut scale, mut laptop) = calibrated();
    laptop
        .ask(&mut scale, 0, Ask::SetSettings(sealed()))
        .expect("sealed");
    let mut bench = Bench::over(scale);
    assert_eq!(
        bench.walk.begin(&mut bench.scale, six_kg()),
        Err(Refusal::Sealed)
    );
    bench.scale.unlock();
    bench.begin();
}

/// The power goes at every step, and at every byte that is written at it: the old
/// table is in force and the walk goes on with what was taken, or the new one is.
#[test]
fn the_power_may_go_at_any_moment() {
    let steps: [fn(&mut Bench); 7] = [
        |bench| bench.begin(),
        |bench| bench.take_all_the_same(2000),
        |bench| bench.take_all_the_same(3000),
        |bench| {
            bench.walk.undo(&mut bench.scale);
        },
        |bench| bench.take_all_the_same(6000),
        |bench| bench.finish(),
        |bench| bench.walk.accept(&mut bench.scale),
    ];
    let after: [&[i32]; 7] = [
        &[],
        &[2000],
        &[2000, 3000],
        &[2000],
        &[2000, 6000],
        &[2000, 6000],
        &[],
    ];
    let (scale, _) = calibrated();
    let old = scale.table().expect("a table").knots().to_vec();
    let mut flash = scale.into_storage();
    for (at, step) in steps.iter().enumerate() {
        let run = |fuel: Option<usize>| {
            let mut bench = Bench::over(start(flash.clone()));
            for earlier in &steps[..at] {
                earlier(&mut bench);
            }
            // Only this step's bytes count.
            let mut storage = bench.scale.storage().clone();
            storage.used = 0;
            storage.fuel = fuel;
            *bench.scale.storage() = storage;
            step(&mut bench);
            bench
        };
        let whole = run(None);
        let bytes = whole.scale.into_storage().used;
        // Every byte but of the long erase, which power_cut.rs goes through.
        let cuts = (1..=bytes).filter(|n| bytes < 200 || n % 29 == 0 || n + 120 > bytes);
        for fuel in cuts.chain([bytes + 1]) {
            let bench = run(Some(fuel)).restarted();
            let mut bench = bench;
            let is_old = bench.scale.table().expect("a table").knots() == old;
            assert!(is_old || at == 6, "step {at}, cut at {fuel}");
            assert!(!bench.scale.state(0).flags.has(Flags::FELL_BACK));
            if !Walk::is_interrupted(&mut bench.scale) {
                // It never began, or is over.
                assert!(at == 0 || at == 6, "step {at}, cut at {fuel}");
                continue;
            }
            bench.walk.resume(&mut bench.scale).expect("goes on");
            let found = bench.taken_g();
            let before = at.checked_sub(1).map_or(&[][..], |at| after[at]);
            assert!(
                found == before || found == after[at],
                "step {at}, cut at {fuel}: {found:?}"
            );
            if fuel % 7 == 0 {
                bench.zero();
                if at < 6 {
                    bench.take_all_the_same(5000);
                }
                bench.finish();
                bench.walk.accept(&mut bench.scale);
                assert_eq!(bench.walk.stage(), Stage::Done, "step {at}, cut at {fuel}");
                let error_g = bench.worst_g();
                // With a single load nothing is known of the bend of 4.8 g.
                assert!(error_g < 4.0, "{error_g}");
            }
        }
        flash.used = 0;
    }
}

#[test]
fn equal_loads_count_once_at_their_mean() {
    let taken = |mass, counts| Taken {
        mass,
        counts,
        sd_q8: 0,
    };
    let loads = [
        taken(500_000, 420_004),
        taken(1_000_000, 840_000),
        taken(500_000, 419_999),
    ];
    let knots = table_of::<16>(&loads, &six_kg()).expect("a table");
    assert!(knots.contains(&Knot {
        counts: 420_002,
        mass: 500_000
    }));
}

#[test]
fn settings_follow_from_max_and_d() {
    for (d_ug, intervals) in [
        (2_000_000, 3000),
        (1_000, 1000),
        (500, 100),
        (100_000_000, 5000),
    ] {
        let settings = settings_of(&kitchen(), d_ug, intervals);
        assert_eq!(settings.check(), Ok(()));
        let ug =
            |quanta: i32| u64::try_from(quanta).expect("positive") * u64::from(settings.quantum_ug);
        assert_eq!(ug(settings.d), u64::from(d_ug));
        assert_eq!(ug(settings.max), u64::from(d_ug) * u64::from(intervals));
    }
    assert!(settings_of(&kitchen(), 0, 3000).check().is_err());
    assert!(settings_of(&kitchen(), u32::MAX, u32::MAX).check().is_err());
}
