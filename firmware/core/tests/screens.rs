//! Every screen of the indicator, as a person sees it.

mod common;
mod glass;

use common::*;
use glass::Glass;
use scalewright_core::bridge::{BridgeFault, Conversion};
use scalewright_core::functions::preferences::Preferences;
use scalewright_core::functions::unit::{Interval, Unit};
use scalewright_core::indicator::entry::{Entry, Question};
use scalewright_core::indicator::lists::List;
use scalewright_core::indicator::{Guest, Indicator, Key, Leaf, Light, Role, Screen};
use scalewright_core::instrument::Event;
use scalewright_core::notebook::Kind;
use scalewright_protocol::settings::{Conduct, Settings};

/// A scale, its indicator, and somebody in front of them.
struct Stand {
    scale: Scale,
    indicator: Indicator,
    glass: Glass,
    now_ms: u32,
    counts: i32,
}

impl Stand {
    fn with(settings: Settings) -> Self {
        let (mut scale, mut laptop) = calibrated();
        laptop
            .transfer(&mut scale, settings, ZERO, &knots())
            .expect("stored");
        Self::over(scale)
    }

    fn over(scale: Scale) -> Self {
        let mut stand = Self {
            scale,
            indicator: Indicator::new(0),
            glass: Glass::new(),
            now_ms: 0,
            counts: ZERO,
        };
        stand.pass(3000);
        stand
    }

    /// The kitchen's scale: Max 6 kg, d = 1 g, a gram about ten counts.
    fn new() -> Self {
        Self::with(kitchen())
    }

    /// Time goes by with the load as it is; ten samples a second.
    fn pass(&mut self, ms: u32) {
        for _ in 0..ms / 10 {
            self.now_ms = self.now_ms.wrapping_add(10);
            if self.now_ms.is_multiple_of(100) {
                let conversion = Conversion::settled(self.counts);
                self.scale
                    .handle(self.now_ms, Event::Sample(Ok(conversion)));
            }
            self.indicator.turn(self.now_ms, 0, &mut self.scale);
        }
    }

    fn load(&mut self, counts: i32) {
        self.counts = ZERO + counts;
        self.pass(3000);
    }

    fn hold(&mut self, key: Key, ms: u32) {
        for _ in 0..ms / 10 {
            self.now_ms = self.now_ms.wrapping_add(10);
            self.indicator
                .turn(self.now_ms, 1 << key.place(), &mut self.scale);
        }
        self.pass(60);
    }

    fn press(&mut self, key: Key) {
        self.hold(key, 60);
    }

    /// Presses the key above which this word stands.
    fn say(&mut self, word: &str) {
        self.look();
        let keys = self.glass.keys();
        let place = keys.iter().position(|key| key == word);
        let place = place.unwrap_or_else(|| panic!("no {word:?} among {keys:?}"));
        self.press([Key::Left, Key::Middle, Key::Right][place]);
    }

    /// Goes to an entry of the menu and chooses it.
    fn choose(&mut self, at: u8) {
        self.say("menu");
        self.choose_here(at);
    }

    fn choose_here(&mut self, at: u8) {
        for _ in 0..at {
            self.say("next");
        }
        self.look();
        let word = self.glass.keys()[1].clone();
        self.say(&word);
    }

    /// What stands there once everything is painted; as if drawn at once.
    fn look(&mut self) -> &Glass {
        self.glass
            .settle(&mut self.indicator, &self.scale, self.now_ms, None);
        let whole = Glass::redrawn(&self.indicator, &self.scale, self.now_ms, None);
        assert!(self.glass == whole, "tiles and a full redraw agree");
        &self.glass
    }

    fn keep(&mut self, name: &str) -> &Glass {
        self.look().keep(name);
        &self.glass
    }
}

const WEIGHING_KEYS: [&str; 3] = ["zero", "tare", "menu"];

