//! A small drawing sheet: inline SVG as a string, text as text.
//!
//! Owns escaping, scales, ticks and marks. Colours are not here: every stroke
//! has a class that `style.rs` colours for light, dark and paper, which is why
//! this is ours and no plotting library's (those write fixed colours into the
//! picture). Guarantees: well-formed XML whatever the text, and no coordinate
//! that is not a finite number; points that are not finite are left out.

use super::number;
use std::fmt::Write as _;

/// Text made safe for XML and HTML, between tags and inside quotes. Control
/// characters, which XML forbids, and signs that turn the direction of the
/// text become U+FFFD.
///
/// ```
/// use scalewright::report::svg::escape;
/// assert_eq!(escape("<b>\"W2\"&'"), "&lt;b&gt;&quot;W2&quot;&amp;&#39;");
/// ```
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            _ if is_unprintable(letter) => safe.push('\u{fffd}'),
            _ => safe.push(letter),
        }
    }
    safe
}

/// Whether a character could break a line, a terminal or the reading order.
pub fn is_unprintable(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{fffe}' | '\u{ffff}')
}

/// From values to pixels along one axis.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    /// Value at `from_px`.
    pub low: f64,
    /// Value at `to_px`.
    pub high: f64,
    from_px: f64,
    to_px: f64,
}

impl Axis {
    /// An axis over a range. A range that is empty, reversed or not finite is
    /// widened so that every value still has a place.
    pub fn new(low: f64, high: f64, from_px: f64, to_px: f64) -> Self {
        let (low, high) = match (low.is_finite(), high.is_finite()) {
            (true, true) if high > low && (high - low).is_finite() => (low, high),
            (true, _) if low.abs() < 1e12 => (low - 1.0, low + 1.0),
            _ => (-1.0, 1.0),
        };
        Self {
            low,
            high,
            from_px,
            to_px,
        }
    }

    /// Place of a value in px; `None` for what is not finite. A value far off
    /// the axis is brought near, so that lines to it still leave the right way.
    pub fn at(&self, value: f64) -> Option<f64> {
        if !value.is_finite() {
            return None;
        }
        let share = ((value - self.low) / (self.high - self.low)).clamp(-50.0, 50.0);
        Some(self.from_px + share * (self.to_px - self.from_px))
    }

    /// Round values on the axis, at most `most` of them, and their spacing.
    pub fn ticks(&self, most: usize) -> (Vec<f64>, f64) {
        let step = round_step((self.high - self.low) / most.max(1) as f64);
        let first = (self.low / step - 1e-9).ceil();
        let ticks = (0..=most.saturating_add(1))
            .map(|i| (first + i as f64) * step)
            .take_while(|tick| *tick <= self.high + step * 1e-6)
            .collect();
        (ticks, step)
    }
}

/// The next 1, 2 or 5 times a power of ten that is not below `least`.
fn round_step(least: f64) -> f64 {
    if !least.is_finite() || least < 1e-300 {
        return 1.0;
    }
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|digit| digit * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(least)
}

/// A tick's label with the decimals its spacing needs.
pub fn tick_label(value: f64, step: f64) -> String {
    number::fixed(value, number::decimals(step)).replace('-', "\u{2212}")
}

/// Shapes of marks; a series is told by shape first and by colour second.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A filled disc.
    Disc,
    /// An open ring.
    Ring,
    /// An open diamond.
    Diamond,
    /// A triangle pointing up.
    Up,
    /// An open triangle pointing down.
    Down,
}

/// Where a text hangs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins at the point.
    Start,
    /// It is centred on the point.
    Middle,
    /// It ends at the point.
    End,
}

/// One picture in the making.
#[derive(Debug)]
pub struct Sheet {
    head: String,
    body: String,
    id: String,
    clips: usize,
}

