//! The screen of `watch`: large digits, words, a moving plot; redrawn in place.

use std::io::Write;

use scalewright_protocol::message::{Flags, State};

use crate::inspect::{Recent, Subject};
use crate::report::number::{decimals, fixed, significant};

use super::paint::Paint;
use super::plot::Plot;

/// Seconds the plot reaches back.
pub const WINDOW_MS: u32 = 30_000;
/// Columns of a line where nothing is drawn in place.
const LINE: usize = 80;
/// Rows and columns of a terminal that does not say how large it is.
const USUAL: (usize, usize) = (24, 80);
/// Fewest rows with which the digits are large.
const ROWS_FOR_LARGE: usize = 18;
/// Rows that are neither digits nor plot.
const OTHER_ROWS: usize = 8;
/// Without a table the plot spans at least this much, ADC counts.
const LEAST_COUNTS: f64 = 100.0;

/// All that is shown.
pub struct View<'a> {
    /// The scale and its port.
    pub title: &'a str,
    /// What is known of the scale.
    pub subject: &'a Subject,
    /// Its state; none while it is gone.
    pub state: Option<&'a State>,
    /// The signal: gross mass in g, or counts without a table.
    pub recent: &'a Recent,
    /// Samples lost on the line so far.
    pub lost: u32,
    /// What was said last.
    pub note: &'a str,
    /// Where the log goes, if there is one.
    pub log: &'a str,
}

impl View<'_> {
    /// The indication without its unit; dashes when it is blank.
    #[must_use]
    pub fn indication(&self) -> String {
        let Some(state) = self.state else {
            return "- - -".into();
        };
        let silent = Flags::ADC_SILENT
            .with(Flags::ADC_STUCK)
            .with(Flags::SETTLING);
        if state.flags.any(silent) {
            return "- - -".into();
        }
        if !self.subject.calibrated() {
            return fixed(f64::from(state.smooth_q8) / 256.0, 0);
        }
        state.indication.map_or_else(
            || "- - -".into(),
            |quanta| {
                let unit_g = self.subject.quantum_g();
                fixed(f64::from(quanta) * unit_g, decimals(self.subject.d_g()))
            },
        )
    }

    /// The unit of the indication and of the plot.
    #[must_use]
    pub fn unit(&self) -> &'static str {
        if self.subject.calibrated() {
            "g"
        } else {
            "counts"
        }
    }

    /// What the scale says besides a number.
    #[must_use]
    pub fn words(&self) -> (bool, String) {
        let Some(state) = self.state else {
            return (false, "gone: waiting for it to come back".into());
        };
        let flags = state.flags;
        let faults = [
            (
                Flags::ADC_SILENT,
                "the ADC is silent: check its supply and data wire",
            ),
            (
                Flags::ADC_STUCK,
                "the ADC's data line does not follow the clock",
            ),
            (
                Flags::SATURATED,
                "at the end of the ADC's range: a bridge wire may be open",
            ),
            (Flags::OVERLOAD, "overload: above Max + 9 e"),
            (Flags::UNDERLOAD, "underload: far below zero"),
        ];
        if let Some((_, fault)) = faults.iter().find(|(flag, _)| flags.has(*flag)) {
            return (false, (*fault).into());
        }
        if flags.has(Flags::SETTLING) {
            return (true, "settling".into());
        }
        let mut words = vec![if flags.has(Flags::STABLE) {
            "at rest"
        } else {
            "moving"
        }];
        if flags.has(Flags::AT_ZERO) {
            words.push("zero");
        }
        if flags.has(Flags::NET) {
            words.push("net");
        }
        // Around zero it is no matter that the table begins there.
        if flags.has(Flags::CONTINUED) && !flags.has(Flags::AT_ZERO) {
            words.push("beyond the table");
        }
        let mut words = words.join(", ");
        if flags.has(Flags::NOT_CALIBRATED) {
            let counts = f64::from(state.smooth_q8) / 256.0;
            words.push_str(&format!(
                "; not calibrated, {} mV/V",
                fixed(self.subject.mv_per_v(counts), 5)
            ));
        }
        (true, words)
    }

    /// Lowest, highest and scatter of what is in the plot.
    #[must_use]
    pub fn statistics(&self) -> String {
        let unit = self.unit();
        let places = match self.subject.calibrated() {
            true => decimals(self.subject.d_g() / 10.0),
            false => 0,
        };
        let Some((low, high)) = self.recent.ends() else {
            return "no samples yet".into();
        };
        format!(
            "last {} s: {} to {} {unit}, {}",
            fixed(self.recent.span_s(), 0),
            fixed(low, places),
            fixed(high, places),
            self.scatter(),
        )
    }

    /// Scatter of what is in the plot, no more.
    fn scatter(&self) -> String {
        let sd = self.recent.sd();
        let sd = sd.map_or_else(|| "unknown".into(), |sd| significant(sd, 2));
        format!("sd {sd} {}", self.unit())
    }

    /// All of it in one line of at most 80 columns: a fault pushes statistics
    /// out, many words only the ends of what was seen.
    #[must_use]
    pub fn line(&self, passed_s: u64) -> String {
        let number = format!("{:>10} {}", self.indication(), self.unit());
        let (sound, words) = self.words();
        let lead = match self.lost {
            0 => words.clone(),
            _ => format!("{words}; {}", self.losses()),
        };
        let line = |rest: &str| format!("{passed_s:>6} s {number}  {rest}");
        let whole = line(&format!("{lead}; {}", self.statistics()));
        let line = match sound {
            false => line(&words),
            true if whole.chars().count() <= LINE => whole,
            true => line(&format!("{lead}; {}", self.scatter())),
        };
        cut(&line, LINE)
    }

    /// Samples lost on the line, in words.
    #[must_use]
    pub fn losses(&self) -> String {
        match self.lost {
            0 => "none lost".into(),
            lost => format!("{lost} lost"),
        }
    }

    /// All lines but the prompt, for a terminal of this size.
    fn lines(&self, rows: usize, columns: usize, paint: Paint) -> Vec<String> {
        let mut lines = vec![paint.strong(&cut(self.title, columns)), String::new()];
        let number = self.indication();
        let large = rows >= ROWS_FOR_LARGE;
        let (sound, words) = self.words();
        let digits = if large {
            enlarged(&number, paint)
        } else {
            vec![number]
        };
        let used = digits.len();
        for (index, line) in digits.into_iter().enumerate() {
            let unit = if index + 1 == used { self.unit() } else { "" };
            let line = cut(&format!("  {line}  {unit}"), columns);
            lines.push(paint.strong(line.trim_end()));
        }
        let words = cut(&format!("  {words}"), columns);
        lines.push(if sound { words } else { paint.bad(&words) });
        let least_span = if self.subject.calibrated() {
            self.subject.d_g()
        } else {
            LEAST_COUNTS
        };
        let unit = self.unit();
        let label = |value: f64, step: f64| {
            let places = decimals(step);
            // "counts" would leave no room for the number.
            let unit = if unit == "g" { " g" } else { "" };
            format!("{}{unit}", fixed(value, places))
        };
        let plot = Plot {
            recent: self.recent,
            columns,
            rows: rows.saturating_sub(used + OTHER_ROWS).clamp(1, 16),
            least_span,
            since: "-30 s",
            label: &label,
        };
        lines.extend(plot.lines(paint));
        let log = if self.log.is_empty() {
            String::new()
        } else {
            format!("; log {}", self.log)
        };
        lines.push(cut(
            &format!("  {}; {}{log}", self.statistics(), self.losses()),
            columns,
        ));
        lines.push(paint.heed(&cut(&format!("  {}", self.note), columns)));
        lines
    }
}