#[test]
fn weighing() {
    let mut stand = Stand::new();
    let glass = stand.keep("01-weighing-empty");
    assert_eq!(glass.small(0), "at rest >0<");
    assert_eq!(glass.small(38), "Max 6000 g d 1 g");
    assert_eq!(glass.keys(), WEIGHING_KEYS);
    stand.say("tare");
    assert_eq!(
        stand.keep("02-nothing-to-tare").small(47),
        "nothing to tare is there"
    );
    stand.pass(5000);
    stand.load(30_000);
    assert_eq!(stand.keep("02-weighing").small(0), "at rest");
    stand.counts += 3000;
    stand.pass(300);
    assert_eq!(
        stand.keep("03-weighing-moving").small(0),
        "",
        "no mark while it moves"
    );
    stand.pass(3000);
    stand.say("tare");
    assert_eq!(stand.keep("04-tare-set").small(47), "tare set");
    stand.load(60_000);
    let glass = stand.keep("05-weighing-net");
    assert_eq!(glass.small(0), "at rest net");
    assert_eq!(glass.small(38), "gross 6002 tare 3309 g");
    assert_eq!(glass.keys()[1], "no tare");
    assert_eq!(glass.small(47), "over Max: take load off");
    stand.load(0);
    stand.keep("06-weighing-net-negative");
    stand.say("no tare");
    assert_eq!(stand.keep("07-tare-cleared").small(47), "tare cleared");
    stand.load(10_000);
    stand.say("zero");
    assert_eq!(
        stand.keep("08-zero-refused").small(47),
        "too much: use tare"
    );
}

/// What is shown as Max is not over Max, whatever lies there beyond the digits.
#[test]
fn shown_as_max_is_not_over_max() {
    let mut stand = Stand::new();
    let mut shown = [false; 2];
    for counts in (59_900..60_100).step_by(4) {
        stand.load(counts);
        let state = stand.scale.state(0);
        let max = stand.scale.settings().max;
        let indicated = state.indication.expect("shown");
        let beyond = state.mass.is_some_and(|mass| mass > max);
        let told = stand.look().small(47) == "over Max: take load off";
        assert_eq!(told, indicated > max, "{counts}: {indicated}");
        shown[usize::from(told)] |= beyond;
    }
    assert_eq!(shown, [true, true], "both sides of half a d");
}

#[test]
fn what_is_wrong_stands_in_place_of_digits() {
    let mut stand = Stand::new();
    stand.load(61_000);
    let glass = stand.keep("10-too-heavy");
    assert_eq!(glass.small(27), "take load off");
    stand.load(-5000);
    assert_eq!(
        stand.keep("11-below-zero").small(27),
        "pan off? or press zero"
    );
    assert_eq!(stand.look().keys()[0], "zero");
    for (fault, name) in [
        (BridgeFault::Silent, "12-no-signal"),
        (BridgeFault::Stuck, "13-signal-stuck"),
    ] {
        stand.scale.handle(stand.now_ms, Event::Sample(Err(fault)));
        stand.indicator.turn(stand.now_ms, 0, &mut stand.scale);
        stand.now_ms += 80;
        let glass = stand.keep(name);
        assert!(glass.small(27).ends_with("see the guide"));
        assert_eq!(glass.keys(), ["", "", "menu"]);
    }
    for _ in 0..30 {
        let saturated = Conversion {
            saturated: true,
            ..Conversion::settled(8_388_607)
        };
        stand.now_ms += 100;
        stand
            .scale
            .handle(stand.now_ms, Event::Sample(Ok(saturated)));
        stand.indicator.turn(stand.now_ms, 0, &mut stand.scale);
    }
    stand.keep("14-end-of-range");
    let mut stand = Stand::over(start(Flash::new(512)));
    let glass = stand.keep("15-not-calibrated");
    assert_eq!(glass.tall(8), "not calibrated");
    assert_eq!(glass.small(27), "menu, then calibrate");
    // Just switched on.
    let (scale, _) = calibrated();
    stand = Stand {
        scale,
        indicator: Indicator::new(0),
        glass: Glass::new(),
        now_ms: 0,
        counts: ZERO,
    };
    stand.keep("16-one-moment");
}

