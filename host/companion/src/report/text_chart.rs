//! Small graphics of characters: the error curve with its permissible band,
//! and the sparkline. Dots of braille where allowed, plain signs in ASCII.

use super::number;
use super::text_line::{Ink, Style, pad, paint, set, width};

/// Columns of the drawing area of [`error_curve`], where there is room.
const WIDE: usize = 60;
/// Rows of the drawing area.
pub(super) const ROWS: usize = 9;
/// Columns kept for the labels of the upright axis.
const LABEL: usize = 8;
/// Points fewer than a cell in this many get a sign of their own.
const SPARSE: usize = 4;

/// An error curve as lines of text: loads in g, errors in e, `mpe` the
/// permissible error in e at a load in g. The limits are dotted.
///
/// ```
/// use scalewright::report::{Style, error_curve};
/// let picture = error_curve(&[(0.0, 0.0), (3000.0, -2.0)], &|_| 1.0, Style::PLAIN);
/// assert!(picture.lines().all(|line| line.chars().count() <= 80));
/// ```
pub fn error_curve(rows: &[(f64, f64)], mpe: &dyn Fn(f64) -> f64, style: Style) -> String {
    let columns = usize::from(style.columns)
        .saturating_sub(LABEL + 2)
        .clamp(8, WIDE);
    let points: Vec<(f64, f64, f64)> = rows.iter().map(|(x, y)| (*x, *y, 0.0)).collect();
    let chart = Chart {
        curve: rows,
        points: if rows.len() * SPARSE <= columns {
            &points
        } else {
            &[]
        },
        mpe,
        max_g: None,
        columns,
        mark: style.pick("◆", "o"),
        ink: None,
    };
    set(style, &chart.lines(style))
}

/// Values as one line of bars, lowest to highest; at most `style.columns`
/// characters, the newest values. What is not a number is a blank.
///
/// ```
/// use scalewright::report::{Style, sparkline};
/// assert_eq!(sparkline(&[0.0, 3.0, 7.0], Style::PLAIN), "▁▄█");
/// ```
pub fn sparkline(values: &[f64], style: Style) -> String {
    let bars: Vec<char> = style.pick("▁▂▃▄▅▆▇█", "_.-~=+*#").chars().collect();
    let skip = values.len().saturating_sub(usize::from(style.columns));
    let shown = values.get(skip..).unwrap_or(&[]);
    let sound = || shown.iter().copied().filter(|value| value.is_finite());
    let low = sound().fold(f64::INFINITY, f64::min);
    let high = sound().fold(f64::NEG_INFINITY, f64::max);
    let last = (bars.len() - 1) as f64;
    let bar = |value: &f64| {
        if !value.is_finite() {
            return ' ';
        }
        // Halved first, so that the largest numbers do not overflow.
        let span = high / 2.0 - low / 2.0;
        let share = if span > 0.0 {
            (value / 2.0 - low / 2.0) / span
        } else {
            0.0
        };
        bars.get((share * last).round() as usize)
            .copied()
            .unwrap_or(' ')
    };
    shown.iter().map(bar).collect()
}

/// What a chart shows.
pub(super) struct Chart<'a> {
    /// Points joined by a line: load in g, error in e.
    pub curve: &'a [(f64, f64)],
    /// Marked points: load in g, error in e, half length of their bar in e.
    pub points: &'a [(f64, f64, f64)],
    /// Permissible error in e at a load in g.
    pub mpe: &'a dyn Fn(f64) -> f64,
    /// End of the load axis, g; the largest load when absent.
    pub max_g: Option<f64>,
    /// Columns of the drawing area.
    pub columns: usize,
    /// Sign of a marked point.
    pub mark: &'a str,
    /// Colour of what is drawn; by judgement against the limits when absent.
    pub ink: Option<Ink>,
}

/// What one cell of the drawing shows; later ones win.
#[derive(Clone, Copy, Default)]
struct Cell {
    dots: u8,
    series: bool,
    mark: bool,
    outside: bool,
}

/// The drawing area in dots: two across and four down a cell in braille.
struct Dots {
    cells: Vec<Cell>,
    columns: usize,
    across: usize,
    down: usize,
    max_g: f64,
    low: f64,
    high: f64,
}

