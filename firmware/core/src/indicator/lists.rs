//! Lists to choose from: what stands in them and how they are drawn.
//!
//! Four entries are seen at a time, each with the value in force beside it; the
//! chosen one is inverse, and a mark at the right edge tells where in the list it
//! is. What choosing does is decided elsewhere.

use scalewright_protocol::settings::Conduct;
use scalewright_protocol::table::knots_checksum;

use super::leaf;
use super::sight::Sight;
use super::strip::{Strip, WIDTH};
use super::text::{Size, Text};
use crate::functions::counting::OFFERED;
use crate::functions::preferences::{BRIGHTEST, Function, Preferences};
use crate::functions::unit::{Interval, Unit};

/// Entries seen at a time.
const SEEN: u8 = 4;
/// First row of the first entry, and rows of one.
const TOP: u8 = 10;
const PITCH: u8 = 11;
/// Where values end; right of it the mark stands.
const RIGHT: u8 = 122;

/// A list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// All there is.
    Menu,
    /// Units of indication.
    Units,
    /// Ways to hold the highest mass.
    Hold,
    /// Sizes of a sample.
    Pieces,
    /// Limits and whether they are checked.
    Limits,
    /// What zero does by itself.
    Zero,
    /// The display itself.
    Display,
    /// What the scale is.
    About,
}

/// Places in the menu.
pub mod menu {
    /// Units.
    pub const UNITS: u8 = 0;
    /// More digits.
    pub const DIGITS: u8 = 1;
    /// Hold highest.
    pub const HOLD: u8 = 2;
    /// Count pieces.
    pub const COUNT: u8 = 3;
    /// Check limits.
    pub const LIMITS: u8 = 4;
    /// Preset tare.
    pub const PRESET: u8 = 5;
    /// Zero by itself.
    pub const ZERO: u8 = 6;
    /// Screen.
    pub const SCREEN: u8 = 7;
    /// About this scale.
    pub const ABOUT: u8 = 8;
    /// Calibrate.
    pub const CALIBRATE: u8 = 9;
}

/// An entry: words on the left, a value on the right, whether it is in force.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Item {
    words: Text,
    value: Text,
    in_force: bool,
}

impl Item {
    fn of(words: &str, value: Text) -> Self {
        Self {
            words: Text::of(words),
            value,
            in_force: false,
        }
    }

    fn choice(words: &str, in_force: bool) -> Self {
        Self {
            in_force,
            ..Self::of(words, Text::new())
        }
    }
}

/// What entries tell of.
#[derive(Clone, Copy, Debug)]
pub struct Told<'a> {
    /// The instrument.
    pub sight: &'a Sight<'a>,
    /// What was chosen.
    pub preferences: &'a Preferences,
    /// How masses are written.
    pub interval: &'a Interval,
    /// Preset tare in use, quanta; 0 for none.
    pub preset: i32,
}

