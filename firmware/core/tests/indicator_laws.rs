//! Whatever keys are pressed whenever, whatever the scale says: no panic, always a
//! way back, and what is shown is what would be drawn at once.

mod common;
mod glass;

use common::*;
use glass::Glass;
use proptest::prelude::*;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::indicator::{Guest, Indicator, Leaf, Light, PATIENCE_MS, Screen};
use scalewright_core::instrument::Event;
use scalewright_protocol::message::Ask;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Knot;

#[derive(Clone, Debug)]
enum Step {
    /// Keys down for so long, ms, then none for 60 ms.
    Keys(u8, u32),
    /// Samples at 10 a second, the last of so many codes swinging.
    Load(i32, u8),
    Fault(bool),
    Saturated,
    Pass(u32),
    Ask(Ask),
    /// Tiles sent, then the picture is left half painted.
    Paint(u8),
    Unplugged,
    Guest(bool),
    Settings(Settings),
}

fn settings() -> impl Strategy<Value = Settings> {
    (
        prop_oneof![1u32..100, 1000u32..100_000, any::<u32>()],
        100i32..5000,
        1i32..5000,
        100i32..100_000,
    )
        .prop_map(|(quantum_ug, e, d, n)| Settings {
            quantum_ug: quantum_ug.max(1),
            max: e.saturating_mul(n).min(Settings::MAX_QUANTA),
            e,
            d: d.min(e),
            ..kitchen()
        })
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        // Mostly one key, long enough to count, at times held.
        12 => (0u8..3, 30u32..200).prop_map(|(key, ms)| Step::Keys(1 << key, ms)),
        2 => (0u8..3, 200u32..6000).prop_map(|(key, ms)| Step::Keys(1 << key, ms)),
        2 => (any::<u8>(), 0u32..400).prop_map(|(keys, ms)| Step::Keys(keys, ms)),
        6 => (-8000i32..70_000, 1u8..40).prop_map(|(counts, n)| Step::Load(counts, n)),
        1 => (any::<i32>(), 1u8..20).prop_map(|(counts, n)| Step::Load(counts >> 8, n)),
        1 => any::<bool>().prop_map(Step::Fault),
        1 => Just(Step::Saturated),
        2 => prop_oneof![0u32..5000, any::<u32>()].prop_map(Step::Pass),
        1 => prop_oneof![
            Just(Ask::Tare), Just(Ask::ClearTare), Just(Ask::SetZero), Just(Ask::RollBack),
        ].prop_map(Step::Ask),
        3 => (0u8..100).prop_map(Step::Paint),
        1 => Just(Step::Unplugged),
        1 => any::<bool>().prop_map(Step::Guest),
        1 => settings().prop_map(Step::Settings),
    ]
}

const PAGE: Guest<'static> = Guest::Leaf(Leaf {
    title: "calibrate",
    step: "3 of 7",
    large: "put on 2 kg",
    lines: ["waiting until it rests", ""],
    progress: Some(77),
    keys: ["", "redo", "stop"],
});

struct Run {
    scale: Scale,
    laptop: Laptop,
    indicator: Indicator,
    glass: Glass,
    now_ms: u32,
}

impl Run {
    fn guest(&self) -> Option<&'static Guest<'static>> {
        (self.indicator.screen() == Screen::Guest).then_some(&PAGE)
    }

    fn turn(&mut self, down: u8) {
        let before = self.indicator.screen();
        let press = self.indicator.turn(self.now_ms, down, &mut self.scale);
        assert!(press.is_none() || before == Screen::Guest);
    }

    fn keys(&mut self, down: u8, ms: u32) {
        for _ in 0..ms.div_ceil(10) {
            self.now_ms = self.now_ms.wrapping_add(10);
            self.turn(down);
        }
    }

    fn sample(&mut self, sample: Result<Conversion, BridgeFault>) {
        self.now_ms = self.now_ms.wrapping_add(100);
        self.scale.handle(self.now_ms, Event::Sample(sample));
        self.turn(0);
    }

