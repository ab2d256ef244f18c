//! The weighing screen.
//!
//! ```text
//! at rest   >0<            net      marks
//!        3010 g                     the indication, or what is wrong
//! [=========------------]Max        capacity used, or a pointer between limits
//! gross 3260 g      tare 250 g
//! a message, or the function in use
//! [ zero ] [ tare ] [ menu ]
//! ```
//!
//! Nothing blinks. What is held, preset or finer than the scale's interval says
//! so in words.

use scalewright_protocol::message::Flags;

use super::large;
use super::lists::holds;
use super::sight::Sight;
use super::strip::{Strip, WIDTH};
use super::text::{Size, Text};
use super::words::{Message, Trouble, troubled};
use crate::functions::counting::{Advice, Sample};
use crate::functions::limits::{Verdict, judge, pointer};
use crate::functions::preferences::{Function, Preferences};
use crate::functions::unit::Interval;

/// First rows of the parts.
const DIGITS_Y: u8 = 8;
/// Clear of the tails above, in the place of the bar.
const REMEDY_Y: u8 = 27;
const BAR_Y: u8 = 33;
const BAR_HEIGHT: u8 = 4;
const MASSES_Y: u8 = 38;
const TOLD_Y: u8 = 47;
/// Where digits end when a unit of two letters stands behind them.
const DIGITS_RIGHT: u8 = 103;
/// Columns of the bar; "Max" stands right of it.
const BAR_WIDTH: u8 = 114;
/// The word "Max" in five rows, columns from the left.
const MAX_WORD: [u8; 14] = [0, 31, 2, 4, 2, 31, 0, 26, 22, 28, 0, 18, 12, 18];

/// What the screen shows.
#[derive(Clone, Copy, Debug)]
pub struct Face<'a> {
    /// The instrument.
    pub sight: &'a Sight<'a>,
    /// What was chosen.
    pub preferences: &'a Preferences,
    /// How masses are written.
    pub interval: &'a Interval,
    /// Whether the tare in use was entered.
    pub preset: bool,
    /// Seconds left of more digits; 0 when there are no more.
    pub finer_s: u32,
    /// The highest net mass, while it is held.
    pub highest: Option<i32>,
    /// The sample pieces are counted by.
    pub sample: Option<&'a Sample>,
    /// What is said for the moment.
    pub message: Option<Message>,
}