/// What can be typed.
const PROMPT: &str = "  z zero  t tare  c clear tare  q end, then Enter: ";

/// A terminal taken over for as long as this lives.
pub struct Terminal {
    paint: Paint,
    size: (usize, usize),
    prompt: bool,
}

impl Terminal {
    /// Takes the terminal over; what stood there comes back at the end.
    #[must_use]
    pub fn take(paint: Paint) -> Self {
        outpart!("\x1b[?1049h\x1b[2J");
        Self {
            paint,
            size: (0, 0),
            prompt: false,
        }
    }

    /// Something was typed: the line for it is drawn anew.
    pub fn typed(&mut self) {
        self.prompt = false;
    }

    /// Draws; whether the terminal is still there.
    pub fn draw(&mut self, view: &View<'_>) -> bool {
        let size = terminal_size::terminal_size().map_or(USUAL, |(width, height)| {
            (usize::from(height.0), usize::from(width.0))
        });
        let afresh = size != self.size || !self.prompt;
        self.size = size;
        let (rows, columns) = size;
        let mut lines = view.lines(rows, columns, self.paint);
        lines.truncate(rows.saturating_sub(1));
        // The cursor stays where somebody may be typing.
        let mut frame = String::from(if afresh {
            "\x1b[2J\x1b[H"
        } else {
            "\x1b7\x1b[H"
        });
        for line in &lines {
            frame.push_str(line);
            frame.push_str("\x1b[K\r\n");
        }
        frame.push_str(&if afresh {
            cut(PROMPT, columns.saturating_sub(2))
        } else {
            "\x1b8".to_string()
        });
        self.prompt = true;
        let mut out = std::io::stdout();
        out.write_all(frame.as_bytes())
            .and_then(|()| out.flush())
            .is_ok()
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        outpart!("\x1b[?1049l");
        let _ = std::io::stdout().flush();
    }
}

/// At most `columns` characters.
fn cut(text: &str, columns: usize) -> String {
    text.chars().take(columns).collect()
}

/// Signs of three by five dots, one row a number, leftmost dot highest.
fn dots(sign: char) -> (usize, [u8; 5]) {
    match sign {
        '0' => (3, [7, 5, 5, 5, 7]),
        '1' => (3, [2, 6, 2, 2, 7]),
        '2' => (3, [7, 1, 7, 4, 7]),
        '3' => (3, [7, 1, 3, 1, 7]),
        '4' => (3, [5, 5, 7, 1, 1]),
        '5' => (3, [7, 4, 7, 1, 7]),
        '6' => (3, [7, 4, 7, 5, 7]),
        '7' => (3, [7, 1, 2, 2, 2]),
        '8' => (3, [7, 5, 7, 5, 7]),
        '9' => (3, [7, 5, 7, 1, 7]),
        '-' => (3, [0, 0, 7, 0, 0]),
        '.' => (1, [0, 0, 0, 0, 1]),
        _ => (1, [0; 5]),
    }
}

/// A number in five rows, each dot two columns wide.
fn enlarged(number: &str, paint: Paint) -> Vec<String> {
    let dot = paint.either("##", "██");
    (0..5)
        .map(|row| {
            let mut line = String::new();
            for sign in number.chars() {
                let (width, rows) = dots(sign);
                let bits = rows.get(row).copied().unwrap_or(0);
                for column in (0..width).rev() {
                    line.push_str(if bits >> column & 1 == 1 { dot } else { "  " });
                }
                line.push_str("  ");
            }
            line.trim_end().to_string()
        })
        .collect()
}