#[test]
fn the_menu_and_its_lists() {
    let mut stand = Stand::new();
    stand.load(12_340);
    stand.say("menu");
    let glass = stand.keep("20-menu");
    assert_eq!(glass.small(0), "menu 1 of 10");
    assert_eq!(glass.keys(), ["next", "choose", "back"]);
    for _ in 0..5 {
        stand.say("next");
    }
    stand.keep("21-menu-scrolled");
    for _ in 0..4 {
        stand.say("next");
    }
    stand.keep("22-menu-end");
    stand.say("choose");
    let glass = stand.keep("23-calibrate");
    assert_eq!(glass.keys(), ["", "", "back"]);
    assert!(stand.indicator.calibration_asked() && !stand.indicator.calibration_asked());
    stand.say("back");
    stand.say("next");
    assert_eq!(stand.look().small(0), "menu 1 of 10", "round");
    for (at, name) in [
        (0, "24-units"),
        (2, "25-hold"),
        (3, "26-pieces"),
        (4, "27-limits"),
        (6, "28-zero"),
        (7, "28-screen"),
        (8, "29-about"),
    ] {
        stand.choose_here(at);
        let glass = stand.keep(name);
        assert_eq!(glass.keys()[0], "next");
        stand.say("back");
        stand.say("back");
        stand.say("menu");
    }
    stand.choose_here(8);
    for _ in 0..4 {
        stand.say("next");
    }
    stand.keep("30-about-number");
    for _ in 0..4 {
        stand.say("next");
    }
    stand.keep("31-about-end");
}

#[test]
fn pounds_and_ounces() {
    let mut stand = Stand::new();
    stand.load(30_000);
    for (unit, name) in [(1, "33-kilograms"), (2, "34-pounds"), (3, "35-ounces")] {
        stand.say("menu");
        stand.say("choose");
        while stand.indicator.screen() == Screen::List(List::Units) {
            stand.look();
            let place = stand.glass.small(0).chars().find(char::is_ascii_digit);
            if place == char::from_digit(unit + 1, 10) {
                stand.say("choose");
            } else {
                stand.say("next");
            }
        }
        stand.keep(name);
    }
    // 3010 g = 106.17 oz, in steps of 0.05 oz (COMPUTED HERE).
    assert_eq!(stand.look().small(38), "Max 211.65 oz d 0.05 oz");
    let entry = stand.scale.recall(Kind::Preferences).expect("remembered");
    assert_eq!(entry.content[1], 4, "the unit");
    let mut anew = Indicator::new(0);
    anew.recall(&mut stand.scale);
    assert_eq!(anew.preferences(), stand.indicator.preferences());
}

#[test]
fn more_digits_end_by_themselves() {
    let mut stand = Stand::new();
    stand.load(30_003);
    stand.choose(1);
    let glass = stand.keep("36-more-digits");
    assert_eq!(glass.small(47), "a tenth of d, for 5 s");
    assert_eq!(glass.small(38), "Max 6000.0 g d 0.1 g");
    assert_eq!(glass.keys()[2], "back");
    stand.pass(4800);
    assert_eq!(stand.look().keys()[2], "back");
    stand.pass(200);
    assert_eq!(stand.look().keys()[2], "menu");
}

#[test]
fn the_highest_is_held() {
    let mut stand = Stand::new();
    stand.choose(2);
    stand.choose_here(1);
    let glass = stand.keep("40-held-zero");
    assert_eq!(glass.small(0), "highest, held");
    assert_eq!(glass.keys()[0], "reset");
    stand.load(30_000);
    stand.load(10_000);
    let glass = stand.keep("41-held");
    assert_eq!(glass.small(38), "now 1003 g");
    stand.say("reset");
    stand.keep("42-held-nothing");
    // Net and held.
    stand.say("tare");
    stand.load(20_000);
    stand.load(15_000);
    stand.keep("43-held-net");
}