impl Dots {
    fn column(&self, load_g: f64) -> Option<usize> {
        let last = (self.columns * self.across - 1) as f64;
        let share = load_g / self.max_g;
        (0.0..=1.0)
            .contains(&share)
            .then(|| (share * last).round() as usize)
    }

    fn row(&self, error_e: f64) -> Option<usize> {
        let last = (ROWS * self.down - 1) as f64;
        let share = (self.high - error_e) / (self.high - self.low);
        (-1e-9..=1.0 + 1e-9)
            .contains(&share)
            .then(|| (share * last).round() as usize)
    }

    fn cell(&mut self, x: usize, y: usize) -> Option<&mut Cell> {
        let (column, row) = (x / self.across, y / self.down);
        self.cells.get_mut(row * self.columns + column)
    }

    fn set(&mut self, x: usize, y: usize, series: bool, outside: bool) {
        let bit = match (self.across, x % 2, y % 4) {
            (1, _, _) => 0x01,
            (_, 0, row @ 0..=2) => 1 << row,
            (_, _, row @ 0..=2) => 8 << row,
            (_, 0, _) => 0x40,
            _ => 0x80,
        };
        if let Some(cell) = self.cell(x, y) {
            // A cell has one colour: where a curve runs, limits give way.
            if series && !cell.series {
                cell.dots = 0;
            }
            if series || !cell.series {
                cell.dots |= bit;
                cell.series = series;
                cell.outside |= outside;
            }
        }
    }
}

