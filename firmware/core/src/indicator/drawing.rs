//! Which screen is drawn, and the piece of it that is sent next.

use scalewright_protocol::message::Flags;

use super::acts::Role;
use super::leaf::{self, Guest, Leaf};
use super::light::Light;
use super::lists::Told;
use super::painter::Tile;
use super::sight::Sight;
use super::strip::Strip;
use super::text::Text;
use super::weighing::Face;
use super::{Indicator, Screen};
use crate::functions::counting::READINGS;
use crate::functions::unit::{Interval, Unit};
use crate::instrument::Instrument;
use crate::ports::Storage;

impl Indicator {
    /// The next piece of the display to send, if what is shown is not what is.
    /// Looks at one page with each call. `guest` is what a guest shows.
    pub fn paint<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &mut self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
        guest: Option<&Guest<'_>>,
    ) -> Option<Tile> {
        if self.light() == Light::Off {
            return None;
        }
        let page = self.painter.wants(now_ms)?;
        let mut strip = Strip::new(page);
        self.draw(&mut strip, &Sight::of(now_ms, scale), guest);
        self.painter.take(now_ms, &strip)
    }

    /// Whether the last look at all pages found nothing to send.
    #[must_use]
    pub const fn is_settled(&self) -> bool {
        self.painter.is_settled()
    }

    /// A whole page as it is to be, whatever is shown.
    #[must_use]
    pub fn page<S: Storage, const KNOTS: usize, const QUEUE: usize>(
        &self,
        now_ms: u32,
        scale: &Instrument<S, KNOTS, QUEUE>,
        guest: Option<&Guest<'_>>,
        page: u8,
    ) -> Strip {
        let mut strip = Strip::new(page);
        self.draw(&mut strip, &Sight::of(now_ms, scale), guest);
        strip
    }

    #[inline(never)]
    fn draw(&self, strip: &mut Strip, sight: &Sight<'_>, guest: Option<&Guest<'_>>) {
        let interval = self.interval(sight);
        match self.screen {
            Screen::Weighing => self.face(sight, &interval).draw(strip),
            Screen::List(list) => {
                list.draw(strip, self.at, &self.told(sight, &interval));
            }
            Screen::Entry => {
                if let Some(entry) = &self.entry {
                    entry.draw(strip);
                }
            }
            Screen::Sample => self.draw_sample(strip, sight, &interval),
            Screen::Calibrate if sight.sealed => SEALED.draw(strip),
            Screen::Calibrate => CALIBRATE.draw(strip),
            Screen::Guest => {
                // Its keys stand on its own page.
                if let Some(guest) = guest {
                    guest.draw(strip);
                }
                return;
            }
        }
        let roles = self.roles(sight);
        leaf::keys(strip, roles.map(Role::words));
    }

    #[inline(never)]
    fn face<'a>(&'a self, sight: &'a Sight<'a>, interval: &'a Interval) -> Face<'a> {
        Face {
            sight,
            preferences: &self.preferences,
            interval,
            preset: self.preset != 0,
            finer_s: self.extended.seconds_left(sight.now_ms),
            highest: self.peak.highest(),
            sample: self.sample.as_ref(),
            message: self.message.map(|(message, _)| message),
        }
    }

    #[inline(never)]
    fn draw_sample(&self, strip: &mut Strip, sight: &Sight<'_>, interval: &Interval) {
        let mut title = Text::of("sample of ");
        title.number(i64::from(self.sampling.pieces()), 0);
        let mut put = Text::of("put on ");
        put.number(i64::from(self.sampling.pieces()), 0);
        put.say(", press take");
        let mass = sight
            .net
            .map_or_else(Text::new, |net| sight.mass(interval, net));
        let rest = if sight.has(Flags::STABLE) {
            "at rest"
        } else {
            ""
        };
        let lines = match (self.message, self.averaging) {
            (Some((message, _)), _) => [message.words(), ""],
            (None, true) => ["weighing the sample:", "leave it alone"],
            (None, false) => ["container? press tare", put.as_str()],
        };
        let share = u16::from(self.sampling.taken()).wrapping_mul(255) / u16::from(READINGS);
        let page = Leaf {
            title: title.as_str(),
            step: rest,
            large: mass.as_str(),
            lines,
            progress: self.averaging.then_some(share as u8),
            keys: [""; 3],
        };
        page.draw(strip);
    }

    /// What the entries of a list tell of.
    pub(super) fn told<'a>(&'a self, sight: &'a Sight<'a>, interval: &'a Interval) -> Told<'a> {
        Told {
            sight,
            preferences: &self.preferences,
            interval,
            preset: self.preset,
        }
    }

    /// How masses are written now.
    #[inline(never)]
    pub(super) fn interval(&self, sight: &Sight<'_>) -> Interval {
        let settings = sight.settings;
        let usual = Unit::usual(settings.max, settings.quantum_ug);
        let unit = self.preferences.unit.unwrap_or(usual);
        let interval = Interval::new(unit, settings.d, settings.quantum_ug);
        let finer = self.screen == Screen::Weighing && self.extended.shows(sight.now_ms);
        if finer { interval.tenth() } else { interval }
    }
}

/// Until a guest can do it.
const CALIBRATE: Leaf<'static> = Leaf {
    title: "calibrate",
    step: "",
    large: "with a laptop",
    lines: ["plug it in, then type:", "scalewright calibrate"],
    progress: None,
    keys: [""; 3],
};

/// Nothing can be calibrated.
const SEALED: Leaf<'static> = Leaf {
    title: "calibrate",
    step: "",
    large: "sealed",
    lines: ["to open: hold right key", "while switching on"],
    progress: None,
    keys: [""; 3],
};