impl List {
    /// Its name.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Menu => "menu",
            Self::Units => "units",
            Self::Hold => "hold highest",
            Self::Pieces => "count pieces",
            Self::Limits => "check limits",
            Self::Zero => "zero by itself",
            Self::Display => "screen",
            Self::About => "about this scale",
        }
    }

    /// Entries in it; at least one.
    #[must_use]
    pub const fn length(self) -> u8 {
        match self {
            Self::Menu => 10,
            Self::Units => 4,
            Self::Zero => 2,
            Self::Hold | Self::Display => 3,
            Self::Pieces => 6,
            Self::Limits => 4,
            Self::About => 9,
        }
    }

    /// The place in the menu it is reached from; none for the menu itself.
    #[must_use]
    pub const fn from(self) -> Option<u8> {
        match self {
            Self::Menu => None,
            Self::Units => Some(menu::UNITS),
            Self::Hold => Some(menu::HOLD),
            Self::Pieces => Some(menu::COUNT),
            Self::Limits => Some(menu::LIMITS),
            Self::Zero => Some(menu::ZERO),
            Self::Display => Some(menu::SCREEN),
            Self::About => Some(menu::ABOUT),
        }
    }

    /// Entry `at`.
    #[must_use]
    #[inline(never)]
    pub fn item(self, at: u8, told: &Told<'_>) -> Item {
        let Told {
            sight,
            preferences,
            interval,
            ..
        } = told;
        let mass = |quanta| sight.mass(interval, quanta);
        match self {
            Self::Menu => menu_item(at, told),
            Self::Units => {
                let unit = Unit::ALL
                    .get(usize::from(at))
                    .copied()
                    .unwrap_or(Unit::Gram);
                let steps = Interval::new(unit, sight.settings.d, sight.settings.quantum_ug);
                let mut value = Text::of("in steps of ");
                value.number(
                    i64::try_from(steps.step).unwrap_or(i64::MAX),
                    steps.decimals,
                );
                Item {
                    in_force: unit == interval.unit,
                    ..Item::of(unit.symbol(), value)
                }
            }
            Self::Hold => match at {
                0 => Item::choice("off", !holds(preferences.function)),
                1 => Item::choice(
                    "the highest at rest",
                    preferences.function == Function::HoldAtRest,
                ),
                _ => Item::choice(
                    "also while moving",
                    preferences.function == Function::HoldMoving,
                ),
            },
            Self::Pieces => {
                let counts = preferences.function == Function::Count;
                let offered = at
                    .checked_sub(1)
                    .and_then(|at| OFFERED.get(usize::from(at)));
                match (at, offered) {
                    (0, _) => Item::choice("off", !counts),
                    (_, Some(pieces)) => {
                        let mut words = Text::of("sample of ");
                        words.number(i64::from(*pieces), 0);
                        Item::choice(words.as_str(), counts && preferences.pieces == *pieces)
                    }
                    _ => {
                        let other = counts && !OFFERED.contains(&preferences.pieces);
                        let mut value = Text::new();
                        value.number(i64::from(preferences.pieces), 0);
                        Item {
                            in_force: other,
                            ..Item::of("another number", value)
                        }
                    }
                }
            }
            Self::Limits => match at {
                0 => Item::of("checking", on_off(preferences.function == Function::Limits)),
                1 => Item::of("lower limit", mass(preferences.low)),
                2 => Item::of("upper limit", mass(preferences.high)),
                _ => Item::of("judged", Text::of("net as shown")),
            },
            Self::Zero => {
                let words = match at {
                    0 => "set at switch-on",
                    _ => "follows drift",
                };
                Item::of(words, on_off(sight.settings.conduct.has(of_zero(at))))
            }
            Self::Display => match at {
                0 => {
                    let mut value = Text::new();
                    value
                        .number(i64::from(preferences.brightness), 0)
                        .say(" of ");
                    value.number(i64::from(BRIGHTEST), 0);
                    Item::of("brightness", value)
                }
                1 => {
                    let mut value = Text::new();
                    match preferences.rest_after.minutes() {
                        None => value.say("never"),
                        Some(1) => value.say("1 minute"),
                        Some(minutes) => value.number(i64::from(minutes), 0).say(" minutes"),
                    };
                    Item::of("rests in", value)
                }
                _ => Item::of(
                    "then it is",
                    Text::of(if preferences.rests_dark { "off" } else { "dim" }),
                ),
            },
            Self::About => about_item(at, sight),
        }
    }

    /// The entry that is in force; the first where none is.
    #[must_use]
    pub fn in_force(self, told: &Told<'_>) -> u8 {
        let mut all = 0..self.length();
        all.find(|at| self.item(*at, told).in_force).unwrap_or(0)
    }

    /// Draws it with entry `at` chosen; not the keys.
    #[inline(never)]
    pub fn draw(self, strip: &mut Strip, at: u8, told: &Told<'_>) {
        let length = self.length();
        let mut place = Text::new();
        place.number(i64::from(at.saturating_add(1)), 0).say(" of ");
        place.number(i64::from(length), 0);
        leaf::title(strip, self.title(), place.as_str());
        // The chosen one is never the last seen, unless it is the last of all.
        let first = at.saturating_sub(SEEN - 2).min(length.saturating_sub(SEEN));
        for row in 0..SEEN.min(length) {
            let y = TOP.saturating_add(row.saturating_mul(PITCH));
            let entry = first.saturating_add(row);
            if !strip.shows(y, PITCH) {
                continue;
            }
            let item = self.item(entry, told);
            if item.in_force {
                strip.fill(2, y + 3, 4, 4);
            }
            let end = strip.put(8, y + 2, Size::Small, &item.words);
            let width = Size::Small.width(item.value.as_str());
            strip.demand(end.saturating_add(width) < RIGHT - 6);
            strip.text_to(RIGHT - 1, y + 2, Size::Small, item.value.as_str());
            if entry == at {
                strip.invert(0, y, RIGHT + 1, PITCH);
            }
        }
        if length > SEEN {
            draw_place(strip, at, length);
        }
    }
}