    fn step(&mut self, step: Step) {
        match step {
            Step::Keys(down, ms) => {
                self.keys(down, ms);
                self.keys(0, 60);
            }
            Step::Load(counts, n) => {
                for at in 0..n {
                    let swing = i32::from(at % 3);
                    self.sample(Ok(Conversion::settled(ZERO + counts + swing)));
                }
            }
            Step::Fault(silent) => self.sample(Err(if silent {
                BridgeFault::Silent
            } else {
                BridgeFault::Stuck
            })),
            Step::Saturated => {
                for _ in 0..5 {
                    self.sample(Ok(Conversion {
                        saturated: true,
                        ..Conversion::settled(8_388_607)
                    }));
                }
            }
            Step::Pass(ms) => {
                self.now_ms = self.now_ms.wrapping_add(ms);
                self.turn(0);
            }
            Step::Ask(ask) => {
                let _ = self.laptop.ask(&mut self.scale, self.now_ms, ask);
            }
            Step::Paint(tiles) => {
                for _ in 0..tiles {
                    if let Some(tile) = self.indicator.paint(self.now_ms, &self.scale, self.guest())
                    {
                        self.glass.take(&tile);
                    }
                }
            }
            Step::Unplugged => {
                self.glass = Glass::new();
                self.indicator.repaint();
            }
            Step::Guest(here) => {
                if here {
                    self.indicator.admit();
                } else {
                    self.indicator.dismiss();
                }
            }
            Step::Settings(settings) => {
                let table: Vec<Knot> = knots();
                let _ = self
                    .laptop
                    .transfer(&mut self.scale, settings, ZERO, &table);
            }
        }
    }

    /// Painted to the end it is what would be drawn at once. (Texts too long for
    /// settings out of all proportion may be cut here; `screens.rs` forbids it for
    /// such as people have.)
    fn agrees(&mut self) {
        // Looked at anew, and not within the rest after the last look.
        self.now_ms = self.now_ms.wrapping_add(100);
        self.turn(0);
        let guest = self.guest();
        if self.indicator.light() == Light::Off {
            assert_eq!(self.indicator.paint(self.now_ms, &self.scale, guest), None);
            return;
        }
        // A round of looks that was under way when something changed may end before
        // it is seen; the next one begins after a short rest.
        for _ in 0..2 {
            self.now_ms = self.now_ms.wrapping_add(100);
            self.glass
                .settle(&mut self.indicator, &self.scale, self.now_ms, guest);
        }
        for page in 0..8 {
            let strip = self.indicator.page(self.now_ms, &self.scale, guest, page);
            assert_eq!(
                self.glass.0[usize::from(page)],
                *strip.columns(),
                "page {page}"
            );
        }
    }

    fn press(&mut self, key: u8) {
        self.keys(0, 60);
        self.keys(1 << key, 60);
        self.keys(0, 60);
    }
}

fn run(begin_ms: u32, steps: Vec<Step>, sealed: bool) -> Run {
    let (mut scale, mut laptop) = calibrated();
    if sealed {
        let _ = laptop.transfer(&mut scale, common::sealed(), ZERO, &knots());
    }
    scale.handle(begin_ms, Event::Tick);
    let mut run = Run {
        scale,
        laptop,
        indicator: Indicator::new(begin_ms),
        glass: Glass::new(),
        now_ms: begin_ms,
    };
    for step in steps {
        run.step(step);
    }
    run
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn tiles_agree_with_a_full_redraw(
        begin_ms: u32, steps in prop::collection::vec(step(), 0..80), sealed: bool,
    ) {
        let mut run = run(begin_ms, steps, sealed);
        run.agrees();
    }

    /// The right key leads back from every screen: digits of a number, a sample, a
    /// list, the menu.
    #[test]
    fn there_is_always_a_way_back(begin_ms: u32, steps in prop::collection::vec(step(), 0..80)) {
        let mut run = run(begin_ms, steps, false);
        if run.indicator.screen() == Screen::Guest {
            run.indicator.dismiss();
        }
        // It may have to wake first.
        run.press(2);
        let mut presses = 0;
        while run.indicator.screen() != Screen::Weighing {
            run.press(2);
            presses += 1;
            prop_assert!(presses < 30, "{:?}", run.indicator.screen());
        }
        run.agrees();
    }

    /// Left alone, every screen goes back to weighing, and what is in force stays.
    #[test]
    fn left_alone_it_weighs(begin_ms: u32, steps in prop::collection::vec(step(), 0..60)) {
        let mut run = run(begin_ms, steps, false);
        if run.indicator.screen() == Screen::Guest {
            run.indicator.dismiss();
        }
        // Settings may have come a moment ago.
        run.turn(0);
        let (tare, chosen) = (run.scale.tare(), *run.indicator.preferences());
        let averaging = run.indicator.screen() == Screen::Sample;
        run.keys(0, PATIENCE_MS);
        prop_assert_eq!(run.indicator.screen(), Screen::Weighing);
        prop_assert_eq!(run.scale.tare(), tare);
        prop_assert!(averaging || *run.indicator.preferences() == chosen);
        run.agrees();
    }
}