impl Sheet {
    /// An empty sheet. `id` must be unique on the page; `title` and `about`
    /// are read out to those who cannot see the picture.
    pub fn new(id: &str, title: &str, about: &str, width: f64, height: f64) -> Self {
        let id = escape(id);
        let head = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"plot\" role=\"img\" \
             preserveAspectRatio=\"xMinYMid meet\" viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" height=\"{height:.0}\" \
             aria-labelledby=\"{id}-t {id}-d\">\n\
             <title id=\"{id}-t\">{}</title>\n<desc id=\"{id}-d\">{}</desc>\n",
            escape(title),
            escape(about)
        );
        Self {
            head,
            body: String::new(),
            id,
            clips: 0,
        }
    }

    /// A straight line; left out when an end is missing.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        if [from.0, from.1, to.0, to.1].iter().all(|v| v.is_finite()) {
            self.put(format_args!(
                "<line class=\"{class}\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>\n",
                from.0, from.1, to.0, to.1
            ));
        }
    }

    /// An open line through points in px.
    pub fn path(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polyline", class, points);
    }

    /// A closed area within points in px.
    pub fn area(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polygon", class, points);
    }

    fn points(&mut self, tag: &str, class: &str, points: &[(f64, f64)]) {
        let mut list = String::new();
        for (x, y) in points
            .iter()
            .filter(|(x, y)| x.is_finite() && y.is_finite())
        {
            let _ = write!(list, "{x:.1},{y:.1} ");
        }
        if !list.is_empty() {
            let list = list.trim_end();
            self.put(format_args!(
                "<{tag} class=\"{class}\" points=\"{list}\"/>\n"
            ));
        }
    }

    /// A rectangle; nothing is drawn of one that has no size.
    pub fn rect(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        let sound = [x, y, width, height].iter().all(|v| v.is_finite());
        if sound && width > 0.0 && height > 0.0 {
            self.put(format_args!(
                "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>\n"
            ));
        }
    }

    /// A line of text with its foot at a point.
    pub fn text(&mut self, class: &str, anchor: Anchor, x: f64, y: f64, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.put(format_args!(
            "<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{x:.1}\" y=\"{y:.1}\">{}</text>\n",
            escape(text)
        ));
    }

    /// A mark of radius about `r` px around a point.
    pub fn mark(&mut self, mark: Mark, class: &str, (x, y): (f64, f64), r: f64) {
        if !x.is_finite() || !y.is_finite() {
            return;
        }
        match mark {
            Mark::Disc | Mark::Ring => {
                let fill = if mark == Mark::Disc { "full" } else { "open" };
                self.put(format_args!(
                    "<circle class=\"{class} {fill}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\"/>\n"
                ));
            }
            Mark::Diamond => {
                let s = r * 1.3;
                let corners = [(x, y - s), (x + s, y), (x, y + s), (x - s, y)];
                self.area(&format!("{class} open"), &corners);
            }
            Mark::Up => {
                let corners = [
                    (x, y - r * 1.2),
                    (x + r * 1.1, y + r * 0.8),
                    (x - r * 1.1, y + r * 0.8),
                ];
                self.area(&format!("{class} full"), &corners);
            }
            Mark::Down => {
                let corners = [
                    (x, y + r * 1.2),
                    (x + r * 1.1, y - r * 0.8),
                    (x - r * 1.1, y - r * 0.8),
                ];
                self.area(&format!("{class} open"), &corners);
            }
        }
    }

    /// Begins a part that is cut off outside a rectangle; end it with
    /// [`Sheet::unclip`].
    pub fn clip(&mut self, x: f64, y: f64, width: f64, height: f64) {
        self.clips += 1;
        let name = format!("{}-c{}", self.id, self.clips);
        self.put(format_args!(
            "<clipPath id=\"{name}\"><rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" \
             height=\"{height:.1}\"/></clipPath>\n<g clip-path=\"url(#{name})\">\n"
        ));
    }

    /// Ends the part begun by [`Sheet::clip`].
    pub fn unclip(&mut self) {
        self.body.push_str("</g>\n");
    }

    /// The finished picture.
    pub fn finish(self) -> String {
        format!("{}{}</svg>\n", self.head, self.body)
    }

    fn put(&mut self, parts: std::fmt::Arguments<'_>) {
        // Writing to a string cannot fail.
        let _ = self.body.write_fmt(parts);
    }
}

/// Width in px a text will take at a size, within a fifth: glyphs of the fonts
/// a reader may have average half their size.
pub fn text_width(text: &str, size_px: f64) -> f64 {
    text.chars().count() as f64 * size_px * 0.53
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let (ticks, step) = Axis::new(-1.3, 2.7, 0.0, 100.0).ticks(5);
        assert_eq!(ticks, [-1.0, 0.0, 1.0, 2.0]);
        assert_eq!(step, 1.0);
        assert_eq!(tick_label(-0.5, 0.5), "\u{2212}0.5");
    }

    #[test]
    fn an_axis_without_length_still_has_places() {
        for (low, high) in [
            (0.0, 0.0),
            (5.0, 1.0),
            (f64::NAN, 1.0),
            (f64::MIN, f64::MAX),
            (1e300, f64::INFINITY),
        ] {
            let axis = Axis::new(low, high, 0.0, 100.0);
            for value in [low, high, 0.0, 1e308] {
                assert!(axis.at(value).is_none_or(f64::is_finite), "{low} {high}");
            }
            let (ticks, _) = axis.ticks(5);
            assert!(ticks.iter().all(|tick| tick.is_finite()));
        }
    }

    #[test]
    fn control_characters_do_not_reach_the_page() {
        assert_eq!(
            escape("a\u{0}b\u{1b}[2J\u{202e}"),
            "a\u{fffd}b\u{fffd}[2J\u{fffd}"
        );
    }
}
