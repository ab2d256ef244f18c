//! A moving plot of characters: the last seconds of a signal against its unit.
//!
//! Dots of braille where the terminal can show them, stars otherwise. The axis
//! ends at round numbers, so that it does not twitch with every value.

use crate::inspect::Recent;

use super::paint::Paint;

/// Columns kept for the labels of the upright axis.
pub const LABEL: usize = 12;

/// What a plot is drawn of.
pub struct Plot<'a> {
    /// The signal.
    pub recent: &'a Recent,
    /// Columns in all, labels included.
    pub columns: usize,
    /// Rows of the drawing area.
    pub rows: usize,
    /// The axis never spans less than this.
    pub least_span: f64,
    /// Words at the left end of the time axis, as "-30 s".
    pub since: &'a str,
    /// A value with its unit, for the labels; the resolution comes with it.
    pub label: &'a dyn Fn(f64, f64) -> String,
}

impl Plot<'_> {
    /// The plot as `rows` + 2 lines, none wider than `columns`.
    #[must_use]
    pub fn lines(&self, paint: Paint) -> Vec<String> {
        let width = self.columns.saturating_sub(LABEL + 1).max(1);
        let rows = self.rows.max(1);
        let (across, down) = if paint.ascii { (1, 1) } else { (2, 4) };
        let (low, high, step) = match self.recent.ends() {
            Some(ends) => axis(ends, self.least_span),
            None => (0.0, self.least_span, self.least_span),
        };
        let mut cells = vec![0u8; width * rows];
        let last = (rows * down - 1) as f64;
        // Held inside the drawing, whatever the numbers; NaN becomes 0.
        let dot = |value: f64| {
            let down = ((high - value) / (high - low) * last).round();
            down.clamp(0.0, last) as usize
        };
        let mut before: Option<(f64, f64)> = None;
        for (x, column) in self.recent.columns(width * across).iter().enumerate() {
            let Some((least, most)) = column else {
                continue;
            };
            // A jump is drawn as a line: from where the column before ended.
            let (low_end, high_end) = before.unwrap_or((*least, *most));
            let (bottom, top) = (least.min(high_end), most.max(low_end));
            before = Some((*least, *most));
            for y in dot(top)..=dot(bottom) {
                let place = y / down * width + x / across;
                if let Some(cell) = cells.get_mut(place) {
                    *cell |= bit(x % across, y % down);
                }
            }
        }
        let mut lines: Vec<String> = (0..rows)
            .map(|row| {
                let label = match row {
                    0 => (self.label)(high, step),
                    _ if row + 1 == rows => (self.label)(low, step),
                    _ => String::new(),
                };
                let tick = match label.is_empty() {
                    true => paint.either("|", "│"),
                    false => paint.either("+", "┤"),
                };
                let signs: String = cells
                    .get(row * width..(row + 1) * width)
                    .unwrap_or_default()
                    .iter()
                    .map(|dots| sign(*dots, paint.ascii))
                    .collect();
                format!("{label:>LABEL$}{tick}{}", signs.trim_end())
            })
            .collect();
        let foot = paint.either("-", "─").repeat(width);
        lines.push(format!("{:LABEL$}{}{foot}", "", paint.either("+", "└")));
        let gap = (width + 1).saturating_sub(self.since.chars().count() + "now".len());
        let now = if gap > 0 { "now" } else { "" };
        lines.push(format!("{:LABEL$}{}{:gap$}{now}", "", self.since, ""));
        lines
    }
}

/// Ends of the axis and the round step they are multiples of.
fn axis((least, most): (f64, f64), least_span: f64) -> (f64, f64, f64) {
    let middle = least / 2.0 + most / 2.0;
    let half = ((most - least) / 2.0).max(least_span / 2.0);
    let step = scalewright_metrology::tolerance::interval_at_least(half / 4.0);
    if !(step > 0.0 && middle.is_finite()) {
        return (middle - 0.5, middle + 0.5, 0.1);
    }
    let low = ((middle - half) / step).floor() * step;
    let high = ((middle + half) / step).ceil() * step;
    (low, high, step)
}

/// The dot of a cell of two by four (Unicode braille patterns) or one by one.
fn bit(x: usize, y: usize) -> u8 {
    match (x, y) {
        (0, row @ 0..=2) => 1 << row,
        (_, row @ 0..=2) => 8 << row,
        (0, _) => 0x40,
        _ => 0x80,
    }
}

fn sign(dots: u8, ascii: bool) -> char {
    match (dots, ascii) {
        (0, _) => ' ',
        (_, true) => '*',
        // Braille patterns begin at U+2800; the low byte is the dots.
        _ => char::from_u32(0x2800 + u32::from(dots)).unwrap_or(' '),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASCII: Paint = Paint {
        colour: false,
        live: false,
        ascii: true,
    };

    fn drawn(values: &[f64], columns: usize, rows: usize, paint: Paint) -> Vec<String> {
        let mut recent = Recent::new(1000);
        let step = 1000 / values.len().max(1);
        for (k, value) in values.iter().enumerate() {
            recent.push((k * step) as u32, *value);
        }
        Plot {
            recent: &recent,
            columns,
            rows,
            least_span: 2.0,
            since: "-1 s",
            label: &|value, _| format!("{value:.1} g"),
        }
        .lines(paint)
    }

    #[test]
    fn a_ramp_rises_from_left_to_right() {
        let lines = drawn(&[0.0, 1.0, 2.0, 3.0, 4.0], LABEL + 6, 5, ASCII);
        assert_eq!(
            lines,
            [
                "       4.0 g+    *",
                "            |   **",
                "            |  **",
                "            | **",
                "       0.0 g+**",
                "            +-----",
                "            -1 s",
            ]
            .map(|line| line.to_string())
        );
    }

    #[test]
    fn nothing_runs_out_of_its_columns() {
        let wild = [0.0, f64::MAX, f64::MIN, 1e-300, f64::MIN_POSITIVE];
        let rich = Paint {
            ascii: false,
            ..ASCII
        };
        for values in [&wild[..], &[], &[5.0], &[1e9, 1e9 + 1.0]] {
            for (columns, rows) in [(80, 10), (40, 3), (14, 1), (0, 0)] {
                for paint in [ASCII, rich] {
                    let lines = drawn(values, columns, rows, paint);
                    assert_eq!(lines.len(), rows.max(1) + 2);
                    let most = columns.max(LABEL + 2);
                    // Labels of numbers like these are the caller's.
                    let plain = lines.iter().skip(rows.max(1));
                    assert!(
                        plain.clone().all(|line| line.chars().count() <= most + 8),
                        "{lines:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_axis_ends_at_round_numbers_and_spans_enough() {
        assert_eq!(axis((999.7, 1000.3), 2.0), (999.0, 1001.0, 0.5));
        let (low, high, _) = axis((-3.0, 4021.0), 2.0);
        assert!(low <= -3.0 && high >= 4021.0);
        assert!(high - low < 2.0 * 4024.0);
    }
}