impl Chart<'_> {
    /// The chart with its axes; every line is as wide as [`Chart::width`].
    pub(super) fn lines(&self, style: Style) -> Vec<String> {
        let mut dots = self.empty(style);
        self.draw_limits(&mut dots);
        self.draw_series(&mut dots);
        let mut lines: Vec<String> = (0..ROWS).map(|row| self.line(&dots, row, style)).collect();
        let corner = style.pick("└", "+");
        let foot = style.pick("─", "-").repeat(self.columns);
        lines.push(format!("{}{corner}{foot}", " ".repeat(LABEL)));
        lines.push(pad(&self.loads(&dots), self.width(), false));
        lines
    }

    /// Columns the chart takes with its labels.
    pub(super) fn width(&self) -> usize {
        LABEL + 1 + self.columns
    }

    fn empty(&self, style: Style) -> Dots {
        let loads = self
            .curve
            .iter()
            .map(|p| p.0)
            .chain(self.points.iter().map(|p| p.0));
        let max_g = self
            .max_g
            .filter(|max| max.is_finite() && *max > 0.0)
            .unwrap_or_else(|| loads.filter(|v| v.is_finite()).fold(0.0, f64::max));
        let max_g = if max_g > 0.0 { max_g } else { 1.0 };
        let bars = self.points.iter().flat_map(|(_, y, u)| [y - u, y + u, *y]);
        let limit = self.limit_e(max_g);
        let errors = self.curve.iter().map(|p| p.1).chain(bars);
        let (low, high) = errors
            .filter(|v| v.abs() < 1e300)
            .fold((-limit, limit), |(low, high), v| (low.min(v), high.max(v)));
        let margin = (high - low) * 0.06;
        let (across, down) = if style.ascii { (1, 1) } else { (2, 4) };
        Dots {
            cells: vec![Cell::default(); self.columns * ROWS],
            columns: self.columns,
            across,
            down,
            max_g,
            low: low - margin,
            high: high + margin,
        }
    }

    /// Largest permissible error up to a load, in e; 1 where there is none.
    fn limit_e(&self, max_g: f64) -> f64 {
        let limit = (self.mpe)(max_g).max((self.mpe)(0.0));
        if limit.is_finite() && limit > 0.0 {
            limit
        } else {
            1.0
        }
    }

    fn draw_limits(&self, dots: &mut Dots) {
        let all = dots.columns * dots.across;
        for x in (0..all).step_by(dots.across) {
            let load_g = x as f64 / (all - 1).max(1) as f64 * dots.max_g;
            let mpe = (self.mpe)(load_g);
            for error_e in [mpe, -mpe] {
                if let Some(y) = dots.row(error_e) {
                    dots.set(x, y, false, false);
                }
            }
        }
    }

    fn draw_series(&self, dots: &mut Dots) {
        let outside = |load_g: f64, error_e: f64| error_e.abs() > (self.mpe)(load_g);
        for pair in self.curve.windows(2) {
            let [(x0, y0), (x1, y1)] = pair else { continue };
            let (Some(from), Some(to)) = (dots.column(*x0), dots.column(*x1)) else {
                continue;
            };
            let mut last = None;
            for x in from..=to {
                let share = if to > from {
                    (x - from) as f64 / (to - from) as f64
                } else {
                    1.0
                };
                let error_e = y0 + share * (y1 - y0);
                let Some(y) = dots.row(error_e) else { continue };
                let out = outside(x0 + share * (x1 - x0), error_e);
                // Steep parts are filled so that the line does not break.
                let start = last.unwrap_or(y);
                for y in start.min(y)..=start.max(y) {
                    dots.set(x, y, true, out);
                }
                last = Some(y);
            }
        }
        for (load_g, error_e, bar_e) in self.points {
            let Some(x) = dots.column(*load_g) else {
                continue;
            };
            let ends = (dots.row(error_e + bar_e), dots.row(error_e - bar_e));
            if let (Some(top), Some(foot)) = ends {
                for y in top..=foot {
                    dots.set(x, y, true, false);
                }
            }
            if let Some(y) = dots.row(*error_e)
                && let Some(cell) = dots.cell(x, y)
            {
                cell.mark = true;
                cell.series = true;
                cell.outside = outside(*load_g, *error_e);
            }
        }
    }

    fn line(&self, dots: &Dots, row: usize, style: Style) -> String {
        let zero_row = dots.row(0.0).map(|y| y / dots.down);
        let label = match row {
            _ if zero_row == Some(row) => "0".to_owned(),
            0 => format!("{} e", number::signed(dots.high, 1)),
            _ if row + 1 == ROWS => format!("{} e", number::signed(dots.low, 1)),
            _ => String::new(),
        };
        let label = if width(&label) >= LABEL {
            String::new()
        } else {
            label
        };
        let tick = if label.is_empty() {
            style.pick("│", "|")
        } else {
            style.pick("┤", "+")
        };
        let mut line = format!("{} {tick}", pad(&label, LABEL - 1, true));
        let first = row * dots.columns;
        let cells = dots.cells.get(first..first + dots.columns).unwrap_or(&[]);
        for cell in cells {
            line.push_str(&self.sign(*cell, zero_row == Some(row), style));
        }
        line
    }

    fn sign(&self, cell: Cell, on_zero: bool, style: Style) -> String {
        let judged = if cell.outside { Ink::Bad } else { Ink::Good };
        let ink = self.ink.unwrap_or(judged);
        if cell.mark {
            return paint(style, ink, self.mark);
        }
        if cell.dots == 0 {
            let empty = if on_zero { style.pick("┈", ".") } else { " " };
            return paint(style, Ink::Soft, empty.trim_end_matches(' '))
                + if on_zero { "" } else { " " };
        }
        let sign = match (style.ascii, cell.series) {
            (true, true) => '*',
            (true, false) => '-',
            // Braille patterns begin at U+2800; the low byte is the dots.
            (false, _) => char::from_u32(0x2800 + u32::from(cell.dots)).unwrap_or(' '),
        };
        let ink = if cell.series { ink } else { Ink::Limit };
        paint(style, ink, &sign.to_string())
    }

    fn loads(&self, dots: &Dots) -> String {
        let name = |load_g: f64| number::mass(load_g, dots.max_g / 100.0);
        let (half, full) = (name(dots.max_g / 2.0), name(dots.max_g));
        let middle = (self.columns / 2).saturating_sub(width(&half) / 2);
        let line = format!("{} 0", " ".repeat(LABEL));
        let line = pad(&line, LABEL + 1 + middle, false) + &half;
        let end = self.width().saturating_sub(width(&full));
        pad(&line, end, false) + &full
    }
}
