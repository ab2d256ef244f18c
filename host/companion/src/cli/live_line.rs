//! The line of the load at hand, rewritten while it settles, and the finished
//! lines above it; at most 80 columns.

use std::io::Write;
use std::time::{Duration, Instant};

use crate::report::sparkline;

use super::paint::Paint;

/// Shortest time between two rewritings of the line at hand.
const FRAME: Duration = Duration::from_millis(40);

/// Values kept for the small curve of a settling load.
const TRACE: usize = 15;

/// Lines on standard output, the last of which may still change.
pub struct LiveLine {
    paint: Paint,
    quiet: bool,
    /// How the line begins: the load that is asked for.
    head: String,
    trace: Vec<f64>,
    drawn: Option<Instant>,
    open: bool,
}

impl LiveLine {
    /// None yet; quiet ones are never shown.
    #[must_use]
    pub fn new(paint: Paint, quiet: bool) -> Self {
        Self {
            paint,
            quiet,
            head: String::new(),
            trace: Vec::new(),
            drawn: None,
            open: false,
        }
    }

    /// A line of text, whatever stands on the line at hand.
    pub fn say(&mut self, text: &str) {
        if !self.quiet {
            self.finish();
            outln!("{text}");
        }
    }

    /// The line at hand with its end.
    pub fn conclude(&mut self, tail: &str) {
        let head = std::mem::take(&mut self.head);
        self.say(&format!("{head}{tail}"));
        self.head = head;
    }

    /// A line begins.
    pub fn begin(&mut self, head: String) {
        self.head = head;
        self.trace.clear();
        self.drawn = None;
    }

    /// What it shows now: a value for its curve, and that value and what goes on
    /// in words.
    pub fn show(&mut self, value: f64, words: &str) {
        if self.trace.len() == TRACE {
            self.trace.remove(0);
        }
        self.trace.push(value);
        if !self.paint.live || self.drawn.is_some_and(|at| at.elapsed() < FRAME) {
            return;
        }
        self.drawn = Some(Instant::now());
        let curve = sparkline(&self.trace, self.paint.style());
        let line = format!("{}{words}", self.head);
        outpart!(
            "\r\x1b[2K{line}{}",
            clip(&curve, 80usize.saturating_sub(line.chars().count()))
        );
        let _ = std::io::stdout().flush();
        self.open = true;
    }

    fn finish(&mut self) {
        if self.open {
            // The live line vanishes; what it led to is said in its place.
            outpart!("\r\x1b[2K");
            self.open = false;
        }
        let _ = std::io::stdout().flush();
    }
}

/// At most `columns` characters; what was cut off ends in "..".
pub fn clip(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.into();
    }
    let mut short: String = text.chars().take(columns.saturating_sub(2)).collect();
    short.push_str("..");
    short
}