#[test]
fn counting_says_what_it_is_worth() {
    let mut stand = Stand::new();
    stand.choose(3);
    stand.choose_here(1);
    let glass = stand.keep("50-sample");
    assert_eq!(glass.small(0), "sample of 10 at rest");
    // Ten pieces of 12.3 g, read with a little noise.
    stand.load(1230);
    stand.say("take");
    stand.pass(500);
    assert_eq!(stand.keep("51-sampling").keys(), ["", "", "back"]);
    stand.pass(3000);
    let glass = stand.keep("52-counted");
    assert_eq!(glass.small(47), "counting begins");
    assert_eq!(glass.keys()[0], "zero");
    stand.pass(3000);
    assert!(stand.keep("53-count").small(47).starts_with("sure to 0."));
    stand.load(123 * 25);
    assert_eq!(stand.keep("54-count-renew").keys()[0], "renew");
    stand.say("renew");
    stand.pass(4000);
    stand.load(123 * 480);
    let glass = stand.keep("55-count-many");
    assert!(glass.small(38).starts_with("now 5"), "{}", glass.small(38));
    // A reading that swings: not sure.
    for n in 0..60 {
        stand.now_ms += 100;
        let swing = if n % 14 < 7 { 0 } else { 4 };
        stand.scale.handle(
            stand.now_ms,
            Event::Sample(Ok(Conversion::settled(stand.counts + swing))),
        );
        stand.indicator.turn(stand.now_ms, 0, &mut stand.scale);
    }
    stand.keep("56-count-swinging");
}

#[test]
fn an_unsure_count_asks_for_a_larger_sample() {
    let mut stand = Stand::new();
    stand.choose(3);
    stand.choose_here(2);
    // Pieces of six counts, and a signal that swings by three.
    stand.counts = ZERO + 120;
    let swing = |stand: &mut Stand, samples: i32| {
        for n in 0..samples {
            stand.now_ms += 100;
            let swung = stand.counts + i32::from(n % 8 < 4) * 3;
            let conversion = Conversion::settled(swung);
            stand
                .scale
                .handle(stand.now_ms, Event::Sample(Ok(conversion)));
            stand.indicator.turn(stand.now_ms, 0, &mut stand.scale);
        }
    };
    swing(&mut stand, 40);
    stand.say("take");
    swing(&mut stand, 60);
    stand.counts = ZERO + 6 * 300;
    swing(&mut stand, 60);
    let glass = stand.keep("57-count-unsure");
    assert!(glass.small(47).contains(": take "), "{}", glass.small(47));
    stand.counts = ZERO + 6 * 4000;
    swing(&mut stand, 60);
    let glass = stand.keep("58-count-unsure-many");
    assert!(glass.small(47).starts_with("unsure"), "{}", glass.small(47));
}

#[test]
fn limits_are_judged_as_shown() {
    let mut stand = Stand::new();
    stand.load(1000);
    stand.choose(4);
    stand.say("change");
    stand.say("next");
    stand.say("change");
    stand.keep("60-lower-limit");
    // 0095: two places on, nine up, on, five up, done.
    for (onward, ups) in [(2, 9), (1, 5)] {
        (0..onward).for_each(|_| stand.say("onward"));
        (0..ups).for_each(|_| stand.say("up"));
    }
    assert_eq!(
        stand.keep("61-lower-limit-entered").keys(),
        ["up", "done", "back"]
    );
    stand.say("done");
    stand.say("next");
    stand.say("change");
    // The upper one begins at the lower: 0095, to 0105.
    for _ in 0..2 {
        stand.say("onward");
        stand.say("up");
    }
    stand.say("onward");
    stand.say("done");
    let glass = stand.keep("62-limits");
    assert!(glass.small(0).starts_with("check limits"));
    let chosen = *stand.indicator.preferences();
    assert_eq!((chosen.low, chosen.high), (9500, 10_500));
    stand.say("back");
    stand.say("back");
    let word = |stand: &mut Stand, counts, name: &str| {
        stand.load(counts);
        stand.keep(name).small(38)
    };
    let within = word(&mut stand, 1000, "63-within");
    assert!(within.ends_with("as shown"), "{within}");
    let low = word(&mut stand, 900, "64-low");
    assert!(low.ends_with("by 5 g"), "{low}");
    let high = word(&mut stand, 1100, "65-high");
    assert!(high.ends_with("by 5 g"), "{high}");
    stand.say("tare");
    stand.pass(3000);
    stand.load(2100);
    assert!(
        stand
            .keep("66-limits-net")
            .small(47)
            .ends_with("tare 110 g")
    );
}