/// Draws where in a long list the chosen entry is.
fn draw_place(strip: &mut Strip, at: u8, length: u8) {
    const HEIGHT: u16 = 44;
    let part = |n: u8| (HEIGHT.wrapping_mul(u16::from(n)) / u16::from(length.max(1))) as u8;
    let (from, to) = (part(at), part(at.saturating_add(1)));
    strip.fill(WIDTH - 2, TOP, 1, 22);
    strip.fill(WIDTH - 2, TOP + 22, 1, 22);
    strip.fill(
        WIDTH - 3,
        TOP.saturating_add(from),
        3,
        to.saturating_sub(from),
    );
}

#[inline(never)]
fn menu_item(at: u8, told: &Told<'_>) -> Item {
    let Told {
        sight,
        preferences,
        interval,
        preset,
    } = told;
    match at {
        menu::UNITS => Item::of("units", Text::of(interval.unit.symbol())),
        menu::DIGITS => Item::of("more digits", Text::of("for 5 s")),
        menu::HOLD => Item::of(
            "hold highest",
            Text::of(match preferences.function {
                Function::HoldAtRest => "at rest",
                Function::HoldMoving => "moving",
                _ => "off",
            }),
        ),
        menu::COUNT => Item::of(
            "count pieces",
            on_off(preferences.function == Function::Count),
        ),
        menu::LIMITS => Item::of(
            "check limits",
            on_off(preferences.function == Function::Limits),
        ),
        menu::PRESET => Item::of(
            "preset tare",
            if *preset == 0 {
                Text::of("none")
            } else {
                sight.mass(interval, *preset)
            },
        ),
        menu::ZERO => Item::of("zero by itself", Text::new()),
        menu::SCREEN => Item::of("screen", Text::new()),
        menu::ABOUT => Item::of("about this scale", Text::new()),
        _ => Item::of(
            "calibrate",
            Text::of(match (sight.sealed, sight.knots.is_empty()) {
                (true, _) => "sealed",
                (false, true) => "not yet",
                (false, false) => "",
            }),
        ),
    }
}

/// What a scale is declared as stands in the unit it is declared in.
#[inline(never)]
fn about_item(at: u8, sight: &Sight<'_>) -> Item {
    let settings = sight.settings;
    let unit = Unit::usual(settings.max, settings.quantum_ug);
    let interval = &Interval::new(unit, settings.d, settings.quantum_ug);
    let mut value = Text::new();
    let words = match at {
        0 => {
            value = sight.mass(interval, settings.max);
            "capacity Max"
        }
        1 => {
            value = sight.mass(interval, settings.d);
            "interval d"
        }
        2 => {
            value = sight.mass(interval, settings.e);
            "interval e"
        }
        3 => {
            value.hex(sight.identity.device_id);
            "number"
        }
        4 if sight.knots.is_empty() => {
            value.say("none");
            "table"
        }
        4 => {
            value.hex(knots_checksum(sight.knots));
            "checksum"
        }
        5 => {
            value.number(i64::try_from(sight.knots.len()).unwrap_or(0), 0);
            "table points"
        }
        6 => {
            value.number(i64::from(sight.changes), 0);
            "changes counted"
        }
        7 => {
            let (major, minor, patch) = sight.identity.firmware;
            value.number(i64::from(major), 0).letter(b'.');
            value.number(i64::from(minor), 0).letter(b'.');
            value.number(i64::from(patch), 0);
            "firmware"
        }
        _ => {
            value.say(sight.identity.board);
            "board"
        }
    };
    Item::of(words, value)
}

/// What entry `at` of [`List::Zero`] turns on and off.
#[must_use]
pub const fn of_zero(at: u8) -> Conduct {
    match at {
        0 => Conduct::STARTS_AT_ZERO,
        _ => Conduct::TRACKS_ZERO,
    }
}

fn on_off(on: bool) -> Text {
    Text::of(if on { "on" } else { "off" })
}

/// Whether a function holds the highest mass.
#[must_use]
pub const fn holds(function: Function) -> bool {
    matches!(function, Function::HoldAtRest | Function::HoldMoving)
}