impl Face<'_> {
    /// Draws it; not the keys.
    #[inline(never)]
    pub fn draw(&self, strip: &mut Strip) {
        self.marks(strip);
        match troubled(self.sight.flags, self.sight.net.is_some()) {
            Some(trouble) => self.trouble(strip, trouble),
            None => {
                self.indication(strip);
                if strip.shows(BAR_Y - 1, BAR_HEIGHT + 1) {
                    self.bar(strip);
                }
            }
        }
        if strip.shows(MASSES_Y, 17) {
            self.lines(strip);
        }
    }

    const fn has(&self, flag: Flags) -> bool {
        self.sight.has(flag)
    }

    fn holding(&self) -> bool {
        holds(self.preferences.function)
    }

    /// Marks belong to the load; what is held has none.
    fn marks(&self, strip: &mut Strip) {
        let digits = self.sight.net.is_some();
        if !self.holding() && digits {
            if self.has(Flags::STABLE) {
                strip.text(0, 0, Size::Small, "at rest");
            }
            if self.has(Flags::AT_ZERO) {
                strip.text(45, 0, Size::Small, ">0<");
            }
        }
        if self.holding() {
            strip.text(0, 0, Size::Small, "highest, held");
        }
        if self.sight.tare != 0 {
            strip.text_to(WIDTH, 0, Size::Small, "net");
        }
    }

    #[inline(never)]
    fn trouble(&self, strip: &mut Strip, trouble: Trouble) {
        let wide = Size::Medium.width(trouble.what) <= WIDTH;
        let size = if wide { Size::Medium } else { Size::Tall };
        strip.text_amid(0, WIDTH, DIGITS_Y, size, trouble.what);
        strip.text_amid(0, WIDTH, REMEDY_Y, Size::Small, trouble.remedy);
    }

    #[inline(never)]
    fn indication(&self, strip: &mut Strip) {
        let net = self.sight.net.unwrap_or(0);
        let quantum_ug = self.sight.settings.quantum_ug;
        let mut text = Text::new();
        match (self.preferences.function, self.sample) {
            (Function::Count, Some(sample)) => {
                text.number(sample.count(net, self.sight.spread).pieces, 0);
                let unit = if text.as_str() == "1" {
                    "piece"
                } else {
                    "pieces"
                };
                let x = WIDTH.saturating_sub(Size::Small.width("pieces"));
                strip.text(x, DIGITS_Y + 16, Size::Small, unit);
                self.digits(strip, x.saturating_sub(3), &text);
                return;
            }
            (Function::HoldAtRest | Function::HoldMoving, _) => match self.highest {
                Some(highest) => text.number(
                    self.interval.digits(highest, quantum_ug),
                    self.interval.decimals,
                ),
                None => {
                    let wait = "nothing held yet";
                    strip.text_amid(0, WIDTH, DIGITS_Y + 4, Size::Tall, wait);
                    return;
                }
            },
            _ => text.number(
                self.interval.digits(net, quantum_ug),
                self.interval.decimals,
            ),
        };
        let unit = self.interval.unit.symbol();
        strip.text(DIGITS_RIGHT + 3, DIGITS_Y + 8, Size::Medium, unit);
        self.digits(strip, DIGITS_RIGHT, &text);
    }

    /// Digits that end at `right`, as large as they have room.
    #[inline(never)]
    fn digits(&self, strip: &mut Strip, right: u8, text: &Text) {
        let width = large::width(text);
        if width <= right {
            large::draw(strip, right.saturating_sub(width), DIGITS_Y, text);
            return;
        }
        let wide = Size::Medium.width(text.as_str()) <= right;
        let size = if wide { Size::Medium } else { Size::Tall };
        strip.text_to(right, DIGITS_Y + 10, size, text.as_str());
    }

    #[inline(never)]
    fn bar(&self, strip: &mut Strip) {
        if let (Function::Limits, Some((shown, low, high))) =
            (self.preferences.function, self.limits())
        {
            strip.line(0, BAR_Y + 2, WIDTH);
            strip.frame(42, BAR_Y, 44, BAR_HEIGHT);
            strip.fill(43, BAR_Y + 1, 42, BAR_HEIGHT - 2);
            strip.invert(43, BAR_Y + 1, 42, BAR_HEIGHT - 2);
            // 255 parts on 124 columns, a pointer of four.
            let at =
                u16::from(pointer(shown, low, high, self.interval.step)).wrapping_mul(124) / 255;
            let at = at as u8;
            strip.fill(at, BAR_Y, 4, BAR_HEIGHT + 1);
            return;
        }
        let max = i64::from(self.sight.settings.max.max(1));
        let gross = i64::from(self.sight.gross.unwrap_or(0).max(0));
        let share = gross
            .wrapping_mul(255)
            .checked_div(max)
            .unwrap_or(0)
            .clamp(0, 255);
        strip.bar(0, BAR_Y, BAR_WIDTH, BAR_HEIGHT, share as u8);
        if gross > max {
            // Past the end that stands for Max.
            let past = BAR_WIDTH + 2;
            strip.fill(past, BAR_Y, WIDTH - past, BAR_HEIGHT);
            return;
        }
        for (at, column) in (0u8..).zip(&MAX_WORD) {
            strip.column(BAR_WIDTH.saturating_add(at), BAR_Y - 1, u32::from(*column));
        }
    }

    /// Indication and limits, last digits, while limits are checked.
    #[inline(never)]
    fn limits(&self) -> Option<(i64, i64, i64)> {
        let quantum_ug = self.sight.settings.quantum_ug;
        let digits = |quanta| self.interval.digits(quanta, quantum_ug);
        if self.preferences.function != Function::Limits {
            return None;
        }
        let net = self.sight.net?;
        let Preferences { low, high, .. } = *self.preferences;
        Some((digits(net), digits(low), digits(high)))
    }

    #[inline(never)]
    fn lines(&self, strip: &mut Strip) {
        if let (Some((shown, low, high)), None) = (self.limits(), self.message) {
            self.verdict(strip, judge(shown, low, high));
            return;
        }
        let told = self.told();
        self.masses(strip, told.is_empty());
        strip.put(0, TOLD_Y, Size::Small, &told);
    }

    /// The verdict in letters for two metres, how much is missing, and the tare.
    #[inline(never)]
    fn verdict(&self, strip: &mut Strip, verdict: Verdict) {
        let (word, off) = match verdict {
            Verdict::Low(by) => ("low", Some(by)),
            Verdict::Within => ("within", None),
            Verdict::High(by) => ("high", Some(by)),
        };
        strip.text(0, MASSES_Y, Size::Medium, word);
        let mut text = Text::new();
        if let Some(by) = off {
            text.say("by ");
            text.number(
                i64::try_from(by).unwrap_or(i64::MAX),
                self.interval.decimals,
            );
            text.letter(b' ').say(self.interval.unit.symbol());
            strip.text_to(WIDTH, MASSES_Y, Size::Small, text.as_str());
        } else {
            strip.text_to(WIDTH, MASSES_Y, Size::Small, "as shown");
        }
        if self.sight.tare != 0 {
            let tare = self.tare(false);
            let room = WIDTH
                .saturating_sub(Size::Medium.width(word))
                .saturating_sub(4);
            let tare = if Size::Small.width(tare.as_str()) <= room {
                tare
            } else {
                self.tare(true)
            };
            strip.text_to(WIDTH, TOLD_Y, Size::Small, tare.as_str());
        }
    }

    /// The tare in use, with the unit unless it shall be short.
    #[inline(never)]
    fn tare(&self, short: bool) -> Text {
        let mut text = Text::of(if self.preset { "preset tare " } else { "tare " });
        text.say(self.mass(self.sight.tare, short).as_str());
        text
    }

    #[inline(never)]
    fn mass(&self, quanta: i32, short: bool) -> Text {
        if short {
            self.sight.number(self.interval, quanta)
        } else {
            self.sight.mass(self.interval, quanta)
        }
    }

    /// Gross and tare, or capacity and interval; with a function, the mass. With
    /// `room` below, a long tare goes there.
    #[inline(never)]
    fn masses(&self, strip: &mut Strip, room: bool) {
        let function = self.preferences.function;
        let counting = function == Function::Count && self.sample.is_some();
        let mut left = Text::new();
        let live = if counting || self.holding() {
            self.sight.net.map(|net| ("now ", net))
        } else if self.sight.tare != 0 {
            // Where the mass is blank, so is this: it would be read for it.
            let gross = self.sight.gross.filter(|_| self.sight.net.is_some());
            gross.map(|gross| ("gross ", gross))
        } else {
            Some(("Max ", self.sight.settings.max))
        };
        let mut right = Text::new();
        if self.sight.tare != 0 {
            right = self.tare(false);
        } else if let (true, Some(sample)) = (counting, self.sample) {
            let fine = self.interval.tenth().tenth();
            right
                .say("one ")
                .say(self.sight.mass(&fine, sample.mass_of(1)).as_str());
        } else if !self.holding() {
            right.say("d ");
            right.number(
                i64::try_from(self.interval.step).unwrap_or(i64::MAX),
                self.interval.decimals,
            );
            right.letter(b' ').say(self.interval.unit.symbol());
        }
        if let Some((word, quanta)) = live {
            left.say(word).say(self.mass(quanta, false).as_str());
            let mut short = Text::of(word);
            short.say(self.mass(quanta, true).as_str());
            if !fit(&left, &right) && fit(&short, &right) {
                left = short;
            }
        }
        if fit(&left, &right) {
            strip.put(0, MASSES_Y, Size::Small, &left);
            strip.text_to(WIDTH, MASSES_Y, Size::Small, right.as_str());
        } else if room {
            strip.put(0, MASSES_Y, Size::Small, &left);
            strip.put(0, TOLD_Y, Size::Small, &right);
        } else {
            strip.put(0, MASSES_Y, Size::Small, &right);
        }
    }

    /// What the lowest line says; nothing most of the time.
    #[inline(never)]
    fn told(&self) -> Text {
        let function = self.preferences.function;
        if let Some(message) = self.message {
            return Text::of(message.words());
        }
        if self.has(Flags::FELL_BACK) {
            return Text::of("older table: see guide");
        }
        if self.has(Flags::TRIAL) {
            return Text::of("a table on trial");
        }
        let Some(net) = self.sight.net else {
            return Text::new();
        };
        // As it is shown: half a d above Max is Max still.
        let settings = &self.sight.settings;
        let most = settings.max.saturating_add(settings.d / 2);
        if self.sight.gross.is_some_and(|gross| gross > most) {
            return Text::of("over Max: take load off");
        }
        if self.finer_s > 0 {
            let mut text = Text::of("a tenth of d, for ");
            text.number(i64::from(self.finer_s), 0).say(" s");
            return text;
        }
        match (function, self.sample) {
            (Function::Count, None) => Text::of("no sample yet: see menu"),
            (Function::Count, Some(sample)) => self.worth(sample, net),
            _ => Text::new(),
        }
    }

    /// What a count is worth, and what would make it better.
    #[inline(never)]
    fn worth(&self, sample: &Sample, net: i32) -> Text {
        let spread = self.sight.spread;
        let count = sample.count(net, spread);
        let mut text = Text::new();
        if !self.has(Flags::STABLE) {
            text.say("counting, not at rest");
        } else if count.is_sure() {
            text.say("sure to ");
            text.number(tenths(count.uncertainty_tenths()), 1)
                .say(" piece");
        } else {
            match sample.advice(net, spread) {
                Advice::Take(pieces) => {
                    let tenths = tenths(count.uncertainty_tenths());
                    text.say("unsure by ");
                    if tenths < 100 {
                        text.number(tenths, 1);
                    } else {
                        text.number(tenths.saturating_add(9) / 10, 0);
                    }
                    text.say(": take ").number(i64::from(pieces), 0);
                }
                Advice::TooLight => {
                    text.say("unsure: pieces too light");
                }
            }
        }
        text
    }
}

fn tenths(tenths: u64) -> i64 {
    i64::try_from(tenths).unwrap_or(i64::MAX)
}

/// Whether both have room on one line, with a gap.
#[inline(never)]
fn fit(left: &Text, right: &Text) -> bool {
    let gap = if left.is_empty() || right.is_empty() {
        0
    } else {
        6
    };
    let left = u16::from(Size::Small.width(left.as_str()));
    left + u16::from(Size::Small.width(right.as_str())) + gap <= u16::from(WIDTH)
}