#[test]
fn a_preset_tare_says_that_it_is_one() {
    let mut stand = Stand::new();
    stand.load(10_000);
    stand.choose(5);
    stand.keep("70-preset-tare");
    for ups in [0, 2, 5] {
        (0..ups).for_each(|_| stand.say("up"));
        stand.say("onward");
    }
    assert_eq!(
        stand.keep("71-preset-tare-entered").keys(),
        ["up", "done", "back"]
    );
    stand.say("done");
    assert_eq!(stand.scale.tare(), 25_000);
    assert_eq!(stand.keep("72-preset-set").small(47), "preset tare in use");
    stand.pass(3000);
    let glass = stand.keep("73-weighing-preset");
    assert_eq!(glass.small(38), "gross 1003 g");
    assert_eq!(glass.small(47), "preset tare 250 g");
    stand.say("menu");
    (0..4).for_each(|_| stand.say("next"));
    let glass = stand.keep("74-menu-preset");
    let last = glass.small(12 + 11 * 3);
    assert!(last.starts_with("preset tare 250 g"), "{last}");
    stand.say("back");
    stand.say("no tare");
    stand.pass(3000);
    stand.say("tare");
    stand.pass(3000);
    assert_eq!(
        stand.look().small(38),
        "gross 1003 tare 1003 g",
        "weighed, not preset"
    );
}

#[test]
fn a_number_half_entered_waits() {
    let mut stand = Stand::new();
    stand.choose(5);
    stand.say("onward");
    stand.say("up");
    stand.pass(59_000);
    assert_eq!(stand.indicator.screen(), Screen::Entry);
    stand.pass(1000);
    assert_eq!(stand.indicator.screen(), Screen::Weighing);
    assert_eq!(stand.scale.tare(), 0, "nothing in force");
    stand.choose(5);
    (0..3).for_each(|_| stand.say("onward"));
    stand.say("done");
    assert_eq!(stand.scale.tare(), 10_000, "and nothing is lost");
    // Left on purpose it is begun anew.
    stand.choose(5);
    stand.say("up");
    stand.say("back");
    stand.choose_here(0);
    (0..3).for_each(|_| stand.say("onward"));
    stand.say("done");
    assert_eq!(stand.scale.tare(), 10_000);
}

/// Whoever opens a list sees where it stands.
#[test]
fn a_list_opens_at_what_is_in_force() {
    let mut stand = Stand::new();
    stand.load(1000);
    stand.choose(2);
    stand.choose_here(1);
    stand.say("menu");
    stand.choose_here(2);
    assert_eq!(stand.look().small(0), "hold highest 2 of 3");
    stand.choose_here(1);
    stand.say("menu");
    stand.choose_here(2);
    assert_eq!(stand.look().small(0), "hold highest 3 of 3");
}

#[test]
fn beyond_max_no_small_number_is_read_for_the_mass() {
    let mut stand = Stand::new();
    stand.load(1000);
    stand.say("tare");
    stand.load(50_000);
    let line = stand.look().small(38);
    assert!(line.contains("gross 5"), "{line}");
    stand.load(63_000);
    let glass = stand.keep("39-too-heavy-with-tare");
    let line = glass.small(38);
    assert!(
        line.contains("tare 100 g") && !line.contains("gross"),
        "{line}"
    );
}

#[test]
fn a_held_key_counts_a_digit_up() {
    let mut stand = Stand::new();
    stand.choose(5);
    (0..3).for_each(|_| stand.say("onward"));
    stand.hold(Key::Left, 1000);
    stand.say("done");
    let tare = stand.scale.tare();
    assert!((300..900).contains(&tare), "{tare}");
}

#[test]
fn the_display_rests_and_wakes() {
    let mut stand = Stand::new();
    stand.load(10_000);
    stand.choose(7);
    stand.keep("80-screen");
    stand.say("change");
    stand.say("next");
    // Never, one, five, [fifteen], sixty: to one minute.
    (0..3).for_each(|_| stand.say("change"));
    stand.say("next");
    stand.say("change");
    stand.keep("81-screen-chosen");
    assert_eq!(stand.indicator.light(), Light::Lit(5));
    stand.pass(61_000);
    assert_eq!(stand.indicator.light(), Light::Off);
    assert_eq!(stand.indicator.screen(), Screen::Weighing);
    // The key that wakes it does nothing else, held or not.
    stand.hold(Key::Middle, 3000);
    assert_eq!(stand.indicator.light(), Light::Lit(5));
    assert_eq!(stand.scale.tare(), 0);
    stand.pass(61_000);
    assert_eq!(stand.indicator.light(), Light::Off);
    stand.counts += 30;
    stand.pass(3000);
    assert_eq!(stand.indicator.light(), Light::Off, "three d");
    stand.counts += 30;
    stand.pass(3000);
    assert_eq!(stand.indicator.light(), Light::Lit(5));
    // Painted while it was dark or not, it is whole.
    stand.look();
}

#[test]
fn a_guest_has_the_screen_and_the_keys() {
    let mut stand = Stand::new();
    stand.indicator.admit();
    let page = Guest::Leaf(Leaf {
        title: "calibrate",
        step: "3 of 7",
        large: "put on 2 kg",
        lines: ["waiting until it rests", "1998.7 g so far"],
        progress: Some(100),
        keys: ["skip", "redo", "stop"],
    });
    stand.glass.settle(
        &mut stand.indicator,
        &stand.scale,
        stand.now_ms,
        Some(&page),
    );
    stand.glass.keep("90-guest");
    assert!(
        stand.glass == Glass::redrawn(&stand.indicator, &stand.scale, stand.now_ms, Some(&page))
    );
    assert_eq!(stand.glass.keys(), ["skip", "redo", "stop"]);
    stand.pass(200_000);
    assert_eq!(stand.indicator.screen(), Screen::Guest, "nothing times out");
    let mut keys = Vec::new();
    for at in 0..10 {
        keys.extend(
            stand
                .indicator
                .turn(stand.now_ms + at * 10, 2, &mut stand.scale),
        );
    }
    assert_eq!(keys.len(), 1);
    assert_eq!(keys[0].key, Key::Middle);
    assert_eq!(stand.scale.tare(), 0, "the guest's key");
    // A number, asked for as the indicator does.
    let grams = Interval::new(Unit::Gram, 100, 10_000);
    let mut entry = Entry::new(Question::Load, grams, 0, 6000);
    assert_eq!(entry.roles(), [Role::Up, Role::Onward, Role::Back]);
    entry.up();
    let page = Guest::Number(&entry);
    stand.glass.settle(
        &mut stand.indicator,
        &stand.scale,
        stand.now_ms,
        Some(&page),
    );
    stand.glass.keep("91-guest-number");
    assert_eq!(stand.glass.small(0), "mass of the load");
    assert_eq!(stand.glass.keys(), ["up", "onward", "back"]);
    stand.indicator.dismiss();
    assert_eq!(stand.look().keys(), WEIGHING_KEYS);
}

#[test]
fn large_numbers_have_room() {
    // Many divisions: 600 000 quanta of 10 mg, d = 10 mg.
    let mut stand = Stand::with(Settings {
        d: 1,
        e: 100,
        ..kitchen()
    });
    stand.load(30_000);
    stand.keep("95-many-digits");
    stand.say("tare");
    stand.load(0);
    stand.keep("96-many-digits-net");
    let mut stand = Stand::with(Settings {
        quantum_ug: 100_000_000,
        e: 200,
        d: 100,
        ..kitchen()
    });
    stand.load(30_000);
    stand.say("tare");
    stand.load(60_000);
    stand.keep("97-tonnes");
}

/// Limits, a preset tare and a sample are masses in quanta: of another quantum they
/// would be other masses.
#[test]
fn a_table_in_other_quanta_ends_what_was_in_the_old_ones() {
    let mut stand = Stand::new();
    stand.choose(4);
    stand.say("change");
    stand.say("next");
    stand.say("next");
    stand.say("change");
    stand.say("up");
    (0..3).for_each(|_| stand.say("onward"));
    stand.say("done");
    assert_eq!(stand.indicator.preferences().high, 100_000);
    stand.say("back");
    stand.say("back");
    assert!(stand.look().small(38).ends_with("as shown"));
    let finer = Settings {
        quantum_ug: 5000,
        ..kitchen()
    };
    let mut laptop = Laptop::new();
    laptop
        .transfer(&mut stand.scale, finer, ZERO, &knots())
        .expect("stored");
    stand.pass(3000);
    assert_eq!(stand.indicator.preferences().high, 0);
    assert_eq!(stand.look().small(38), "Max 3000.0 g d 0.5 g");
}

#[test]
fn a_sealed_scale_says_how_it_is_opened() {
    let mut stand = Stand::with(sealed());
    stand.choose(9);
    assert_eq!(stand.keep("32-sealed").small(29), "to open: hold right key");
    stand.say("back");
    stand.say("back");
    stand.scale.unlock();
    stand.choose(9);
    assert_eq!(stand.look().small(38), "scalewright calibrate");
}

/// What zero does by itself is turned in the menu, and counts as a change.
#[test]
fn zero_by_itself_is_turned_on_and_off() {
    let mut stand = Stand::new();
    let conduct = |stand: &Stand| stand.scale.settings().conduct;
    let (before, table) = (conduct(&stand), stand.scale.table().cloned());
    let changes = stand.scale.changes();
    stand.choose(6);
    stand.say("change");
    stand.say("next");
    stand.say("change");
    stand.keep("33-zero-turned");
    let turned = |bit, on: Conduct| conduct(&stand).has(bit) != on.has(bit);
    assert!(turned(Conduct::STARTS_AT_ZERO, before) && turned(Conduct::TRACKS_ZERO, before));
    assert_eq!(stand.scale.changes(), changes + 2);
    assert_eq!(stand.scale.table().cloned(), table);
    // It is stored: a restart knows it.
    let after = conduct(&stand);
    let mut again = Stand::over(start(stand.scale.into_storage()));
    assert_eq!(conduct(&again), after);
    again.choose(6);
    again.say("change");
    assert_eq!(
        conduct(&again).has(Conduct::STARTS_AT_ZERO),
        before.has(Conduct::STARTS_AT_ZERO)
    );
}

#[test]
fn a_sealed_scale_keeps_what_zero_does() {
    let mut stand = Stand::with(sealed());
    let before = *stand.scale.settings();
    stand.choose(6);
    stand.say("change");
    assert_eq!(
        stand.keep("34-zero-sealed").small(47),
        "sealed: see the guide"
    );
    assert_eq!(
        (*stand.scale.settings(), stand.indicator.screen()),
        (before, Screen::Weighing)
    );
}

/// The state is meant for 2 KiB of RAM beside a stack, an instrument of about
/// 700 bytes and queues, drawn page by page.
#[test]
fn the_state_fits_a_small_chip() {
    let bytes = std::mem::size_of::<Indicator>();
    println!("{bytes} bytes of state");
    assert!(bytes <= 500, "{bytes} bytes");
    assert!(Preferences::new().to_bytes().len() <= 40);
}
